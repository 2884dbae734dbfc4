"""The first quarter's jobs over crews and days.

Working days are filled in blocks: the most urgent jobs that fill a block are taken, cut into
crew-days along a space-filling curve, and each crew-day is driven in a short order. What is left of
a shift takes the next job that fits. Within a block a crew's days are put in the order of their
deadlines. Make-safe jobs take the first day and head their tours, the worst rated trees first;
crews that are the second choice for them take what the first choice has no room for. A job longer
than a shift takes whole shifts of one crew in a row; where the crew's days lie apart, those after
the first move up to it, so that no tree stands half cut for longer than it must.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pipeline.planning.neighbourhood import along_curve
from pipeline.planning.quarters import NEVER
from pipeline.planning.routes import improve_tour, order_stops, tour_minutes
from pipeline.units import Flags, Floats, Ints

_FILLERS = 1.25  # jobs looked at for a block, over what fits by estimate
_EVEN = 1e-6
_STEP_MIN = 1e5  # minutes: longer than any tour


@dataclass(frozen=True, slots=True)
class DayJobs:
    """Jobs of one pool in order of urgency, each value of shape (jobs,).

    Parameters
    ----------
    place : number of the place in the travel table.
    work : minutes at the tree.
    estimate : minutes with set-up and expected travel.
    earliest, deadline : day numbers.
    rating : of the tree; make-safe jobs of the worst are done first.
    """

    place: Ints
    x: Floats
    y: Floats
    work: Floats
    estimate: Floats
    earliest: Ints
    deadline: Ints
    make_safe: Flags
    rating: Ints


@dataclass(slots=True)
class CrewDay:
    """One crew on one day; filled while planning.

    Parameters
    ----------
    jobs, parts : rows of the jobs in driving order and minutes of work on each.
    head : this many of them stay first.
    closed : takes no more.
    free : all working days of the crew in the period that nothing else takes, in order.
    choice : how gladly the crew is sent to make safe, 1 first.
    """

    crew: int
    day: int
    depot: int
    shift: float
    jobs: list[int] = field(default_factory=list)
    parts: list[float] = field(default_factory=list)
    head: int = 0
    closed: bool = False
    free: tuple[int, ...] = ()
    choice: int = 1


@dataclass(frozen=True, slots=True)
class Rules:
    """How days are filled; `travel` gives minutes and straight metres between places."""

    travel: Callable[[Ints], Floats]
    metres: Callable[[Ints], Floats]
    setup: float
    same_stop: float
    block_days: int
    longest_span: int


def fill_days(jobs: DayJobs, slots: list[CrewDay], rules: Rules) -> Flags:
    """Put jobs into the crew-days of a pool; returns which were placed, shape (jobs,).

    `slots` are filled in place; they must be sorted by day, then crew. Jobs that they hold already
    stay on their days where they are the heads of their tours.
    """
    placed = np.zeros(jobs.place.shape, dtype=bool)
    for slot in slots:
        placed[slot.jobs] = True
    days = sorted({slot.day for slot in slots})
    for start in range(0, len(days), rules.block_days):
        dates = days[start : start + rules.block_days]
        block = [slot for slot in slots if dates[0] <= slot.day <= dates[-1]]
        waiting = np.flatnonzero(~placed & (jobs.earliest <= dates[0]))
        if waiting.size and block:  # days of a block may all have moved up
            _Block(jobs, block, slots, rules, waiting).fill(placed)
        if placed.all():
            break
    return placed


class _Block:
    """One block of days while it is filled."""

    def __init__(
        self,
        jobs: DayJobs,
        slots: list[CrewDay],
        after: list[CrewDay],
        rules: Rules,
        waiting: Ints,
    ) -> None:
        self.jobs, self.slots, self.all_slots, self.rules = jobs, slots, after, rules
        self.first, self.last = (pick(slot.day for slot in slots) for pick in (min, max))
        room = sum(slot.shift - sum(slot.parts) for slot in slots if not slot.closed)
        total = np.cumsum(jobs.estimate[waiting])
        self.core = waiting[: int(np.searchsorted(total, room, side="left")) + 1]
        seen = waiting[: int(np.searchsorted(total, room * _FILLERS, side="left")) + 1]
        held = {job for slot in slots for job in slot.jobs}
        self.rows = np.array(sorted({*seen.tolist(), *held}), dtype=np.int64)
        self.later = seen[self.core.size :]
        depots = sorted({slot.depot for slot in slots})
        places = np.concatenate((np.array(depots, dtype=np.int64), jobs.place[self.rows]))
        self.depot = {place: k for k, place in enumerate(depots)}
        self.local = {int(row): len(depots) + k for k, row in enumerate(self.rows)}
        drive = rules.travel(places)
        apart = rules.metres(places) > rules.same_stop
        apart[: len(depots), :] = True
        apart[:, : len(depots)] = False  # nothing is set up at the depot
        self.cost: Floats = drive + apart * rules.setup

    def fill(self, placed: Flags) -> None:
        long = self._long(self.core)
        safe = self.jobs.make_safe[self.core]
        left = self._make_safe(self.core[safe & ~long])
        left += self._spans(self.core[long])
        left += self._along_curve(self.core[~safe & ~long])
        fillers = self.later[~self._long(self.later)].tolist()
        self._insert(sorted(job for job in left if not self._is_long(job)) + fillers)
        for slot in self.slots:
            self._shorten(slot)
            placed[slot.jobs] = True
        for slot in self.all_slots:
            placed[slot.jobs] = True
        self._by_deadline()

    def _long(self, rows: Ints) -> Flags:
        return np.array([self._is_long(int(row)) for row in rows], dtype=bool)

    def _is_long(self, row: int) -> bool:
        """Whether the longest empty shift of some crew is too short for it."""
        here = self.local[row]
        return any(
            self._there_and_back(place, here) + self.jobs.work[row] > shift + _EVEN
            for place, shift in self._shifts()
        )

    def _shifts(self) -> list[tuple[int, float]]:
        longest: dict[tuple[int, int], float] = {}
        for slot in self.slots:
            key = (slot.crew, self.depot[slot.depot])
            longest[key] = max(longest.get(key, 0.0), slot.shift)
        return [(depot, shift) for (_, depot), shift in sorted(longest.items())]

    def _there_and_back(self, depot: int, here: int) -> float:
        return float(self.cost[depot, here] + self.cost[here, depot])

    def _make_safe(self, rows: Ints) -> list[int]:
        """The first days, first choices first and shared evenly; each heads its tour."""
        rating = self.jobs.rating[rows]
        queues = [self._curve(rows[rating == level]) for level in np.unique(rating)[::-1]]
        for day in sorted({slot.day for slot in self.slots}):
            today = [s for s in self.slots if s.day == day and not s.closed and s.head == 0]
            for choice in sorted({slot.choice for slot in today}):
                for queue in queues:
                    self._deal(queue, [slot for slot in today if slot.choice == choice])
        return [row for queue in queues for row in queue]

    def _deal(self, queue: list[int], slots: list[CrewDay]) -> None:
        """Take jobs from the queue, an even share for each crew-day as far as they fit."""
        for number, slot in enumerate(slots):
            for _ in range(-(-len(queue) // (len(slots) - number))):
                if not self._append(slot, queue[0]):
                    break
                slot.head += 1
                queue.pop(0)

    def _spans(self, rows: Ints) -> list[int]:
        """Whole shifts of one crew in a row for each long job, as early as can be."""
        left = []
        for row in rows.tolist():
            best: list[tuple[CrewDay, float]] = []
            for crew in sorted({slot.crew for slot in self.slots}):
                mine = [s for s in self.all_slots if s.crew == crew and s.day >= self.first]
                run = self._run(mine, row)
                if run and (not best or _ends(run) < _ends(best)):
                    best = run
            if not best:
                left.append(row)
            self._move_up([slot for slot, _ in best])
            for slot, part in best:
                slot.jobs.append(row)
                slot.parts.append(part)
                slot.head, slot.closed = 1, slot is not best[-1][0]
        return left

    def _move_up(self, run: list[CrewDay]) -> None:
        """The days of a run after its first become the crew's next free working days."""
        if not run or run[0].day not in run[0].free:
            return
        begins = run[0].free.index(run[0].day)
        for number, slot in enumerate(run):
            slot.day = run[0].free[begins + number]
            if all(slot is not other for other in self.slots):
                self.slots.append(slot)

    def _run(self, mine: list[CrewDay], row: int) -> list[tuple[CrewDay, float]]:
        """The first free shifts in a row that hold the job; it must start in this block."""
        for start, slot in enumerate(mine):
            if slot.day > self.last:
                break
            left, run = float(self.jobs.work[row]), []
            for following in mine[start : start + self.rules.longest_span]:
                usable = following.shift - self._there_and_back(
                    self.depot[following.depot], self.local[row]
                )
                if following.jobs or usable <= 0:
                    break
                run.append((following, min(usable, left)))
                left -= usable
                if left <= _EVEN:
                    return run
        return []

    def _along_curve(self, rows: Ints) -> list[int]:
        """Crew by crew along the curve, so that a crew's days of a block lie together."""
        queue = self._curve(rows)
        for slot in sorted(self.slots, key=lambda s: (s.crew, s.day)):
            while queue and not slot.closed and self._append(slot, queue[0]):
                queue.pop(0)
                if not self._fits(slot, queue[:1]):
                    self._shorten(slot)
        return queue

    def _curve(self, rows: Ints) -> list[int]:
        place = along_curve(self.jobs.x[rows], self.jobs.y[rows])
        return [int(row) for row in rows[np.lexsort((rows, place))]]

    def _path(self, slot: CrewDay) -> Ints:
        at = [self.local[job] for job in slot.jobs]
        return np.array([self.depot[slot.depot], *at, self.depot[slot.depot]], dtype=np.int64)

    def _minutes(self, slot: CrewDay) -> float:
        path = self._path(slot)
        return float(self.cost[path[:-1], path[1:]].sum()) + sum(slot.parts)

    def _fits(self, slot: CrewDay, jobs: list[int]) -> bool:
        if not jobs:
            return True
        here, path = self.local[jobs[0]], self._path(slot)
        added = (
            self.cost[path[-2], here] + self.cost[here, path[-1]] - self.cost[path[-2], path[-1]]
        )
        return bool(self._minutes(slot) + added + self.jobs.work[jobs[0]] <= slot.shift + _EVEN)

    def _append(self, slot: CrewDay, job: int) -> bool:
        if not self._fits(slot, [job]):
            return False
        slot.jobs.append(job)
        slot.parts.append(float(self.jobs.work[job]))
        return True

    def _shorten(self, slot: CrewDay) -> None:
        """A shorter order of the same stops."""
        count = len(slot.jobs)
        if count < 2:  # noqa: PLR2004 - one stop has one order
            return
        at = self._path(slot)[:-1]
        times = self.cost[np.ix_(at, at)] + self._steps_of_rating(slot)
        tours = (
            improve_tour(times, np.arange(1, count + 1), first=slot.head),
            order_stops(times, first=slot.head),
        )
        best = min(tours, key=lambda tour: round(tour_minutes(times, tour), 6))
        slot.jobs = [slot.jobs[k - 1] for k in best]
        slot.parts = [slot.parts[k - 1] for k in best]

    def _steps_of_rating(self, slot: CrewDay) -> Floats:
        """What keeps make-safe stops in the order of their ratings, shape (stops+1, stops+1).

        Each step from one rating to another costs more than any road, in proportion, so that the
        shortest tour goes once from the worst rating down; the way back to the depot is free.
        """
        safe = self.jobs.make_safe[slot.jobs]
        level = np.where(safe, self.jobs.rating[slot.jobs], 0)
        level = np.concatenate(([level.max(initial=0)], level)).astype(np.float64)
        steps: Floats = np.abs(level[:, None] - level[None, :]) * _STEP_MIN
        steps[:, 0] = 0.0
        return steps

    def _insert(self, queue: list[int]) -> None:
        """Each job where it costs least among the shifts that still hold it."""
        room = [0.0 if s.closed else s.shift - self._minutes(s) for s in self.slots]
        shortest = float(self.jobs.work[queue].min()) if queue else 0.0
        for job in queue:
            if max(room) < shortest:
                return
            best: tuple[float, int, int] | None = None
            for number, slot in enumerate(self.slots):
                if slot.closed or room[number] < self.jobs.work[job]:
                    continue
                added, place = self._cheapest(slot, job)
                fits = added + self.jobs.work[job] <= room[number] + _EVEN
                if fits and (best is None or added < best[0] - _EVEN):
                    best = (added, number, place)
            if best is not None:
                added, number, place = best
                self.slots[number].jobs.insert(place, job)
                self.slots[number].parts.insert(place, float(self.jobs.work[job]))
                room[number] -= added + float(self.jobs.work[job])

    def _cheapest(self, slot: CrewDay, job: int) -> tuple[float, int]:
        path, here = self._path(slot)[slot.head :], self.local[job]
        added = (
            self.cost[path[:-1], here] + self.cost[here, path[1:]] - self.cost[path[:-1], path[1:]]
        )
        place = int(np.argmin(added))
        return float(added[place]), place + slot.head

    def _by_deadline(self) -> None:
        """A crew's equal days of the block in the order of their earliest deadlines."""
        groups: dict[tuple[int, float], list[CrewDay]] = {}
        for slot in self.slots:
            if not slot.closed and slot.head == 0:
                groups.setdefault((slot.crew, slot.shift), []).append(slot)
        for slots in groups.values():

            def first(load: tuple[list[int], list[float]]) -> tuple[int, int]:
                dates = self.jobs.deadline[load[0]]
                return (int(dates.min()), min(load[0])) if load[0] else (int(NEVER), int(NEVER))

            loads = sorted(((slot.jobs, slot.parts) for slot in slots), key=first)
            for slot, (rows, parts) in zip(slots, loads, strict=True):
                slot.jobs, slot.parts = rows, parts


def _ends(run: list[tuple[CrewDay, float]]) -> tuple[int, int]:
    """When a run of shifts ends, about, and when it begins; sooner is better."""
    return run[0][0].day + len(run), run[0][0].day


def schedule(
    slot: CrewDay, drive: Floats, apart: Flags, *, setup: float, start: float
) -> tuple[Floats, Floats]:
    """Minutes after midnight of arrival at, and leaving of, each stop, both of shape (stops,).

    Parameters
    ----------
    drive : minutes from the place before, the way back last, shape (stops + 1,).
    apart : which stops need a set-up, shape (stops,).
    """
    stay = np.array(slot.parts) + apart * setup
    leave = start + np.cumsum(drive[:-1] + stay)
    return leave - stay, leave


def straight_metres(x: Floats, y: Floats) -> Callable[[Ints], Floats]:
    """Straight distances between some of these places, as `Rules.metres`."""

    def between(places: Ints) -> npt.NDArray[np.float64]:
        return np.hypot(
            x[places][:, None] - x[places][None, :], y[places][:, None] - y[places][None, :]
        )

    return between
