"""Headers that stand again among the rows: set aside and told, whatever the kind of file."""

from pathlib import Path

import pyarrow as pa
import pytest

from pipeline.ingest.repeats import plain_header, repeated_headers
from tests.ingest.little_city import HEADER, LittleCity, inventory


@pytest.mark.parametrize(
    ("one", "other"),
    [("Cod Calle", "Cod_calle"), ("Científico", "científico"), (" Numero", "Numero")],
)
def test_spellings_of_one_header(one: str, other: str) -> None:
    assert plain_header(one) == plain_header(other)


def test_other_headers_stay_apart() -> None:
    assert plain_header("Cod Y") != plain_header("Y")


def test_a_header_repeated_with_gaps_and_other_spellings() -> None:
    table = pa.table(
        {
            "Id": ["1", "Id", "id", "Id", "2"],
            "Cod_calle": ["5", "Cod Calle", "", "7", "9"],
            "Species": ["Tilia", "Species", "", "Tilia", "species"],
            "Height": ["3", "Height", "HEIGHT", "4", "5"],
        }
    )
    assert repeated_headers(table).tolist() == [1, 2]
    assert repeated_headers(table.slice(3)).tolist() == []


def test_a_header_inside_is_no_tree_and_no_fault_of_its_cells(tmp_path: Path) -> None:
    text = inventory(HEADER, HEADER.upper(), ordinary=40)
    city = LittleCity(tmp_path).ingest({"trees.csv": text})
    assert city.codes("quarantine") == {"header_repeated": 2}
    assert city.codes("findings") == {}
    (source,) = city.rows("sources")
    assert (source["rows_in"], source["rows_accepted"], source["rows_set_aside"]) == (42, 40, 2)
    assert [row["line"] for row in city.rows("quarantine")] == [42, 43]
    assert [row["row"] for row in city.rows("trees")] == list(range(1, 41))


def test_a_row_that_holds_only_an_end_mark_is_told_as_such(tmp_path: Path) -> None:
    text = inventory("fin,,,,,", ",,,,,", ",,,,,root plate is lifting", ordinary=40)
    city = LittleCity(tmp_path).ingest({"trees.csv": text})
    assert city.codes("quarantine") == {"row_empty": 2, "place_missing": 1}
    assert city.rows("quarantine")[0]["danger"] == "root plate is lifting"
