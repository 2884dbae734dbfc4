"""Sightings and defects read from tree rows: added after the reported ones, counted apart."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from pipeline.ingest.derived import Derived, DerivedDefects, DerivedSightings, keys_of_rows
from pipeline.ingest.derived_rows import account, with_defects, with_sightings
from pipeline.ingest.names import NameBook
from pipeline.published.table import Library
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import conform
from tests.ingest.little_city import LittleCity, inventory, tree

_SIGHTINGS = "tree_id,seen_on,name\nT1,2026-05-01,Ganoderma applanatum\n"
_INSPECTIONS = (
    "tree_id,inspected_on,part,defect\nT1,2024-05-01,stem,crack\nT2,2026-05-01,stem,crack\n"
)
_INPUTS = """
[[inputs.trees]]
files = ["trees.csv"]
[[inputs.sightings]]
files = ["sightings.csv"]
[[inputs.inspections]]
files = ["inspections.csv"]
"""


@pytest.fixture
def city(tmp_path: Path) -> LittleCity:
    return LittleCity(tmp_path).ingest(
        {
            "trees.csv": inventory(
                tree(1), tree(2), tree(3, longitude="not here"), tree(4), ordinary=3
            ),
            "sightings.csv": _SIGHTINGS,
            "inspections.csv": _INSPECTIONS,
        },
        inputs=_INPUTS,
    )


@pytest.fixture(scope="module")
def book() -> NameBook:
    library = Library()
    return NameBook.of_fungi(
        library.table("taxa"),
        library.table("taxon_names", key=("name", "taxon_id")),
        least_score=90,
    )


def _texts(*values: str | None) -> pa.Array:
    return pa.array(values, pa.string())


def _sightings(keys: list[int], *, origin: str = "column") -> DerivedSightings:
    size = len(keys)
    return DerivedSightings(
        origin=origin,
        tree_key=np.array(keys, np.int64),
        quoted=_texts(*["Ganoderme"] * size),
        name=_texts(*(["Fomes fomentarius", None] * size)[:size]),
        name_certainty=np.full(size, np.nan),
        name_by=_texts(*[None] * size),
        attachment=_texts(*["attached"] * size),
        position=_texts(*["butt"] * size),
        seen_on=pa.array([date(2020, 10, 1)] * size, pa.date32()),
        flags=_texts(*["unsure"] * size),
    )


def _defects(keys: list[int], seen: list[date | None], *, part: str = "stem") -> DerivedDefects:
    size = len(keys)
    return DerivedDefects(
        origin="note",
        tree_key=np.array(keys, np.int64),
        quoted=_texts(*["gespalten"] * size),
        part=_texts(*[part] * size),
        defect=_texts(*["crack"] * size),
        extent_share=np.full(size, np.nan),
        with_decay=np.zeros(size, np.bool_),
        with_crack=np.ones(size, np.bool_),
        seen_on=pa.array(seen, pa.date32()),
        flags=_texts(*[""] * size),
    )


def _table(city: LittleCity, name: str) -> pa.Table:
    return city.store.read(TABLES[f"ingest.{name}"])


def test_what_people_reported_says_so(city: LittleCity) -> None:
    for name in ("sightings", "defects"):
        rows = city.rows(name)
        assert rows
        assert {(row["origin"], row["quoted"]) for row in rows} == {("reported", None)}
    assert {row["derived"] for row in city.rows("sources")} == {0}


def test_sightings_follow_the_reported_ones_and_name_their_tree(
    city: LittleCity, book: NameBook
) -> None:
    trees = _table(city, "trees")
    key = {row["tree_id"]: row["tree_key"] for row in trees.to_pylist()}
    table, matches = with_sightings(
        _table(city, "sightings"),
        _table(city, "sighting_matches"),
        [
            _sightings([key["T4"], key["T4"]]),
            replace(_sightings([key["T4"]], origin="note"), position=_texts("stem")),
        ],
        trees=trees,
        book=book,
    )
    rows = conform(TABLES["ingest.sightings"], table).to_pylist()
    conform(TABLES["ingest.sighting_matches"], matches)
    assert [row["sighting_key"] for row in rows] == [0, 1, 2, 3]
    assert rows[0]["origin"] == "reported"
    added = rows[1:]
    assert [row["sighting_id"] for row in added] == ["T4/column1", "T4/column2", "T4/note1"]
    assert {row["match"] for row in added} == {"by_id"}
    assert {row["tree_key"] for row in added} == {key["T4"]}
    assert [row["taxon_id"] for row in added] == ["fomes_fomentarius", None, "fomes_fomentarius"]
    assert [row["name_how"] for row in added] == ["exact", "missing", "exact"]
    assert {row["quoted"] for row in added} == {"Ganoderme"}
    assert {row["seen_on"] for row in added} == {date(2020, 10, 1)}
    own = [row for row in matches.to_pylist() if row["sighting_key"] > 0]
    assert [(row["tree_key"], row["weight"]) for row in own] == [(key["T4"], 1.0)] * 3


def test_a_younger_inspection_stands_over_a_column_and_no_date_stands(city: LittleCity) -> None:
    trees = _table(city, "trees")
    key = {row["tree_id"]: row["tree_key"] for row in trees.to_pylist()}
    table = with_defects(
        _table(city, "defects"),
        [
            _defects(
                [key["T1"], key["T2"], key["T2"], key["T4"]],
                [date(2025, 1, 1), date(2025, 1, 1), None, date(2000, 1, 1)],
                part="branch",
            )
        ],
        trees=trees,
        inspections=_table(city, "inspections"),
    )
    rows = conform(TABLES["ingest.defects"], table).to_pylist()
    assert [row["defect_key"] for row in rows] == list(range(6))
    # T1 was looked at before the row was written, T2 after it, T4 never
    assert [row["latest"] for row in rows[2:]] == [True, False, True, True]
    assert {row["inspection_key"] for row in rows[2:]} == {-1}
    assert {row["origin"] for row in rows[2:]} == {"note"}


def test_rows_that_were_set_aside_have_no_tree(city: LittleCity) -> None:
    trees = _table(city, "trees")
    aside = {row["row"] for row in city.rows("quarantine")}
    assert len(aside) == 1

    class Raw:
        source_key = 0
        rows = np.arange(1, trees.num_rows + 2)

    class Mapped:
        raw = Raw

    keys = keys_of_rows(Mapped, trees)  # type: ignore[arg-type]
    assert set(Raw.rows[keys < 0].tolist()) == aside
    assert keys[keys >= 0].tolist() == list(range(trees.num_rows))


def test_the_account_counts_by_kind_and_origin(city: LittleCity, book: NameBook) -> None:
    trees = _table(city, "trees")
    said = [
        Derived(sightings=(_sightings([0, 1]),)),
        Derived(
            defects=(_defects([2], [None]),),
            sightings=(_sightings([3], origin="note"), _sightings([0], origin="note")),
        ),
    ]
    sightings, _ = with_sightings(
        _table(city, "sightings"),
        _table(city, "sighting_matches"),
        [part for one in said for part in one.sightings],
        trees=trees,
        book=book,
    )
    defects = with_defects(
        _table(city, "defects"),
        said[1].defects,
        trees=trees,
        inspections=_table(city, "inspections"),
    )
    written = {TABLES[f"ingest.{name}"]: _table(city, name) for name in ("readings", "decisions")}
    written |= {TABLES["ingest.sightings"]: sightings, TABLES["ingest.defects"]: defects}
    many, words = account(said, written, trees)[0]
    assert many == 4
    assert words == (
        "read from its rows beside the trees: 2 sightings from columns, 1 sighting from notes, "
        "1 defect from notes; 1 more say again what is known"
    )
    assert account([Derived()], written, trees) == {}


def test_a_note_that_repeats_a_column_adds_no_fungus(city: LittleCity, book: NameBook) -> None:
    trees = _table(city, "trees")

    def added(*parts: DerivedSightings) -> list[str]:
        table, _ = with_sightings(
            _table(city, "sightings"),
            _table(city, "sighting_matches"),
            parts,
            trees=trees,
            book=book,
        )
        return [row["sighting_id"] for row in table.to_pylist()[1:]]

    column = _sightings([0])
    same = _sightings([0], origin="note")
    unnamed = replace(same, name=_texts(None))
    no_place = replace(same, position=_texts(None))
    higher = replace(same, position=_texts("branch"))
    other = replace(same, name=_texts("Ganoderma applanatum"))
    for again in (same, unnamed, no_place):
        assert len(added(column, again)) == 1
    for new in (higher, other, _sightings([1], origin="note")):
        assert len(added(column, new)) == 2
    # without a column that says it, a note stands; two columns are two places looked at
    assert len(added(same)) == 1
    assert len(added(column, column)) == 2


def test_two_witnesses_of_one_crack_are_not_two_cracks(city: LittleCity) -> None:
    trees = _table(city, "trees")
    key = {row["tree_id"]: row["tree_key"] for row in trees.to_pylist()}

    def added(*parts: DerivedDefects) -> int:
        table = with_defects(
            _table(city, "defects"),
            parts,
            trees=trees,
            inspections=_table(city, "inspections"),
        )
        return int(table.num_rows - _table(city, "defects").num_rows)

    note = _defects([key["T4"]], [None])
    column = replace(note, origin="column")
    assert added(column, note) == 1
    assert added(note, note) == 2  # a remark that names two cracks names two
    assert added(column, replace(note, part=_texts("branch"))) == 2
    inspected = _defects([key["T2"]], [date(2025, 1, 1)])
    assert added(inspected) == 0
    dead = trees.set_column(
        trees.column_names.index("status"), "status", pa.array(["dead"] * trees.num_rows)
    )
    table = with_defects(
        _table(city, "defects"),
        [replace(column, defect=_texts("dead_tree"))],
        trees=dead,
        inspections=_table(city, "inspections"),
    )
    assert table.num_rows == _table(city, "defects").num_rows


def test_nothing_read_changes_nothing(city: LittleCity, book: NameBook) -> None:
    trees, table = _table(city, "trees"), _table(city, "sightings")
    same, _ = with_sightings(
        table, _table(city, "sighting_matches"), [_sightings([])], trees=trees, book=book
    )
    assert same.equals(table)
