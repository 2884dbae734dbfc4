"""Which jobs are decided anew together, and among which of their columns."""

import numpy as np

from pipeline.planning.selection.posed import Posed
from pipeline.planning.selection.relaxation import INTEGER, TINY
from pipeline.planning.selection.rows import GRANTED, MACHINE, TEST, WEEK
from pipeline.units import Flags, Floats, Ints

_NEAR = 6  # columns of an open job
_CORE = 300  # open jobs at once, where few limits have a price
_PRICED = 40  # limits other than tests
_FEW_GAINS = 8_000  # columns that gain at all: late days of the jobs that are due
_PIECE = 80  # jobs of a piece whose choices are close, or that hold what a loser could use
_WINDOWS = 8  # pieces before the closest come again
_LOSERS = 20  # jobs of a piece that lose most against their price


def few_count(posed: Posed) -> bool:
    """Whether few limits have a price, or few columns gain: a large program is then quick."""
    priced = int((posed.relaxed.prices[posed.rows.kind != TEST] > TINY).sum())
    gains = int((posed.goal.gain[posed.relaxed.of] > 0).sum())
    return priced <= _PRICED or gains <= _FEW_GAINS


def closest(posed: Posed) -> Ints:
    """The jobs from the one whose two best choices are closest on; shape (jobs that can be done,).

    Those that the relaxation splits come first.
    """
    columns, gain, jobs = posed.columns, posed.paid, posed.jobs
    order = np.lexsort((-gain, columns.job))
    place = np.arange(order.size) - columns.start[columns.job[order]]
    first, second = np.full(jobs, -np.inf), np.full(jobs, -np.inf)
    at = order[place == 0]
    first[columns.job[at]] = gain[at]
    at = order[place == 1]
    second[columns.job[at]] = gain[at]
    least = np.where(posed.goal.must, -np.inf, 0.0)
    margin = np.abs(np.maximum(first, least) - np.where(first > least, np.maximum(second, least),
                                                        first))  # fmt: skip
    margin = np.where(np.isfinite(first), np.nan_to_num(margin, posinf=1.0 / TINY), np.inf)
    split = np.abs(posed.part - np.round(posed.part)) > INTEGER
    margin[columns.job[split]] = -1.0
    able = np.flatnonzero(np.isfinite(margin))
    return np.asarray(able[np.argsort(margin[able], kind="stable")])


def core(order: Ints) -> Ints:
    """The jobs of a large program."""
    return order[:_CORE]


def piece(posed: Posed, taken: Floats, order: Ints, attempt: int) -> Ints:
    """Jobs decided anew: those that lose most, what tests tie to them, and others.

    By turns the others are the next closest, and those that hold hours which one of the losers
    could use.
    """
    columns, rows = posed.columns, posed.rows
    lost = posed.lost(taken)
    losers = np.argsort(-lost, kind="stable")[:_LOSERS]
    is_in = np.zeros(lost.size, dtype=bool)
    is_in[losers[lost[losers] > INTEGER]] = True
    ties = rows.limits[rows.kind == TEST]
    touched = abs(ties) @ is_in[columns.job].astype(np.float64)
    is_in[columns.job[ties[np.flatnonzero(touched)].indices]] = True
    turn, window = attempt // 2, attempt // 2 % _WINDOWS
    if attempt % 2:
        order = order[_rivals(posed, taken, int(losers[turn % losers.size]))[order]]
        window = 0
    rest = order[~is_in[order]]
    return np.concatenate((np.flatnonzero(is_in), rest[window * _PIECE : (window + 1) * _PIECE]))


def _rivals(posed: Posed, taken: Floats, job: int) -> Flags:
    """Jobs that hold hours which one could use, shape (jobs,)."""
    columns, rows = posed.columns, posed.rows
    hours = rows.limits[np.isin(rows.kind, (WEEK, GRANTED, MACHINE))]
    asks = hours @ (columns.job == job).astype(np.float64)
    holds = (hours.T @ (asks > 0).astype(np.float64) > 0) & (taken > 0)
    rivals = np.zeros(posed.jobs, dtype=bool)
    rivals[columns.job[holds]] = True
    return rivals


def open_columns(posed: Posed, jobs: Ints, taken: Floats) -> Ints:
    """Columns of the open jobs: the best few of each, what it has, and all of those that lose most.

    The best few of a job that finds no room may all lie in weeks that are full.
    """
    columns = posed.columns
    is_open = np.zeros(posed.jobs, dtype=bool)
    is_open[jobs] = True
    of = np.flatnonzero(is_open[columns.job])
    lost = np.where(is_open, posed.lost(taken), 0.0)
    wide = np.zeros(posed.jobs, dtype=bool)
    wide[np.argsort(-lost, kind="stable")[:_LOSERS]] = True
    must = (posed.start > 0) & posed.goal.must[columns.job]
    first = np.where((posed.part > INTEGER) | (taken > 0) | must, np.inf, posed.paid)
    order = of[np.lexsort((-first[of], columns.job[of]))]
    begins = np.searchsorted(columns.job[order], columns.job[order], side="left")
    few = np.arange(order.size) - begins < _NEAR
    return np.sort(order[few | (wide[columns.job[order]] & (posed.goal.gain[order] > 0))])
