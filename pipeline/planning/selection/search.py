"""One selection from beginning to end: late days first, then harm, the fallback beside them."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from pipeline.planning.selection.bound import Goal
from pipeline.planning.selection.columns import Columns, make_columns
from pipeline.planning.selection.greedy import (
    by_urgency,
    by_weight,
    by_worth,
    chosen_of,
    serve,
    taken,
)
from pipeline.planning.selection.instance import Chosen, Instance
from pipeline.planning.selection.relaxation import least_extras
from pipeline.planning.selection.rows import Rows, make_rows
from pipeline.planning.selection.solver import Answer, Limits, solve
from pipeline.units import Flags, Floats

_EVEN = 1e-9


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to look.

    Parameters
    ----------
    gap : to the bound, as a share of the harm avoided.
    late_gap : to the bound of lateness, as a share of the late days that hours decide.
    nodes, late_attempts, attempts : of each whole-number program; how many of them the step for
        late days and the step for harm may take.
    exact : up to so many columns late days may also change hands between jobs in the second step.
    """

    gap: float = 0.001
    late_gap: float = 0.001
    nodes: int = 100
    late_attempts: int = 8
    attempts: int = 20
    exact: int = 1_500


@dataclass(frozen=True, slots=True)
class Score:
    """What a selection comes to: weighted late days, late jobs, harm avoided, money.

    `owed` is the price, in harm, of what wards lack of their share.
    """

    late: float
    late_jobs: int
    harm: float
    cost: float
    owed: float = 0.0

    @property
    def net(self) -> float:
        """Harm avoided less what is owed to the wards."""
        return self.harm - self.owed


@dataclass(frozen=True, slots=True)
class Proposal:
    """What one of the two steps found; prices and bounds are of that step."""

    step: str
    answer: Answer


@dataclass(frozen=True, slots=True)
class Table:
    """An instance with its columns and limits."""

    instance: Instance
    columns: Columns
    rows: Rows


def table_of(instance: Instance) -> Table:
    """Columns and limits of an instance whose jobs stand in the order of their ties."""
    columns = make_columns(instance)
    return Table(instance, columns, make_rows(instance, columns))


def score(table: Table, chosen: Chosen) -> Score:
    """What a selection comes to."""
    columns = table.columns
    begun = taken(columns, chosen)
    at = begun > 0
    goal = second_goal(table, -np.inf)
    owed = 0.0
    if (goal.extra_gain < 0).any():
        owed = -float(goal.extra_gain @ least_extras(table.rows, goal, begun))
    late = np.where(chosen.done, 0.0, columns.left_late)
    late[columns.job[at]] = columns.late[at]
    return Score(
        late=float(late.sum()),
        late_jobs=int((late > _EVEN).sum()),
        harm=float(columns.harm[at].sum()),
        cost=float(columns.cost[at].sum()) + _overtime_paid(table.instance, columns, at),
        owed=owed,
    )


def _overtime_paid(instance: Instance, columns: Columns, at: Flags) -> float:
    """What hours beyond those granted cost above their rate."""
    supply, periods = instance.supply, instance.periods
    if supply.overtime_share <= 0:
        return 0.0
    used = np.zeros(supply.granted.shape)
    np.add.at(used, (periods.stretch[columns.period[at]], columns.pool[at]), columns.hours[at])
    over = np.maximum(used - supply.granted, 0.0).sum(axis=0)
    return float(over @ supply.rate) * (supply.overtime_rate - 1.0)


def better(one: Score, other: Score) -> bool:
    """Whether one selection stands before another: late days first, then harm and the wards."""
    if abs(one.late - other.late) > _EVEN * max(1.0, abs(other.late)):
        return one.late < other.late
    return one.net > other.net + _EVEN * abs(other.net)


def first_goal(table: Table) -> Goal:
    """Save as many weighted late days as can be."""
    return Goal(table.columns.saved, np.zeros(table.rows.most.size), table.columns.saved, -np.inf,
                np.zeros(len(table.instance.demand), dtype=bool))  # fmt: skip


def second_goal(table: Table, least: float) -> Goal:
    """Avoid as much harm as can be without saving fewer late days than `least`.

    What is equal goes to the earlier column of the earlier job.
    """
    columns = table.columns
    step = float(columns.harm.mean()) * 1e-7 if len(columns) else 0.0
    later = step * (columns.period + columns.job / max(columns.start.size, 1))
    return Goal(np.maximum(columns.harm - later, 0.0), table.rows.gain, columns.saved, least,
                np.zeros(len(table.instance.demand), dtype=bool))  # fmt: skip


def fallback(table: Table) -> Chosen:
    """The better of two greedy selections."""
    first, second = (
        serve(order, table.columns, table.rows)
        for order in (by_urgency(table.instance), by_weight(table.instance, table.columns))
    )
    return second if better(score(table, second), score(table, first)) else first


def search(table: Table, start: Chosen, effort: Effort, report: Callable[[Proposal], None]) -> None:
    """Both steps; every answer is reported as soon as it is there."""
    columns, rows = table.columns, table.rows
    begun = taken(columns, start)
    goal = first_goal(table)
    saved = float(goal.gain @ begun)
    reachable = _most(columns, columns.saved)
    contended = reachable - saved
    if contended > _EVEN * max(reachable, 1.0):
        limits = Limits(effort.late_gap * contended, effort.nodes, effort.late_attempts)
        answer = solve(columns, rows, goal, begun, limits,
                       lambda found: report(Proposal("late", found)))  # fmt: skip
        begun = answer.taken
    begun = _no_later(table, begun, effort, report)
    if len(columns) <= effort.exact:
        saved = float(columns.saved @ begun)
        second = second_goal(table, saved - _EVEN * max(reachable, 1.0))
        limits = Limits(effort.gap * float(columns.harm @ begun), effort.nodes, effort.attempts)
        solve(columns, rows, second, begun, limits,
              lambda found: report(Proposal("harm", found)))  # fmt: skip


def _no_later(
    table: Table, begun: Floats, effort: Effort, report: Callable[[Proposal], None]
) -> Floats:
    """The most harm avoided by a plan in which no job is later than in the one begun with."""
    columns, rows = table.columns, table.rows
    saved = np.zeros(columns.start.size - 1)
    at = np.flatnonzero(begun)
    saved[columns.job[at]] = columns.saved[at]
    kept = np.flatnonzero(columns.saved >= saved[columns.job] * (1 - _EVEN))
    some, fewer = columns.only(kept), replace(rows, limits=rows.limits[:, kept])
    part = Table(table.instance, some, fewer)
    filled = taken(some, filled_up(part, chosen_of(some, begun[kept])))
    must = saved > 0
    must[table.instance.demand.test[must[table.instance.demand.removal]]] = True
    goal = replace(second_goal(part, -np.inf), must=must)
    limits = Limits(effort.gap * float(some.harm @ filled), effort.nodes, effort.attempts)

    def whole(found: Answer) -> Answer:
        all_taken = np.zeros(len(columns))
        all_taken[kept] = found.taken
        return replace(found, taken=all_taken)

    answer = solve(some, fewer, goal, filled, limits,
                   lambda found: report(Proposal("no_later", whole(found))))  # fmt: skip
    return whole(answer).taken


def _most(columns: Columns, gain: Floats) -> float:
    most = np.zeros(columns.start.size - 1)
    np.maximum.at(most, columns.job, gain)
    return float(most.sum())


def filled_up(table: Table, chosen: Chosen) -> Chosen:
    """The selection with whatever still fits into the hours it leaves."""
    columns, rows = table.columns, table.rows
    extras = least_extras(rows, second_goal(table, -np.inf), taken(columns, chosen))
    return serve(by_worth(table.instance), columns, rows, begun=chosen, extras=extras)
