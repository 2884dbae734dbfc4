"""The linear relaxation: prices of all limits, by column generation where there are many columns.

Over few columns at first; all columns are priced with what comes out and those that would gain are
added, until none would. scipy's HiGHS solves the linear programs.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse
from scipy.optimize import linprog

from pipeline.planning.selection.bound import Goal, bound, paid
from pipeline.planning.selection.columns import Columns
from pipeline.planning.selection.rows import TEST, WARD, Rows
from pipeline.units import Flags, Floats, Ints

TINY = 1e-9
INTEGER = 1e-6
_FEW_COLUMNS = 6_000  # from here on columns are generated
_SAMPLE = 10  # every tenth job for the first prices
_ROUNDS = 12
_CLOSE = 0.001  # columns this near to a job's best, as a share of its gain, come first
_FAR = 0.25  # jobs that would lose more than this share of their gain wait until they are priced in
_PART = 0.2  # of the gap that the relaxation itself may leave


@dataclass(frozen=True, slots=True)
class Relaxed:
    """Answer of the relaxation over the columns `of`."""

    of: Ints
    x: Floats
    prices: Floats
    late: float
    job_price: Floats
    bound: float
    extras: Floats


def relax(columns: Columns, rows: Rows, goal: Goal, start: Floats, enough: float) -> Relaxed:
    """The linear relaxation; what is owed to the wards is looked at only where it is not met.

    Its limits are dense, and most plans meet them without being told to.
    """
    wards = rows.kind == WARD
    if wards.any():
        found = _generate(columns, _without(rows, wards), goal, start, enough)
        taken = np.zeros(len(columns))
        taken[found.of] = found.x
        lacks = -float(goal.extra_gain @ least_extras(rows, goal, taken))
        if lacks <= INTEGER * max(abs(found.bound), 1.0):
            return found
    return _generate(columns, rows, goal, start, enough)


def least_extras(rows: Rows, goal: Goal, taken: Floats) -> Floats:
    """Amounts of the extras that a selection needs, as cheap as can be, shape (extras,)."""
    if not rows.most.size:
        return np.empty(0)
    used = rows.limits @ taken
    active = np.flatnonzero(np.diff(rows.extra.indptr))
    found = linprog(  # type: ignore[call-overload] # scipy takes sparse tables
        -goal.extra_gain + TINY, A_ub=rows.extra[active], b_ub=(rows.room - used)[active],
        bounds=np.column_stack((np.zeros(rows.most.size), rows.most)), method="highs-ds",
    )  # fmt: skip
    return np.asarray(found.x) if found.x is not None else rows.most


def _without(rows: Rows, some: Flags) -> Rows:
    """The limits with some of them empty, and room for all."""
    kept = sparse.diags_array((~some).astype(np.float64))
    return replace(
        rows, limits=sparse.csr_array(kept @ rows.limits), extra=sparse.csr_array(kept @ rows.extra)
    )


def _generate(columns: Columns, rows: Rows, goal: Goal, start: Floats, enough: float) -> Relaxed:
    """The relaxation over all columns, by column generation where they are many."""
    if len(columns) <= _FEW_COLUMNS:
        return _linear(columns, rows, goal, np.arange(len(columns)))
    prices, late = _first_prices(columns, rows, goal, start)
    limits = rows.limits.T.tocsr()
    gain, _ = paid(goal, rows, prices, late, limits=limits)
    best, most = np.zeros(columns.start.size - 1), np.zeros(columns.start.size - 1)
    np.maximum.at(best, columns.job, gain)
    np.maximum.at(most, columns.job, goal.gain + late * goal.saved)
    near = (gain >= (best - _CLOSE * most)[columns.job]) & (gain >= -_FAR * most[columns.job])
    inside = (start > 0) | near
    tested = rows.limits[rows.kind == TEST]
    linked = np.zeros(columns.start.size - 1, dtype=bool)
    linked[columns.job[tested.indices]] = True
    inside = (inside & (most > 0)[columns.job]) | (linked | goal.must)[columns.job]
    found = _linear(columns, rows, goal, np.flatnonzero(inside))
    for _ in range(_ROUNDS):
        gain, _ = paid(goal, rows, found.prices, found.late, limits=limits)
        more = gain - found.job_price[columns.job]
        better = (more > INTEGER) & ~inside
        most = np.zeros(columns.start.size - 1)
        np.maximum.at(most, columns.job[better], more[better])
        better &= more >= most[columns.job]  # of each job the one that gains most
        value = float(goal.gain[found.of] @ found.x)
        if not better.any() or found.bound - value <= _PART * enough:
            break
        inside |= better
        found = _linear(columns, rows, goal, np.flatnonzero(inside))
    return found


def _first_prices(columns: Columns, rows: Rows, goal: Goal, start: Floats) -> tuple[Floats, float]:
    """Prices of a tenth of the jobs with a tenth of what the jobs that must be done leave.

    Those stay where the first selection has them: a tenth of them need not fit into a tenth of all.
    """
    must = goal.must[columns.job]
    kept = np.where(must, start, 0.0)
    sampled = np.flatnonzero((columns.job % _SAMPLE == 0) & ~must)
    room = np.maximum(rows.room - rows.limits @ kept, 0.0) / _SAMPLE
    room = np.where(rows.kind == TEST, 1.0, room)  # a test need not be sampled
    small = replace(rows, room=room, most=rows.most / _SAMPLE)
    free = replace(goal, must=np.zeros_like(goal.must))
    least = goal.least
    if np.isfinite(least):
        reach = float(_most_saved(columns, goal)[::_SAMPLE].sum())
        least = min((least - float(goal.saved @ kept)) / _SAMPLE, reach * (1 - 1e-3))
    found = _linear(columns, small, replace(free, least=least), sampled, strict=False)
    return found.prices, found.late


def _most_saved(columns: Columns, goal: Goal) -> Floats:
    most = np.zeros(columns.start.size - 1)
    np.maximum.at(most, columns.job, goal.saved)
    return most


def _linear(columns: Columns, rows: Rows, goal: Goal, of: Ints, *, strict: bool = True) -> Relaxed:
    """The relaxation over some columns: one column a job, all limits, what must be saved."""
    job, once = at_most_one(columns, of)
    limits = rows.limits[:, of]
    jobs, lowest = at_least_one(columns, goal, of)
    extras, must = rows.most.size, np.isfinite(goal.least)
    unit = max(abs(goal.least), 1.0) if must else 1.0
    tables = [
        sparse.hstack((limits, rows.extra)),
        sparse.hstack((once, sparse.csr_array((job.size, extras)))),
        sparse.hstack((lowest, sparse.csr_array((jobs.size, extras)))),
    ]
    room = [rows.room, np.ones(job.size), np.full(jobs.size, -1.0)]
    if must:
        saved = np.concatenate((-goal.saved[of] / unit, np.zeros(extras)))
        tables.append(sparse.csr_array(saved[None, :]))
        room.append(np.array([-goal.least / unit]))
    table = sparse.csr_array(sparse.vstack(tables))
    high = np.concatenate((np.ones(of.size), rows.most))
    found = linprog(  # type: ignore[call-overload] # scipy takes sparse tables
        -np.concatenate((goal.gain[of], goal.extra_gain)),
        A_ub=table, b_ub=np.concatenate(room),
        bounds=np.column_stack((np.zeros(high.size), high)), method="highs-ds",
    )  # fmt: skip
    if found.x is None:  # a sample need not be able to do what all can
        if must and not strict:
            return _linear(columns, rows, replace(goal, least=-np.inf), of)
        zero = np.zeros(rows.room.size)
        return Relaxed(of, np.zeros(of.size), zero, 0.0, np.zeros(columns.start.size - 1),
                        bound(goal, columns, rows, zero, 0.0), np.zeros(extras))  # fmt: skip
    dual = np.maximum(-np.asarray(found.ineqlin.marginals), 0.0)
    count = rows.room.size
    job_price = np.zeros(columns.start.size - 1)
    at_most = np.maximum(-np.asarray(found.upper.marginals)[: of.size], 0.0)
    np.maximum.at(job_price, columns.job[of], at_most)
    job_price[job] = dual[count : count + job.size]
    job_price[jobs] -= dual[count + job.size : count + job.size + jobs.size]
    late = float(dual[-1]) / unit if must else 0.0
    prices = dual[:count]
    return Relaxed(of, np.asarray(found.x)[: of.size], prices, late, job_price,
                    bound(goal, columns, rows, prices, late),
                    np.maximum(np.asarray(found.x)[of.size :], 0.0))  # fmt: skip


def at_most_one(columns: Columns, of: Ints) -> tuple[Ints, sparse.csr_array]:
    """Rows that hold each job to one column; a job with one column needs none."""
    job, place, count = np.unique(columns.job[of], return_inverse=True, return_counts=True)
    several = np.flatnonzero(count > 1)
    number = np.full(job.size, -1, dtype=np.int64)
    number[several] = np.arange(several.size)
    at = np.flatnonzero(number[place] >= 0)
    once = sparse.csr_array(
        (np.ones(at.size), (number[place[at]], at)), shape=(several.size, of.size)
    )
    return job[several], once


def at_least_one(columns: Columns, goal: Goal, of: Ints) -> tuple[Ints, sparse.csr_array]:
    """Rows, with their signs turned, that hold each job that must be done to one column."""
    at = np.flatnonzero(goal.must[columns.job[of]])
    job, place = np.unique(columns.job[of[at]], return_inverse=True)
    rows = sparse.csr_array((-np.ones(at.size), (place, at)), shape=(job.size, of.size))
    return job, rows
