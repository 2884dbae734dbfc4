"""Selections by one rule after the other: the fallback, and what the plan is compared with.

Jobs are served in an order, each in its earliest period that has room, the gladdest pool first.
"""

import numpy as np

from pipeline.planning.selection.columns import Columns
from pipeline.planning.selection.instance import NOWHERE, Chosen, Instance, nothing
from pipeline.planning.selection.rows import WARD, Rows
from pipeline.units import Floats, Ints

_ROUNDING = 1e-9


def serve(
    order: Ints,
    columns: Columns,
    rows: Rows,
    *,
    begun: Chosen | None = None,
    extras: Floats | None = None,
    prefer: Floats | None = None,
) -> Chosen:
    """Serve jobs one after the other; `begun`, which needs these extras, is kept and added to.

    A job takes its first column that has room: the earliest, or that with the least of `prefer`,
    which is infinite where a column is not to be taken.

    One job's place depends on all before it, so this is a loop over jobs, on plain lists.
    """
    chosen = begun or nothing(columns.start.size - 1)
    period, pool = chosen.period.copy(), chosen.pool.copy()
    by_column = rows.limits.tocsc()
    start, row, value = (a.tolist() for a in (by_column.indptr, by_column.indices, by_column.data))
    free = np.where(rows.kind == WARD, np.inf, rows.room)
    free = free - rows.limits @ taken(columns, chosen)
    left = (free if extras is None else free - rows.extra @ extras).tolist()
    first = columns.start.tolist()
    place = np.arange(len(columns))
    if prefer is not None:
        place = np.lexsort((prefer, columns.job))
        place = np.where(np.isfinite(prefer[place]), place, NOWHERE)
    tried = place.tolist()
    for job in order.tolist():
        if period[job] != NOWHERE:
            continue
        for column in tried[first[job] : first[job + 1]]:
            if column == NOWHERE:
                break
            mine = range(start[column], start[column + 1])
            if all(value[k] <= left[row[k]] + _ROUNDING for k in mine if value[k] > 0):
                for k in mine:
                    left[row[k]] -= value[k]
                period[job], pool[job] = columns.period[column], columns.pool[column]
                break
    return Chosen(period, pool)


def taken(columns: Columns, chosen: Chosen) -> Floats:
    """1 for each column that is chosen, shape (columns,)."""
    same = (chosen.period[columns.job] == columns.period) & (
        chosen.pool[columns.job] == columns.pool
    )
    return np.asarray(same, dtype=np.float64)


def chosen_of(columns: Columns, column_taken: Floats) -> Chosen:
    """Period and pool of each job from the columns taken."""
    period = np.full(columns.start.size - 1, NOWHERE, dtype=np.int64)
    pool = period.copy()
    at = np.flatnonzero(column_taken > 0)
    period[columns.job[at]], pool[columns.job[at]] = columns.period[at], columns.pool[at]
    return Chosen(period, pool)


def by_urgency(instance: Instance) -> Ints:
    """Deadlines first, the earliest first, then harm removed an hour."""
    demand = instance.demand
    end = int(instance.periods.last.max(initial=0))
    due = np.where(demand.deadline <= end, demand.deadline, end + 1)
    worth = demand.worth / np.maximum(demand.hours, _ROUNDING)
    return _tests_first(instance, np.lexsort((demand.tie, -worth, due, demand.pinned < 0)))


def by_weight(instance: Instance, columns: Columns) -> Ints:
    """Weighted late days that can be saved an hour first, then harm removed an hour."""
    demand = instance.demand
    hours = np.maximum(demand.hours, _ROUNDING)
    most = np.zeros(len(demand))
    np.maximum.at(most, columns.job, columns.saved)
    order = np.lexsort((demand.tie, -demand.worth / hours, -most / hours, demand.pinned < 0))
    return _tests_first(instance, order)


def by_habit(instance: Instance, rating: Ints) -> Ints:
    """The worst rating first, and first come, first served within it.

    Parameters
    ----------
    rating : of each job's tree, shape (jobs,).
    """
    demand = instance.demand
    return _tests_first(instance, np.lexsort((demand.tie, -rating)))


def by_worth(instance: Instance) -> Ints:
    """Harm removed an hour first: what fills the hours that a plan leaves."""
    demand = instance.demand
    return np.lexsort((demand.tie, -demand.worth / np.maximum(demand.hours, _ROUNDING)))


def _tests_first(instance: Instance, order: Ints) -> Ints:
    """The order with each test just before the first removal that waits for it."""
    demand = instance.demand
    place = np.empty(order.size, dtype=np.float64)
    place[order] = np.arange(order.size)
    np.minimum.at(place, demand.test, place[demand.removal] - 0.5)
    return np.argsort(place, kind="stable")
