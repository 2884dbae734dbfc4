"""The first quarter's jobs over crews and days.

Working days are filled in blocks. A block looks at what is due in it, at what is worth most for its
time, and at jobs that lie beside these; which of them are done, by whom, on which day and in which
order is one routing problem (`block`). What is left waits for the next block. Make-safe jobs take
the first day and head their tours, the worst rated trees first; crews that are the second choice
for them take what the first choice has no room for. A job longer than a shift takes whole shifts of
one crew in a row; where the crew's days lie apart, those after the first move up to it, so that no
tree stands half cut for longer than it must.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import KDTree

from pipeline.planning.block import Ground, route_block
from pipeline.planning.clock import Span, first_fit
from pipeline.planning.crew_day import CrewDay, DayJobs, Rules
from pipeline.planning.neighbourhood import along_curve
from pipeline.planning.quarters import NEVER
from pipeline.planning.routes import improve_tour, order_stops, tour_minutes
from pipeline.units import Flags, Floats, Ints

_EVEN = 1e-6
_STEP_MIN = 1e5  # minutes: longer than any tour


def fill_days(jobs: DayJobs, slots: list[CrewDay], rules: Rules) -> Flags:
    """Put jobs into the crew-days of a pool; returns which were placed, shape (jobs,).

    `slots` are filled in place; they must be sorted by day, then crew. Jobs that they hold already
    stay on their days, and the heads of their tours in their places.
    """
    placed = np.zeros(jobs.place.shape, dtype=bool)
    for slot in slots:
        placed[slot.jobs] = True
    days = sorted({slot.day for slot in slots})
    for start in range(0, len(days), rules.block_days):
        dates = days[start : start + rules.block_days]
        block = [slot for slot in slots if dates[0] <= slot.day <= dates[-1]]
        waiting = np.flatnonzero(~placed & (jobs.earliest <= dates[-1]))
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
        held = {job for slot in slots for job in slot.jobs}
        self.held = held
        self.core = self._looked_at(waiting)
        rows = np.array(sorted({*self.core.tolist(), *held}), dtype=np.int64)
        self.rows = rows[np.argsort(jobs.tie[rows])]
        depots = sorted({slot.depot for slot in slots})
        places = np.concatenate((np.array(depots, dtype=np.int64), jobs.place[self.rows]))
        self.depot = {place: k for k, place in enumerate(depots)}
        self.local = {int(row): len(depots) + k for k, row in enumerate(self.rows)}
        drive = rules.travel(places)
        apart = rules.metres(places) > rules.same_stop
        apart[: len(depots), :] = True
        apart[:, : len(depots)] = False  # nothing is set up at the depot
        self.cost: Floats = drive + apart * rules.setup

    def _looked_at(self, waiting: Ints) -> Ints:
        """Jobs of a block: due in it, worth most for their time, and near these, in this order."""
        jobs, rules = self.jobs, self.rules
        room = sum(slot.shift - sum(slot.parts) for slot in self.slots if not slot.closed)
        due = jobs.make_safe[waiting] | (jobs.deadline[waiting] <= self.last)
        first = _up_to(waiting[due], jobs.estimate, room)
        rest = waiting[~due]
        dear = rest[np.argsort(-jobs.worth[rest] / np.maximum(jobs.estimate[rest], 1.0),
                               kind="stable")]  # fmt: skip
        left = room - float(jobs.estimate[first].sum())
        dear = _up_to(dear, jobs.estimate, min(rules.urgent * room, left))
        core = np.concatenate((first, dear))
        rest = waiting[~np.isin(waiting, core)]
        if not core.size or not rest.size:
            return np.concatenate((core, _up_to(rest, jobs.estimate, room)))
        tree = KDTree(np.column_stack((jobs.x[core], jobs.y[core])))
        far, _ = tree.query(np.column_stack((jobs.x[rest], jobs.y[rest])))
        beside = rest[np.argsort(far, kind="stable")]
        more = room * (1.0 + rules.near) - float(jobs.estimate[core].sum())
        return np.concatenate((core, _up_to(beside, jobs.estimate, more)))

    def fill(self, placed: Flags) -> None:
        long = self._long(self.core)
        safe = self.jobs.make_safe[self.core]
        self._make_safe(self.core[safe & ~long])
        self._spans(self.core[long])
        for slot in self.slots:
            self._shorten(slot)
        taken = {job for slot in self.all_slots for job in slot.jobs}
        rows = [job for job in self.core[~long].tolist() if job not in taken]
        ground = Ground(self.cost, self.depot, self.local)
        route_block(self.jobs, self.slots, np.array(rows, dtype=np.int64), ground, self.rules)
        for slot in self.all_slots:
            placed[slot.jobs] = True
        self._by_urgency()

    def _long(self, rows: Ints) -> Flags:
        return np.array([self._is_long(int(row)) for row in rows], dtype=bool)

    def _is_long(self, row: int) -> bool:
        """Whether the longest empty shift of every crew is too short for it."""
        here = self.local[row]
        return all(
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

    def _make_safe(self, rows: Ints) -> None:
        """The first days, first choices first and shared evenly; each heads its tour."""
        rating = self.jobs.rating[rows]
        queues = [self._curve(rows[rating == level]) for level in np.unique(rating)[::-1]]
        for day in sorted({slot.day for slot in self.slots}):
            today = [s for s in self.slots if s.day == day and not s.closed and s.head == 0]
            for choice in sorted({slot.choice for slot in today}):
                for queue in queues:
                    self._deal(queue, [slot for slot in today if slot.choice == choice])

    def _deal(self, queue: list[int], slots: list[CrewDay]) -> None:
        """Take jobs from the queue, an even share for each crew-day as far as they fit."""
        for number, slot in enumerate(slots):
            for _ in range(-(-len(queue) // (len(slots) - number))):
                if not self._append(slot, queue[0]):
                    break
                queue.pop(0)

    def _spans(self, rows: Ints) -> None:
        """Whole shifts of one crew in a row for each long job, as early as can be."""
        for row in rows.tolist():
            best: list[tuple[CrewDay, float]] = []
            for crew in sorted({slot.crew for slot in self.slots}):
                mine = [s for s in self.all_slots if s.crew == crew and s.day >= self.first]
                run = self._run(mine, row)
                if run and (not best or _ends(run) < _ends(best)):
                    best = run
            self._move_up([slot for slot, _ in best])
            for slot, part in best:
                slot.jobs.append(row)
                slot.parts.append(part)
                slot.head, slot.closed = 1, slot is not best[-1][0]

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
            if slot.day < self.jobs.earliest[row]:
                continue
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
        """One more stop at the end of the head of a day that holds nothing else."""
        if slot.head != len(slot.jobs) or not self._fits(slot, [job]):
            return False
        slot.jobs.append(job)
        slot.parts.append(float(self.jobs.work[job]))
        slot.head += 1
        return True

    def _shorten(self, slot: CrewDay) -> None:
        """A shorter order of the same heads of a day."""
        count = slot.head
        if count < 2:  # noqa: PLR2004 - one stop has one order
            return
        at = self._path(slot)[: count + 1]
        times = self.cost[np.ix_(at, at)] + self._steps_of_rating(slot)
        tours = (improve_tour(times, np.arange(1, count + 1)), order_stops(times))
        best = min(tours, key=lambda tour: round(tour_minutes(times, tour), 6))
        slot.jobs[:count] = [slot.jobs[k - 1] for k in best]
        slot.parts[:count] = [slot.parts[k - 1] for k in best]

    def _steps_of_rating(self, slot: CrewDay) -> Floats:
        """What keeps make-safe stops in the order of their ratings, shape (stops+1, stops+1).

        Each step from one rating to another costs more than any road, in proportion, so that the
        shortest tour goes once from the worst rating down; the way back to the depot is free.
        """
        heads = slot.jobs[: slot.head]
        level = np.where(self.jobs.make_safe[heads], self.jobs.rating[heads], 0)
        level = np.concatenate(([level.max(initial=0)], level)).astype(np.float64)
        steps: Floats = np.abs(level[:, None] - level[None, :]) * _STEP_MIN
        steps[:, 0] = 0.0
        return steps

    def _by_urgency(self) -> None:
        """A crew's equal days of the block in the order of what is due and worth most in them.

        Only days whose jobs may be done on any day of the block change places.
        """
        jobs = self.jobs
        groups: dict[tuple[int, float], list[CrewDay]] = {}
        for slot in self.slots:
            mine = np.array(slot.jobs, dtype=np.int64)
            inside = (jobs.deadline[mine] >= self.first) & (jobs.deadline[mine] < self.last)
            bound = inside | (jobs.earliest[mine] > self.first) | (jobs.quiet[mine] >= 0)
            if (
                not slot.closed
                and not slot.head
                and not bound.any()
                and self.held.isdisjoint(slot.jobs)
            ):
                groups.setdefault((slot.crew, slot.shift), []).append(slot)
        for slots in groups.values():

            def first(load: tuple[list[int], list[float]]) -> tuple[int, float, int]:
                if not load[0]:
                    return (int(NEVER), 0.0, int(NEVER))
                dates, worth = jobs.deadline[load[0]], jobs.worth[load[0]]
                return (int(dates.min()), -float(worth.sum()), int(jobs.tie[load[0]].min()))

            loads = sorted(((slot.jobs, slot.parts) for slot in slots), key=first)
            for slot, (rows, parts) in zip(slots, loads, strict=True):
                slot.jobs, slot.parts = rows, parts


def _up_to(rows: Ints, minutes: Floats, room: float) -> Ints:
    """The first rows that fill so many minutes, the one that overflows it included."""
    if room <= 0:
        return rows[:0]
    total = np.cumsum(minutes[rows])
    return rows[: int(np.searchsorted(total, room, side="left")) + 1]


def _ends(run: list[tuple[CrewDay, float]]) -> tuple[int, int]:
    """When a run of shifts ends, about, and when it begins; sooner is better."""
    return run[0][0].day + len(run), run[0][0].day


@dataclass(frozen=True, slots=True)
class Timed:
    """A day's moments, minutes after midnight: at each stop, shape (stops,), and the return.

    `begin` is when the work begins, after set-up and any wait for a time that is kept free.
    """

    arrive: Floats
    begin: Floats
    leave: Floats
    back: float


def schedule(
    slot: CrewDay, drive: Floats, apart: Flags, free: Sequence[list[Span]], *, setup: float
) -> Timed:
    """Time a day, as early as its ways, its break and the times kept free allow.

    Parameters
    ----------
    drive : minutes from the place before, the way back last, shape (stops + 1,).
    apart : which stops need a set-up, shape (stops,).
    free : when each stop may be worked at, on the working clock; empty: always.
    """
    clock, moments = slot.begins, []
    for part, way, far, spans in zip(slot.parts, drive[:-1].tolist(), apart, free, strict=True):
        arrive = clock + way
        ready = arrive + float(far) * setup
        begin = first_fit(spans, ready, part)
        begin = ready if begin is None else begin
        clock = begin + part
        pause = slot.pause
        moments.append((pause.ends(arrive), pause.begins(begin), pause.ends(clock)))
    arrive_min, begin_min, leave_min = np.array(moments, dtype=np.float64).reshape(-1, 3).T
    back = slot.pause.ends(clock + float(drive[-1]))
    return Timed(arrive_min, begin_min, leave_min, back)


def straight_metres(x: Floats, y: Floats) -> Callable[[Ints], Floats]:
    """Straight distances between some of these places, as `Rules.metres`."""

    def between(places: Ints) -> npt.NDArray[np.float64]:
        return np.hypot(
            x[places][:, None] - x[places][None, :], y[places][:, None] - y[places][None, :]
        )

    return between
