"""Sightings: attachment first, then the tree told, then the place; nothing is thrown away."""

from pathlib import Path

import pytest

from pipeline.ingest.sightings import PSEUDONYM_NOTE, pseudonym
from tests.ingest.little_city import LAT, LON, LittleCity, inventory, tree

INPUTS = '[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.sightings]]\nfiles=["s.csv"]\n'
# A tree by itself, 500 m from the others.
ALONE = tree(1, longitude=f"{LON - 0.0061:.6f}", latitude=f"{LAT + 0.0003:.6f}")
AT_ALONE = f"{LON - 0.0061:.6f},{LAT + 0.0003:.6f}"


def joined(folder: Path, header: str, *rows: str, trees: tuple[str, ...] = (ALONE,)) -> LittleCity:
    """The sightings of a little city."""
    text = "\n".join([header, *rows]) + "\n"
    return LittleCity(folder).ingest({"trees.csv": inventory(*trees), "s.csv": text}, inputs=INPUTS)


PLACE = "name,seen_on,longitude,latitude,accuracy_m"


@pytest.mark.parametrize(
    ("place", "accuracy", "match", "note"),
    [
        (AT_ALONE, "3", "by_place", None),
        (AT_ALONE, "0", "unmatched", "accuracy_unknown"),
        (AT_ALONE, "-5", "unmatched", "accuracy_unknown"),
        (AT_ALONE, "500", "unmatched", "accuracy_beyond_cap"),
        (AT_ALONE, "50000", "unmatched", "accuracy_beyond_cap"),
        (AT_ALONE, "", "unmatched", "accuracy_unknown"),
        (f"{LON + 0.01:.6f},{LAT + 0.0003:.6f}", "15", "ambiguous", "several_trees_near"),
        (f"{LON - 0.012:.6f},{LAT:.6f}", "5", "unmatched", "no_tree_near"),
    ],
)
def test_by_place(tmp_path: Path, place: str, accuracy: str, match: str, note: str | None) -> None:
    city = joined(tmp_path, PLACE, f"Ganoderma applanatum,2026-01-01,{place},{accuracy}")
    (row,) = city.rows("sightings")
    assert (row["match"], row["match_note"]) == (match, note)
    weights = [float(str(one["weight"])) for one in city.rows("sighting_matches")]
    assert sum(weights) == pytest.approx(1.0 if match in {"by_place", "ambiguous"} else 0.0)
    key = city.trees()["T1"]["tree_key"] if match == "by_place" else -1
    assert row["tree_key"] == key


TOLD = f"tree_id,attachment,position,{PLACE}"


@pytest.mark.parametrize(
    ("told", "position", "match", "note"),
    [
        ("T1,", ",", "by_id", None),
        ("T1,", f",{AT_ALONE}", "by_id", None),
        ("T100,", f",{AT_ALONE}", "by_id", "id_and_place_disagree"),
        ("T999,", ",", "unmatched", "id_unknown"),
        ("T999,", f",{AT_ALONE}", "by_place", "id_unknown"),
        ("T1,free", ",", "not_decay", "free_in_soil"),
        ("T1,", "mulch,", "not_decay", "free_in_soil"),
        ("T1,", "soil_over_root,", "by_id", None),
        ("T1,free", "stem,", "by_id", None),
        ("S1,", ",", "by_id", "tree_not_standing"),
    ],
)
def test_by_id_and_attachment(
    tmp_path: Path, told: str, position: str, match: str, note: str | None
) -> None:
    where, _, place = position.partition(",")
    row_text = f"{told},{where},Fomes fomentarius,2026-01-01,{place or ','},3"
    header = "tree_id,longitude,latitude,species,dbh_cm,notes,status"
    trees = [line + "," for line in inventory(ALONE).splitlines()[1:]]
    stump = tree(5, tree_id="S1") + ",stump"
    city = LittleCity(tmp_path).ingest(
        {
            "trees.csv": "\n".join([header, *trees, stump]) + "\n",
            "s.csv": f"{TOLD}\n{row_text}\n",
        },
        inputs=INPUTS,
    )
    (row,) = city.rows("sightings")
    assert (row["match"], row["match_note"]) == (match, note)


def test_a_told_tree_and_the_trees_at_the_told_place_are_candidates(tmp_path: Path) -> None:
    """So that scoring can weigh the id against the place; the id alone still joins."""
    near = f"{LON + 0.01:.6f},{LAT + 0.0003:.6f}"
    city = joined(tmp_path, TOLD, f"T1,,,Fomes fomentarius,2026-01-01,{near},15")
    (row,) = city.rows("sightings")
    told = city.trees()["T1"]["tree_key"]
    assert (row["match"], row["tree_key"]) == ("by_id", told)
    rows = {one["tree_key"]: one for one in city.rows("sighting_matches")}
    assert len(rows) > 2
    assert -1 in rows
    assert rows[told]["weight"] == 0
    assert float(str(rows[told]["distance_m"])) > 60
    assert sum(float(str(one["weight"])) for one in rows.values()) == pytest.approx(1.0)


def test_a_free_mushroom_said_to_sit_on_the_stem_is_not_cleared(tmp_path: Path) -> None:
    city = joined(tmp_path, TOLD, "T1,free,stem,Fomes fomentarius,2026-01-01,,,")
    (row,) = city.rows("sightings")
    assert row["attachment"] == "unknown"


@pytest.mark.parametrize(
    ("told", "match"),
    [("a 1", "by_id"), ("A1", "by_id"), ("b 2", "unmatched"), ("a-1", "unmatched")],
)
def test_an_id_that_differs_by_case_and_spaces_from_one_tree(
    tmp_path: Path, told: str, match: str
) -> None:
    """B2 and b2 are two trees: which of them "b 2" means is not guessed."""
    trees = (tree(1, tree_id="A1"), tree(2, tree_id="B2"), tree(3, tree_id="b2"))
    city = joined(tmp_path, TOLD, f"{told},,,Fomes fomentarius,2026-01-01,,,", trees=trees)
    (row,) = city.rows("sightings")
    assert (row["match"], row["tree_id_told"]) == (match, told)
    respelt = {"tree_id_respelt": 1} if match == "by_id" and told != "A1" else {}
    assert city.codes("findings") == respelt
    if match == "by_id":
        assert row["tree_key"] == city.trees()["A1"]["tree_key"]


def test_an_accuracy_of_zero_and_a_repeated_id_are_told(tmp_path: Path) -> None:
    rows = [f"{name},Fomes fomentarius,2026-01-01,{AT_ALONE},{accuracy}" for name, accuracy in
            (("s1", "0"), ("s2", "3"), ("s1", "3"), ("", "3"), ("", "3"))]  # fmt: skip
    city = joined(tmp_path, f"sighting_id,{PLACE}", *rows)
    assert [row["accuracy_m"] for row in city.rows("sightings")] == [None, 3, 3, 3, 3]
    found = {(row["code"], row["row"], row["done"]) for row in city.rows("findings")}
    assert found == {("accuracy_zero", 1, "emptied"), ("sighting_id_repeated", 3, "flagged")}


def test_a_sighting_needs_a_tree_or_a_place(tmp_path: Path) -> None:
    city = joined(
        tmp_path, TOLD, ",,,Fomes fomentarius,2026-01-01,,,", "T1,,,Fomes fomentarius,,0,0,3"
    )
    assert city.codes("quarantine") == {"place_missing": 1}
    assert city.codes("findings") == {"place_zero": 1, "seen_on_missing": 1}
    (row,) = city.rows("sightings")
    assert (row["match"], row["x_m"]) == ("by_id", None)


def test_a_told_tree_stands_over_a_place_far_away(tmp_path: Path) -> None:
    city = joined(tmp_path, TOLD, "T1,,,Fomes fomentarius,2026-01-01,10.5,50.5,3")
    (row,) = city.rows("sightings")
    assert (row["match"], row["x_m"]) == ("by_id", None)
    assert city.codes("findings") == {"out_of_area": 1}


def test_names_are_resolved_and_unknown_ones_kept(tmp_path: Path) -> None:
    rows = [f"{name},2026-01-01,{AT_ALONE},3" for name in
            ("Ganoderma aplanatum", "tinder conk", "grey thing", "")]  # fmt: skip
    city = joined(tmp_path, PLACE, *rows)
    found = [(row["taxon_id"], row["name_how"]) for row in city.rows("sightings")]
    assert found == [
        ("ganoderma_applanatum", "misspelling"), ("fomes_fomentarius", "common_name"),
        (None, "unknown"), (None, "missing"),
    ]  # fmt: skip
    assert city.codes("findings") == {"name_misspelt": 1, "name_unknown": 1}


def test_the_certainty_of_the_host_is_kept(tmp_path: Path) -> None:
    rows = [f"Fomes fomentarius,2026-01-01,{AT_ALONE},3,beech,{told}" for told in ("yes", "No", "")]
    city = joined(tmp_path, f"{PLACE},host,host_certain", *rows)
    assert [row["host_certain"] for row in city.rows("sightings")] == [True, False, None]


def test_observers_become_pseudonyms(tmp_path: Path) -> None:
    header = (
        "occurrenceID,recordedBy,scientificName,decimalLongitude,decimalLatitude,associatedTaxa"
    )
    rows = [f"{n},{who},Fomes fomentarius,{AT_ALONE},host: Acer rubrum"
            for n, who in enumerate(["Jo Doe", " jo  DOE", "Al Roe"])]  # fmt: skip
    city = joined(tmp_path, header, *rows)
    names = [row["observer"] for row in city.rows("sightings")]
    assert names[0] == names[1] != names[2]
    assert "Doe" not in str(city.rows("sightings"))
    assert {row["host_text"] for row in city.rows("sightings")} == {"Acer rubrum"}
    assert PSEUDONYM_NOTE in str(city.rows("sources")[1]["note"])
    assert pseudonym(str(names[0])) == names[0]


def test_a_vacant_site_is_no_candidate(tmp_path: Path) -> None:
    header = "tree_id,longitude,latitude,species,dbh_cm,notes,status"
    trees = [line + ",standing" for line in inventory(ALONE).splitlines()[1:]]
    trees[-1] = trees[-1].removesuffix("standing") + "vacant"
    city = LittleCity(tmp_path).ingest(
        {
            "trees.csv": "\n".join([header, *trees]) + "\n",
            "s.csv": f"{PLACE}\nFomes fomentarius,2026-01-01,{AT_ALONE},3\n",
        },
        inputs=INPUTS,
    )
    (row,) = city.rows("sightings")
    assert (row["match"], row["match_note"]) == ("unmatched", "no_tree_near")
