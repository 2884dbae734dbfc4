"""When a tree is looked at again, and how much a look is worth before anybody has looked.

Not inspected is not low: the prior harm ranks trees for inspection and is no rating.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Flags, Floats, Ints, Words

NO_DAY = -1
DAYS_PER_YEAR = 365.25
NOT_DUE, NEVER, OVERDUE, DUE = range(4)


@dataclass(frozen=True, slots=True)
class Cycles:
    """Years between looks by occupancy word and size class, shape (4, sizes)."""

    years: Floats


@dataclass(frozen=True, slots=True)
class Sooner:
    """Most years from a look to the next by what was found, infinite where nothing asks for it.

    Parameters
    ----------
    by_rating : not assessed to extreme, (5,).
    by_code : action code R0 to R5, (6,).
    square_m : side of the squares in which trees without a street are walked.
    """

    by_rating: Floats
    by_code: Floats
    square_m: float


def sooner_days(due: Ints, last_look: Ints, rating: Words, code: Words, *, rules: Sooner) -> Ints:
    """Days on which inspections fall due once trees are rated; none is put off, shape (trees,).

    Parameters
    ----------
    due : by place and size, NO_DAY where nobody has inspected: then it stays without a day.
    last_look : of any kind, NO_DAY where none is known.
    rating, code : rating word that stands, and highest action code.
    """
    years = np.minimum(rules.by_rating[rating], rules.by_code[code])
    asked = np.isfinite(years) & (last_look != NO_DAY) & (due != NO_DAY)
    days = np.rint(np.where(asked, years, 0.0) * DAYS_PER_YEAR).astype(np.int64)
    return np.where(asked, np.minimum(due, last_look + days), due)


def due_days(last_day: Ints, occupancy: Words, size: Words, *, cycles: Cycles) -> Ints:
    """Day on which the next inspection falls due, NO_DAY where nobody has looked; shape (trees,).

    Parameters
    ----------
    last_day : day of the last look from 1970-01-01, NO_DAY where none is known.
    occupancy : word of the busiest target within reach.
    size : size class of the stem, from 0.
    """
    days = np.rint(cycles.years[occupancy - 1, size] * DAYS_PER_YEAR).astype(np.int64)
    return np.where(last_day == NO_DAY, NO_DAY, last_day + days)


def standing(due: Ints, rated: Flags, *, today: int, until: int) -> Words:
    """NOT_DUE, NEVER, OVERDUE or DUE before the end of the plan; shape (trees,)."""
    state = np.select([due == NO_DAY, due < today, due <= until], [NEVER, OVERDUE, DUE], NOT_DUE)
    return np.where(rated, state, NOT_DUE).astype(np.int8)


@dataclass(frozen=True, slots=True)
class Prior:
    """Yearly probability of failure before anybody has looked, with its range, shape (states,)."""

    low: Floats
    middle: Floats
    high: Floats


def prior_harm(condition: Ints, harm_if_fails: Floats, *, prior: Prior) -> tuple[Floats, ...]:
    """Low, middle and high expected harm a year of trees that nobody assessed; shape (trees,)."""
    return tuple(p[condition] * harm_if_fails for p in (prior.low, prior.middle, prior.high))
