"""A selection, its bounds and its prices; whatever the solver does, there is an answer that holds.

1. Greedy, by urgency, by late days saved an hour, or by habit: an answer in any case.
2. The search, in a process of its own or in this one.
3. Each answer is counted again here: every limit from the jobs (`check`), what it comes to, and the
   bound from the prices (`bound`). One that breaks a limit is dropped and counted.
"""

from dataclasses import dataclass, replace

import numpy as np

from pipeline.planning.selection.apart import answers
from pipeline.planning.selection.bound import bound
from pipeline.planning.selection.check import broken
from pipeline.planning.selection.columns import Columns
from pipeline.planning.selection.greedy import by_habit, by_urgency, chosen_of, serve, taken
from pipeline.planning.selection.instance import NOWHERE, Chosen, Instance, in_order
from pipeline.planning.selection.rows import WARD, Rows
from pipeline.planning.selection.search import (
    Effort,
    Proposal,
    Score,
    Table,
    better,
    fallback,
    filled_up,
    first_goal,
    score,
    search,
    second_goal,
    table_of,
)
from pipeline.units import Floats, Ints

GREEDY, SOLVED, STOPPED = "greedy", "solved", "stopped early"


@dataclass(frozen=True, slots=True)
class Result:
    """A selection with everything that is said about it; jobs in the order they were given in.

    Parameters
    ----------
    chosen : period and pool of each job.
    how : 'solved', 'stopped early' or 'greedy' (no answer of the solver was better or held).
    score, greedy, habit : what this plan, the greedy one, and the worst rating first come to.
    least_late : no plan has fewer weighted late days than this.
    most_harm : no plan in which no job is later than in this one avoids more harm, less the price
        of what wards lack of their share.
    dropped : answers of the solver that broke a limit.
    table : columns and limits, with jobs in the order of their ties.
    order : row, as given, of each job of the table.
    prices, late_prices : harm avoided, and weighted late days saved, by one more unit of each
        limit, shape (rows,).
    """

    chosen: Chosen
    how: str
    score: Score
    greedy: Score
    habit: Score
    habit_chosen: Chosen
    urgent_chosen: Chosen
    least_late: float
    most_harm: float
    dropped: int
    table: Table
    order: Ints
    prices: Floats
    late_prices: Floats

    def ward_weight(self) -> Floats:
        """What a unit of harm counts with the prices of the wards' shares, 1 without any.

        Shape (jobs of the table,).
        """
        columns, rows = self.table.columns, self.table.rows
        ward = rows.kind == WARD
        weight = np.ones(columns.start.size - 1)
        if not ward.any():
            return weight
        paid = -(rows.limits[ward].T @ self.prices[ward])
        first = np.flatnonzero(
            (np.diff(columns.start) > 0) & (self.table.instance.demand.worth > 0)
        )
        at = columns.start[first]
        told = columns.harm[at] > 0
        weight[first[told]] = np.maximum(1.0 + paid[at[told]] / columns.harm[at[told]], 0.0)
        return weight

    @property
    def gap(self) -> float:
        """How much more harm could be avoided at most, as a share of what is."""
        return max(self.most_harm - self.score.net, 0.0) / max(self.score.harm, 1e-300)


def select(
    instance: Instance,
    rating: Ints,
    effort: Effort,
    *,
    seconds: float = 60.0,
    apart: bool = True,
) -> Result:
    """The selection of an instance, jobs in any order.

    Parameters
    ----------
    rating : of each job's tree, for the comparison with the habit, shape (jobs,).
    seconds : after which the child is killed.
    apart : in a process of its own; without it there is no hard stop.
    """
    demand, order = in_order(instance.demand)
    table = table_of(replace(instance, demand=demand))
    start = fallback(table)
    habit = serve(by_habit(table.instance, rating[order]), table.columns, table.rows)
    if better(score(table, habit), score(table, start)):
        start = habit
    book = _Book(table, start)
    if len(table.columns) and not _every_best(table, start):
        found = (
            answers(table, start, effort, seconds=seconds) if apart else _here(table, start, effort)
        )
        for proposal in found:
            book.note(proposal)
    book.fill_up()
    urgent = serve(by_urgency(table.instance), table.columns, table.rows)
    late, harm = book.bounds()
    return Result(
        chosen=_given(book.best, order),
        how=book.how,
        score=book.score,
        greedy=score(table, urgent),
        habit=score(table, habit),
        habit_chosen=_given(habit, order),
        urgent_chosen=_given(urgent, order),
        least_late=late,
        most_harm=harm,
        dropped=book.dropped,
        table=table,
        order=order,
        prices=book.prices["harm"],
        late_prices=book.prices["late"],
    )


def _every_best(table: Table, chosen: Chosen) -> bool:
    """Whether each job has the best of its columns: then nothing is left to be looked for."""
    columns = table.columns
    best, now = np.full((2, columns.start.size - 1), 0.0)
    late, got = np.zeros_like(best), np.zeros_like(best)
    np.maximum.at(best, columns.job, columns.harm)
    np.maximum.at(late, columns.job, columns.saved)
    at = np.flatnonzero(taken(columns, chosen))
    now[columns.job[at]], got[columns.job[at]] = columns.harm[at], columns.saved[at]
    return bool((now >= best * (1 - 1e-12)).all() and (got >= late * (1 - 1e-12)).all())


def _here(table: Table, start: Chosen, effort: Effort) -> list[Proposal]:
    found: list[Proposal] = []
    search(table, start, effort, found.append)
    return found


def _given(chosen: Chosen, order: Ints) -> Chosen:
    """From the order of the table back to the order given."""
    period, pool = np.full((2, order.size), NOWHERE, dtype=np.int64)
    period[order], pool[order] = chosen.period, chosen.pool
    return Chosen(period, pool)


class _Book:
    """The best answer so far, and the prices that came with it."""

    def __init__(self, table: Table, start: Chosen) -> None:
        self.table, self.best, self.score = table, start, score(table, start)
        self.how, self.dropped = GREEDY, 0
        none = np.zeros(table.rows.room.size)
        self.prices = {"late": none, "harm": none}
        self.late_bound = float(first_goal(table).gain.sum()) if len(table.columns) else 0.0
        self.begun = start  # no job later than in this one
        self.harm_bound = np.inf

    def note(self, proposal: Proposal) -> None:
        """Take an answer that holds and is better."""
        answer = proposal.answer
        chosen = chosen_of(self.table.columns, answer.taken)
        if broken(self.table.instance, chosen):
            self.dropped += 1
            return
        if proposal.step == "late":
            self.prices["late"] = answer.prices
        else:
            self.prices["harm"] = answer.prices
        found = score(self.table, chosen)
        if better(found, self.score):
            self.best, self.score = chosen, found
        self.how = STOPPED if answer.early else SOLVED

    def fill_up(self) -> None:
        """Whatever still fits."""
        full = filled_up(self.table, self.best)
        found = score(self.table, full)
        if not broken(self.table.instance, full) and better(found, self.score):
            self.best, self.score = full, found

    def bounds(self) -> tuple[float, float]:
        """Least late days and most harm, both from the prices alone."""
        columns, rows = self.table.columns, self.table.rows
        goal = first_goal(self.table)
        saved = bound(goal, columns, rows, self.prices["late"], 0.0)
        least = max(float(columns.left_late.sum()) - saved, 0.0)
        return least, no_later_bound(self.table, self.best, columns, rows, self.prices["harm"])


def no_later_bound(
    table: Table, chosen: Chosen, columns: Columns, rows: Rows, prices: Floats
) -> float:
    """The most harm that a plan avoids in which no job is later than in this one.

    A job that saves late days here has to be done, in a column that saves as many.
    """
    saved = np.zeros(columns.start.size - 1)
    at = np.flatnonzero(taken(columns, chosen))
    saved[columns.job[at]] = columns.saved[at]
    kept = np.flatnonzero(columns.saved >= saved[columns.job] * (1 - 1e-9))
    some, fewer = columns.only(kept), replace(rows, limits=rows.limits[:, kept])
    part = Table(table.instance, some, fewer)
    must = saved > 0
    must[table.instance.demand.test[must[table.instance.demand.removal]]] = True
    goal = replace(second_goal(part, -np.inf), must=must, gain=some.harm)
    return bound(goal, some, fewer, prices, 0.0)
