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
_NUMBERS = ("shell_cm", "hollow_diameter_cm", "opening_cm", "decayed_share")


@dataclass(frozen=True, slots=True)
class ReadingLimits:
    """How large a measurement may be beside its section; from reading_limits.csv."""

    shell_over_radius: float
    hollow_over_diameter: float
    opening_over_girth: float
    section_over_breast_height: float

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
    return (mapped.with_changes(columns, ()) if columns else mapped), findings


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
