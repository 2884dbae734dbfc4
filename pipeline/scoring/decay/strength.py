"""Published strength-loss formulae and shell rules, side by side.

D is the stem's diameter inside the bark, d that of the decayed core, t the sound shell, r the width
of an opening over the stem's circumference. A diameter over bark makes D too large, so that loss by
d/D comes out too small while t/R and shell/D err to the safe side; where only that is known it is
used and the explanation says so.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.scoring.decay import section
from pipeline.units import Flags, Floats, Ints

# The quantities that rows of strength_limits.csv may speak of, and how a limit is passed.
FORMULAS = (
    "wagener",
    "coder",
    "smiley_fraedrich",
    "exact_section",
    "shell_ratio",
    "wall_splitting",
    "wall_buckling",
    "open_angle",
    "usfs_opening",
    "usfs_shell",
    "usfs_shell_open",
)
PASSED_WHEN = ("above", "below", "at_or_below")

# Ratios of two decimal readings are compared after rounding, so that "exactly at the limit" is.
_DECIMALS = 12


@dataclass(frozen=True)
class StrengthLimits:
    """Thresholds, from config/published/strength_limits.csv in its order.

    Parameters
    ----------
    formula : ids, each one of FORMULAS.
    passed_when : each one of PASSED_WHEN.
    act, caution : act_share and caution_share (NaN: none), shape (formulas,).
    for_closed, for_open : the formula holds for closed sections, for open ones, (formulas,).
    """

    formula: tuple[str, ...]
    passed_when: tuple[str, ...]
    act: Floats
    caution: Floats
    for_closed: Flags
    for_open: Flags

    def __post_init__(self) -> None:
        """Refuse what no code computes.

        Raises
        ------
        PublishedValueError
            If a formula or a direction is unknown.
        """
        unknown = (set(self.formula) - set(FORMULAS)) | (set(self.passed_when) - set(PASSED_WHEN))
        if unknown:
            raise PublishedValueError(
                where="published table strength_limits",
                found=", ".join(sorted(unknown)),
                expected=f"formula among {', '.join(FORMULAS)}; {', '.join(PASSED_WHEN)}",
                remedy="Mend the table or the override.",
            )


@dataclass(frozen=True)
class MeasuredSections:
    """Sections that somebody measured, all fields of shape (sections,).

    Parameters
    ----------
    diameter : D [cm].
    thinnest_shell, mean_shell : over the azimuths measured [cm], within 0..D/2.
    opening : opening over circumference [share], 0 if closed.
    azimuths : number of readings that gave a shell.
    """

    diameter: Floats
    thinnest_shell: Floats
    mean_shell: Floats
    opening: Floats
    azimuths: Ints

    @property
    def decayed_share(self) -> Floats:
        """Mean decayed diameter over diameter, d/D [share]."""
        return 1.0 - 2.0 * self.mean_shell / self.diameter


@dataclass(frozen=True)
class StrengthTable:
    """Every formula of every section, fields of shape (sections, formulas).

    `value` is the loss, or the ratio that the rule speaks of [share]; where `applies` is false the
    formula does not hold for such a section and its value is only shown.
    """

    value: Floats
    applies: Flags
    passed: Flags
    caution: Flags


def wagener(decayed: Floats) -> Floats:
    """Strength lost, (d/D)^3 [share]; closed and centred decay (wagener_1963)."""
    return np.asarray(decayed, dtype=np.float64) ** 3


def coder(decayed: Floats) -> Floats:
    """Strength lost, (d/D)^4 [share]; closed and centred decay (coder_1989)."""
    return np.asarray(decayed, dtype=np.float64) ** 4


def smiley_fraedrich(decayed: Floats, opening: Floats) -> Floats:
    """Strength lost, (d^3 + r (D^3 - d^3)) / D^3 [share]; one opening (smiley_fraedrich_1992).

    Falls below the exact loss in the weak direction once the opening passes about 30 degrees.
    """
    cubed = wagener(decayed)
    return cubed + np.asarray(opening, dtype=np.float64) * (1.0 - cubed)


def exact_loss(sections: MeasuredSections) -> Floats:
    """Section modulus lost in the weakest direction [share], shape (sections,).

    Closed: a round hollow as wide as the mean shell leaves, set off until its thin side is the
    thinnest shell. Open: the worse of that and a centred ring with the opening cut through.
    Nothing left, or open all round: all is lost.
    """
    R = sections.diameter / 2.0
    hollow = R - sections.mean_shell
    some = (hollow < R) & (sections.opening < 1.0)
    hollow = np.where(some, hollow, 0.0)
    # Thinnest and mean may differ from R in the last bit; the hollow stays inside the stem.
    offset = np.minimum(sections.mean_shell - sections.thinnest_shell, R - hollow)
    half_opening = math.pi * np.where(some, sections.opening, 0.0)
    whole = section.solid(R)
    off_centre = section.loss(section.closed(R, hollow, offset), whole).modulus
    cut = section.loss(section.open_ring(R, hollow, half_opening), whole).modulus
    # Where hardly a sliver is left its modulus is lost in cancellation: no more than all is lost.
    return np.where(some, np.minimum(np.fmax(off_centre, cut), 1.0), 1.0)


def strength_table(sections: MeasuredSections, limits: StrengthLimits) -> StrengthTable:
    """All formulae of the limits over all sections."""
    x = sections.decayed_share
    shell = sections.thinnest_shell / sections.diameter
    values = {
        "wagener": wagener(x),
        "coder": coder(x),
        "smiley_fraedrich": smiley_fraedrich(x, sections.opening),
        "exact_section": exact_loss(sections),
        "shell_ratio": 2.0 * shell,
        "wall_splitting": 2.0 * shell,
        "wall_buckling": 2.0 * shell,
        "open_angle": sections.opening,
        "usfs_opening": sections.opening,
        "usfs_shell": shell,
        "usfs_shell_open": shell,
    }
    value = np.stack([values[name] for name in limits.formula], axis=1)
    is_open = (sections.opening > 0)[:, None]
    applies = np.where(is_open, limits.for_open, limits.for_closed)
    return StrengthTable(
        value=value,
        applies=applies,
        passed=applies & _passed(value, limits.act, limits.passed_when),
        caution=applies & _passed(value, limits.caution, limits.passed_when),
    )


def decayed_from_area(decayed_area: Floats) -> Floats:
    """Decayed diameter over diameter from the decayed share of the section's area: its root."""
    return np.sqrt(np.asarray(decayed_area, dtype=np.float64))


def shell_of_reading(
    diameter: Floats, *, shell: Floats, hollow_diameter: Floats, decayed_area: Floats
) -> Floats:
    """Sound shell of each reading [cm], NaN where it says nothing of it; all shape (readings,).

    Parameters
    ----------
    diameter : of the section [cm], above 0.
    shell : measured [cm], NaN if not; stands before the others.
    hollow_diameter : of the hollow or decayed core [cm], NaN if not.
    decayed_area : share of the section's area, as a tomogram gives, NaN if not.
    """
    R = np.asarray(diameter, dtype=np.float64) / 2.0
    from_hollow = R - np.asarray(hollow_diameter, dtype=np.float64) / 2.0
    from_area = R * (1.0 - decayed_from_area(decayed_area))
    told = np.where(np.isnan(shell), np.where(np.isnan(from_hollow), from_area, from_hollow), shell)
    return np.clip(told, 0.0, R)


def sections_from_readings(
    section_of: Ints, diameter: Floats, shell: Floats, opening_width: Floats, *, sections: int
) -> MeasuredSections:
    """Readings gathered into sections: thinnest and mean shell, widest opening.

    Parameters
    ----------
    section_of : section of each reading, 0..sections-1, shape (readings,).
    diameter : of the section [cm], shape (readings,); the least of a section's readings is used.
    shell : from `shell_of_reading` [cm], not NaN, shape (readings,).
    opening_width : along the girth [cm], NaN or 0 if closed, shape (readings,).

    Raises
    ------
    PublishedValueError
        If a section has no reading.
    """
    count = np.bincount(section_of, minlength=sections)
    if sections and count.min() == 0:
        raise PublishedValueError(
            where="measured sections",
            found=f"{int((count == 0).sum())} sections without a reading",
            expected="at least one reading each",
            remedy="Number only sections that were measured.",
        )
    across = np.full(sections, np.inf)
    np.minimum.at(across, section_of, diameter)
    thinnest = np.full(sections, np.inf)
    np.minimum.at(thinnest, section_of, shell)
    mean = np.bincount(section_of, weights=shell, minlength=sections) / np.maximum(count, 1)
    width = np.zeros(sections)
    np.maximum.at(width, section_of, np.nan_to_num(opening_width))
    R = across / 2.0
    return MeasuredSections(
        diameter=across,
        thinnest_shell=np.minimum(thinnest, R),
        mean_shell=np.maximum(np.minimum(mean, R), np.minimum(thinnest, R)),
        opening=np.clip(width / (math.pi * across), 0.0, 1.0),
        azimuths=count.astype(np.int64),
    )


def _passed(value: Floats, limit: Floats, passed_when: Sequence[str]) -> Flags:
    rounded, at = np.round(value, _DECIMALS), np.round(limit, _DECIMALS)
    how = np.array(passed_when)
    # A comparison with NaN is false: no limit, nothing passed.
    return np.where(
        how == "above", rounded > at, np.where(how == "below", rounded < at, rounded <= at)
    )
