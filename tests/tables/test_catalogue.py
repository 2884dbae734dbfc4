"""The declarations themselves: names, units, keys and references hold together."""

import re

import pytest

from pipeline.tables.catalogue import STAGES, TABLES
from pipeline.tables.inputs import INPUTS
from pipeline.tables.schema import UNITS, Kind, TableSchema

UNIT_ENDINGS = {
    "cm": "_cm", "m": "_m", "deg": "_deg", "years": "_years", "days": "_days",
    "km/h": "_km_h", "persons/h": "_per_h", "vehicles/day": "_per_day", "V": "_v", "min": "_min",
}  # fmt: skip


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.full_name)
def test_a_table_is_declared_whole(table: TableSchema) -> None:
    assert table.stage in STAGES
    assert set(table.key) <= set(table.column_names)
    assert len(set(table.column_names)) == len(table.column_names)
    for column in table.columns:
        assert re.fullmatch(r"[a-z][a-z0-9_]*", column.name)
        assert column.meaning
        assert column.unit in UNITS
        if column.name in table.key:
            assert not column.nullable


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.full_name)
def test_units_stand_in_the_names(table: TableSchema) -> None:
    for column in table.columns:
        ending = UNIT_ENDINGS.get(column.unit)
        if ending is not None:
            assert column.name.endswith(ending), column.name


def test_same_name_means_same_kind_and_unit() -> None:
    seen: dict[str, tuple[Kind, str]] = {}
    for table in TABLES.values():
        for column in table.columns:
            kind = Kind.TEXT if column.kind is Kind.LABEL else column.kind
            first = seen.setdefault(column.name, (kind, column.unit))
            # words in ingest, as people write them; ordered numbers in scoring
            if column.name not in {"part", "occupancy"}:
                assert first == (kind, column.unit), f"{table.full_name}.{column.name}"


def test_references_point_at_keys() -> None:
    for table in TABLES.values():
        for reference in table.foreign:
            assert reference.column in table.column_names
            assert reference.table in TABLES
            assert TABLES[reference.table].key[0].endswith("_key")


def test_input_columns_are_named_once_and_words_are_plain() -> None:
    for kind in INPUTS.values():
        names = [column.name for column in kind.columns]
        assert len(names) == len(set(names)), kind.name
        for column in kind.columns:
            assert all(re.fullmatch(r"[a-z0-9_]+", value) for value in column.allowed)
