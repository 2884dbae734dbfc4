"""The verb identify: options, files, and what people write into them."""

import csv
from pathlib import Path

import pytest

from tests.cli.test_verbs import soundwood

HEADER = (
    "sighting_id,form,upper_colour,under_colour,under_surface,arrangement,position,attachment,"
    "host,month,layers,name,name_by,region,upper_texture\n"
)
COLUMNS = [
    "sighting_id", "decay_evidence", "taxon_1", "probability_1", "taxon_2", "probability_2",
    "taxon_3", "probability_3", "probability_unlisted", "rot_type", "probability_rot",
    "significance", "needs_expert", "next_look", "unread_words",
]  # fmt: skip


def answered(folder: Path, *rows: str) -> list[dict[str, str]]:
    """What the verb writes for these rows."""
    source, out = folder / "in.csv", folder / "out.csv"
    source.write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")
    done = soundwood("identify", "--from", str(source), "--out", str(out))
    assert done.returncode == 0, done.stderr
    with out.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        assert reader.fieldnames == COLUMNS
        return list(reader)


def test_options_give_a_ranked_list_what_decided_and_the_next_look() -> None:
    done = soundwood(
        "identify", "--form", "shelf", "--upper-colour", "orange", "--under-colour", "yellow",
        "--arrangement", "overlapping", "--host", "Quercus", "--position", "stem",
        "--under-surface", "pores", "--month", "8",
        "--region", "north_america",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert "Laetiporus sulphureus" in next(line for line in lines if "#" in line)
    assert "Rot: brown" in done.stdout
    assert "Look next:" in done.stdout
    assert "nobody climbs" in done.stdout


def test_what_people_write(tmp_path: Path) -> None:
    rows = answered(
        tmp_path,
        "mulch,gilled_cluster,,,gills,cluster,mulch,free,Acer,9,,,,north_america,",
        "words,shelf,chartreuse,white,pores,single,butt,attached,Quercus,13,-3,,,north_america,",
        "markup,,,,,,stem,attached,<script>alert(1)</script>,0,0,=cmd|x,public,north_america,",
        "two,,,,,,,,,,,coal fungus,public,,",
        "lab,shelf,orange,yellow,pores,overlapping,stem,attached,Quercus,8,,"
        "Laetiporus sulphureus,laboratory,north_america,",
        "odd,shelf|club,black|white,white,pores|gills,single,stem,attached,NotAGenus,6,,"
        "Xyzzy plughii,specialist,europe,",
    )
    by_id = {row["sighting_id"]: row for row in rows}
    assert by_id["mulch"]["decay_evidence"] == "no"
    assert set(by_id["words"]["unread_words"].split("|")) == {
        "upper_colour=chartreuse", "month=13", "layers=-3",
    }  # fmt: skip
    assert by_id["markup"]["needs_expert"] == "yes"
    assert "host=<script>" in by_id["markup"]["unread_words"]
    assert by_id["lab"]["taxon_1"] == "laetiporus_sulphureus"
    assert float(by_id["lab"]["probability_1"]) > 0.99
    assert by_id["odd"]["taxon_1"] == "unlisted"
    assert by_id["odd"]["needs_expert"] == "yes"
    for row in rows:
        told = [float(row[f"probability_{place}"]) for place in (1, 2, 3)]
        assert told == sorted(told, reverse=True)
        assert 0 <= sum(told) <= 1.0001


def test_many_sightings_of_one_body_are_answered_once_and_alike(tmp_path: Path) -> None:
    row = ",shelf,brown,white,pores,single,butt,attached,Quercus,9,3,,,north_america,zoned"
    rows = answered(tmp_path, *(f"s{number}{row}" for number in range(20_000)))
    assert len(rows) == 20_000
    assert len({tuple(list(row.values())[1:]) for row in rows}) == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        pytest.param((), "nothing that was seen", id="nothing"),
        pytest.param(("--from", "x.csv", "--form", "shelf"), "together with form", id="both"),
        pytest.param(("--from", "absent.csv"), "no such file", id="no file"),
    ],
)
def test_what_is_refused(words: tuple[str, ...], told: str) -> None:
    done = soundwood("identify", *words)
    assert done.returncode == 1
    assert told in done.stderr
    assert done.stderr.startswith("soundwood: ")
