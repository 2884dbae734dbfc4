"""What is done in which quarter: first version, by order of urgency within the crew-hours.

Within a quarter: make-safe, then what a person pinned, then deadlines that fall due (those already
late stand first because they are the earliest), then expected harm removed per hour. A job that no
longer fits is passed over for the next that does. Pure functions on arrays.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.units import Flags, Floats, Ints

NOWHERE = -1
_GOLDEN = (5.0**0.5 - 1.0) / 2.0
_MAKE_SAFE, _PINNED, _DUE, _OTHER = 0, 1, 2, 3


@dataclass(frozen=True, slots=True)
class JobArrays:
    """Jobs as arrays, one value a job, all of shape (jobs,).

    Parameters
    ----------
    hours : crew-hours used in the pool, set-up and travel allowance included.
    group : row of the preference matrix.
    make_safe : stands before all else.
    pinned : quarter that a person asked for, -1 for none.
    deadline, earliest : day numbers; a deadline far in the future means none.
    harm : expected harm removed a year.
    tie : rank that settles what is equal; unique.
    """

    hours: Floats
    group: Ints
    make_safe: Flags
    pinned: Ints
    deadline: Ints
    earliest: Ints
    harm: Floats
    tie: Ints


def urgency(jobs: JobArrays, rows: Ints, *, quarter: int, last_day: int) -> Ints:
    """0 make-safe, 1 pinned, 2 due in the quarter or late, 3 the rest; shape as `rows`."""
    pinned = (jobs.pinned[rows] >= 0) & (jobs.pinned[rows] <= quarter)
    due = jobs.deadline[rows] <= last_day
    return np.select([jobs.make_safe[rows], pinned, due], [_MAKE_SAFE, _PINNED, _DUE], _OTHER)


def priority(jobs: JobArrays, rows: Ints, *, quarter: int, last_day: int) -> Ints:
    """The rows in the order in which a quarter serves them."""
    deadline = jobs.deadline[rows]
    due = deadline <= last_day
    tier = urgency(jobs, rows, quarter=quarter, last_day=last_day)
    worth = jobs.harm[rows] / np.maximum(jobs.hours[rows], np.finfo(np.float64).tiny)
    order = np.lexsort((jobs.tie[rows], -worth, np.where(due, deadline, last_day + 1), tier))
    return rows[order]


def choose(
    jobs: JobArrays, ordered: Ints, free: Floats, rank: npt.NDArray[np.int64]
) -> tuple[Ints, Floats]:
    """Serve jobs in order from the hours of the pools.

    Runs of jobs that ask the same of a crew are served at once by running totals.

    Parameters
    ----------
    ordered : rows of `jobs`, most urgent first.
    free : hours of each pool, shape (pools,).
    rank : how gladly a pool takes a group, 0 for never, shape (groups, pools).

    Returns
    -------
    pool of each ordered job, -1 where none had hours left; hours left, shape (pools,).
    """
    taken = np.full(ordered.shape, NOWHERE, dtype=np.int64)
    left = np.array(free, dtype=np.float64)
    group = jobs.group[ordered]
    hours = jobs.hours[ordered]
    edges = np.flatnonzero(np.diff(group)) + 1
    starts = np.concatenate(([0], edges))
    stops = np.concatenate((edges, [ordered.size]))
    least = {int(g): float(hours[group == g].min()) for g in np.unique(group)}
    for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        if start == stop:
            continue
        kind = int(group[start])
        able = np.flatnonzero(rank[kind])
        waiting = np.arange(start, stop)
        for pool, mine in _shared_by_equals(rank[kind], left, waiting):
            dealt = mine[_fill(hours[mine], float(left[pool]))]
            taken[dealt] = pool
            left[pool] -= hours[dealt].sum()
        waiting = waiting[taken[waiting] == NOWHERE]
        for pool in able[np.argsort(rank[kind][able], kind="stable")].tolist():
            if left[pool] < least[kind]:
                continue
            served = _fill(hours[waiting], float(left[pool]))
            taken[waiting[served]] = pool
            left[pool] -= hours[waiting[served]].sum()
            waiting = waiting[~served]
            if not waiting.size:
                break
    return taken, left


def _shared_by_equals(rank: Ints, left: Floats, waiting: Ints) -> list[tuple[int, Ints]]:
    """Jobs dealt out to the pools that are the first choice alike, as their hours stand.

    Nothing where one pool alone is the first choice. Dealing by multiples of the golden section
    keeps the shares even in every stretch of the list, so that no pool has only the last of it.
    """
    first = np.flatnonzero(rank == rank[rank > 0].min(initial=np.iinfo(np.int64).max))
    if first.size < 2 or not left[first].sum() > 0:  # noqa: PLR2004 - one pool shares with none
        return []
    bounds = np.cumsum(left[first])[:-1] / left[first].sum()
    deal = np.searchsorted(bounds, waiting * _GOLDEN % 1.0, side="right")
    return [(int(pool), waiting[deal == number]) for number, pool in enumerate(first)]


def _fill(hours: Floats, room: float) -> Flags:
    """Which jobs of a run fit into the room, each in turn, later ones where an earlier is too long.

    Each pass takes the longest start of the run that fits and drops what is longer than the rest.
    """
    served = np.zeros(hours.shape, dtype=bool)
    waiting = np.flatnonzero(hours <= room)
    while waiting.size:
        total = np.cumsum(hours[waiting])
        count = int(np.searchsorted(total, room, side="right"))
        count = max(count, 1)  # the first fits by itself; only rounding can say otherwise
        served[waiting[:count]] = True
        room -= float(total[count - 1])
        waiting = waiting[count:]
        waiting = waiting[hours[waiting] <= room]
    return served


def select_quarter(
    jobs: JobArrays,
    rows: Ints,
    free: Floats,
    rank: npt.NDArray[np.int64],
    *,
    quarter: int,
    last_day: int,
) -> tuple[Ints, Ints]:
    """The jobs of one quarter in order of urgency, and the pool of each.

    Jobs whose window opens later, or that a person pinned to a later quarter, wait. Among jobs of
    one urgency a pool does the work that it is the first choice for, then what others could not
    take: looks that have piled up do not take the hours of those who measure.
    """
    open_now = (jobs.earliest[rows] <= last_day) & (jobs.pinned[rows] <= quarter)
    possible = rank[jobs.group[rows]].any(axis=1)
    ordered = priority(jobs, rows[open_now & possible], quarter=quarter, last_day=last_day)
    tier = urgency(jobs, ordered, quarter=quarter, last_day=last_day)
    pool = np.full(ordered.shape, NOWHERE, dtype=np.int64)
    left = free
    for level in (_MAKE_SAFE, _PINNED, _DUE, _OTHER):
        for choices in (_first_choice(rank), rank):
            at = np.flatnonzero((tier == level) & (pool == NOWHERE))
            pool[at], left = choose(jobs, ordered[at], left, choices)
    chosen = pool != NOWHERE
    return ordered[chosen], pool[chosen]


def _first_choice(rank: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """The ranks of the pools that a group asks first; the others as if they could not."""
    able = np.where(rank > 0, rank, np.iinfo(np.int64).max)
    best = able.min(axis=1, initial=np.iinfo(np.int64).max)
    return np.where(able == best[:, None], rank, 0)
