"""Lateness as small as can be, then as much harm avoided as can be: prices, then the whole numbers.

1. Prices from the linear relaxation, over few columns at first; all columns are priced with them
   and those that would gain are added, until none would (`relaxation`).
2. Whole choices near the relaxation (`begin`).
3. A short list is then solved exactly in whole numbers. Of a long one some jobs are decided anew at
   a time, the others stay: all at once those that the relaxation splits and the closest, where few
   limits have a price; then piece by piece (`pieces`).

The number of nodes stops a program, so that two runs give the same answer; a clock only where a
node takes longer than anyone waits, and then it is said. Pieces are small, because a program with
many open jobs and limits may spend any time on its first node. Every answer is only a proposal:
the caller counts again.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from pipeline.planning.selection.begin import begin
from pipeline.planning.selection.bound import Goal
from pipeline.planning.selection.columns import Columns
from pipeline.planning.selection.pieces import closest, core, few_count, open_columns, piece
from pipeline.planning.selection.posed import Posed, pose
from pipeline.planning.selection.programs import Found, choose_whole
from pipeline.planning.selection.relaxation import TINY, relax
from pipeline.planning.selection.rows import Rows
from pipeline.units import Floats, Ints

_FEW_COLUMNS = 1_000  # that a whole-number program takes without leaving any out
_PIECE_NODES = 20
_HALF = 0.5
_STALE = 6  # attempts in a row without progress, after which it ends
_PROGRESS = 0.02  # of the gap that is good enough


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
    posed = pose(columns, rows, unit, relaxed, start)
    best = Answer(start, relaxed.prices * scale, relaxed.late * scale, relaxed.bound * scale,
                  np.inf, early=False)  # fmt: skip
    value = posed.value(start)
    every = len(columns) <= _FEW_COLUMNS
    nodes = limits.nodes if every else min(limits.nodes, _PIECE_NODES)
    whole, part = begin(posed, enough, nodes)
    if (gain := posed.value(whole)) > value:
        best, value = replace(best, taken=whole), gain
        report(best)
    order = closest(posed)
    together, stale = few_count(posed), 0
    for attempt in range(1 if every else limits.attempts):
        if min(relaxed.bound, best.proven / scale) - value <= enough or stale >= _STALE:
            break
        jobs, held = order, best.taken
        if not every and together and attempt == 0:  # what the relaxation has whole fits
            jobs, held = core(order), np.where(part > _HALF, 1.0, 0.0)
        elif not every:
            jobs = piece(posed, best.taken, order, attempt)
        found = _decide(posed, jobs, held, enough, nodes)
        stale += 1
        if found.taken is not None and (gain := posed.value(found.taken)) > value:
            stale = 0 if gain > value + _PROGRESS * enough else stale
            value = gain
            best = replace(best, taken=found.taken)
        best = replace(best, proven=min(best.proven, found.bound * scale), early=found.early)
        report(best)
    return best


def _decide(posed: Posed, jobs: Ints, held: Floats, enough: float, nodes: int) -> Found:
    """Some jobs anew, the others as they are; the bound is finite where it holds for all."""
    is_open = np.zeros(posed.jobs, dtype=bool)
    is_open[jobs] = True
    fixed = np.where(is_open[posed.columns.job], 0.0, held)
    every = len(posed.columns) <= _FEW_COLUMNS
    of = np.flatnonzero(is_open[posed.columns.job])
    if not every:
        of = open_columns(posed, jobs, held)
    if not of.size:
        return Found(fixed, posed.value(fixed) if every else np.inf, early=False)
    gains = max(abs(posed.relaxed.bound - float(posed.goal.gain @ fixed)), TINY)
    found = choose_whole(posed, posed.goal, fixed, of, gap=_HALF * enough / gains, nodes=nodes)
    return found if of.size == len(posed.columns) else replace(found, bound=np.inf)


def _scale(goal: Goal, columns: Columns) -> float:
    """Mean of the best gains of the jobs: programs are solved in units near 1."""
    best = np.zeros(columns.start.size - 1)
    np.maximum.at(best, columns.job, goal.gain)
    return float(best[best > 0].mean()) if (best > 0).any() else 1.0
