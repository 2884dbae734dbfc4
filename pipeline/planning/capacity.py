"""Crew-hours by day and quarter, and crews that stand in for one another."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.planning.quarters import Horizon
from pipeline.settings.model import Crew
from pipeline.units import MINUTES_PER_HOUR, Floats, Ints

_WEEKDAYS = {"Mo": 0, "Tu": 1, "We": 2, "Th": 3, "Fr": 4, "Sa": 5, "Su": 6}
_NONE = "none"


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


def working_days(first: int, last: int, weekdays: Sequence[str]) -> Ints:
    """The days from `first` to `last`, both included, that fall on these weekdays."""
    mask = [False] * len(_WEEKDAYS)
    for name in weekdays:
        mask[_WEEKDAYS[name]] = True
    days = np.arange(first, last + 1, dtype=np.int64)
    if not any(mask) or not days.size:
        return days[:0]
    return days[np.is_busday(days.astype("datetime64[D]"), weekmask=mask)]


def shift_minutes(crew: Crew, days: Ints) -> Floats:
    """Minutes that a crew works on each of its days, shape (days,).

    Where the settings grant fewer hours than the working days hold, whole shifts are used from the
    first day until the hours are used up.
    """
    shift = crew.hours_per_day * MINUTES_PER_HOUR
    full = np.full(days.shape, shift)
    if crew.hours_per_quarter is None:
        return full
    left = crew.hours_per_quarter * MINUTES_PER_HOUR - np.arange(days.size) * shift
    return np.clip(left, 0.0, full)


def pool_hours(crews: Sequence[Crew], pools: Sequence[Pool], span: Horizon) -> Floats:
    """Crew-hours of each pool in each quarter, shape (pools, quarters)."""
    hours = np.zeros((len(pools), len(span.quarters)))
    for row, pool in enumerate(pools):
        for column, (first, last) in enumerate(zip(span.first, span.last, strict=True)):
            for place in pool.crews:
                days = working_days(int(first), int(last), crews[place].days)
                hours[row, column] += shift_minutes(crews[place], days).sum() / MINUTES_PER_HOUR
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
