"""Sizes that check one another: a diameter beside a girth, and heights that look like another unit.

Nothing is converted here without being asked: where diameter and girth disagree by one factor in
nearly all rows, the girth is used and the factor is told; where heights look like another unit,
that is told, and the unit has to be stated in the column map.
"""

from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest import cells
from pipeline.ingest.column_map import factor
from pipeline.ingest.columns import Mapped
from pipeline.ingest.gathering import Gathered
from pipeline.ingest.quarantine import Done, Finding
from pipeline.published.table import PublishedTable
from pipeline.units import LENGTH_IN_CM, Flags, Floats, diameter_from_girth

FROM_GIRTH = "dbh_from_girth"
_PLAIN_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
# What a wrong diameter column usually holds.
_MEANINGS = (
    (2.0, "twice the diameter"),
    (0.5, "half the diameter, a radius"),
    (np.pi, "the girth itself"),
    (1.0 / np.pi, "a diameter worked out from a diameter"),
    (2.0 * np.pi, "twice the girth"),
    (10.0, "millimetres"),
    (0.01, "metres"),
    (1.0 / LENGTH_IN_CM["in"], "inches"),
    (LENGTH_IN_CM["in"], "a diameter turned into centimetres twice"),
)
_HEIGHT_UNITS = ("cm", "ft", "mm", "in", "m")


@dataclass(frozen=True, slots=True)
class SizeChecks:
    """When sizes of an inventory cannot be what their column says; from size_checks.csv."""

    share_of_rows: float
    fewest_rows: float
    same_factor: float
    one_off: float
    median_height_low_m: float
    median_height_high_m: float

    @classmethod
    def of(cls, table: PublishedTable) -> "SizeChecks":
        """The limits of the published table.

        Raises
        ------
        PublishedValueError
            If one of them is missing or no number.
        """
        return cls(*(table.number("limit", quantity=name) for name in cls.__slots__))


def of_trees(gathered: Gathered, limits: SizeChecks) -> Gathered:
    """The same files, the sizes of the trees checked."""
    trees = tuple(replace(read, mapped=checked(read.mapped, limits)) for read in gathered["trees"])
    return Gathered({**gathered.by_kind, "trees": trees})


def checked(mapped: Mapped, limits: SizeChecks) -> Mapped:
    """The file with diameters that can be believed; its notes say what holds of it as a whole."""
    mapped, of_girth = _beside_girth(mapped, limits)
    mapped = _within_heights(mapped)
    return replace(mapped, notes=(*mapped.notes, *of_girth, *_of_heights(mapped, limits)))


def _beside_girth(mapped: Mapped, limits: SizeChecks) -> tuple[Mapped, tuple[str, ...]]:
    """Diameters held against girths, where the file has both; a girth alone gives the diameter."""
    if not mapped.has("girth_cm"):
        return mapped, ()
    by_girth = diameter_from_girth(mapped.number("girth_cm"))
    told = mapped.number("dbh_cm")
    if not mapped.has("dbh_cm"):
        return _with_diameters(mapped, told, by_girth, np.isnan(told), ()), ()
    ratio = _raw(mapped, "dbh_cm") / by_girth
    both = np.isfinite(ratio) & (ratio > 0)
    found = _one_factor(ratio[both], limits)
    if found is not None and abs(found - 1.0) > limits.same_factor:
        agree = int((abs(ratio[both] / found - 1.0) <= limits.same_factor).sum())
        note = (
            f"{mapped.header('dbh_cm')!r} is {_said(found, limits)} in {agree:,} of "
            f"{int(both.sum()):,} rows that have a girth too: the girths are used, and diameters "
            "without a girth are not believed"
        )
        orphans = np.isfinite(told) & ~np.isfinite(by_girth)
        emptied = _finding(
            mapped, orphans, "dbh_without_girth", Done.EMPTIED,
            f"the column is {_said(found, limits)} in nearly all rows, and this row has no girth",
            "Export the diameters anew, or give the girth.",
        )  # fmt: skip
        none = np.full(len(mapped), np.nan)
        return _with_diameters(mapped, none, by_girth, np.ones(len(mapped), np.bool_), emptied), (
            note,
        )
    off = both & (abs(ratio - 1.0) > limits.one_off)
    flagged = _finding(
        mapped, off, "dbh_girth_disagree", Done.FLAGGED,
        "diameter and girth of the row do not fit each other; the diameter is used",
        "Measure again, and mend the one that is wrong.",
    )  # fmt: skip
    return _with_diameters(mapped, told, by_girth, np.isnan(told), flagged), ()


def _with_diameters(
    mapped: Mapped,
    told: Floats,
    by_girth: Floats,
    replaced: Flags,
    findings: tuple[Finding, ...],
) -> Mapped:
    """The diameters told, with those of girths put in the rows to replace, which are marked."""
    taken = replaced & np.isfinite(by_girth)
    values = np.where(taken, by_girth, told)
    column = pa.array(values, pa.float64(), from_pandas=True)
    return mapped.with_changes({"dbh_cm": column}, findings, {FROM_GIRTH: taken})


def _one_factor(ratio: Floats, limits: SizeChecks) -> float | None:
    """The factor that nearly all rows share; None if there is none, or too few rows."""
    if len(ratio) < limits.fewest_rows:
        return None
    middle = float(np.median(ratio))
    shared = np.mean(abs(ratio / middle - 1.0) <= limits.same_factor)
    return middle if shared >= limits.share_of_rows else None


def _said(found: float, limits: SizeChecks) -> str:
    """The factor in words: what such a column usually holds, else the number."""
    for value, words in _MEANINGS:
        if abs(found / value - 1.0) <= limits.same_factor:
            return words
    return f"{found:.3g} times the diameter"


def _of_heights(mapped: Mapped, limits: SizeChecks) -> tuple[str, ...]:
    """A note if the middle height is none, and which unit would make it one."""
    if not mapped.has("height_m") or mapped.header("height_m") is None:
        return ()
    heights = _raw(mapped, "height_m")
    heights = heights[np.isfinite(heights) & (heights > 0)]
    if len(heights) < limits.fewest_rows:
        return ()
    middle = float(np.median(heights))
    if limits.median_height_low_m <= middle <= limits.median_height_high_m:
        return ()
    own = mapped.rules["height_m"].unit or "m"
    written = middle / (factor("m", own) or 1.0)
    fits = [(unit, written * (factor("m", unit) or 1.0)) for unit in _HEIGHT_UNITS if unit != own]
    likely = [
        f"as {unit} it would be {value:.1f} m"
        for unit, value in fits
        if limits.median_height_low_m <= value <= limits.median_height_high_m
    ]
    hint = f"; {', '.join(likely)}" if likely else ""
    said = (
        f"the middle height in {mapped.header('height_m')!r} is {middle:,.4g} m, which no town's "
        f"trees have{hint}: state the unit in the column map, as "
        "height_m = { column = ..., unit = 'cm' }"
    )
    return (said,)


def _within_heights(mapped: Mapped) -> Mapped:
    """No crown is deeper than its tree is tall; which of the two is wrong nobody can say."""
    if not (mapped.has("crown_depth_m") and mapped.has("height_m")):
        return mapped
    depth = mapped.number("crown_depth_m")
    deeper = depth > mapped.number("height_m")
    found = _finding(
        mapped, deeper, "crown_depth_over_height", Done.EMPTIED,
        "the crown is deeper than the tree is tall; the usual depth for the height is taken",
        "Measure again, and mend the height or the depth.", column="crown_depth_m",
    )  # fmt: skip
    column = pa.array(np.where(deeper, np.nan, depth), pa.float64(), from_pandas=True)
    return mapped.with_changes({"crown_depth_m": column}, found, {}) if found else mapped


def _raw(mapped: Mapped, name: str) -> Floats:
    """A column in its canonical unit before values that cannot be were emptied, NaN elsewhere."""
    if mapped.header(name) is None or mapped.rules[name].classes:
        return mapped.number(name)
    text = pc.utf8_trim_whitespace(cells.as_text(mapped.original(name)))
    plain = pc.match_substring_regex(text, _PLAIN_NUMBER).fill_null(False)
    values = pc.if_else(plain, text, None).cast(pa.float64()).fill_null(float("nan"))
    rule = mapped.rules[name]
    unit = "m" if name == "height_m" else "cm"
    numbers = values.to_numpy(zero_copy_only=False) * (factor(unit, rule.unit) or 1.0)
    if rule.measure == "girth":
        numbers = diameter_from_girth(numbers)
    own = mapped.number(name)
    return np.where(np.isfinite(own), own, numbers)


def _finding(
    mapped: Mapped,
    mask: Flags,
    code: str,
    done: Done,
    reason: str,
    remedy: str,
    *,
    column: str = "dbh_cm",
) -> tuple[Finding, ...]:
    rows = np.flatnonzero(mask)
    if not len(rows):
        return ()
    values = tuple(mapped.original(column).take(pa.array(rows)).to_pylist())
    return (Finding(code, rows, mapped.header(column), values, reason, remedy, done),)
