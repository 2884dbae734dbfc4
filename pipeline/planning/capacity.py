"""Crew-hours by day and quarter, and crews that stand in for one another."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.planning.quarters import Horizon, day_number
from pipeline.settings.model import Crew
from pipeline.units import MINUTES_PER_HOUR, Floats, Ints

_WEEKDAYS = {"Mo": 0, "Tu": 1, "We": 2, "Th": 3, "Fr": 4, "Sa": 5, "Su": 6}
_NONE = "none"
_ROUNDING = 1e-9  # hours in whole shifts stay whole in spite of binary fractions


@dataclass(frozen=True, slots=True)
class Pool:
    """Crews of one type with the same machines: a job that one can do, all can do.

    Parameters
    ----------
    crews : places in the settings' list, sorted by crew id.
    """

    crew_type: str
    machines: tuple[str, ...]
    crews: tuple[int, ...]


def pools_of(crews: Sequence[Crew]) -> tuple[Pool, ...]:
    """The pools, sorted by type and machines."""
    found: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for place in sorted(range(len(crews)), key=lambda k: crews[k].id):
        crew = crews[place]
        found.setdefault((crew.type, tuple(sorted(set(crew.machines)))), []).append(place)
    return tuple(Pool(kind, machines, tuple(places))
                 for (kind, machines), places in sorted(found.items()))  # fmt: skip


NO_HOLIDAYS: Ints = np.empty(0, dtype=np.int64)


def working_days(
    first: int, last: int, weekdays: Sequence[str], *, holidays: Ints = NO_HOLIDAYS
) -> Ints:
    """The days from `first` to `last`, both included, on these weekdays and no holiday."""
    mask = [False] * len(_WEEKDAYS)
    for name in weekdays:
        mask[_WEEKDAYS[name]] = True
    days = np.arange(first, last + 1, dtype=np.int64)
    if not any(mask) or not days.size:
        return days[:0]
    closed = holidays.astype("datetime64[D]")
    return days[np.is_busday(days.astype("datetime64[D]"), weekmask=mask, holidays=closed)]


def spread(count: int, days: int) -> Ints:
    """Places of `count` days spread evenly over `days`, the first included, shape (count,)."""
    return np.arange(count, dtype=np.int64) * days // max(count, 1)


def shift_minutes(crew: Crew, days: Ints, *, of_days: int | None = None) -> Floats:
    """Minutes that a crew works on each of its days, shape (days,).

    Where the settings grant fewer hours than the working days hold, whole shifts are spread evenly
    over the days; the last one takes what is left.

    Parameters
    ----------
    of_days : working days of the whole quarter where `days` are a part of it: the hours granted
        are cut in proportion.
    """
    shift = crew.hours_per_day * MINUTES_PER_HOUR
    full = np.full(days.shape, shift)
    if crew.hours_per_quarter is None:
        return full
    part = 1.0 if of_days is None else days.size / max(of_days, 1)
    return spread_minutes(crew.hours_per_quarter * MINUTES_PER_HOUR * part, shift, days.size)


def spread_minutes(granted: float, shift: float, days: int) -> Floats:
    """Whole shifts spread evenly over the days, the last one what is left, shape (days,)."""
    count = min(int(np.ceil(granted / shift - _ROUNDING)), days)
    minutes = np.zeros(days)
    minutes[spread(count, days)] = np.clip(granted - np.arange(count) * shift, 0.0, shift)
    return minutes


def first_days_first(minutes: Floats) -> Floats:
    """The same shifts on the first days, whole ones before the rest of one, shape (days,)."""
    return np.sort(minutes)[::-1]


def quarter_shifts(
    crew: Crew, span: Horizon, number: int, *, holidays: Ints = NO_HOLIDAYS
) -> tuple[Ints, Floats]:
    """Working days of a crew in a quarter and the minutes of each, both of shape (days,).

    A quarter that is under way has only the days that are left, and the hours in proportion.
    """
    first, last = int(span.first[number]), int(span.last[number])
    days = working_days(first, last, crew.days, holidays=holidays)
    begins = day_number(span.quarters[number].first_day)
    whole = working_days(begins, last, crew.days, holidays=holidays)
    return days, shift_minutes(crew, days, of_days=whole.size)


def lead_in_shifts(
    crew: Crew, first: int, last: int, *, share: float, holidays: Ints = NO_HOLIDAYS
) -> tuple[Ints, Floats]:
    """Working days of a crew from `first` to `last`, and the minutes for what is due before.

    The share of its days is rounded to whole shifts and spread evenly; a crew with no hours for
    this work gives none. Both of shape (days,).
    """
    days = working_days(first, last, crew.days, holidays=holidays)
    minutes = np.zeros(days.shape)
    if crew.hours_per_quarter != 0:
        given = spread(int(share * days.size + 0.5), days.size)
        minutes[given] = crew.hours_per_day * MINUTES_PER_HOUR
    return days, minutes


def pool_hours(
    crews: Sequence[Crew], pools: Sequence[Pool], span: Horizon, *, holidays: Ints = NO_HOLIDAYS
) -> Floats:
    """Crew-hours of each pool in each quarter, shape (pools, quarters)."""
    hours = np.zeros((len(pools), len(span.quarters)))
    for row, pool in enumerate(pools):
        for column in range(len(span.quarters)):
            for place in pool.crews:
                _, minutes = quarter_shifts(crews[place], span, column, holidays=holidays)
                hours[row, column] += minutes.sum() / MINUTES_PER_HOUR
    return hours


@dataclass(frozen=True, slots=True)
class Needs:
    """What a group of jobs asks of a crew."""

    crew_type: str
    machine: str
    no_climb: bool


def preference(
    needs: Sequence[Needs], pools: Sequence[Pool], ranks: Mapping[tuple[str, str], int]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.object_]]:
    """How gladly a pool takes each group of jobs, and what stands in the way where none can.

    Parameters
    ----------
    ranks : (work asked for, crew type) to rank, 1 first; pairs that are missing cannot be.

    Returns
    -------
    rank, 0 where the pool cannot, shape (needs, pools); what stands in the way, empty where a pool
    can, shape (needs,).
    """
    rank = np.zeros((len(needs), len(pools)), dtype=np.int64)
    reason = np.full(len(needs), "", dtype=object)
    for row, need in enumerate(needs):
        typed = [(k, ranks.get((need.crew_type, pool.crew_type), 0))
                 for k, pool in enumerate(pools)]  # fmt: skip
        typed = [(k, value) for k, value in typed if value]
        allowed = [pair for pair in typed
                   if not (need.no_climb and pools[pair[0]].crew_type == "climb")]  # fmt: skip
        equipped = [pair for pair in allowed
                    if need.machine in _brings(pools[pair[0]])]  # fmt: skip
        for k, value in equipped:
            rank[row, k] = value
        if not typed:
            reason[row] = "no_crew_of_type"
        elif not allowed:
            reason[row] = "do_not_climb_no_lift"
        elif not equipped:
            reason[row] = "no_machine"
    return rank, reason


def _brings(pool: Pool) -> frozenset[str]:
    """The machines of a pool; a lift crew brings a lift."""
    return frozenset((_NONE, pool.crew_type, *pool.machines))
