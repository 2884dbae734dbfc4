"""Whether a selection keeps every limit, counted again from the jobs: no table of the solver.

Nothing here shares code with what builds the limits, so that a fault in one shows in the other.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.planning.selection.instance import NOWHERE, Chosen, Instance
from pipeline.units import Flags, Ints

_SLACK = 1e-6  # hours, money: what binary fractions may add up to


@dataclass(frozen=True, slots=True)
class Broken:
    """A limit that a selection breaks, and by how much."""

    limit: str
    by: float


def broken(instance: Instance, chosen: Chosen) -> list[Broken]:
    """Every limit that is broken; none for a selection that can be done."""
    found = _single(instance, chosen)
    if found:
        return found
    return [
        *_hours(instance, chosen),
        *_parts(instance, chosen),
        *_machines(instance, chosen),
        *_money(instance, chosen),
        *_tests(instance, chosen),
    ]


def _single(instance: Instance, chosen: Chosen) -> list[Broken]:
    """What concerns a job alone: a crew that can, an open day, no decision against it."""
    demand, supply, periods = instance.demand, instance.supply, instance.periods
    done = np.flatnonzero(chosen.done)
    period, pool = chosen.period[done], chosen.pool[done]
    stretch = periods.stretch[period]
    cannot = supply.rank[demand.group[done], pool] <= 0
    early = (demand.pinned[done] > stretch) | (demand.opens[done] > stretch)
    shut = np.zeros(done.size, dtype=bool)
    for number, job in enumerate(done.tolist()):
        days = np.arange(periods.first[period[number]], periods.last[period[number]] + 1)
        days = days[_open(instance, job, days)]
        shut[number] = not (supply.daily[days - supply.first_day, pool[number]] > 0).any()
    half = (chosen.period == NOWHERE) != (chosen.pool == NOWHERE)
    counts = {
        "a crew that can do the work": cannot, "the first quarter allowed": early,
        "an open working day": shut, "period and pool together": half,
    }  # fmt: skip
    return [Broken(name, float(bad.sum())) for name, bad in counts.items() if bad.any()]


def _open(instance: Instance, job: int, days: Ints) -> Flags:
    free = days >= instance.demand.earliest[job]
    for begins, ends in instance.supply.closed[int(instance.demand.season[job])].tolist():
        free &= (days < begins) | (days > ends)
    return np.asarray(free)


def _over(limit: str, used: float, room: float) -> list[Broken]:
    over = used - room
    return [Broken(limit, over)] if over > _SLACK * max(1.0, abs(room)) else []


def _hours(instance: Instance, chosen: Chosen) -> list[Broken]:
    supply, periods, found = instance.supply, instance.periods, []
    share = 1.0 + supply.overtime_share
    for pool in range(supply.rate.size):
        mine = (chosen.pool == pool) & chosen.done
        for span in range(periods.stretches):
            here = mine & np.isin(chosen.period, np.flatnonzero(periods.stretch == span))
            used = float(instance.demand.hours[here].sum())
            found += _over(f"hours granted, pool {pool}, stretch {span}", used,
                           share * float(supply.granted[span, pool]))  # fmt: skip
        for period in np.unique(chosen.period[mine]).tolist():
            if np.count_nonzero(periods.stretch == periods.stretch[period]) == 1:
                continue  # a quarter as a whole: the hours granted say it
            days = np.arange(periods.first[period], periods.last[period] + 1) - supply.first_day
            used = float(instance.demand.hours[mine & (chosen.period == period)].sum())
            found += _over(f"hours of the days, pool {pool}, period {period}", used,
                           share * float(supply.daily[days, pool].sum()))  # fmt: skip
    return found


def _parts(instance: Instance, chosen: Chosen) -> list[Broken]:
    """Jobs that one part of a period alone is open for fit into the hours of that part."""
    supply, periods, found = instance.supply, instance.periods, []
    for period in np.unique(chosen.period[chosen.done]).tolist():
        days = np.arange(periods.first[period], periods.last[period] + 1)
        here = np.flatnonzero(chosen.period == period)
        window = np.array([days[_open(instance, job, days)][[0, -1]] for job in here.tolist()])
        for begins, ends in np.unique(window, axis=0).tolist():
            if (begins, ends) == (int(days[0]), int(days[-1])):
                continue
            inside = here[(window[:, 0] >= begins) & (window[:, 1] <= ends)]
            for pool in np.unique(chosen.pool[inside]).tolist():
                jobs = inside[chosen.pool[inside] == pool]
                room = supply.daily[begins - supply.first_day : ends + 1 - supply.first_day, pool]
                found += _over(f"hours of an open part, pool {pool}, period {period}",
                               float(instance.demand.hours[jobs].sum()),
                               (1 + supply.overtime_share) * float(room.sum()))  # fmt: skip
    return found


def _machines(instance: Instance, chosen: Chosen) -> list[Broken]:
    found = []
    stretch = instance.periods.stretch[chosen.period]
    for span in range(instance.supply.machine.shape[0]):
        for machine in range(instance.supply.machine.shape[1]):
            mine = chosen.done & (stretch == span) & (instance.demand.machine == machine)
            found += _over(f"hours of machine {machine}, stretch {span}",
                           float(instance.demand.hours[mine].sum()),
                           float(instance.supply.machine[span, machine]))  # fmt: skip
    return found


def _money(instance: Instance, chosen: Chosen) -> list[Broken]:
    """Hours at their rates, and what is beyond the hours granted at the rate of overtime."""
    supply, periods = instance.supply, instance.periods
    if not np.isfinite(supply.budget):
        return []
    spent = 0.0
    for pool in range(supply.rate.size):
        mine = (chosen.pool == pool) & chosen.done
        for span in range(periods.stretches):
            here = mine & (periods.stretch[chosen.period] == span)
            used = float(instance.demand.hours[here].sum())
            over = max(used - float(supply.granted[span, pool]), 0.0)
            spent += supply.rate[pool] * (used + (supply.overtime_rate - 1.0) * over)
    return _over("money", spent, supply.budget)


def _tests(instance: Instance, chosen: Chosen) -> list[Broken]:
    demand, periods = instance.demand, instance.periods
    early = 0
    for removal, test in zip(demand.removal.tolist(), demand.test.tolist(), strict=True):
        if chosen.period[removal] == NOWHERE:
            continue
        if chosen.period[test] == NOWHERE:
            early += 1
            continue
        span = int(chosen.period[test])
        days = np.arange(periods.first[span], periods.last[span] + 1)
        days = days[_open(instance, test, days)]
        told = (int(days[0]) + int(days[-1])) // 2 + instance.aims.days_after_test
        early += told > periods.last[chosen.period[removal]]
    return [Broken("a test before the removal", float(early))] if early else []
