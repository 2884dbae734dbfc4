"""From jobs and crews to a plan: what is done at once, the lead-in, quarters, days of the first.

- At once: make-safe takes the day of the run and, where shifts are full, the days after it.
- The proven selection puts all other work but routine looks into weeks and quarters (`wanted`).
- Lead-in: until the first quarter begins each crew gives a share of its days to what is due before.
- The first quarter: the days of what was chosen are filled, then routine looks and what else fits.
- In both, what presses (in the lead-in trees rated high or worse, in the quarter what is late, due
  in it, pinned or soon out of season) takes a crew's days from the start on, week by week; the days
  left are spread evenly for the rest.
- Later quarters: jobs are shared among the crews.

A removal waits for the tests that may lift it. A test that finds no place does not hold it up: the
plan is then made again without that test. Travel and set-up are reckoned before there are routes:
after the lead-in they are corrected by its days, and where the days of the quarter are still far
from what was reckoned the plan is made once more.
"""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from pipeline.planning.allowance import travel_needed
from pipeline.planning.capacity import (
    pool_hours,
    quarter_shifts,
)
from pipeline.planning.crew_day import CrewDay
from pipeline.planning.fill import crew_days
from pipeline.planning.filling import ROUNDS, Filling
from pipeline.planning.neighbourhood import along_curve, shared_out
from pipeline.planning.seasons import is_closed, next_open
from pipeline.planning.selection.first import select_quarter
from pipeline.planning.selection.instance import NOWHERE
from pipeline.planning.travel import Travel
from pipeline.planning.wanted import BEFORE, Wanted, want
from pipeline.planning.world import Work, World, hours_used, travel_between
from pipeline.units import Flags, Floats, Ints

_TRAVEL_OFF = 0.25  # share by which the hours of a kind of job may differ from the reckoned
_SOME = 1e-9


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan: quarter and crew of each job, and the days up to the end of the first quarter.

    Parameters
    ----------
    quarter : place in the horizon, `BEFORE` for what is done at once or in the lead-in, -1 for
        none.
    crew : place in the settings' list, -1 for none.
    day : day number of the first day of work, -1 in later quarters.
    used : hours with set-up and travel allowance.
    too_long : no crew has enough shifts in a row.
    hours : crew-hours of each pool and quarter.
    travel : between the places of the days filled; `place` is each job's, -1 for none.
    pool : of each job, -1 for none.
    wanted : the proven selection.
    dear : jobs that only money, or the hours of a machine, kept out, shape (jobs,) each.
    """

    quarter: Ints
    crew: Ints
    day: Ints
    used: Floats
    too_long: Flags
    hours: Floats
    slots: list[CrewDay]
    travel: Travel
    place: Ints
    pool: Ints
    wanted: Wanted
    dear: tuple[Flags, Flags]


def make_plan(work: Work, world: World) -> Plan:
    """The plan; tests that can find no place are known after one attempt and hold up nothing."""
    used, too_long = hours_used(work, world)
    opens = next_open(work.closed, work.season, np.maximum(work.earliest, world.as_of))
    never = too_long | (opens > world.span.end)
    never |= work.pinned >= len(world.span.quarters)
    if work.group.size:
        never |= ~(world.rank[work.group] > 0).any(axis=1)
    barred = work.links.tests(np.ones(work.hours.shape, dtype=bool)) & never
    corrected = False
    while True:
        planner = _Planner(work, world, (used, too_long), barred)
        plan = planner.run()
        lost = planner.links.test[plan.quarter[planner.links.test] == NOWHERE]
        once_more = False
        if not corrected:
            corrected = True
            needed = travel_needed(work, world, (plan.slots, plan.place, plan.travel, plan.used))
            better = work.hours + (plan.used - work.hours) * needed[work.group]
            by_group = [np.bincount(work.group, hours) for hours in (plan.used, better)]
            once_more = bool((np.abs(by_group[1] - by_group[0]) > _TRAVEL_OFF * by_group[0]).any())
            used = better if once_more else used
        if not lost.size and not once_more:
            return plan
        barred = barred.copy()
        barred[lost] = True


class _Planner(Filling):
    """One attempt at a plan."""

    def run(self) -> Plan:
        """All periods in turn."""
        world, span = self.world, self.world.span
        hours = pool_hours(world.crews, world.pools, span, holidays=world.holidays)
        self._at_once()
        self._want(-1)
        first, self.more = self.wanted, self._overtime()
        if world.as_of < int(span.first[0]):
            self._lead_in()
            self._learn_travel()
        for number in range(len(span.quarters)):
            free = hours[:, number] * self.share * (1.0 + self.more[:, number])
            waits = (self.quarter == NOWHERE) & self.open
            chosen, pool = self._take(waits, free, number, int(span.last[number]))
            if number == 0:
                days, _ = self._severe_kept(
                    self._first_quarter_shifts, (chosen, pool, self._presses(chosen)), 0,
                    block_days=world.order.block_days,
                )  # fmt: skip
                self._keep(days)
                if (self.wanted.quarter[self.quarter == NOWHERE] == 0).any():
                    self._want(1)
            else:
                self._share_among_crews(chosen, pool, number)
                self.quarter[chosen], self.pool[chosen] = number, pool
        dated = np.flatnonzero(self.day != NOWHERE)
        travel, place = travel_between(self.work, world, dated)
        names = [crew.id for crew in world.crews]
        slots = sorted(self.slots, key=lambda slot: (slot.day, names[slot.crew]))
        return Plan(self.quarter, self.crew, self.day, self.used, self.too_long, hours, slots,
                    travel, place, self.pool, first, self.left.dear)  # fmt: skip

    def _learn_travel(self) -> None:
        """From here on hours with the travel that the days filled so far have needed."""
        dated = np.flatnonzero(self.day != NOWHERE)
        travel, place = travel_between(self.work, self.world, dated)
        needed = travel_needed(self.work, self.world, (self.slots, place, travel, self.used))
        hours = self.work.hours
        self.used = hours + (self.used - hours) * needed[self.work.group]
        self.arrays = replace(self.arrays, hours=self.used)

    def _want(self, begin: int) -> None:
        """Choose among all that wait, from the lead-in (-1) or a quarter on."""
        placed = np.flatnonzero((self.quarter != NOWHERE) & (self.pool != NOWHERE))
        self.left.reckon(self.work, placed, self.pool[placed])
        ready = self.links.ready(self.tested, after=self.world.order.days_after_test)
        work = replace(self.work, links=self.links.without(self.quarter != NOWHERE),
                       earliest=np.maximum(self.work.earliest, ready))  # fmt: skip
        self.wanted = want(work, self.world, (self.quarter == NOWHERE) & self.open,
                           (self.used, self.share, self.left.money), self._due_before(),
                           begin=begin)  # fmt: skip
        rows = np.flatnonzero(self.wanted.pool != NOWHERE)
        self.left.reckon(self.work, np.concatenate((placed, rows)),
                         np.concatenate((self.pool[placed], self.wanted.pool[rows])))  # fmt: skip

    def _overtime(self) -> Floats:
        """Share of its hours that each pool works on top in each quarter, (pools, quarters)."""
        shape = (len(self.world.pools), len(self.world.span.quarters))
        wanted, used = self.wanted, np.zeros(shape)
        if wanted.given is None or not self.world.budget.overtime_share:
            return used
        placed = np.flatnonzero(wanted.quarter >= 0)
        np.add.at(used, (wanted.pool[placed], wanted.quarter[placed]), self.used[placed])
        granted = wanted.given.supply.granted[int(wanted.dates.lead_in) :].T
        over = used / np.maximum(granted, _SOME) - 1.0
        return np.where(granted > 0, np.clip(over, 0.0, self.world.budget.overtime_share), 0.0)

    def _due_before(self) -> Flags:
        """What the lead-in may take: due before the first quarter, and tests of such cuts."""
        work, last = self.work, int(self.world.span.first[0]) - 1
        due = self.open & (work.deadline <= last) & (work.pinned == NOWHERE)
        due |= self.links.tests(due) & self.open & (work.pinned == NOWHERE)
        return np.asarray(due)

    def _presses(self, chosen: Ints) -> Flags:
        """Late, due or pinned in the first quarter, or closed before it ends."""
        work, last = self.work, int(self.world.span.last[0])
        opens = next_open(work.closed, work.season, np.maximum(work.earliest, self.world.as_of))
        shuts = is_closed(work.closed, work.season, np.full(opens.shape, last))
        shuts &= opens <= last
        presses: Flags = (work.deadline <= last) | (work.pinned == 0) | shuts
        return presses[chosen]

    def _take(self, waits: Flags, free: Floats, number: int, last: int) -> tuple[Ints, Ints]:
        """Jobs of a period and their pools: those wanted there, week by week, then what else fits.

        Parameters
        ----------
        waits : jobs that may be taken, shape (jobs,).
        free : hours of each pool, shape (pools,).
        """
        wanted = self.wanted
        place = BEFORE if number == NOWHERE else number
        mine = np.flatnonzero(waits & (wanted.quarter == place))
        mine = mine[np.lexsort((self.work.tie[mine], self.work.deadline[mine],
                                -self.work.weight[mine], wanted.period[mine]))]  # fmt: skip
        ahead = wanted.quarter > place if place != BEFORE else wanted.quarter != NOWHERE
        rest = np.flatnonzero(waits & ~ahead & (wanted.quarter != place))
        left = np.maximum(free - self._by_pool(mine, wanted.pool[mine]), 0.0)
        chosen, pool = self._select(rest, left, number, last, also=mine)
        fits = self.left.affordable(self.work, chosen, pool)
        return (np.concatenate((mine, chosen[fits])),
                np.concatenate((wanted.pool[mine], pool[fits])))  # fmt: skip

    def _at_once(self) -> None:
        """Make-safe on the day of the run, whatever day it is, over all crews that can."""
        work, world = self.work, self.world
        waiting = np.flatnonzero(work.make_safe & self.open)
        for group in np.unique(work.group[waiting]).tolist():
            rows = waiting[work.group[waiting] == group]
            rows = rows[np.lexsort((work.tie[rows], -work.harm[rows], work.deadline[rows],
                                    -work.rating[rows]))]  # fmt: skip
            choice = {
                place: int(world.rank[group, number])
                for number in np.flatnonzero(world.rank[group]).tolist()
                for place in world.pools[number].crews
                if world.crews[place].hours_per_quarter != 0
            }
            crews = tuple(choice)
            if not crews:
                continue
            shift = min(world.crews[place].hours_per_day for place in crews)
            count = int(np.ceil(2 * self.used[rows].sum() / (shift * len(crews))))
            days = world.as_of + np.arange(count + world.order.longest_span, dtype=np.int64)
            slots = crew_days(world, crews, partial(self._all_day, days), self.taken)
            for slot in slots:
                slot.choice = choice[slot.crew]
            kept = self._fill({0: slots}, rows, np.zeros_like(rows), block_days=1)
            self._note({0: slots}, rows[kept], BEFORE)
            self._keep({0: slots})

    def _lead_in(self) -> None:
        """What is due before the first quarter begins, trees rated high or worse first."""
        work, world = self.work, self.world
        last = int(world.span.first[0]) - 1
        slots = self._slots(self._lead_in_shifts)
        free = self._hours(slots) * self.share
        due = self._due_before()
        for number in range(ROUNDS):
            found = []
            for level in (due & work.severe, due & ~work.severe):
                chosen, pool = self._take(level & (self.quarter == NOWHERE), free, NOWHERE, last)
                free = np.maximum(free - self._by_pool(chosen, pool), 0.0)
                found.append((chosen, pool))
            chosen, pool = (np.concatenate(parts) for parts in zip(*found, strict=True))
            if not chosen.size:
                break
            if number == 0:
                slots, kept = self._severe_kept(
                    self._lead_in_shifts, (chosen, pool, work.severe[chosen]), BEFORE, block_days=1
                )
            else:
                kept = self._fill(slots, chosen, pool, block_days=1)
                self._note(slots, chosen[kept], BEFORE)
            free = free + self._by_pool(chosen[~kept], pool[~kept])
            due[chosen] = False
        self._keep(slots)
        if (self.wanted.quarter[self.quarter == NOWHERE] == BEFORE).any():
            self._want(0)

    def _select(
        self, rows: Ints, free: Floats, number: int, last: int, *, also: Ints
    ) -> tuple[Ints, Ints]:
        """Jobs of a period and their pools; no removal whose test is neither placed nor chosen.

        Parameters
        ----------
        also : rows that are chosen already.
        """
        begins = self.world.as_of + 1
        if number != NOWHERE:
            begins = max(begins, int(self.world.span.first[number]))
        earliest = self._opens(begins)
        arrays = replace(self.arrays, earliest=earliest)
        while True:
            chosen, pool = select_quarter(
                arrays, rows, free, self.world.rank, quarter=number, last_day=last
            )
            settled = self.quarter != NOWHERE
            settled[chosen], settled[also] = True, True
            waiting = self.links.waiting(settled)
            if not waiting[chosen].any():
                return chosen, pool
            rows = rows[~waiting[rows]]

    def _share_among_crews(self, chosen: Ints, pool: Ints, number: int) -> None:
        """In later quarters each crew of a pool gets one stretch of the town."""
        work, world = self.work, self.world
        for one in np.unique(pool).tolist():
            rows = chosen[pool == one]
            places = np.array(world.pools[one].crews, dtype=np.int64)
            shares = np.array([
                quarter_shifts(world.crews[k], world.span, number, holidays=world.holidays)[1].sum()
                for k in places
            ])  # fmt: skip
            order = np.lexsort((work.tie[rows], along_curve(work.x[rows], work.y[rows])))
            self.crew[rows] = places[shared_out(order, self.used[rows], shares)]
