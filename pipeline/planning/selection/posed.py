"""What the whole-number search is asked: the table, the goal and what the relaxation says."""

from dataclasses import dataclass

import numpy as np

from pipeline.planning.selection.bound import Goal, paid
from pipeline.planning.selection.columns import Columns
from pipeline.planning.selection.relaxation import INTEGER, Relaxed, least_extras
from pipeline.planning.selection.rows import TEST, Rows
from pipeline.units import Flags, Floats


@dataclass(frozen=True, slots=True)
class Posed:
    """What is asked, in units in which a mean gain is 1.

    Parameters
    ----------
    paid : what each column gains after it has paid the relaxation's prices, shape (columns,).
    extra_paid : the same of the extras, shape (extras,).
    part : share of each column that the relaxation takes, shape (columns,).
    start : the selection begun with, in which all is done that must be, shape (columns,).
    """

    columns: Columns
    rows: Rows
    goal: Goal
    relaxed: Relaxed
    start: Floats
    paid: Floats
    extra_paid: Floats
    part: Floats

    @property
    def jobs(self) -> int:
        """How many jobs there are."""
        return int(self.columns.start.size - 1)

    def best(self, least: float = -np.inf) -> Floats:
        """The most that each job gains after paying, and no less than `least`; shape (jobs,)."""
        most = np.full(self.jobs, least)
        np.maximum.at(most, self.columns.job, self.paid)
        return most

    def lost(self, taken: Floats) -> Floats:
        """What each job loses against its best column, or being left out; shape (jobs,)."""
        nothing = np.where(self.goal.must, -np.inf, 0.0)
        best = np.maximum(self.best(), nothing)
        now = np.zeros(best.size)
        at = np.flatnonzero(taken)
        now[self.columns.job[at]] = self.paid[at]
        return np.where(np.isfinite(best), best - now, 0.0)

    def tied(self) -> Flags:
        """Jobs that a test ties to another, shape (jobs,)."""
        tied = np.zeros(self.jobs, dtype=bool)
        tied[self.columns.job[self.rows.limits[self.rows.kind == TEST].indices]] = True
        return tied

    def value(self, taken: Floats) -> float:
        """What a selection gains; minus infinity where it breaks a limit."""
        goal, rows = self.goal, self.rows
        if float(goal.saved @ taken) < goal.least or goal.undone(taken, self.columns):
            return -np.inf
        extras = least_extras(rows, goal, taken)
        over = rows.limits @ taken + rows.extra @ extras - rows.room
        if (over > INTEGER * np.maximum(1.0, np.abs(rows.room))).any():
            return -np.inf
        return goal.of(taken, extras)


def pose(columns: Columns, rows: Rows, goal: Goal, relaxed: Relaxed, start: Floats) -> Posed:
    """The question with what follows from the relaxation's prices."""
    gain, extra = paid(goal, rows, relaxed.prices, relaxed.late, limits=rows.limits.T.tocsr())
    part = np.zeros(len(columns))
    part[relaxed.of] = relaxed.x
    return Posed(columns, rows, goal, relaxed, start, gain, extra, part)
