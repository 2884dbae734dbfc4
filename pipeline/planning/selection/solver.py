"""Lateness as small as can be, then as much harm avoided as can be: prices, then the whole numbers.

1. Prices from the linear relaxation, over few columns at first; all columns are priced with them
   and those that would gain are added, until none would (column generation).
2. Whole choices near the relaxation. A short list is then solved exactly in whole numbers. Of a
   long one the jobs that the relaxation splits, and those whose two best choices are closest, are
   solved so, the others as the relaxation has them: they fit by construction.
3. After that, and from the start where many limits have a price, piece by piece: the jobs that lose
   most against their price, what tests tie to them, and the next closest; the others stay.

The number of nodes stops a program, so that two runs give the same answer; a clock only where a
node takes longer than anyone waits, and then it is said.
Pieces are small, because a program with many open jobs and limits may spend any time on its first
node. HiGHS solves them, through scipy. Every answer is only a proposal: the caller counts again.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from pipeline.planning.selection.bound import Goal, paid
from pipeline.planning.selection.columns import Columns
from pipeline.planning.selection.greedy import chosen_of, serve
from pipeline.planning.selection.greedy import taken as taken_of
from pipeline.planning.selection.relaxation import (
    INTEGER,
    TINY,
    Relaxed,
    at_least_one,
    at_most_one,
    least_extras,
    relax,
)
from pipeline.planning.selection.rows import TEST, Rows
from pipeline.units import Flags, Floats, Ints

_FEW_COLUMNS = 1_000  # that a whole-number program takes without leaving any out
_NEAR = 6  # columns of an open job
_CORE = 300  # open jobs at once, where few limits have a price
_PRICED = 40  # limits other than tests
_FEW_GAINS = 8_000  # columns that gain at all: late days of the jobs that are due
_PIECE = 50  # jobs of a piece whose choices are close
_AGAIN = 5  # times that rounding begins anew with what had to be done and found no room
_LOSERS = 20  # jobs of a piece that lose most against their price
_PIECE_NODES = 5
_OTHERS = 2_000  # jobs beside those of the relaxation that rounding tries
_BACKSTOP_S = 20.0
_HALF = 0.5
_CHOSEN = 0.5


@dataclass(frozen=True, slots=True)
class Limits:
    """When to stop.

    Parameters
    ----------
    gap : to the bound that is good enough, in the unit of the goal.
    nodes : of a whole-number program that holds all columns.
    attempts : whole-number programs.
    """

    gap: float
    nodes: int
    attempts: int


@dataclass(frozen=True, slots=True)
class Answer:
    """What was found.

    Parameters
    ----------
    taken : 1 for each column chosen, shape (columns,); all 0 where nothing was found.
    prices : of the limits, shape (rows,).
    price_of_late : of a weighted late day.
    bound : by the prices.
    proven : bound of the whole-number program where it held all columns; infinite elsewhere.
    early : stopped by the nodes or the clock, not by the gap.
    """

    taken: Floats
    prices: Floats
    price_of_late: float
    bound: float
    proven: float
    early: bool


def solve(
    columns: Columns,
    rows: Rows,
    goal: Goal,
    start: Floats,
    limits: Limits,
    report: Callable[[Answer], None] = lambda _: None,
) -> Answer:
    """The best selection found for one goal, and its bound.

    Parameters
    ----------
    start : a selection that keeps all limits, shape (columns,).
    report : told of every better answer at once.
    """
    scale = _scale(goal, columns)
    unit = replace(goal, gain=goal.gain / scale, extra_gain=goal.extra_gain / scale)
    enough = limits.gap / scale
    relaxed = relax(columns, rows, unit, start, enough)
    best = Answer(start, relaxed.prices * scale, relaxed.late * scale, relaxed.bound * scale,
                  np.inf, early=False)  # fmt: skip
    value = _value(unit, columns, rows, start)
    whole = _rounded(columns, rows, unit, relaxed, start)
    if (gain := _value(unit, columns, rows, whole)) > value:
        best, value = replace(best, taken=whole), gain
        report(best)
    order = _closest(columns, rows, unit, relaxed)
    every = len(columns) <= _FEW_COLUMNS
    together = every or _few_count(rows, unit, relaxed)
    nodes = limits.nodes if every else min(limits.nodes, _PIECE_NODES)
    for attempt in range(1 if every else limits.attempts):
        if min(relaxed.bound, best.proven / scale) - value <= enough:
            break
        if together and attempt == 0:
            given = (order if every else order[:_CORE], _nearest(columns, relaxed))
        else:
            given = (_piece(columns, rows, unit, relaxed, (best.taken, order), attempt), best.taken)
        found, proven, early = _whole_numbers(columns, rows, unit, relaxed, given,
                                              replace(limits, gap=enough, nodes=nodes))  # fmt: skip
        if found is not None and (gain := _value(unit, columns, rows, found)) > value:
            value = gain
            best = replace(best, taken=found)
        best = replace(best, proven=min(best.proven, proven * scale), early=early)
        report(best)
    return best


def _few_count(rows: Rows, goal: Goal, relaxed: Relaxed) -> bool:
    """Whether few limits have a price, or few columns gain: a large program is then quick."""
    priced = int((relaxed.prices[rows.kind != TEST] > TINY).sum())
    gains = int((goal.gain[relaxed.of] > 0).sum())
    return priced <= _PRICED or gains <= _FEW_GAINS


def _nearest(columns: Columns, relaxed: Relaxed) -> Floats:
    """What the relaxation takes; what it has whole fits by construction."""
    taken = np.zeros(len(columns))
    taken[relaxed.of] = np.where(relaxed.x > _CHOSEN, 1.0, 0.0)
    return taken


def _piece(
    columns: Columns,
    rows: Rows,
    goal: Goal,
    relaxed: Relaxed,
    given: tuple[Floats, Ints],
    attempt: int,
) -> Ints:
    """Jobs decided anew: those that lose most, what tests tie to them, the next closest."""
    taken, order = given
    gain, _ = paid(goal, rows, relaxed.prices, relaxed.late, limits=rows.limits.T.tocsr())
    best = np.where(goal.must, -np.inf, 0.0)
    np.maximum.at(best, columns.job, gain)
    now = np.zeros(best.size)
    now[columns.job[taken > 0]] = gain[taken > 0]
    lost = np.where(np.isfinite(best), best - now, 0.0)
    losers = np.argsort(-lost, kind="stable")[:_LOSERS]
    is_in = np.zeros(best.size, dtype=bool)
    is_in[losers[lost[losers] > INTEGER]] = True
    ties = rows.limits[rows.kind == TEST]
    touched = abs(ties) @ is_in[columns.job].astype(np.float64)
    is_in[columns.job[ties[np.flatnonzero(touched)].indices]] = True
    rest = order[~is_in[order]]
    return np.concatenate((np.flatnonzero(is_in), rest[attempt * _PIECE : (attempt + 1) * _PIECE]))


def _scale(goal: Goal, columns: Columns) -> float:
    """Mean of the best gains of the jobs: programs are solved in units near 1."""
    best = np.zeros(columns.start.size - 1)
    np.maximum.at(best, columns.job, goal.gain)
    return float(best[best > 0].mean()) if (best > 0).any() else 1.0


def _value(goal: Goal, columns: Columns, rows: Rows, taken: Floats) -> float:
    if float(goal.saved @ taken) < goal.least or goal.undone(taken, columns):
        return -np.inf
    extras = least_extras(rows, goal, taken)
    over = rows.limits @ taken + rows.extra @ extras - rows.room
    if (over > INTEGER * np.maximum(1.0, np.abs(rows.room))).any():
        return -np.inf
    return goal.of(taken, extras)


def _rounded(columns: Columns, rows: Rows, goal: Goal, relaxed: Relaxed, start: Floats) -> Floats:
    """Whole choices near the relaxation: what it has whole stays, or what must be done stays."""
    gain, _ = paid(goal, rows, relaxed.prices, relaxed.late, limits=rows.limits.T.tocsr())
    part = np.zeros(len(columns))
    part[relaxed.of] = relaxed.x
    best, share = np.full((2, columns.start.size - 1), -np.inf)
    density = gain / np.maximum(columns.hours, TINY)
    np.maximum.at(best, columns.job, density)
    np.maximum.at(share, columns.job, part)
    prefer = np.where(goal.gain > 0, -gain - INTEGER * part, np.inf)
    tied = np.zeros(share.size, dtype=bool)
    tied[columns.job[rows.limits[rows.kind == TEST].indices]] = True
    whole = np.where((part > 1.0 - INTEGER) & ~tied[columns.job], 1.0, 0.0)
    must = np.where(goal.must[columns.job], start, 0.0)
    near = goal.must | (share > INTEGER) | tied  # the others are as good as left out
    near[np.argsort(-best, kind="stable")[: int((share > INTEGER).sum()) + _OTHERS]] = True
    found = []
    order = np.lexsort((-best, -np.round(share, 6), ~goal.must))
    first = np.zeros(share.size, dtype=bool)
    for _ in range(_AGAIN):
        order = np.lexsort((-best, -np.round(share, 6), ~goal.must, ~first))
        begun = np.where((first | (tied & first.any()))[columns.job], must, 0.0)
        chosen = chosen_of(columns, begun if first.any() else whole)
        for _ in range(2):  # a removal finds its test placed the second time
            chosen = serve(order[near[order]], columns, rows, extras=relaxed.extras, prefer=prefer,
                           begun=chosen)  # fmt: skip
        found.append(taken_of(columns, chosen))
        lacks = goal.must & ~chosen.done
        if not lacks.any():
            break
        first |= lacks  # what found no room stands first, as in the selection begun with
    else:
        chosen = serve(order[near[order]], columns, rows, extras=relaxed.extras, prefer=prefer,
                       begun=chosen_of(columns, must))  # fmt: skip
        found.append(taken_of(columns, chosen))
    values = [_value(goal, columns, rows, one) for one in found]
    return found[int(np.argmax(values))]


def _closest(columns: Columns, rows: Rows, goal: Goal, relaxed: Relaxed) -> Ints:
    """The jobs from the one whose two best choices are closest on; shape (jobs that can be done,).

    Those that the relaxation splits come first.
    """
    gain, _ = paid(goal, rows, relaxed.prices, relaxed.late, limits=rows.limits.T.tocsr())
    jobs = columns.start.size - 1
    order = np.lexsort((-gain, columns.job))
    place = np.arange(order.size) - columns.start[columns.job[order]]
    first, second = np.full(jobs, -np.inf), np.full(jobs, -np.inf)
    at = order[place == 0]
    first[columns.job[at]] = gain[at]
    at = order[place == 1]
    second[columns.job[at]] = gain[at]
    least = np.where(goal.must, -np.inf, 0.0)
    margin = np.abs(np.maximum(first, least) - np.where(first > least, np.maximum(second, least),
                                                        first))  # fmt: skip
    margin = np.where(np.isfinite(first), np.nan_to_num(margin, posinf=1.0 / TINY), np.inf)
    whole = np.abs(relaxed.x - np.round(relaxed.x)) <= INTEGER
    margin[columns.job[relaxed.of[~whole]]] = -1.0
    able = np.flatnonzero(np.isfinite(margin))
    return np.asarray(able[np.argsort(margin[able], kind="stable")])


def _whole_numbers(
    columns: Columns,
    rows: Rows,
    goal: Goal,
    relaxed: Relaxed,
    given: tuple[Ints, Floats],
    limits: Limits,
) -> tuple[Floats | None, float, bool]:
    """The open jobs exactly, the others as the relaxation has them.

    Returns
    -------
    what is taken, or None; the program's own bound where it holds every column; stopped early.
    """
    jobs, fixed = given
    is_open = np.zeros(columns.start.size - 1, dtype=bool)
    is_open[jobs] = True
    kept = np.flatnonzero(fixed)
    fixed = np.where(is_open[columns.job], 0.0, fixed)
    of = _core(columns, rows, goal, relaxed, (is_open, kept))
    every = of.size == len(columns)
    if not of.size:
        return fixed, _value(goal, columns, rows, fixed) if every else np.inf, False
    table, room, gain = _program(columns, rows, goal, fixed, of)
    extras = rows.most.size
    core = max(abs(relaxed.bound - float(goal.gain @ fixed)), TINY)
    target = _HALF * limits.gap / core
    found = milp(
        -gain,
        integrality=np.concatenate((np.ones(of.size), np.zeros(extras))),
        bounds=Bounds(np.zeros(of.size + extras), np.concatenate((np.ones(of.size), rows.most))),
        constraints=LinearConstraint(table, -np.inf, room),
        options={"mip_rel_gap": target, "node_limit": limits.nodes, "time_limit": _BACKSTOP_S},
    )
    early = found.status == 1
    proven = np.inf
    if every and found.mip_dual_bound is not None:
        proven = -float(found.mip_dual_bound)
    if found.x is None:
        return None, proven, early
    taken = fixed
    taken[of[np.asarray(found.x)[: of.size] > _CHOSEN]] = 1.0
    return taken, proven, early


def _core(
    columns: Columns,
    rows: Rows,
    goal: Goal,
    relaxed: Relaxed,
    given: tuple[Flags, Ints],
) -> Ints:
    """Columns of the open jobs; the best few of each where not all are needed."""
    is_open, kept = given
    of = np.flatnonzero(is_open[columns.job])
    if of.size == len(columns) <= _FEW_COLUMNS:
        return of
    gain, _ = paid(goal, rows, relaxed.prices, relaxed.late, limits=rows.limits.T.tocsr())
    gain[relaxed.of[relaxed.x > INTEGER]] = np.inf
    gain[kept] = np.inf
    order = of[np.lexsort((-gain[of], columns.job[of]))]
    begins = np.searchsorted(columns.job[order], columns.job[order], side="left")
    return np.sort(order[np.arange(order.size) - begins < _NEAR])


def _program(
    columns: Columns, rows: Rows, goal: Goal, fixed: Floats, of: Ints
) -> tuple[sparse.csr_array, Floats, Floats]:
    """Limits, room and gains of the whole-number program; empty ones are left out."""
    job, once = at_most_one(columns, of)
    limits = rows.limits[:, of]
    used = np.diff(limits.indptr) + np.diff(rows.extra.indptr) > 0
    extras = rows.most.size
    tables = [sparse.hstack((limits[used], rows.extra[used])),
              sparse.hstack((once, sparse.csr_array((job.size, extras))))]  # fmt: skip
    room = [(rows.room - rows.limits @ fixed)[used], np.ones(job.size)]
    jobs, lowest = at_least_one(columns, goal, of)
    tables.append(sparse.hstack((lowest, sparse.csr_array((jobs.size, extras)))))
    room.append(np.full(jobs.size, -1.0))
    if np.isfinite(goal.least):
        unit = max(abs(goal.least), 1.0)
        saved = np.concatenate((-goal.saved[of] / unit, np.zeros(extras)))
        tables.append(sparse.csr_array(saved[None, :]))
        room.append(np.array([(float(goal.saved @ fixed) - goal.least) / unit]))
    table = sparse.csr_array(sparse.vstack(tables))
    # Largest number of a row 1: what is whole within a tolerance must also keep a limit in money.
    largest = np.maximum(abs(table).max(axis=1).toarray().ravel(), TINY)
    table = sparse.csr_array(sparse.diags_array(1.0 / largest) @ table)
    return table, np.concatenate(room) / largest, np.concatenate((goal.gain[of], goal.extra_gain))
