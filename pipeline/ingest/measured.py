"""Measurements that cannot be: a shell thicker than the stem must never be read as sound wood."""

from dataclasses import dataclass
from math import pi

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.columns import Mapped
from pipeline.ingest.places import finding
from pipeline.ingest.quarantine import Done, Finding
from pipeline.published.table import PublishedTable
from pipeline.units import Flags, Floats

_REMEDY = "Mend the measurement in the file; until then it says nothing."
# What a kind of measurement must carry to say anything; the others speak by a word.
_BY_NUMBER = ("probe", "drill", "core", "tomogram")
_ROUND = 360.0
_NUMBERS = ("shell_cm", "hollow_diameter_cm", "opening_cm", "decayed_share")


@dataclass(frozen=True, slots=True)
class ReadingLimits:
    """How large a measurement may be beside its section; from reading_limits.csv."""

    shell_over_radius: float
    hollow_over_diameter: float
    opening_over_girth: float
    section_over_breast_height: float
    shell_and_hollow_over_diameter: float

    @classmethod
    def of(cls, table: PublishedTable) -> "ReadingLimits":
        """The limits of the published table.

        Raises
        ------
        PublishedValueError
            If one of them is missing or no number.
        """
        return cls(*(table.number("limit", quantity=name) for name in cls.__slots__))


def possible(
    mapped: Mapped, dbh_cm: Floats, limits: ReadingLimits
) -> tuple[Mapped, tuple[Finding, ...]]:
    """The file with impossible measurements emptied, and a finding for each.

    Parameters
    ----------
    dbh_cm : diameter of the tree of each row, shape (rows,), NaN where it is not known. It bounds
        the section where the row gives no diameter of its own.
    """
    section = mapped.number("section_diameter_cm")
    most = np.where(np.isnan(section), dbh_cm * limits.section_over_breast_height, section)
    checks = (
        ("shell_cm", limits.shell_over_radius * most / 2.0, "thicker than the stem's radius"),
        ("hollow_diameter_cm", limits.hollow_over_diameter * most, "wider than the stem"),
        ("opening_cm", limits.opening_over_girth * pi * most, "wider than the girth"),
    )
    columns: dict[str, pa.Array] = {}
    findings: tuple[Finding, ...] = ()
    for name, bound, said in checks:
        values = mapped.number(name)
        wrong: Flags = values > bound
        if not wrong.any():
            continue
        findings += finding(
            mapped, wrong, code=f"{name}_beyond_section", done=Done.EMPTIED, column=name,
            said=(f"The measurement is {said}, which cannot be.", _REMEDY),
        )  # fmt: skip
        columns[name] = pa.array(np.where(wrong, np.nan, values), from_pandas=True)
    mended = mapped.with_changes(columns, ()) if columns else mapped
    mended, disagree = _believed(mended, most * limits.shell_and_hollow_over_diameter)
    return mended, (*findings, *disagree)


def _believed(mapped: Mapped, bound: Floats) -> tuple[Mapped, tuple[Finding, ...]]:
    """Of a shell and a hollow that do not fit into one stem, the hollow stands: less is sound."""
    shell = mapped.number("shell_cm")
    wrong: Flags = shell + mapped.number("hollow_diameter_cm") > bound
    found = finding(
        mapped, wrong, code="shell_and_hollow_disagree", done=Done.EMPTIED, column="shell_cm",
        said=("The shell and the hollow together are wider than the stem; the hollow is believed.",
              _REMEDY),
    )  # fmt: skip
    if not found:
        return mapped, ()
    kept = pa.array(np.where(wrong, np.nan, shell), from_pandas=True)
    return mapped.with_changes({"shell_cm": kept}, ()), found


def turned(azimuth_deg: Floats) -> Floats:
    """Azimuths from 0 up to 360, which is north again."""
    once: Floats = np.mod(azimuth_deg, _ROUND)
    return once


def repeated_azimuths(mapped: Mapped) -> tuple[Finding, ...]:
    """Say of shells that were told again for the same place: they are one look, not two sides."""
    azimuth = turned(mapped.number("azimuth_deg"))
    measured = ~(np.isnan(azimuth) | np.isnan(mapped.number("shell_cm")))
    texts = [
        mapped.text(name).cast(pa.string()).fill_null("")
        for name in ("inspection_id", "tree_id", "part", "reading")
    ]
    numbers = (mapped.dates("inspected_on").cast(pa.date32()).cast(pa.int32()),
               pa.array(mapped.number("section_diameter_cm")), pa.array(azimuth))  # fmt: skip
    told = [pc.fill_null(column.cast(pa.string()), "") for column in numbers]
    place = pc.binary_join_element_wise(*texts, *told, "\n").to_numpy(zero_copy_only=False)
    rows = np.flatnonzero(measured)
    _, first = np.unique(place[rows].astype(str), return_index=True)
    again = measured.copy()
    again[rows[first]] = False
    return finding(
        mapped, again, code="azimuth_repeated", done=Done.FLAGGED, column="azimuth_deg",
        said=("The section has a reading at this azimuth already; both count as one look.",
              "Write the azimuth of each reading, or drop the one that was made again."),
    )  # fmt: skip


def without_value(mapped: Mapped) -> tuple[Finding, ...]:
    """Say of measurements by number that no number is left: they are kept out of the readings."""
    told = mapped.text("reading").cast(pa.string())
    by_number = pc.is_in(told, value_set=pa.array(_BY_NUMBER)).to_numpy(zero_copy_only=False)
    empty: Flags = np.all([np.isnan(mapped.number(name)) for name in _NUMBERS], axis=0)
    return finding(
        mapped, by_number & empty, code="reading_without_value", done=Done.FLAGGED,
        column="reading",
        said=("The measurement has no value that can be used; it counts as not made.",
              "Write the shell, the hollow, the opening or the decayed share that was measured."),
    )  # fmt: skip


def says_nothing(rows: pa.Table) -> Flags:
    """Rows whose measurement carries no value that can be used, shape (rows,)."""
    by_number = pc.is_in(rows["reading"], value_set=pa.array(_BY_NUMBER))
    empty = [rows[name].is_null() for name in _NUMBERS]
    nothing = pc.and_(by_number, pc.and_(pc.and_(empty[0], empty[1]), pc.and_(empty[2], empty[3])))
    mute: Flags = nothing.combine_chunks().fill_null(False).to_numpy(zero_copy_only=False)
    return mute
