"""Whole-number programs over some columns, the rest held as it is; HiGHS solves them, by scipy."""

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from pipeline.planning.selection.bound import Goal
from pipeline.planning.selection.posed import Posed
from pipeline.planning.selection.relaxation import TINY, at_least_one, at_most_one
from pipeline.units import Floats, Ints

_BACKSTOP_S = 20.0
_CHOSEN = 0.5
_STOPPED = 1  # scipy's status of a program that a limit has stopped


@dataclass(frozen=True, slots=True)
class Found:
    """Answer of a program.

    Parameters
    ----------
    taken : 1 for each column chosen, shape (columns,); None where nothing was found.
    bound : of the program itself.
    early : stopped by the nodes or the clock, not by the gap.
    """

    taken: Floats | None
    bound: float
    early: bool


def choose_whole(
    posed: Posed, goal: Goal, fixed: Floats, of: Ints, *, gap: float, nodes: int
) -> Found:
    """The best choice of some columns beside those that are fixed.

    Parameters
    ----------
    fixed : 1 for each column that stays; none of a job of `of`; shape (columns,).
    of : columns to choose from.
    gap : to the program's bound, as a share of what it gains.
    nodes : after which the program stops.
    """
    table, room, gain = _program(posed, goal, fixed, of)
    most = posed.rows.most
    found = milp(
        -gain,
        integrality=np.concatenate((np.ones(of.size), np.zeros(most.size))),
        bounds=Bounds(np.zeros(gain.size), np.concatenate((np.ones(of.size), most))),
        constraints=LinearConstraint(table, -np.inf, room),
        options={"mip_rel_gap": gap, "node_limit": nodes, "time_limit": _BACKSTOP_S},
    )
    early = found.status == _STOPPED
    bound = np.inf if found.mip_dual_bound is None else -float(found.mip_dual_bound)
    if found.x is None:
        return Found(None, bound, early)
    taken = fixed.copy()
    taken[of[np.asarray(found.x)[: of.size] > _CHOSEN]] = 1.0
    return Found(taken, bound, early)


def _program(
    posed: Posed, goal: Goal, fixed: Floats, of: Ints
) -> tuple[sparse.csr_array, Floats, Floats]:
    """Limits, room and gains; limits that nothing uses are left out."""
    rows = posed.rows
    job, once = at_most_one(posed.columns, of)
    limits = rows.limits[:, of]
    used = np.diff(limits.indptr) + np.diff(rows.extra.indptr) > 0
    extras = rows.most.size
    tables = [sparse.hstack((limits[used], rows.extra[used])),
              sparse.hstack((once, sparse.csr_array((job.size, extras))))]  # fmt: skip
    room = [(rows.room - rows.limits @ fixed)[used], np.ones(job.size)]
    jobs, lowest = at_least_one(posed.columns, goal, of)
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
