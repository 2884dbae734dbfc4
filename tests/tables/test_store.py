"""The store: a table that does not fit its declaration is refused; equal tables are equal bytes."""

from pathlib import Path

import pyarrow as pa
import pytest

from pipeline.errors import TableError
from pipeline.tables.schema import Column, Kind, TableSchema
from pipeline.tables.store import RunStore, conform, empty

TABLE = TableSchema(
    "ingest",
    "sources",
    "a small table for tests",
    ("number",),
    (
        Column("number", Kind.INT64, "key", low=0),
        Column("word", Kind.LABEL, "word", allowed=("a", "b"), nullable=True),
        Column("size_cm", Kind.FLOAT, "size", "cm", low=0, high=10),
    ),
)


def _data(numbers: list[int], words: list[str | None], sizes: list[float]) -> pa.Table:
    return pa.table({"number": numbers, "word": words, "size_cm": sizes})


def test_rows_are_stored_in_key_order_and_equal_to_the_byte(tmp_path: Path) -> None:
    one, two = RunStore(tmp_path / "1"), RunStore(tmp_path / "2")
    one.write(TABLE, _data([2, 0, 1], ["b", "a", None], [1.0, 2.0, 3.0]))
    two.write(TABLE, _data([0, 1, 2], ["a", None, "b"], [2.0, 3.0, 1.0]))
    assert one.path(TABLE).read_bytes() == two.path(TABLE).read_bytes()
    assert one.read(TABLE)["number"].to_pylist() == [0, 1, 2]
    assert one.read(TABLE)["word"].to_pylist() == ["a", None, "b"]


def test_labels_do_not_depend_on_how_they_arrive(tmp_path: Path) -> None:
    one, two = RunStore(tmp_path / "1"), RunStore(tmp_path / "2")
    plain = _data([0, 1], ["b", "a"], [1.0, 2.0])
    coded = pa.DictionaryArray.from_arrays([1, 2], pa.array(["x", "b", "a"]))
    one.write(TABLE, plain)
    two.write(TABLE, plain.set_column(1, "word", coded))
    assert one.path(TABLE).read_bytes() == two.path(TABLE).read_bytes()


def test_two_codes_of_one_word_are_one_label(tmp_path: Path) -> None:
    """A doubled word once made the stored bytes depend on how ties fell in a sort."""
    one, two = RunStore(tmp_path / "1"), RunStore(tmp_path / "2")
    plain = _data([0, 1, 2], ["b", "a", "b"], [1.0, 2.0, 3.0])
    doubled = pa.DictionaryArray.from_arrays([2, 1, 0], pa.array(["b", "a", "b"]))
    one.write(TABLE, plain)
    two.write(TABLE, plain.set_column(1, "word", doubled))
    assert one.path(TABLE).read_bytes() == two.path(TABLE).read_bytes()


@pytest.mark.parametrize(
    ("data", "found"),
    [
        pytest.param(_data([0, 0], ["a", "a"], [1, 1]), "repeat the key", id="doubled key"),
        pytest.param(_data([0], ["c"], [1]), r"\['c'\]", id="word not allowed"),
        pytest.param(_data([0], ["a"], [11]), "11", id="out of range"),
        pytest.param(_data([0], ["a"], [float("nan")]), "NaN", id="not a number"),
        pytest.param(
            pa.table({"number": [0], "word": ["a"], "size_cm": pa.array([None], pa.float64())}),
            "1 empty values",
            id="empty",
        ),
        pytest.param(pa.table({"number": [0], "word": ["a"]}), "size_cm", id="column missing"),
        pytest.param(
            _data([0], ["a"], [1]).append_column("more", pa.array([1])), "more", id="undeclared"
        ),
        pytest.param(
            pa.table({"number": ["x"], "word": ["a"], "size_cm": [1.0]}), "number", id="wrong type"
        ),
    ],
)
def test_what_does_not_fit_is_refused(data: pa.Table, found: str) -> None:
    with pytest.raises(TableError, match=found):
        conform(TABLE, data)


def test_an_empty_table_is_a_table(tmp_path: Path) -> None:
    store = RunStore(tmp_path)
    store.write(TABLE, empty(TABLE))
    assert store.read(TABLE).num_rows == 0


def test_sql_sees_the_tables_under_their_names(tmp_path: Path) -> None:
    store = RunStore(tmp_path)
    store.write(TABLE, _data([0, 1], ["a", "b"], [1.0, 2.0]))
    answer = store.query("select sum(size_cm) as total from ingest.sources")
    assert answer["total"].to_pylist() == [3.0]
    assert store.write_views().is_file()


def test_a_table_that_was_not_written(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="no such table"):
        RunStore(tmp_path).read(TABLE)
    with pytest.raises(TableError, match="no CRS"):
        _ = RunStore(tmp_path).epsg


def test_a_table_cut_short_is_a_damaged_run_folder(tmp_path: Path) -> None:
    store = RunStore(tmp_path)
    store.write(TABLE, _data([0, 1], ["a", "b"], [1.0, 2.0]))
    path = store.path(TABLE)
    path.write_bytes(path.read_bytes()[:40])
    with pytest.raises(TableError, match="run folder damaged") as caught:
        store.read(TABLE)
    assert caught.value.where == f"{path.name} of the run folder"
    with pytest.raises(TableError, match="run folder damaged"):
        store.query("select * from ingest.sources")
    with pytest.raises(TableError, match="run folder damaged"):
        list(store.batches(TABLE, size=1))


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"epsg": "north"}'])
def test_a_crs_file_of_another_kind_is_a_damaged_run_folder(tmp_path: Path, text: str) -> None:
    store = RunStore(tmp_path)
    store.epsg = 32618
    (tmp_path / "tables" / "crs.json").write_text(text, encoding="utf-8")
    with pytest.raises(TableError, match="run folder damaged"):
        _ = store.epsg
