"""Why a job is not in the plan: one reason each, with its numbers in words."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.planning.capacity import Needs
from pipeline.planning.plan import Plan
from pipeline.planning.quarters import NEVER, as_date
from pipeline.planning.selection.instance import NOWHERE
from pipeline.planning.selection.rows import GRANTED, MACHINE, MONEY, WEEK, WINDOW
from pipeline.planning.wanted import Wanted
from pipeline.planning.world import Work, World
from pipeline.units import Ints

Texts = npt.NDArray[np.object_]


# Beside these, whatever blocks a group of jobs altogether is a reason.
_NO_HOURS, _DEFERRED, _SEASON, _TOO_LONG, _NO_MONEY, _NO_MACHINE = (
    "no_hours_left", "deferred", "out_of_season", "longer_than_shift", "no_money_left",
    "no_machine_hours_left",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Coded:
    """Texts that many rows share: the one of each row is `texts[index]`."""

    texts: list[str]
    index: Ints


@dataclass(frozen=True, slots=True)
class Held:
    """What holds a job back.

    The day up to which it is put off, NEVER for none; its first open day; the pinned quarter.
    """

    deferred_until: Ints
    opens: Ints
    pinned: Texts


def reasons(
    work: Work, world: World, plan: Plan, needs: Sequence[Needs], blocked: Texts, held: Held
) -> tuple[Ints, Coded, Coded]:
    """Rows left out, the reason of each and the sentence that says it.

    Parameters
    ----------
    needs, blocked : what each group asks for and what stands in its way, see `capacity`.
    """
    rows = np.flatnonzero(plan.quarter == NOWHERE)
    end = world.span.end
    put_off = (held.deferred_until[rows] > end) & (held.deferred_until[rows] != NEVER)
    put_off |= work.pinned[rows] >= len(world.span.quarters)
    shut = held.opens[rows] > end
    dear = dearest(plan.wanted, work.hours.size)
    money = (dear == MONEY) | plan.dear[0]
    machine = (dear == MACHINE) | plan.dear[1]
    known = [_NO_HOURS, _DEFERRED, _SEASON, _TOO_LONG, _NO_MONEY, _NO_MACHINE]
    known += sorted(set(blocked.tolist()) - {"", *known})
    stands = np.array([known.index(text) if text else -1 for text in blocked], np.int64)
    blocks = stands[work.group[rows]]
    code = np.select(
        [blocks >= 0, put_off, shut, plan.too_long[rows], machine[rows], money[rows]],
        [blocks, 1, 2, 3, 5, 4],
        0,
    )
    texts: list[str] = []
    index = np.zeros(rows.size, np.int64)
    for number, reason in enumerate(known):
        at = np.flatnonzero(code == number)
        if at.size:
            said = _sentences(reason, rows[at], (work, world, plan, needs, held))
            index[at] = said.index + len(texts)
            texts += said.texts
    return rows, Coded(known, code), Coded(texts, index)


def _sentences(
    reason: str,
    rows: Ints,
    given: tuple[Work, World, Plan, Sequence[Needs], Held],
) -> Coded:
    """One sentence for each different set of numbers, for all rows that share it."""
    work, world, plan, needs, held = given
    first, index = _alike(reason, rows, given)
    demand = np.zeros(len(needs))
    np.add.at(demand, work.group, plan.used)
    made: list[str] = []
    for row in rows[first].tolist():
        need = needs[int(work.group[row])]
        say: Callable[[], str] = {
            _DEFERRED: lambda row=row: _deferred(world, held, row),
            _SEASON: lambda row=row: _season(world, held, row),
            _NO_HOURS: lambda row=row: _no_hours(work, world, plan, demand, row),
            _TOO_LONG: lambda row=row: _too_long(work, world, plan, row),
            _NO_MONEY: lambda row=row: _no_money(work, world, plan, row),
            _NO_MACHINE: lambda row=row: _no_machine_hours(work, world, plan, row),
        }.get(reason, lambda need=need: _no_crew(reason, need))
        made.append(say())
    return Coded(made, index)


def _alike(
    reason: str, rows: Ints, given: tuple[Work, World, Plan, Sequence[Needs], Held]
) -> tuple[Ints, Ints]:
    """Rows whose sentences have the same numbers: the first of each set, the set of each row."""
    work, _, plan, _, held = given
    if reason == _DEFERRED:
        pins = np.array([str(text or "") for text in held.pinned[rows]], dtype=object)
        one, other = held.deferred_until[rows], np.unique(pins, return_inverse=True)[1]
    elif reason == _SEASON:
        one, other = held.opens[rows], np.zeros_like(rows)
    else:
        one = work.group[rows]
        tenths = np.round(plan.used[rows] * 10).astype(np.int64)
        other = (
            tenths
            if reason in {_NO_HOURS, _TOO_LONG, _NO_MONEY, _NO_MACHINE}
            else np.zeros_like(rows)
        )
    place = np.unique(one, return_inverse=True)[1]
    both = place * (int(other.max()) + 1) + other
    _, first, index = np.unique(both, return_index=True, return_inverse=True)
    return first, index


def _deferred(world: World, held: Held, row: int) -> str:
    if held.deferred_until[row] != NEVER and held.deferred_until[row] > world.span.end:
        if held.deferred_until[row] == world.span.end + 1:
            return f"put off by a decision for all of {world.span.words}"
        until = as_date(int(held.deferred_until[row]))
        return f"put off by a decision until {until}, after {world.span.words}"
    return f"pinned by a decision to {held.pinned[row]}, after {world.span.words}"


def _season(world: World, held: Held, row: int) -> str:
    opens = as_date(int(held.opens[row]))
    return f"its closed window ends on {opens}, after {world.span.words}"


def _no_crew(reason: str, need: Needs) -> str:
    kind = need.crew_type.replace("_", "-")
    if reason == "no_machine":
        return f"no crew that can do {kind} work has the machine {need.machine}"
    if reason == "do_not_climb_no_lift":
        return f"the tree must not be climbed, and for {kind} work there is no other crew"
    return f"no crew in the settings can do {kind} work"


def _no_hours(
    work: Work, world: World, plan: Plan, demand: npt.NDArray[np.float64], row: int
) -> str:
    group = int(work.group[row])
    able = np.flatnonzero(world.rank[group])
    kinds = " and ".join(sorted({world.pools[k].crew_type for k in able.tolist()}))
    return (
        f"needs {plan.used[row]:.1f} h; jobs before it take the {plan.hours[able].sum():.0f} h of "
        f"{kinds} crews in {world.span.words}, {demand[group]:.0f} h are asked"
    )


def _no_money(work: Work, world: World, plan: Plan, row: int) -> str:
    able = np.flatnonzero(world.rank[int(work.group[row])])
    cost = plan.used[row] * float(world.rates[able].min())
    return (
        f"would cost about {cost:,.0f}; the {world.budget.money:,.0f} granted for "
        f"{world.span.words} go to work that saves more late days or harm for the same money"
    )


def _no_machine_hours(work: Work, world: World, plan: Plan, row: int) -> str:
    number = int(work.machine[row])
    name = world.budget.machines[number].replace("_", " ")
    return (
        f"needs {plan.used[row]:.1f} h of the {name}; the "
        f"{world.budget.machine_hours[number]:g} h a quarter go to work that comes first"
    )


def dearest(wanted: Wanted, jobs: int) -> Ints:
    """Kind of the limit that costs each job left out by the selection most, -1 elsewhere."""
    kinds = np.full(jobs, NOWHERE, dtype=np.int64)
    found = wanted.result
    if found is None or not len(found.table.columns):
        return kinds
    columns, rows = found.table.columns, found.table.rows
    limits, priced = rows.limits.T.tocsr(), (GRANTED, MONEY, MACHINE)
    prices = found.prices + (found.late_prices if not found.prices.any() else 0.0)
    cost = [limits @ np.where(rows.kind == kind, prices, 0.0) for kind in priced]
    cost[0] = limits @ np.where(np.isin(rows.kind, (GRANTED, WEEK, WINDOW)), prices, 0.0)
    after = columns.harm - limits @ prices
    order = np.lexsort((after, columns.job))
    last = np.searchsorted(columns.job[order], np.arange(columns.start.size - 1), side="right") - 1
    has = np.diff(columns.start) > 0
    best = order[np.maximum(last, 0)]
    most = np.argmax(np.stack(cost, axis=1)[best], axis=1) if best.size else best
    left = np.flatnonzero(has & ~found.chosen.done[found.order])
    kinds[wanted.rows[found.order[left]]] = np.array(priced)[most[left]]
    return kinds


def _too_long(work: Work, world: World, plan: Plan, row: int) -> str:
    able = np.flatnonzero(world.rank[int(work.group[row])])
    shift = max(world.crews[k].hours_per_day for p in able.tolist() for k in world.pools[p].crews)
    return (
        f"needs {plan.used[row]:.1f} h with set-up and travel; the longest shift has {shift:.1f} h "
        f"and at most {world.order.longest_span} in a row are given to one job"
    )
