"""From jobs and crews to a plan: what is done at once, the lead-in, quarters, days of the first.

- At once: make-safe takes the day of the run and, where shifts are full, the days after it.
- Lead-in: until the first quarter begins each crew gives a share of its days to what is due before.
- The first quarter: jobs are chosen by urgency, then its days are filled.
- In both, what presses (in the lead-in trees rated high or worse, in the quarter what is late or
  due in it) takes a crew's days from the start on; the days left are spread evenly for the rest.
- Later quarters: jobs are chosen and shared among the crews.

A removal waits for the tests that may lift it. A test that finds no place does not hold it up: the
plan is then made again without that test.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from pipeline.planning.capacity import (
    first_days_first,
    lead_in_shifts,
    pool_hours,
    quarter_shifts,
    spread_minutes,
)
from pipeline.planning.crew_day import CrewDay
from pipeline.planning.fill import crew_days, fill_pools, with_new_days
from pipeline.planning.neighbourhood import along_curve, shared_out
from pipeline.planning.selection.first import JobArrays, select_quarter
from pipeline.planning.selection.instance import NOWHERE
from pipeline.planning.travel import Travel
from pipeline.planning.world import Work, World, depot_share, hours_used, travel_between
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

BEFORE = -2  # done at once or in the lead-in: the day tells the quarter
_ROUNDS = 4  # of choosing for the lead-in: what had to wait leaves room for others
_LONG_AGO = -(10**6)


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


def make_plan(work: Work, world: World) -> Plan:
    """The plan; tests that can find no place are known after one attempt and hold up nothing."""
    used, too_long = hours_used(work, world)
    never = too_long | (work.earliest > world.span.end)
    never |= work.pinned >= len(world.span.quarters)
    if work.group.size:
        never |= ~(world.rank[work.group] > 0).any(axis=1)
    barred = work.links.tests(np.ones(work.hours.shape, dtype=bool)) & never
    while True:
        planner = _Planner(work, world, (used, too_long), barred)
        plan = planner.run()
        lost = planner.links.test[plan.quarter[planner.links.test] == NOWHERE]
        if not lost.size:
            return plan
        barred = barred.copy()
        barred[lost] = True


class _Planner:
    """One attempt at a plan."""

    def __init__(
        self, work: Work, world: World, known: tuple[Floats, Flags], barred: Flags
    ) -> None:
        self.work, self.world = work, world
        self.used, self.too_long = known
        self.open = ~self.too_long & ~barred
        self.links = work.links.without(barred)
        self.arrays = JobArrays(
            self.used, work.group, work.make_safe, work.pinned, work.deadline,
            np.where(work.make_safe, _LONG_AGO, work.earliest),  # no window shuts a fence out
            work.harm, work.tie,
        )  # fmt: skip
        self.quarter = np.full(work.hours.shape, NOWHERE, dtype=np.int64)
        self.crew, self.day = self.quarter.copy(), self.quarter.copy()
        self.tested = np.full(work.hours.shape, _LONG_AGO, dtype=np.int64)
        self.slots: list[CrewDay] = []
        self.taken: set[tuple[int, int]] = set()
        self.share = 1.0 - depot_share(work, world)

    def run(self) -> Plan:
        """All periods in turn."""
        world, span = self.world, self.world.span
        hours = pool_hours(world.crews, world.pools, span, holidays=world.holidays)
        self._at_once()
        if world.as_of < int(span.first[0]):
            self._lead_in()
        for number in range(len(span.quarters)):
            rows = np.flatnonzero((self.quarter == NOWHERE) & self.open)
            free = hours[:, number] * self.share
            chosen, pool = self._select(rows, free, number, int(span.last[number]))
            if number == 0:
                due = self.work.deadline[chosen] <= int(span.last[0])
                days, _ = self._pressing_first(
                    self._first_quarter_shifts, (chosen, pool, due), 0,
                    block_days=world.order.block_days,
                )  # fmt: skip
                self._keep(days)
            else:
                self._share_among_crews(chosen, pool, number)
                self.quarter[chosen] = number
        dated = np.flatnonzero(self.day != NOWHERE)
        travel, place = travel_between(self.work, world, dated)
        names = [crew.id for crew in world.crews]
        slots = sorted(self.slots, key=lambda slot: (slot.day, names[slot.crew]))
        return Plan(self.quarter, self.crew, self.day, self.used, self.too_long, hours, slots,
                    travel, place)  # fmt: skip

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

    def _all_day(self, days: Ints, place: int) -> tuple[Ints, Floats]:
        """A whole shift on each of these days, whatever days they are."""
        hours = self.world.crews[place].hours_per_day
        return days, np.full(days.shape, hours * MINUTES_PER_HOUR)

    def _lead_in(self) -> None:
        """What is due before the first quarter begins, trees rated high or worse first."""
        work, world = self.work, self.world
        last = int(world.span.first[0]) - 1
        slots = self._slots(self._lead_in_shifts)
        free = self._hours(slots) * self.share
        due = self.open & (work.deadline <= last) & (work.pinned == NOWHERE)
        due |= self.links.tests(due) & self.open & (work.pinned == NOWHERE)
        for number in range(_ROUNDS):
            found = []
            for level in (due & work.severe, due & ~work.severe):
                rows = np.flatnonzero(level & (self.quarter == NOWHERE))
                chosen, pool = self._select(rows, free, NOWHERE, last)
                free = free - self._by_pool(chosen, pool)
                found.append((chosen, pool))
            chosen, pool = (np.concatenate(parts) for parts in zip(*found, strict=True))
            if not chosen.size:
                break
            if number == 0:
                slots, kept = self._pressing_first(
                    self._lead_in_shifts, (chosen, pool, work.severe[chosen]), BEFORE, block_days=1
                )
            else:
                kept = self._fill(slots, chosen, pool, block_days=1)
                self._note(slots, chosen[kept], BEFORE)
            free = free + self._by_pool(chosen[~kept], pool[~kept])
            due[chosen] = False
        self._keep(slots)

    def _pressing_first(
        self,
        shifts: Callable[[int], tuple[Ints, Floats]],
        selected: tuple[Ints, Ints, Flags],
        quarter: int,
        *,
        block_days: int,
    ) -> tuple[dict[int, list[CrewDay]], Flags]:
        """Fill what presses from the first day on, then the rest into the days left, evenly.

        Parameters
        ----------
        selected : rows of the jobs, their pools, and which of them press, all of shape (selected,).

        Returns
        -------
        the crew-days; which jobs found a place, shape (selected,).
        """
        chosen, pool, presses = selected
        slots = self._slots(partial(self._from_the_start, shifts))
        kept = np.zeros(chosen.shape, dtype=bool)
        for these in (presses, ~presses):
            rows = np.flatnonzero(these | (~kept & presses))
            kept[rows] = self._fill(slots, chosen[rows], pool[rows], block_days=block_days)
            self._note(slots, chosen[kept], quarter)
            if these is presses:
                slots = {
                    k: with_new_days(self.world, self.world.pools[k].crews,
                                     partial(self._left_over, shifts, held), self.taken, held)
                    for k, held in slots.items()
                }  # fmt: skip
        return slots, kept

    def _from_the_start(
        self, shifts: Callable[[int], tuple[Ints, Floats]], place: int
    ) -> tuple[Ints, Floats]:
        """A crew's shifts on its first free days."""
        days, minutes = shifts(place)
        free = np.array([(place, day) not in self.taken for day in days.tolist()], dtype=bool)
        return days[free], first_days_first(minutes)[: int(free.sum())]

    def _left_over(
        self,
        shifts: Callable[[int], tuple[Ints, Floats]],
        held: list[CrewDay],
        place: int,
    ) -> tuple[Ints, Floats]:
        """The hours that the crew-days in use leave, spread evenly over a crew's other days."""
        days, minutes = self._from_the_start(shifts, place)
        mine = [slot for slot in held if slot.crew == place and slot.jobs]
        left = np.count_nonzero(minutes) - len(mine)
        used = np.isin(days, [slot.day for slot in mine])
        granted = float(minutes.sum()) - sum(slot.shift for slot in mine)
        shift = self.world.crews[place].hours_per_day * MINUTES_PER_HOUR
        rest = spread_minutes(min(granted, left * shift), shift, int((~used).sum()))
        return days[~used], rest

    def _first_quarter_shifts(self, place: int) -> tuple[Ints, Floats]:
        crew, world = self.world.crews[place], self.world
        return quarter_shifts(crew, world.span, 0, holidays=world.holidays)

    def _lead_in_shifts(self, place: int) -> tuple[Ints, Floats]:
        crew, world = self.world.crews[place], self.world
        return lead_in_shifts(
            crew,
            world.as_of + 1,
            int(world.span.first[0]) - 1,
            share=world.order.lead_in_share,
            holidays=world.holidays,
        )

    def _select(self, rows: Ints, free: Floats, number: int, last: int) -> tuple[Ints, Ints]:
        """Jobs of a period and their pools; no removal whose test is neither placed nor chosen."""
        ready = self.links.ready(self.tested, after=self.world.order.days_after_test)
        earliest = np.maximum(self.arrays.earliest, ready)
        arrays = replace(self.arrays, earliest=earliest)
        while True:
            chosen, pool = select_quarter(
                arrays, rows, free, self.world.rank, quarter=number, last_day=last
            )
            settled = self.quarter != NOWHERE
            settled[chosen] = True
            waiting = self.links.waiting(settled)
            if not waiting[chosen].any():
                return chosen, pool
            rows = rows[~waiting[rows]]

    def _fill(
        self, slots: dict[int, list[CrewDay]], chosen: Ints, pool: Ints, *, block_days: int
    ) -> Flags:
        """Fill crew-days: tests that removals wait for first, so that the removals' days follow."""
        kept = np.zeros(chosen.shape, dtype=bool)
        if not chosen.size:
            return kept
        picked = np.zeros(self.quarter.shape, dtype=bool)
        picked[chosen] = True
        tests = self.links.tests(picked)[chosen]
        for these in (tests, ~tests):
            settled = self.quarter != NOWHERE
            settled[chosen[kept]] = True
            waits = self.links.waiting(settled)
            rows = np.flatnonzero(these & ~waits[chosen])
            ready = self.links.ready(self.tested, after=self.world.order.days_after_test)
            kept[rows] = fill_pools(
                self.work, self.world, self.used, np.maximum(self.arrays.earliest, ready),
                (chosen[rows], pool[rows]), slots, block_days=block_days,
            )  # fmt: skip
            self._note_tests(slots)
        return kept

    def _note_tests(self, slots: dict[int, list[CrewDay]]) -> None:
        """Last days of work; the days of what is placed so far stay."""
        for slot in (slot for several in slots.values() for slot in several):
            self.tested[slot.jobs] = np.maximum(self.tested[slot.jobs], slot.day)

    def _note(self, slots: dict[int, list[CrewDay]], rows: Ints, quarter: int) -> None:
        """Quarter, crew and first day of jobs just placed."""
        every = [slot for several in slots.values() for slot in several]
        for slot in sorted(every, key=lambda s: -s.day):
            self.crew[slot.jobs] = slot.crew
            self.day[slot.jobs] = slot.day
        self.quarter[rows] = quarter

    def _keep(self, slots: dict[int, list[CrewDay]]) -> None:
        """Take over the crew-days that hold work; nobody is given them again."""
        held = [slot for several in slots.values() for slot in several if slot.jobs]
        self.slots += held
        self.taken |= {(slot.crew, slot.day) for slot in held}

    def _slots(self, shifts: Callable[[int], tuple[Ints, Floats]]) -> dict[int, list[CrewDay]]:
        """Free crew-days of each pool."""
        return {
            number: crew_days(self.world, pool.crews, shifts, self.taken)
            for number, pool in enumerate(self.world.pools)
        }

    def _hours(self, slots: dict[int, list[CrewDay]]) -> Floats:
        minutes = [sum(slot.shift for slot in slots[k]) for k in range(len(self.world.pools))]
        return np.array(minutes, dtype=np.float64) / MINUTES_PER_HOUR

    def _by_pool(self, rows: Ints, pool: Ints) -> Floats:
        """Hours that jobs take from each pool."""
        hours = np.zeros(len(self.world.pools))
        np.add.at(hours, pool, self.used[rows])
        return hours

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
