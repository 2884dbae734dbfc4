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
    size_from_cm : least diameter of each size class of trees, rising from 0, shape (sizes,).
    from_cm : least diameter of each size class of parts over each target group, rising from 0,
        shape (groups, sizes).
    branch_of_dbh : diameter of a branch over dbh where nobody measured it.
    branch_least_cm, branch_most_cm : bounds of that filling.
    low_fall_below_m : a branch that falls less than this falls low.
    words : ConsequenceWord of target group, size class, low or high fall,
        shape (groups, sizes, 2).
    harm : expected equivalent fatalities of one impact by target group and word,
        shape (groups, 4).
    """

    size_from_cm: Floats
    from_cm: Floats
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


def size_class(diameter_cm: Floats, group: Ints, *, tables: SeverityTables) -> Words:
    """Size class of a part over its target, from 0; at a cut-off the larger one; same shape."""
    across = np.asarray(diameter_cm, dtype=np.float64)[..., None]
    reached = (across >= tables.from_cm[group]).sum(axis=-1)
    size: Words = np.maximum(reached - 1, 0).astype(np.int8)
    return size


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
    size = size_class(diameter_cm, group, tables=tables)
    words: Words = tables.words[group, size, high_fall]
    return words


def harm_of_whole_tree(diameter_cm: Floats, group: Ints, *, tables: SeverityTables) -> Floats:
    """Expected equivalent fatalities if a tree falls whole on a target; same shape."""
    size = size_class(diameter_cm, group, tables=tables)
    return harm_of_impact(group, tables.words[group, size, 1], tables=tables)


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
