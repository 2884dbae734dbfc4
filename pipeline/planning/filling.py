"""The crew-days of one attempt at a plan: what presses from the first day on, the rest evenly."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from pipeline.planning.capacity import (
    first_days_first,
    lead_in_shifts,
    quarter_shifts,
    spread_minutes,
)
from pipeline.planning.crew_day import CrewDay
from pipeline.planning.fill import crew_days, fill_pools, with_new_days
from pipeline.planning.purse import Purse
from pipeline.planning.seasons import is_closed, next_open
from pipeline.planning.selection.first import JobArrays
from pipeline.planning.selection.instance import NOWHERE
from pipeline.planning.wanted import nothing_wanted
from pipeline.planning.world import Work, World, depot_share
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

ROUNDS = 4  # of choosing for the lead-in: what had to wait leaves room for others
_TRIES = 2  # of filling days, the second with severe work first that found no room
LONG_AGO = -(10**6)


class Filling:
    """Where each job is so far, and the days that hold it."""

    def __init__(
        self, work: Work, world: World, known: tuple[Floats, Flags], barred: Flags
    ) -> None:
        self.work, self.world = work, world
        self.used, self.too_long = known
        self.open = ~self.too_long & ~barred
        self.links = work.links.without(barred)
        self.arrays = JobArrays(
            self.used, work.group, work.make_safe, work.pinned, work.deadline,
            np.where(work.make_safe, LONG_AGO, work.earliest),  # no window shuts a fence out
            work.harm, work.tie,
        )  # fmt: skip
        self.quarter = np.full(work.hours.shape, NOWHERE, dtype=np.int64)
        self.crew, self.day = self.quarter.copy(), self.quarter.copy()
        self.tested = np.full(work.hours.shape, LONG_AGO, dtype=np.int64)
        self.slots: list[CrewDay] = []
        self.taken: set[tuple[int, int]] = set()
        self.share = 1.0 - depot_share(work, world)
        self.pool = self.quarter.copy()
        self.left = Purse(world, self.used)
        self.wanted = nothing_wanted(work, world)
        self.more = np.zeros((len(world.pools), len(world.span.quarters)))  # overtime, as a share

    def _all_day(self, days: Ints, place: int) -> tuple[Ints, Floats]:
        """A whole shift on each of these days, whatever days they are."""
        hours = self.world.crews[place].hours_per_day
        return days, np.full(days.shape, hours * MINUTES_PER_HOUR)

    def _severe_kept(
        self,
        shifts: Callable[[int], tuple[Ints, Floats]],
        selected: tuple[Ints, Ints, Flags],
        quarter: int,
        *,
        block_days: int,
    ) -> tuple[dict[int, list[CrewDay]], Flags]:
        """As `_pressing_first`; what is severe and finds no room goes first in another try.

        So a job that needs several whole shifts finds them before short ones have cut into them.
        """
        chosen, pool, presses = selected
        held = (self.quarter, self.crew, self.day, self.tested, self.pool)
        first = np.zeros(chosen.shape, dtype=bool)
        slots: dict[int, list[CrewDay]] = {}
        kept = first
        for _ in range(_TRIES):
            order = np.lexsort((np.arange(chosen.size), ~first))
            (self.quarter, self.crew, self.day, self.tested, self.pool) = (a.copy() for a in held)
            slots, found = self._pressing_first(
                shifts, (chosen[order], pool[order], presses[order] | first[order]), quarter,
                block_days=block_days,
            )  # fmt: skip
            kept = np.zeros(chosen.shape, dtype=bool)
            kept[order] = found
            lost = ~kept & self.work.severe[chosen] & ~first
            if not lost.any():
                break
            first |= lost
        return slots, kept

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
        days, minutes = quarter_shifts(crew, world.span, 0, holidays=world.holidays)
        pool = next(k for k, one in enumerate(world.pools) if place in one.crews)
        return days, minutes * (1.0 + self.more[pool, 0])

    def _lead_in_shifts(self, place: int) -> tuple[Ints, Floats]:
        crew, world = self.world.crews[place], self.world
        return lead_in_shifts(
            crew,
            world.as_of + 1,
            int(world.span.first[0]) - 1,
            share=world.order.lead_in_share,
            holidays=world.holidays,
        )

    def _opens(self, day: int) -> Ints:
        """First day of each job from this one on: decisions, tests and seasons allow it."""
        ready = self.links.ready(self.tested, after=self.world.order.days_after_test)
        earliest = np.maximum(np.maximum(self.arrays.earliest, ready), day)
        opens = next_open(self.work.closed, self.work.season, earliest)
        return np.where(self.work.make_safe, LONG_AGO, opens)

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
            weighed = replace(self.work, harm=self.work.harm * self.wanted.weight)
            fill_pools(
                weighed, self.world, self.used, self._opens(self.world.as_of),
                (chosen[rows], pool[rows]), slots, block_days=block_days,
            )  # fmt: skip
            self._off_closed_days(slots)
            kept[rows] = np.isin(chosen[rows], _held(slots))
            self.pool[chosen[kept]] = pool[kept]
            self._note_tests(slots)
        return kept

    def _off_closed_days(self, slots: dict[int, list[CrewDay]]) -> None:
        """Take out what a block of days put on a closed one; it finds another day or quarter."""
        every = [slot for several in slots.values() for slot in several if slot.jobs]
        bad: set[int] = set()
        for slot in every:
            rows = np.array(slot.jobs, dtype=np.int64)
            shut = is_closed(
                self.work.closed, self.work.season[rows], np.full(rows.shape, slot.day)
            )
            bad |= set(rows[shut & ~self.work.make_safe[rows]].tolist())
        for slot in every if bad else ():
            stays = [k for k, job in enumerate(slot.jobs) if job not in bad]
            slot.head = sum(k < slot.head for k in stays)
            slot.jobs, slot.parts = [slot.jobs[k] for k in stays], [slot.parts[k] for k in stays]

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


def _held(slots: dict[int, list[CrewDay]]) -> Ints:
    """Rows of all jobs that these crew-days hold."""
    return np.array(sorted({job for several in slots.values() for slot in several
                            for job in slot.jobs}), dtype=np.int64)  # fmt: skip
