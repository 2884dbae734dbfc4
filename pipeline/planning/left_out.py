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
from pipeline.published import sentences
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
    work: Work,
    world: World,
    plan: Plan,
    needs: Sequence[Needs],
    blocked: Texts,
    held: Held,
    told: sentences.Texts,
) -> tuple[Ints, Coded, Coded]:
    """Rows left out, the reason of each and the sentence that says it.

    Parameters
    ----------
    needs, blocked : what each group asks for and what stands in its way, see `capacity`.
    told : the table of sentences.
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
            said = _sentences(reason, rows[at], (work, world, plan, needs, held), told)
            index[at] = said.index + len(texts)
            texts += said.texts
    return rows, Coded(known, code), Coded(texts, index)


def _sentences(
    reason: str,
    rows: Ints,
    given: tuple[Work, World, Plan, Sequence[Needs], Held],
    told: sentences.Texts,
) -> Coded:
    """One sentence for each different set of numbers, for all rows that share it."""
    work, world, plan, needs, held = given
    first, index = _alike(reason, rows, given)
    demand = np.zeros(len(needs))
    np.add.at(demand, work.group, plan.used)
    made: list[str] = []

    def tell(variant: str = "", /, **values: object) -> str:
        return told.of(sentences.LEFT_OUT, reason, variant, **values)

    span = _span(world, told)
    for row in rows[first].tolist():
        need = needs[int(work.group[row])]
        say: Callable[[], str] = {
            _DEFERRED: lambda row=row: _deferred(world, held, row, (tell, span)),
            _SEASON: lambda row=row: tell(day=as_date(int(held.opens[row])), span=span),
            _NO_HOURS: lambda row=row: tell(
                span=span, **_no_hours((work, world, plan), demand, row, told)
            ),
            _TOO_LONG: lambda row=row: tell(**_too_long(work, world, plan, row)),
            _NO_MONEY: lambda row=row: tell(span=span, **_no_money(work, world, plan, row)),
            _NO_MACHINE: lambda row=row: tell(**_no_machine_hours(work, world, plan, row)),
        }.get(reason, lambda need=need: tell(**_no_crew(need, told)))
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


def _span(world: World, told: sentences.Texts) -> str:
    """The quarters of the plan in words."""
    labels = world.span.labels
    if len(labels) == 1:
        return labels[0]
    return told.of(sentences.LEFT_OUT, "span", first=labels[0], last=labels[-1])


def _deferred(world: World, held: Held, row: int, how: tuple[Callable[..., str], str]) -> str:
    tell, span = how
    if held.deferred_until[row] != NEVER and held.deferred_until[row] > world.span.end:
        if held.deferred_until[row] == world.span.end + 1:
            return tell("all", span=span)
        return tell("until", day=as_date(int(held.deferred_until[row])), span=span)
    return tell("pinned", quarter=held.pinned[row], span=span)


def _no_crew(need: Needs, told: sentences.Texts) -> dict[str, str]:
    kind = told.word("work", need.crew_type, need.crew_type.replace("_", "-"))
    return {"work": kind, "machine": need.machine}


def _no_hours(
    given: tuple[Work, World, Plan],
    demand: npt.NDArray[np.float64],
    row: int,
    told: sentences.Texts,
) -> dict[str, str]:
    work, world, plan = given
    group = int(work.group[row])
    able = np.flatnonzero(world.rank[group])
    kinds = sorted({world.pools[k].crew_type for k in able.tolist()})
    return {
        "hours": f"{plan.used[row]:.1f}",
        "held": f"{plan.hours[able].sum():.0f}",
        "crews": told.word("join", "and").join(told.word("work", kind, kind) for kind in kinds),
        "asked": f"{demand[group]:.0f}",
    }


def _no_money(work: Work, world: World, plan: Plan, row: int) -> dict[str, str]:
    able = np.flatnonzero(world.rank[int(work.group[row])])
    cost = plan.used[row] * float(world.rates[able].min())
    return {"cost": f"{cost:,.0f}", "money": f"{world.budget.money:,.0f}"}


def _no_machine_hours(work: Work, world: World, plan: Plan, row: int) -> dict[str, str]:
    number = int(work.machine[row])
    return {
        "hours": f"{plan.used[row]:.1f}",
        "machine": world.budget.machines[number].replace("_", " "),
        "held": f"{world.budget.machine_hours[number]:g}",
    }


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


def _too_long(work: Work, world: World, plan: Plan, row: int) -> dict[str, str]:
    able = np.flatnonzero(world.rank[int(work.group[row])])
    shift = max(world.crews[k].hours_per_day for p in able.tolist() for k in world.pools[p].crews)
    return {
        "hours": f"{plan.used[row]:.1f}",
        "shift": f"{shift:.1f}",
        "days": str(world.order.longest_span),
    }
