"""Row checks: impossible values are emptied with a finding, zeros mean missing."""

from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from pipeline.ingest.checks import joined_flags, ranges, within_ranges
from pipeline.ingest.column_map import ColumnMap
from pipeline.ingest.columns import Mapped, apply
from pipeline.ingest.quarantine import Done
from pipeline.ingest.readers import RawTable
from pipeline.published.table import Library
from pipeline.tables.inputs import INPUTS

AS_OF = date(2026, 11, 15)


def checked(kind: str = "trees", **columns: list[str]) -> Mapped:
    """A file with canonical headers, checked."""
    data = pa.table({name: pa.array(values) for name, values in columns.items()})
    raw = RawTable(0, kind, "a.csv", "", 0, "CSV", data, np.arange(1, data.num_rows + 1))
    column_map = ColumnMap.of_headers(data.column_names, kind=kind, where="a.csv")
    limits = ranges(Library().table("plausible_ranges"))
    return within_ranges(apply(raw, column_map, kind), limits, as_of=AS_OF)


def test_diameters() -> None:
    found = checked(dbh_cm=["30", "0", "-3", "1000000", "nan", "inf", "1500", "0.1"])
    expected = [30, np.nan, np.nan, np.nan, np.nan, np.nan, 1500, 0.1]
    assert found.number("dbh_cm") == pytest.approx(expected, nan_ok=True)
    (finding,) = found.findings
    assert (finding.code, finding.done) == ("dbh_cm_impossible", Done.EMPTIED)
    assert finding.values == ("-3", "1000000", "inf")
    assert found.marks["dbh_zero"].tolist() == [False, True] + [False] * 6


def test_a_lean_of_zero_is_a_measurement() -> None:
    found = checked(lean_deg=["0", "91", "90"])
    assert found.number("lean_deg") == pytest.approx([0, np.nan, 90], nan_ok=True)
    assert found.marks == {}


def test_dates_after_the_run_and_the_year_9999_are_impossible() -> None:
    found = checked(planted_on=["9999", "2026-11-15", "2026-11-16", "1499", "1987"])
    assert found.dates("planted_on").to_pylist() == [
        None, date(2026, 11, 15), None, None, date(1987, 1, 1),
    ]  # fmt: skip
    assert found.findings[0].values == ("9999", "2026-11-16", "1499")


def test_every_range_is_of_a_canonical_column() -> None:
    for kind, name in ranges(Library().table("plausible_ranges")):
        column = {column.name: column for column in INPUTS[kind].columns}[name]
        assert column.kind in {"number", "integer", "date"}, (kind, name)


def test_every_range_empties_a_value_outside_it() -> None:
    """Perturbation: each row of the table does something."""
    for (kind, name), limit in ranges(Library().table("plausible_ranges")).items():
        dated = limit.high is None
        outside = ["1200-01-01", "2099-01-01"] if dated else [f"{limit.low - 1}", f"{limit.high}1"]
        columns: dict[str, Any] = {name: outside}
        found = checked(kind, **columns)
        late = found.marks.get("dated_after_run")  # such rows are set aside whole, not emptied
        told = 0 if late is None else int(late.sum())
        assert found.columns[name].null_count + told == 2, (kind, name)


def test_flags_are_joined_in_order() -> None:
    masks = [("a", np.array([True, False, True])), ("b", np.array([True, False, False])),
             ("never", np.zeros(3, np.bool_))]  # fmt: skip
    assert joined_flags(3, masks).to_pylist() == ["a|b", "", "a"]


def test_too_many_kinds_of_flags_are_refused() -> None:
    masks = [(f"f{n}", np.ones(1, np.bool_)) for n in range(63)]
    with pytest.raises(ValueError, match="63 kinds"):
        joined_flags(1, masks)
