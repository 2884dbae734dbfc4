"""What an impact would do: size of the part, height of its fall and kind of target."""

from dataclasses import dataclass

import numpy as np

from pipeline.terms import Part
from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True, slots=True)
class SeverityTables:
    """Consequences of an impact.

    Parameters
    ----------
    size_from_cm : least diameter of each size class, rising from 0, shape (sizes,).
    branch_of_dbh : diameter of a branch over dbh where nobody measured it.
    branch_least_cm, branch_most_cm : bounds of that filling.
    low_fall_below_m : a branch that falls less than this falls low.
    words : ConsequenceWord of target group, size class, low or high fall,
        shape (groups, sizes, 2).
    harm : expected equivalent fatalities of one impact by target group and word,
        shape (groups, 4).
    """

    size_from_cm: Floats
    branch_of_dbh: float
    branch_least_cm: float
    branch_most_cm: float
    low_fall_below_m: float
    words: Words
    harm: Floats


def branch_diameters(
    told_cm: Floats, dbh_cm: Floats, *, tables: SeverityTables
) -> tuple[Floats, Flags]:
    """Diameter of the branch used, and whether it was filled; each same shape."""
    filled = np.isnan(told_cm)
    guess = np.clip(tables.branch_of_dbh * dbh_cm, tables.branch_least_cm, tables.branch_most_cm)
    return np.where(filled, guess, told_cm), filled


def size_class(diameter_cm: Floats, *, tables: SeverityTables) -> Words:
    """Size class from 0; a diameter at a cut-off takes the larger class; same shape."""
    place = np.searchsorted(tables.size_from_cm, diameter_cm, side="right") - 1
    return np.maximum(place, 0).astype(np.int8)


def consequence_words(
    part: Words, diameter_cm: Floats, fall_m: Floats, group: Ints, *, tables: SeverityTables
) -> Words:
    """Consequence of each pair; a stem or a whole tree always falls high; same shape.

    Parameters
    ----------
    part : of Part.
    diameter_cm : of the part at its base.
    fall_m : height that a branch falls.
    group : group of the target.
    """
    low = (part == Part.BRANCH) & (fall_m < tables.low_fall_below_m)
    high_fall = (~low).astype(np.int64)
    words: Words = tables.words[group, size_class(diameter_cm, tables=tables), high_fall]
    return words


def harm_of_impact(group: Ints, consequence: Words, *, tables: SeverityTables) -> Floats:
    """Expected equivalent fatalities of one impact; same shape."""
    return tables.harm[group, consequence - 1]


def harm_per_year(
    failure_per_year: Floats,
    direction_share: Floats,
    occupied_share: Floats,
    harm: Floats,
) -> Floats:
    """Expected harm of a pair in a year: the product of its four links; same shape."""
    return failure_per_year * direction_share * occupied_share * harm
