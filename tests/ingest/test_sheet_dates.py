"""Numbers that a spreadsheet took for dates."""

from pathlib import Path

import pytest

from pipeline.errors import PipelineError
from pipeline.ingest.cells import odd_number
from pipeline.ingest.column_map import ColumnMap
from pipeline.ingest.sheet_dates import sheet_date
from tests.ingest.little_city import LittleCity, inventory, tree


def read(cell: str, year: int | None = None) -> tuple[float | None, str | None]:
    return odd_number(cell, decimal="auto", scale=1.0, units=lambda _: 1.0, sheet_year=year)


@pytest.mark.parametrize(
    "cell",
    ["2003-05-12", "2003-05-12 00:00:00", "12/05/2003", "05/13/2003", "12.05.2003", "12/05/03",
     "may-05", "05-may", "Mai 2005", "5. Mai", "05/2003", "2-dic"],
)  # fmt: skip
def test_a_date_in_a_number_column_is_known_for_one_and_not_guessed(cell: str) -> None:
    assert read(cell) == (None, "spreadsheet_date")


@pytest.mark.parametrize("cell", ["32/05/2003", "12/13/14/15", "may", "dead", "00/00/00", "5 cm m"])
def test_other_text_is_no_date(cell: str) -> None:
    assert sheet_date(cell) is None
    assert read(cell)[1] in {"number_unreadable", "unit_unknown"}


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("02/05/10", 2.5),  # day and month, of the year in which the sheet was filled
        ("2010-05-02", 2.5),
        ("12/08/2010", 12.8),
        ("01/01/10", 1.1),
        ("01/01/75", 1.75),  # month and year: the first of it
        ("01/05/25", 5.25),
        ("01/01/2005", 1.05),
        ("2-may", 2.5),
    ],
)
def test_the_number_read_back_by_the_rule(cell: str, number: float) -> None:
    found, flag = read(cell, 2010)
    assert found == pytest.approx(number)
    assert flag == "spreadsheet_number"


@pytest.mark.parametrize("cell", ["05/13/2010", "12/05/2003", "may-2010"])
def test_what_the_rule_leaves_open_stays_empty(cell: str) -> None:
    assert read(cell, 2010) == (None, "spreadsheet_date")


def test_a_date_costs_the_field_and_not_the_tree(tmp_path: Path) -> None:
    text = inventory(tree(1, dbh_cm="12/05/2003"), tree(2, dbh_cm="may-05"))
    city = LittleCity(tmp_path).ingest({"trees.csv": text})
    assert city.codes("findings") == {"dbh_cm_spreadsheet_date": 2}
    assert city.trees()["T1"]["dbh_cm"] is None
    assert "dbh_cm_spreadsheet_date" in str(city.trees()["T1"]["flags"])


def test_the_year_must_be_one() -> None:
    raw = {"kind": "trees", "columns": {"dbh_cm": {"column": "D", "spreadsheet_year": "2010"}}}
    with pytest.raises(PipelineError, match="spreadsheet_year"):
        ColumnMap.from_toml(raw, where="map")
