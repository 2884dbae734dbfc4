"""What a selection comes to beside others: by urgency, by habit, under other limits; prices."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.planning.selection.choose import GREEDY, select
from pipeline.planning.selection.instance import Chosen, Instance, Supply, in_order
from pipeline.planning.selection.rows import GRANTED, MACHINE, MONEY, WEEK
from pipeline.planning.selection.search import Effort, Score, fallback, score, table_of
from pipeline.planning.wanted import Wanted
from pipeline.planning.world import World
from pipeline.settings.model import WhatIf
from pipeline.units import Floats, Ints

# Crew-hours of the curve as shares of those there are.
CURVE = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0)
_NO_DAYS, _NO_HARM = 0.05, 5e-9  # what prints as nothing is no price


@dataclass(frozen=True, slots=True)
class Figure:
    """One row of planning.figures."""

    plan: str
    kind: str
    how: str
    hours: float
    weighted_late_days: float
    late_jobs: int | None
    harm_avoided: float
    harm_first_quarter: float | None
    cost: float | None
    jobs: int | None


def figures(wanted: Wanted, world: World, what_ifs: Sequence[WhatIf], rating: Ints) -> list[Figure]:
    """The plan, the two orders it is held against, the bound, the what-ifs and the curve.

    Parameters
    ----------
    rating : of each job's tree, shape (jobs,).
    """
    found, given = wanted.result, wanted.given
    if found is None or given is None:
        return []
    hours = float(given.supply.granted.sum())
    at = replace(given, demand=in_order(given.demand)[0])

    def row(name: str, kind: str, how: str, told: tuple[Score, Chosen], on: Instance) -> Figure:
        one, chosen = told
        return Figure(name, kind, how, float(on.supply.granted.sum()), one.late, one.late_jobs,
                      one.harm, _first_quarter(on, chosen, wanted), one.cost,
                      int(chosen.done.sum()))  # fmt: skip

    made = [
        row("plan", "plan", found.how, (found.score, found.chosen), given),
        row("by order of urgency", "urgency", GREEDY, (found.greedy, found.urgent_chosen), given),
        row("by habit", "habit", GREEDY, (found.habit, found.habit_chosen), given),
        Figure("bound", "bound", "by prices", hours, found.least_late, None, found.most_harm, None,
               None, None),
    ]  # fmt: skip
    effort = Effort(gap=world.order.exact_gap, late_gap=world.order.exact_gap, attempts=2)
    for one in what_ifs:
        changed = replace(given, supply=changed_supply(given, world, one))
        other = select(changed, rating[wanted.rows], effort, seconds=world.order.solver_seconds)
        made.append(row(one.name, "what_if", other.how, (other.score, other.chosen), changed))
    for share in CURVE:
        supply = replace(given.supply, granted=given.supply.granted * share,
                         daily=given.supply.daily * max(share, 1.0))  # fmt: skip
        table = table_of(replace(at, supply=supply))
        chosen = fallback(table)
        made.append(row(f"{share:.0%} of the hours", "hours", GREEDY,
                        (score(table, chosen), chosen), table.instance))  # fmt: skip
    return made


def changed_supply(given: Instance, world: World, change: WhatIf) -> Supply:
    """The supply of an instance under other limits."""
    supply = given.supply
    times = {str(kind): many for kind, many in change.hours.items()}
    more = np.array([times.get(pool.crew_type, 1.0) for pool in world.pools])
    machine = supply.machine.copy()
    for name, hours in change.machine_hours.items():
        if name in world.budget.machines:
            machine[:, world.budget.machines.index(name)] = hours
    return replace(
        supply,
        granted=supply.granted * more,
        daily=supply.daily * np.maximum(more, 1.0),
        machine=machine,
        budget=supply.budget if change.budget is None else change.budget,
        overtime_share=supply.overtime_share
        if change.overtime_share is None
        else change.overtime_share,
    )


def _first_quarter(on: Instance, chosen: Chosen, wanted: Wanted) -> float:
    """Harm a year removed by what is done by the end of the first quarter."""
    last = -wanted.dates.first  # stretch of the first quarter
    stretch = on.periods.stretch[np.maximum(chosen.period, 0)]
    early = chosen.done & (stretch <= max(last, 0))
    return float(on.demand.worth[early].sum())


@dataclass(frozen=True, slots=True)
class Price:
    """One row of planning.prices."""

    limit: str
    what: str
    quarter: str
    harm_avoided: float
    weighted_late_days: float
    unit: str


def prices(wanted: Wanted, world: World) -> list[Price]:
    """What one more unit of each limit would bring; a week's price is added to its quarter's."""
    found = wanted.result
    if found is None:
        return []
    rows, names = found.table.rows, pool_names(world)
    told: dict[tuple[str, str, str], Floats] = {}
    week = dict[tuple[str, str, str], Floats]()
    for number in range(rows.room.size):
        kind, what, when = (int(a[number]) for a in (rows.kind, rows.what, rows.when))
        pair = np.array([found.prices[number], found.late_prices[number]])
        if kind == GRANTED:
            told["hours", names[what], _quarter(wanted, world, when)] = pair
        elif kind == WEEK:
            stretch = int(wanted.dates.periods.stretch[when])
            key = ("hours", names[what], _quarter(wanted, world, stretch))
            week[key] = np.maximum(week.get(key, np.zeros(2)), pair)
        elif kind == MACHINE:
            told["machine", world.budget.machines[what], _quarter(wanted, world, when)] = pair
        elif kind == MONEY:
            told["money", "money", "all"] = pair
    for key, pair in week.items():  # an hour more of a quarter, in its dearest week
        told[key] = told.get(key, np.zeros(2)) + pair
    return [
        Price(*key, harm_avoided=float(pair[0]), weighted_late_days=float(pair[1]),
              unit="money" if key[0] == "money" else "hour")
        for key, pair in sorted(told.items()) if pair[0] > _NO_HARM or pair[1] > _NO_DAYS
    ]  # fmt: skip


def _quarter(wanted: Wanted, world: World, stretch: int) -> str:
    quarter = stretch + wanted.dates.first
    return "lead-in" if quarter < 0 else world.span.labels[quarter]


def pool_names(world: World) -> list[str]:
    """Crews of each pool in words."""
    return [", ".join(world.crews[place].id for place in pool.crews) for pool in world.pools]
