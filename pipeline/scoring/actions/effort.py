"""Crew-hours at the tree and days until the deadline."""

from dataclasses import dataclass

import numpy as np

from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints, Words

NO_DEADLINE = -1


@dataclass(frozen=True, slots=True)
class WorkTimes:
    """Work and set-up [min] of one action by stem diameter, each shape (classes,)."""

    dbh_from_cm: Floats
    work_min: Floats
    setup_min: Floats


def hours(dbh_cm: Floats, times: WorkTimes) -> Floats:
    """Crew-hours; a diameter at a class limit belongs to the thicker class; same shape."""
    place = np.searchsorted(times.dbh_from_cm, dbh_cm, side="right") - 1
    place = np.maximum(place, 0)
    return (times.work_min[place] + times.setup_min[place]) / MINUTES_PER_HOUR


def trees_per_hour(dbh_cm: Floats, times: WorkTimes) -> Floats:
    """Trees that a crew does in an hour; same shape."""
    return 1.0 / hours(dbh_cm, times)


@dataclass(frozen=True, slots=True)
class Deadlines:
    """Days by rating word, not assessed to extreme (NO_DEADLINE: next cycle), shape (5,).

    Parameters
    ----------
    make_safe : days for make-safe.
    look_within : days in which a fungus of each action code wants a look, shape (6,).
    """

    by_rating: Ints
    make_safe: int
    look_within: Ints


def deadline_days(
    rating: Words, code: Words, is_test: Flags, is_make_safe: Flags, *, table: Deadlines
) -> Ints:
    """Days from the day of the run, NO_DEADLINE for the next cycle; same shape.

    A test or an inspection takes the earlier of what the rating and the fungus ask.
    """
    far = np.iinfo(np.int64).max
    by_rating = table.by_rating[rating]
    by_code = np.where(is_test, table.look_within[code], NO_DEADLINE)
    earliest = np.minimum(
        np.where(by_rating >= 0, by_rating, far), np.where(by_code >= 0, by_code, far)
    )
    days = np.where(earliest == far, NO_DEADLINE, earliest)
    return np.where(is_make_safe, table.make_safe, days)
