"""Row checks: what values are possible, and what is done where one is not."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.cells import as_text
from pipeline.ingest.columns import Mapped
from pipeline.ingest.quarantine import Done, Finding
from pipeline.published.table import PublishedTable
from pipeline.units import Flags

# Inventories write 0 where nobody measured.
ZERO_MEANS_MISSING = frozenset(
    {"dbh_cm", "girth_cm", "height_m", "crown_width_m", "crown_depth_m", "stems"}
)


# Evidence from after the day of the run would make a back-dated run know its future. Such rows are
# marked here and set aside by whoever builds the table.
AFTER_RUN = "dated_after_run"
AFTER_RUN_SAID = (
    "The row is dated after the day of the run.",
    "Mend the date, or run with a later --as-of.",
)
_EVIDENCE_DATES = frozenset(
    {
        ("sightings", "seen_on"),
        ("inspections", "inspected_on"),
        ("decisions", "decided_on"),
        ("work_done", "done_on"),
    }
)


@dataclass(frozen=True, slots=True)
class Range:
    """Possible values of one canonical column; for dates, years, with the day of the run on top."""

    low: float
    high: float | None


Ranges = dict[tuple[str, str], Range]


def ranges(table: PublishedTable) -> Ranges:
    """The published ranges by input and column.

    Raises
    ------
    PublishedValueError
        If a bound is no number.
    """
    keys = zip(table.texts("input"), table.texts("column"), strict=True)
    bounds = zip(table.numbers("low"), table.numbers("high"), strict=True)
    return {
        key: Range(float(low), None if np.isnan(high) else float(high))
        for key, (low, high) in zip(keys, bounds, strict=True)
    }


def within_ranges(mapped: Mapped, limits: Ranges, *, as_of: date) -> Mapped:
    """Empty the values that cannot be, with a finding each; no row is set aside for one.

    Parameters
    ----------
    as_of : day of the run: nothing that was seen or done lies after it.
    """
    columns: dict[str, pa.Array] = {}
    findings: list[Finding] = []
    marks: dict[str, Flags] = {}
    for (kind, name), limit in limits.items():
        column = mapped.columns.get(name)
        if kind != mapped.kind or column is None:
            continue
        if pa.types.is_date32(column.type):
            wrong, late = _dates_outside(column, limit, as_of)
            if (kind, name) in _EVIDENCE_DATES:
                marks[AFTER_RUN] = late
            else:
                wrong = wrong | late
            said = f"between {limit.low:.0f} and the day of the run"
        else:
            column, zero = _without_zeros(name, column)
            wrong = _numbers_outside(column, limit)
            if zero.any():
                marks[f"{name.split('_')[0]}_zero"] = zero
            said = f"between {limit.low:g} and {limit.high:g}"
        if wrong.any():
            rows = np.flatnonzero(wrong)
            values = tuple(as_text(mapped.original(name)).take(pa.array(rows)).to_pylist())
            findings.append(Finding(
                f"{name}_impossible", rows, mapped.header(name) or name, values,
                f"the value cannot be; possible is {said}", "Mend the value in the file.",
                Done.EMPTIED))  # fmt: skip
            column = pc.if_else(pa.array(wrong), pa.scalar(None, column.type), column)
        columns[name] = column
    return mapped.with_changes(columns, tuple(findings), marks)


def without_hollow_rows(mapped: Mapped) -> Mapped:
    """Set aside the rows of an inventory that hold nothing, or nothing but an id or an end mark."""
    if mapped.kind != "trees" or not mapped.headers or mapped.raw.geometry is not None:
        return mapped
    hollow = np.ones(len(mapped), np.bool_)
    for name in mapped.headers:
        if name != "tree_id":
            hollow &= mapped.columns[name].is_null().to_numpy(zero_copy_only=False)
    rows = np.flatnonzero(hollow)
    if not len(rows):
        return mapped
    # what the map does not read may still say something of a tree
    filled = np.zeros(len(rows), np.int64)
    for cells in mapped.raw.data.take(pa.array(rows)).columns:
        blank = pc.equal(pc.utf8_trim_whitespace(as_text(cells)), "").fill_null(True)
        filled += ~blank.to_numpy(zero_copy_only=False)
    rows = rows[filled <= 1]
    if not len(rows):
        return mapped
    header = mapped.header("tree_id")
    told = tuple(mapped.original("tree_id").take(pa.array(rows)).to_pylist())
    return mapped.with_changes({}, (Finding(
        "row_empty", rows, header, told, "the row holds nothing but, at most, an id or an end mark",
        "Nothing, or delete the row: no tree is lost with it.", Done.SET_ASIDE),))  # fmt: skip


def _without_zeros(name: str, column: pa.Array) -> tuple[pa.Array, Flags]:
    """The column with zeros that mean 'missing' taken out, and the rows that held one."""
    if name not in ZERO_MEANS_MISSING:
        return column, np.zeros(len(column), np.bool_)
    zero = pc.equal(column, 0).fill_null(False)
    rows = zero.to_numpy(zero_copy_only=False)
    return (pc.if_else(zero, None, column) if rows.any() else column), rows


def _numbers_outside(column: pa.Array, limit: Range) -> Flags:
    """Rows outside the range; a cell that says 'not a number' or 'infinite' is outside too."""
    values = column.fill_null(float("nan")).to_numpy(zero_copy_only=False)
    high = np.inf if limit.high is None else limit.high
    wrong = (values < limit.low) | (values > high) | np.isinf(values)
    written = column.is_valid().to_numpy(zero_copy_only=False)
    return np.asarray(wrong | (np.isnan(values) & written), np.bool_)


def _dates_outside(column: pa.Array, limit: Range, as_of: date) -> tuple[Flags, Flags]:
    """Rows dated too early to be believed, and rows dated after the day of the run."""
    early = pc.less(column, pa.scalar(date(int(limit.low), 1, 1))).fill_null(False)
    late = pc.greater(column, pa.scalar(as_of)).fill_null(False)
    return (
        np.asarray(early.to_numpy(zero_copy_only=False), np.bool_),
        np.asarray(late.to_numpy(zero_copy_only=False), np.bool_),
    )


def joined_flags(size: int, flags: Sequence[tuple[str, Flags]]) -> pa.Array:
    """Codes of each row joined with |, in the given order, as a dictionary array of length `size`.

    Parameters
    ----------
    flags : at most 62 codes with their rows, each shape (size,).

    Raises
    ------
    ValueError
        If there are more.
    """
    present = [(code, mask) for code, mask in flags if mask.any()]
    if len(present) > _MOST_FLAGS:
        message = f"{len(present)} kinds of flags do not fit one integer"
        raise ValueError(message)
    bits = np.zeros(size, dtype=np.int64)
    for place, (_, mask) in enumerate(present):
        bits |= mask.astype(np.int64) << place
    coded = pa.array(bits).dictionary_encode()
    names = [
        "|".join(code for place, (code, _) in enumerate(present) if combination >> place & 1)
        for combination in coded.dictionary.to_pylist()
    ]
    return pa.DictionaryArray.from_arrays(coded.indices, pa.array(names, pa.string()))


_MOST_FLAGS = 62
