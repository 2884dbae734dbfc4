"""The account of rows, the rows set aside, and danger that no fault may hide."""

import json
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import InputError
from pipeline.ingest.danger import DangerWords, danger_of, urgent_taxa
from pipeline.ingest.quarantine import Done, Finding, accepted_mask, prove
from pipeline.published.table import Library
from tests.ingest.little_city import LittleCity, inventory, tree


def finding(*rows: int, done: Done) -> Finding:
    return Finding("x", np.array(rows, np.int64), None, (), "r", "m", done)


def test_only_set_aside_rows_leave() -> None:
    found = [finding(1, done=Done.FLAGGED), finding(0, 2, done=Done.SET_ASIDE)]
    assert accepted_mask(4, found).tolist() == [False, True, False, True]


def test_an_account_that_does_not_close_is_refused() -> None:
    found = [finding(0, 2, done=Done.SET_ASIDE), finding(2, done=Done.SET_ASIDE)]
    account = prove(file="a.csv", size=4, rejects=3, accepted=2, findings=found)
    assert (account.rows_in, account.accepted, account.set_aside) == (7, 2, 5)
    with pytest.raises(InputError, match="rows in = rows accepted"):
        prove(file="a.csv", size=4, rejects=0, accepted=3, findings=found)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("The root plate is lifting!", ["root plate is lifting"]),
        ("stem CRACKED on the street side", ["cracked"]),
        ("Wurzelteller gehoben", ["Wurzelteller gehoben"]),
        ("steht fest", []),
        ("", []),
    ],
)
def test_words_of_danger(text: str, words: list[str]) -> None:
    found = DangerWords(Library().table("danger_words")).found_in(text)
    assert [word.casefold() for word in found] == [word.casefold() for word in words]


def test_every_word_of_danger_is_found() -> None:
    table = Library().table("danger_words")
    words = DangerWords(table)
    assert [word for word in table.texts("word") if not words.found_in(f"x, {word}.")] == []


def test_a_fungus_of_the_urgent_codes_is_danger_by_its_name() -> None:
    words = DangerWords(Library().table("danger_words"))
    assert danger_of(["a", "b hanging branch"], words, ["Meripilus giganteus", None])[0] == (
        "Meripilus giganteus"
    )
    codes = {row["taxon_id"]: row["action_code"] for row in Library().table("taxa").rows}
    urgent = urgent_taxa(Library().table("taxa"))
    assert {codes[taxon] for taxon in urgent} == {"R4", "R5"}


def test_danger_heads_the_list_and_the_row_is_whole(tmp_path: Path) -> None:
    text = inventory(
        tree(1, longitude="", latitude=""),
        tree(2, longitude="", latitude="", notes="root plate is lifting"),
        "T3,1",
    )
    city = LittleCity(tmp_path).ingest({"trees.csv": text})
    first, second, third = city.rows("quarantine")
    assert first["danger"] == "root plate is lifting"
    assert first["about"] == "tree T2"
    assert (first["row"], first["line"]) == (32, 33)
    assert json.loads(str(first["original"]))["tree_id"] == "T2"
    assert (second["code"], second["danger"]) == ("place_missing", None)
    assert (third["code"], third["line"], third["about"]) == ("record_broken", 34, "T3,1")
    (source,) = city.rows("sources")
    assert (source["rows_in"], source["rows_accepted"], source["rows_set_aside"]) == (33, 30, 3)


def test_an_urgent_fungus_without_a_place_heads_the_list(tmp_path: Path) -> None:
    sightings = (
        "name,seen_on,observer\n"
        "Trametes versicolor,2026-01-01,Jo Doe\n"
        "Meripilus giganteus,2026-01-01,Jo Doe\n"
    )
    city = LittleCity(tmp_path).ingest(
        {"trees.csv": inventory(), "s.csv": sightings},
        inputs='[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.sightings]]\nfiles=["s.csv"]\n',
    )
    first, second = city.rows("quarantine")
    assert first["danger"] == "Meripilus giganteus"
    assert second["danger"] is None
    assert "Jo Doe" not in str(first["original"])
    assert "observer-" in str(first["original"])


@pytest.mark.parametrize(("lost", "said"), [(1, False), (3, True)])
def test_much_of_an_inventory_set_aside_is_said_in_the_account(
    tmp_path: Path, lost: int, *, said: bool
) -> None:
    rows = [tree(n, longitude="", latitude="") for n in range(lost)]
    city = LittleCity(tmp_path).ingest({"trees.csv": inventory(*rows, ordinary=40)})
    (source,) = city.rows("sources")
    note = str(source["note"])
    assert ("3 of 43 rows (7.0%) are set aside" in note) is said
    assert ("place" in note) is said


@pytest.mark.parametrize(
    ("row", "about"),
    [
        ("T9,,Mill Street,root plate is lifting", "tree T9, Mill Street"),
        (",,,root plate is lifting behind the old mill by the river, nobody can say which tree",
         None),
        (",,,root plate is lifting", "root plate is lifting"),
    ],
)  # fmt: skip
def test_a_row_set_aside_says_what_it_names(tmp_path: Path, row: str, about: str | None) -> None:
    header = "tree_id,longitude,street,notes,latitude\n"
    good = "".join(f"T{n},{-76.9 + n * 1e-4:.4f},,,43.2\n" for n in range(30))
    row = row if about else ',,,"' + row.lstrip(",") + '"'
    city = LittleCity(tmp_path).ingest({"trees.csv": f"{header}{good}{row},\n"})
    (found,) = city.rows("quarantine")
    assert found["danger"] == "root plate is lifting"
    assert found["about"] == (about or "root plate is lifting behind the old mill by the river, …")


def test_an_urgent_fungus_outside_the_box_is_another_citys(tmp_path: Path) -> None:
    sightings = (
        "name,seen_on,longitude,latitude,notes\n"
        "Meripilus giganteus,2026-01-01,-70,43.2,\n"
        "Trametes versicolor,2026-01-01,-70,43.2,tree is hanging over the school: imminent\n"
    )
    city = LittleCity(tmp_path).ingest(
        {"trees.csv": inventory(), "s.csv": sightings},
        inputs='[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.sightings]]\nfiles=["s.csv"]\n'
        "bounding_box=[-77,43,-76.8,43.4]\n",
    )
    danger = {row["row"]: row["danger"] for row in city.rows("quarantine")}
    assert danger[1] is None
    assert danger[2] is not None
