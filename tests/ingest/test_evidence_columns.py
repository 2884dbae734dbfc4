"""Columns of the trees that are evidence: what a map may say, and what becomes of each word."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.errors import InputError, ManyFaults, PipelineError, SettingsError
from pipeline.ingest.column_map import ColumnMap
from pipeline.ingest.evidence_map import rules_of
from tests.ingest.little_city import LAT, LON, LittleCity

HEADER = "id,lon,lat,sp,dbh,looked,fungus,fungus_name,crack,mallet,rim,order"
COLUMNS = """
kind = "trees"
[columns]
tree_id = "id"
longitude = "lon"
latitude = "lat"
species = "sp"
dbh_cm = "dbh"
last_inspected_on = { column = "looked", dates = ["%d.%m.%Y"] }
"""
FUNGUS = """
[[evidence]]
column = "fungus"
is = "sighting"
position = "butt"
words = { Non = "", Oui = "seen" }
name = "fungus_name"
names = { "fructification ganoderme" = "Ganoderma" }
name_by = "trained_inspector"
"""
CRACK = """
[[evidence]]
column = "crack"
is = "defect"
part = "stem"
words = { none = "", open = "crack", hollow = ["crack", { defect = "cavity", extent_share = 0.4 }] }
"""
LOOKED = "04.05.2026"


def row(number: int, **cells: str) -> str:
    """One row; cells that are not told are empty."""
    told = {
        "id": f"T{number}", "lon": f"{LON + number * 1.03e-4:.6f}",
        "lat": f"{LAT + (number % 7) * 1.07e-4:.6f}", "sp": "Acer rubrum",
        "dbh": "30", "looked": LOOKED,
        **cells,
    }  # fmt: skip
    return ",".join(told.get(name, "") for name in HEADER.split(","))


def city(folder: Path, evidence: str, *rows: str, spec: str = "") -> LittleCity:
    """A run over ordinary trees and these rows, with that evidence in the map."""
    trees = "\n".join([HEADER, *(row(100 + n) for n in range(30)), *rows]) + "\n"
    return LittleCity(folder).ingest(
        {"trees.csv": trees, "map.toml": COLUMNS + evidence},
        inputs=f'[[inputs.trees]]\nfiles = ["trees.csv"]\ncolumns = "map.toml"\n{spec}',
    )


def told(found: LittleCity, table: str) -> list[dict[str, Any]]:
    """Rows of a table with the tree's id in place of its key."""
    ids = {one["tree_key"]: one["tree_id"] for one in found.rows("trees")}
    return [{**one, "tree": ids[one["tree_key"]]} for one in found.rows(table)]


def test_a_fungus_by_part_with_the_name_beside_it(tmp_path: Path) -> None:
    found = city(
        tmp_path, FUNGUS,
        row(1, fungus="Oui", fungus_name="Fructification ganoderme"),
        row(2, fungus="oui ", fungus_name="Fomes fomentarius"),
        row(3, fungus="Oui", fungus_name="axe mort 2 m"),
        row(4, fungus="Oui"),
        row(5, fungus="Non", fungus_name="Fomes fomentarius"),
        row(6, fungus="peut-être"),
        row(7),
    )  # fmt: skip
    rows = {one["tree"]: one for one in told(found, "sightings")}
    assert sorted(rows) == ["T1", "T2", "T3", "T4"]
    assert [rows[t]["taxon_id"] for t in sorted(rows)] == [
        "ganoderma", "fomes_fomentarius", None, None,
    ]  # fmt: skip
    assert [rows[t]["name_how"] for t in sorted(rows)][2:] == ["missing", "missing"]
    assert {one["position"] for one in rows.values()} == {"butt"}
    assert {one["attachment"] for one in rows.values()} == {"attached"}
    assert {one["name_by"] for one in rows.values()} == {"trained_inspector"}
    assert {one["seen_on"] for one in rows.values()} == {date(2026, 5, 4)}
    assert {one["match"] for one in rows.values()} == {"by_id"}
    assert {one["origin"] for one in rows.values()} == {"column"}
    assert rows["T1"]["quoted"] == "fungus: Oui; fungus_name: Fructification ganoderme"
    assert rows["T4"]["quoted"] == "fungus: Oui"
    # what the map does not know is told, and read as nothing
    findings = {(one["code"], one["value"]) for one in found.rows("findings")}
    assert ("evidence_word_unknown", "peut-être") in findings
    assert ("evidence_fungus_unnamed", "axe mort 2 m") in findings
    source = found.rows("sources")[0]
    assert (source["rows_in"], source["rows_accepted"], source["derived"]) == (37, 37, 4)


def test_a_column_of_names(tmp_path: Path) -> None:
    found = city(
        tmp_path,
        '[[evidence]]\ncolumn = "fungus"\nis = "sighting"\nwords = { none = "", conk = "seen" }\n'
        'otherwise = "name"\n',
        row(1, fungus="Ganoderma applanatum"), row(2, fungus="none"), row(3, fungus="CONK"),
        row(4, fungus="something soft"),
    )  # fmt: skip
    rows = {one["tree"]: one["taxon_id"] for one in told(found, "sightings")}
    assert rows == {"T1": "ganoderma_applanatum", "T3": None, "T4": None}
    assert found.codes("findings")["evidence_fungus_unnamed"] == 1


def test_defects_with_extent_and_several_of_one_word(tmp_path: Path) -> None:
    found = city(
        tmp_path, CRACK,
        row(1, crack="open"), row(2, crack="hollow"), row(3, crack="none"), row(4, crack="??"),
    )  # fmt: skip
    rows = [
        (one["tree"], one["part"], one["defect"], one["extent_share"], one["with_decay"])
        for one in told(found, "defects")
    ]
    assert rows == [
        ("T1", "stem", "crack", None, False),
        ("T2", "stem", "crack", None, False),
        ("T2", "stem", "cavity", 0.4, False),
    ]
    assert all(one["latest"] for one in found.rows("defects"))
    assert found.codes("findings")["evidence_word_unknown"] == 1


def test_readings_of_a_mallet_and_a_drill(tmp_path: Path) -> None:
    found = city(
        tmp_path,
        '[[evidence]]\ncolumn = "mallet"\nis = "reading"\npart = "butt"\n'
        'words = { dull = "hollow", clear = "sound" }\n'
        '[[evidence]]\ncolumn = "rim"\nis = "reading"\npart = "butt"\nreading = "drill"\n'
        'measures = "shell_cm"\nunit = "mm"\n',
        row(1, mallet="dull", rim="45"), row(2, mallet="clear", rim="4.5"),
        row(3, rim="-3"), row(4, rim="thick"), row(5, rim="450"),
    )  # fmt: skip
    rows = [
        (one["tree"], one["reading"], one["reading_result"], one["shell_cm"])
        for one in told(found, "readings")
    ]
    assert rows == [
        ("T1", "sounding", "hollow", None), ("T2", "sounding", "sound", None),
        ("T1", "drill", None, pytest.approx(4.5)), ("T2", "drill", None, pytest.approx(0.45)),
    ]  # fmt: skip
    assert found.codes("findings")["evidence_number_impossible"] == 3


def test_a_decision_of_a_column_stands_under_one_that_people_wrote(tmp_path: Path) -> None:
    order = (
        '[[evidence]]\ncolumn = "order"\nis = "decision"\n'
        'words = { none = "", look = { decision = "override", value = "inspect" } }\n'
    )
    decisions = "tree_id,decision,decided_on,role\nT1,accept,2026-01-01,city forester\n"
    trees = "\n".join([HEADER, *(row(100 + n) for n in range(30)), row(1, order="look")]) + "\n"
    found = LittleCity(tmp_path).ingest(
        {"trees.csv": trees, "map.toml": COLUMNS + order, "decisions.csv": decisions},
        inputs='[[inputs.trees]]\nfiles = ["trees.csv"]\ncolumns = "map.toml"\n'
        '[[inputs.decisions]]\nfiles = ["decisions.csv"]\n',
    )
    rows = [(one["decision"], one["origin"], one["decided_on"]) for one in told(found, "decisions")]
    assert rows == [
        ("override", "column", date(2026, 5, 4)), ("accept", "reported", date(2026, 1, 1)),
    ]  # fmt: skip


def test_dates_come_from_the_row_else_the_settings_else_nowhere(tmp_path: Path) -> None:
    rows = (row(1, crack="open", looked=""), row(2, crack="open"))
    told_day = city(tmp_path, CRACK, *rows, spec="surveyed_on = 2025-10-01")
    assert [one["seen_on"] for one in told(told_day, "defects")] == [
        date(2025, 10, 1), date(2026, 5, 4),
    ]  # fmt: skip
    other = tmp_path / "other"
    other.mkdir()
    untold = told(city(other, CRACK, *rows), "defects")
    assert [one["seen_on"] for one in untold] == [None, date(2026, 5, 4)]
    assert [one["flags"] for one in untold] == ["seen_on_missing", ""]


def test_a_decision_without_a_day_is_told_and_not_read(tmp_path: Path) -> None:
    order = (
        '[[evidence]]\ncolumn = "order"\nis = "decision"\n'
        'words = { look = { decision = "override", value = "inspect" } }\n'
    )
    found = city(tmp_path, order, row(1, order="look", looked=""))
    assert found.rows("decisions") == []
    assert found.codes("findings") == {"evidence_without_date": 1}


def test_evidence_from_after_the_run_is_not_known_yet(tmp_path: Path) -> None:
    found = city(tmp_path, CRACK, row(1, crack="open", looked="01.12.2026"))
    assert found.rows("defects") == []
    assert "dated_after_run" in found.codes("findings")


def test_a_row_that_is_set_aside_gives_no_evidence(tmp_path: Path) -> None:
    found = city(tmp_path, CRACK, row(1, crack="open", lon="nowhere"), row(2, crack="open"))
    assert [one["tree"] for one in told(found, "defects")] == ["T2"]
    source = found.rows("sources")[0]
    assert (source["rows_in"], source["rows_accepted"], source["rows_set_aside"]) == (32, 31, 1)


def test_a_column_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="'crak'") as fault:
        city(tmp_path, CRACK.replace('"crack"\nis', '"crak"\nis'), row(1))
    assert "nearest is 'crack'" in str(fault.value)


FAULTS = [
    pytest.param({"is": "defect"}, "column = 'header'", id="no column"),
    pytest.param({"column": "a", "is": "omen"}, "sighting, defect, reading, decision", id="kind"),
    pytest.param({"column": "a", "is": "defect", "words": {"x": "crack"}}, "roots", id="no part"),
    pytest.param(
        {"column": "a", "is": "defect", "part": "stem", "words": {"x": "crak"}}, "crack", id="word"
    ),
    pytest.param(
        {"column": "a", "is": "defect", "part": "stem", "words": {}}, "what it means", id="no words"
    ),
    pytest.param(
        {"column": "a", "is": "defect", "part": "stem",
         "words": {"x": {"defect": "decay", "extent_share": 40}}},
        "or a table with it", id="a share over one",
    ),
    pytest.param(
        {"column": "a", "is": "sighting", "position": "attic", "words": {"x": "seen"}},
        "root_flare", id="position",
    ),
    pytest.param(
        {"column": "a", "is": "sighting", "words": {"x": "seen"}, "name_by": "the mayor"},
        "laboratory", id="who named it",
    ),
    pytest.param(
        {"column": "a", "is": "sighting", "otherwise": "guess"}, "'name'", id="otherwise"
    ),
    pytest.param(
        {"column": "a", "is": "reading", "part": "stem", "words": {"x": "dull"}}, "hollow",
        id="sounding",
    ),
    pytest.param(
        {"column": "a", "is": "reading", "part": "stem", "measures": "shell_cm", "reading": "nose",
         "unit": "cm"}, "drill", id="instrument",
    ),
    pytest.param(
        {"column": "a", "is": "reading", "part": "stem", "measures": "shell_cm", "reading": "drill",
         "unit": "%"}, "mm", id="unit",
    ),
    pytest.param(
        {"column": "a", "is": "reading", "part": "stem", "measures": "age", "reading": "drill"},
        "decayed_share", id="measured",
    ),
    pytest.param(
        {"column": "a", "is": "decision", "words": {"x": {"decision": "fell"}}}, "override",
        id="decision",
    ),
    pytest.param(
        {"column": "a", "is": "decision", "words": {"x": {"decision": "pin"}}, "part": "stem"},
        "'words'", id="a key of another kind",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("entry", "expected"), FAULTS)
def test_what_a_map_may_not_say(entry: dict[str, Any], expected: str) -> None:
    rules, faults = rules_of([entry], kind="trees", where="map")
    assert rules == ()
    assert all(isinstance(fault, SettingsError) for fault in faults)
    assert any(expected in str(fault) for fault in faults)


def test_all_faults_of_a_map_are_told_together_and_only_trees_have_evidence() -> None:
    entry = {"column": "a", "is": "defect", "part": "stem", "words": {"x": "crak"}}
    raw = {"kind": "trees", "columns": {"tree_id": "id", "bark": "b"}, "evidence": [entry, entry]}
    with pytest.raises(ManyFaults) as found:
        ColumnMap.from_toml(raw, where="map")
    assert len(found.value.faults) == 3
    with pytest.raises(PipelineError, match="map for trees"):
        ColumnMap.from_toml({"kind": "wards", "evidence": [entry]}, where="map")


def test_the_examples_of_the_guide_are_understood() -> None:
    """The docstring of the module is the reference; what it shows has to be read."""
    import tomllib  # noqa: PLC0415 - only here

    from pipeline.ingest import evidence_map  # noqa: PLC0415 - for its docstring

    text = str(evidence_map.__doc__)
    shown = "\n".join(line[4:] for line in text.splitlines() if line.startswith("    "))
    rules, faults = rules_of(tomllib.loads(shown)["evidence"], kind="trees", where="guide")
    assert faults == []
    assert {rule.kind for rule in rules} == set(evidence_map.KINDS)
