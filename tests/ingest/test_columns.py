"""Column maps: units, girth, classes, codes, dates; every fault of a map told at once."""

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from pipeline.errors import InputError, ManyFaults, PipelineError, SettingsError
from pipeline.ingest import cells
from pipeline.ingest.column_map import ColumnMap
from pipeline.ingest.columns import Mapped, Vocabulary, apply
from pipeline.ingest.quarantine import Done
from pipeline.ingest.readers import RawTable


def raw(kind: str = "trees", **columns: list[str | None]) -> RawTable:
    """A file in memory; spaces in headers are written as two underscores."""
    data = pa.table({n.replace("__", " "): pa.array(v, pa.string()) for n, v in columns.items()})
    return RawTable(0, kind, "a.csv", "", 0, "CSV", data, np.arange(1, data.num_rows + 1))


def mapped(table: RawTable, vocabulary: Vocabulary | None = None, **toml: object) -> Mapped:
    """The file under a map."""
    column_map = ColumnMap.from_toml({"kind": table.kind, **toml}, where="map")
    return apply(table, column_map, table.kind, vocabulary=vocabulary)


def codes(found: Mapped) -> dict[str, tuple[int, Done]]:
    """Code to number of rows and what was done."""
    return {finding.code: (finding.count, finding.done) for finding in found.findings}


# 1 in = 2.54 cm, 1 ft = 0.3048 m exactly: international yard and pound agreement, 1959.
@pytest.mark.parametrize(
    ("text", "expected_cm"),
    [
        ("10", 25.4), ("2,5", 6.35), ("34,5 cm", 34.5), ('12"', 30.48), ("13 in", 33.02),
        ("400 mm", 40.0), ("1 ft", 30.48), ("0.5 m", 50.0), ("1,234.5", 3135.63),
        ("1.234,5", 3135.63), (" 10 ", 25.4), ("1e1", 25.4),
    ],
)  # fmt: skip
def test_inches_unless_the_value_carries_its_own_unit(text: str, expected_cm: float) -> None:
    rule = {"column": "DBH", "unit": "in"}
    found = mapped(raw(DBH=[text, "1"]), columns={"dbh_cm": rule})
    assert found.number("dbh_cm") == pytest.approx([expected_cm, 2.54])
    assert found.findings == ()


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("1,234", "dbh_cm_number_ambiguous"), ("big", "dbh_cm_number_unreadable"),
        ("12 pieces", "dbh_cm_unit_unknown"), ("1,2,3", "dbh_cm_number_unreadable"),
        ("12 km/h", "dbh_cm_unit_unknown"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_emptied_and_told(text: str, code: str) -> None:
    found = mapped(raw(DBH=[text, "1"]), columns={"dbh_cm": "DBH"})
    assert np.isnan(found.number("dbh_cm")[0])
    assert codes(found) == {code: (1, Done.EMPTIED)}
    assert found.findings[0].values == (text,)
    assert found.findings[0].column == "DBH"


def test_decimal_comma_of_the_map_settles_thousands() -> None:
    texts: list[str | None] = ["1.234", "12,5", "1.234,5", "7", "2.5", "n/a"]
    found = mapped(raw(DBH=texts), decimal=",", columns={"dbh_cm": "DBH"})
    assert found.number("dbh_cm") == pytest.approx(
        [1234, 12.5, 1234.5, 7, 2.5, np.nan], nan_ok=True
    )


def test_girth_becomes_diameter() -> None:
    rule = {"column": "G", "unit": "cm", "measure": "girth"}
    found = mapped(raw(G=["314.159265", None]), columns={"dbh_cm": rule})
    assert found.number("dbh_cm") == pytest.approx([100.0, np.nan], nan_ok=True)


def test_classes_give_their_middle_and_an_unknown_class_is_told() -> None:
    rule = {"column": "K", "classes": {"1": [0, 15], "2": [15, 30], "3": [60]}}
    found = mapped(raw(K=["1", "2", "3", "9"]), columns={"dbh_cm": rule})
    assert found.number("dbh_cm") == pytest.approx([7.5, 22.5, 60, np.nan], nan_ok=True)
    assert codes(found) == {"dbh_cm_class_unknown": (1, Done.EMPTIED)}


def test_words_by_code_then_canonical_then_usual_then_unknown() -> None:
    rule = {"column": "State", "codes": {"Baumstumpf": "stump"}}
    table = raw(State=["baumstumpf", "Standing", "Habitat pole", "felled", "See file", "", None])
    found = mapped(table, {"status": {"felled": "removed"}}, columns={"status": rule})
    assert found.text("status").to_pylist() == [
        "stump", "standing", "habitat_pole", "removed", None, None, None,
    ]  # fmt: skip
    assert codes(found) == {"status_word_unknown": (1, Done.FLAGGED)}


def test_several_words_in_a_cell() -> None:
    table = raw("sightings", pos=["butt|Wound", "butt; roof", "soil over root"])
    found = mapped(table, columns={"position": "pos"})
    assert found.text("position").to_pylist() == ["butt|wound", "butt", "soil_over_root"]
    assert codes(found) == {"position_word_unknown": (1, Done.FLAGGED)}


def test_one_column_gives_two_when_each_takes_a_part() -> None:
    table = raw(q=["Acer rubrum :: Red Maple", "Potential Site :: Potential Site", "Tree(s) ::"])
    found = mapped(
        table,
        missing={"values": ["Tree(s)"]},
        columns={
            "species": {"column": "q", "split": "::", "take": 0},
            "common_name": {"column": "q", "split": "::", "take": 1},
            "status": {"column": "q", "otherwise": "standing",
                       "codes": {"Potential Site :: Potential Site": "vacant"}},
        },
    )  # fmt: skip
    assert found.text("species").to_pylist() == ["Acer rubrum", "Potential Site", None]
    assert found.text("common_name").to_pylist() == ["Red Maple", "Potential Site", None]
    assert found.text("status").to_pylist() == ["standing", "vacant", "standing"]


def test_dates_in_the_usual_styles() -> None:
    texts: list[str | None] = [
        "2019-04-01", "01.04.2019", "1999", "25/12/2001", "12/25/2001", "03/04/2020", "2020-02",
        "2019-04-01T10:00:00Z", "20100821", "31.02.2019", "soon",
    ]  # fmt: skip
    found = mapped(raw(P=texts), columns={"planted_on": "P"})
    assert found.dates("planted_on").to_pylist() == [
        date(2019, 4, 1), date(2019, 4, 1), date(1999, 1, 1), date(2001, 12, 25),
        date(2001, 12, 25), None, date(2020, 2, 1), date(2019, 4, 1), date(2010, 8, 21), None, None,
    ]  # fmt: skip
    assert codes(found) == {
        "planted_on_date_ambiguous": (1, Done.EMPTIED),
        "planted_on_date_unreadable": (2, Done.EMPTIED),
    }


def test_told_formats_settle_day_and_month() -> None:
    rule = {"column": "P", "dates": ["%d/%m/%Y"]}
    found = mapped(raw(P=["03/04/2020", "1987"]), columns={"planted_on": rule})
    assert found.dates("planted_on").to_pylist() == [date(2020, 4, 3), date(1987, 1, 1)]


def test_yes_and_no() -> None:
    table = raw("inspections", w=["yes", "NEIN", "0", "x", "perhaps"])
    found = mapped(table, columns={"wet_in_winter": "w"})
    assert found.yes_no("wet_in_winter").to_pylist() == [True, False, False, True, None]
    assert codes(found) == {"wet_in_winter_yes_no_unreadable": (1, Done.EMPTIED)}


def test_canonical_headers_need_no_map() -> None:
    table = raw("sightings", Latitude=["37.7"], seen=["x"], Notes=["a"])
    column_map = ColumnMap.of_headers(table.data.column_names, kind="sightings", where="a.csv")
    found = apply(table, column_map, "sightings")
    assert found.number("latitude") == [37.7]
    assert found.header("latitude") == "Latitude"
    assert found.text("notes").to_pylist() == ["a"]
    assert found.text("photo").to_pylist() == [None]


def test_two_headers_for_one_canonical_column_are_refused() -> None:
    with pytest.raises(SettingsError, match="which both mean latitude"):
        ColumnMap.of_headers(["latitude", "Latitude "], kind="sightings", where="a.csv")


def test_a_mapped_column_that_is_not_there_gets_a_hint() -> None:
    with pytest.raises(InputError) as caught:
        mapped(raw(Baumhöhe=["1"], Art=["x"]), columns={"height_m": "Baumhohe"})
    assert "the nearest is 'Baumhöhe'" in caught.value.found
    assert "height_m" in caught.value.where


def test_all_missing_columns_are_told_at_once() -> None:
    with pytest.raises(ManyFaults) as caught:
        mapped(raw(a=["1"]), columns={"height_m": "h", "species": "s"})
    assert len(caught.value.faults) == 2


FAULTS: list[tuple[dict[str, Any], str]] = [
    ({"columns": {"dbh": "DBH"}}, "the nearest is 'dbh_cm'"),
    ({"columns": {"dbh_cm": {"column": "a", "unit": "kg"}}}, "unit 'kg'"),
    ({"columns": {"dbh_cm": {"column": "a", "measure": "radius"}}}, "measure 'radius'"),
    ({"columns": {"status": {"column": "a", "codes": {"x": "gone"}}}}, "codes to ['gone']"),
    ({"columns": {"dbh_cm": {"column": "a", "units": "cm"}}}, "keys ['units']"),
    ({"columns": {"dbh_cm": 3}}, "found 3"),
    ({"columns": {"height_m": "a", "crown_width_m": "a"}}, "column 'a' mapped 2 times"),
    ({"columns": {"owner": "a"}, "constants": {"owner": "public"}}, "a mapped column and a const"),
    ({"constants": {"colour": "red"}}, "'colour'"),
    ({"decimal": ";"}, "';'"),
    ({"colums": {}}, "a key that maps do not have"),
    ({"flags": {"x": {"column": "a"}}}, "{'column': 'a'}"),
]


@pytest.mark.parametrize(("toml", "said"), FAULTS, ids=[said for _, said in FAULTS])
def test_faults_of_a_map(toml: dict[str, Any], said: str) -> None:
    with pytest.raises(PipelineError) as caught:
        ColumnMap.from_toml({"kind": "trees", **toml}, where="map")
    assert said in str(caught.value)


def test_faults_of_a_map_are_told_together() -> None:
    toml = {"kind": "trees", "columns": {"dbh": "a", "height_m": {"column": "b", "unit": "kg"}}}
    with pytest.raises(ManyFaults) as caught:
        ColumnMap.from_toml(toml, where="map")
    assert len(caught.value.faults) == 2


def test_a_map_for_another_kind_is_refused() -> None:
    column_map = ColumnMap.from_toml({"kind": "streets"}, where="map")
    with pytest.raises(InputError, match="which is for streets"):
        apply(raw(a=["1"]), column_map, "trees")


def test_a_map_that_is_not_there_names_those_that_are(tmp_path: Path) -> None:
    (tmp_path / "town.toml").write_text("kind = 'trees'\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="one of town"):
        ColumnMap.load("city", folder=tmp_path)
    assert ColumnMap.load("town", folder=tmp_path).kind == "trees"
    (tmp_path / "bad.toml").write_text("kind = ", encoding="utf-8")
    with pytest.raises(SettingsError, match="not TOML"):
        ColumnMap.load("bad", folder=tmp_path)


def test_flags_of_the_map_mark_rows() -> None:
    found = mapped(
        raw(a=["Fläche", "Baum"]), flags={"area_mapping": {"column": "a", "values": ["fläche"]}}
    )
    assert found.marks["area_mapping"].tolist() == [True, False]
    with pytest.raises(InputError, match="for the flag f"):
        mapped(raw(a=["x"]), flags={"f": {"column": "b", "values": ["x"]}})


def test_constants_fill_every_row() -> None:
    found = mapped(
        raw(a=["x", "y"]),
        constants={"owner": "public", "height_m": "3", "planted_on": "2001-02-03"},
    )
    assert found.text("owner").to_pylist() == ["public", "public"]
    assert found.number("height_m") == pytest.approx([3, 3])
    assert found.dates("planted_on").to_pylist() == [date(2001, 2, 3)] * 2


@pytest.mark.parametrize("cell", ["No ID", "no id", "NO ID", "<Null>", "<NULL>", " <null> ", ""])
def test_words_for_missing_are_known_however_they_are_written(cell: str) -> None:
    kept = frozenset({"", "No ID", "no id", "<null>"})
    assert cells.clean(pa.array([cell, "Tilia"]), kept).to_pylist() == [None, "Tilia"]
