"""One block of crew-days as a routing problem, and its answer put into the days.

Moments are whole seconds on a clock that counts the working clocks of the block's days one after
the other, so that a window in time of day, a first day and a deadline are all plain windows. Each
crew and day is a vehicle of its own. What heads a day stays where it is: the vehicle then starts
from the last of it. What was put on a day before keeps its day but not its place in it.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.planning.clock import DAY_MIN, Pause, Span, free_spans, weekday
from pipeline.planning.crew_day import CrewDay, DayJobs, Rules
from pipeline.planning.routing.library import Effort, library
from pipeline.planning.routing.problem import Fleet, Problem, Stops
from pipeline.planning.routing.solve import solve
from pipeline.units import MINUTES_PER_HOUR, SECONDS_PER_HOUR, Floats, Ints

_DAY_S = 24 * int(SECONDS_PER_HOUR)
_S_PER_MIN = int(SECONDS_PER_HOUR / MINUTES_PER_HOUR)
# What is weighed against a second on the road, in seconds. They order what is done, and bear on no
# rule: a job left out costs this and its own time by how much it is worth; more where it is due.
_LEFT_OUT = 4 * int(SECONDS_PER_HOUR)
_WORTH = 4
_DUE = 3
_LATE = 8 * int(SECONDS_PER_HOUR)
_HELD = 10**7
_OPENED = int(SECONDS_PER_HOUR) // 2
_LATER_DAY = 5 * _S_PER_MIN
_EVEN = 1e-6


@dataclass(frozen=True, slots=True)
class Ground:
    """Minutes between the places of a block, set-up on arrival included, and where each stands.

    Parameters
    ----------
    cost : shape (places, places).
    depot, local : row of a depot's place and of a job.
    """

    cost: Floats
    depot: dict[int, int]
    local: dict[int, int]


def route_block(
    jobs: DayJobs, slots: list[CrewDay], rows: Ints, ground: Ground, rules: Rules
) -> None:
    """Route the jobs `rows` and what the crew-days hold already."""
    vehicles = [slot for slot in slots if not slot.closed]
    held = {job: slot for slot in vehicles for job in slot.jobs[slot.head :]}
    told = _Told(jobs, vehicles, rules)
    windows = {job: told.windows(job, [slot]) for job, slot in held.items()}
    windows |= {job: told.windows(job, vehicles) for job in rows.tolist()}
    chosen = np.array([job for job, found in windows.items() if found], dtype=np.int64)
    chosen = chosen[np.argsort(jobs.tie[chosen])]
    if not set(windows) - set(held) or not vehicles:
        return
    stops = _stops(jobs, chosen, windows, ground, last=told.last)
    stops.prize[np.isin(chosen, list(held))] = _HELD
    seconds = np.ceil(ground.cost * _S_PER_MIN - _EVEN).astype(np.int64)
    np.fill_diagonal(seconds, 0)
    problem = Problem(seconds, seconds, stops, _fleet(vehicles, ground, told))
    rounds = int(np.clip(rules.rounds_per_stop * chosen.size, 1, rules.rounds_most))
    answer = solve(problem, Effort(rounds=rounds, seed=rules.seed))
    for slot in vehicles:
        del slot.jobs[slot.head :], slot.parts[slot.head :]
    for route in answer.routes:
        slot, served = vehicles[route.vehicle], chosen[list(route.stops)]
        slot.jobs += served.tolist()
        slot.parts += jobs.work[served].tolist()
        slot.searched = library() is not None


class _Told:
    """Windows of jobs on the clock of a block."""

    def __init__(self, jobs: DayJobs, slots: list[CrewDay], rules: Rules) -> None:
        self.jobs, self.rules = jobs, rules
        self.first = min((slot.day for slot in slots), default=0)
        self.last = max((slot.day for slot in slots), default=0)
        self.pauses: dict[int, set[Pause]] = {}
        for slot in slots:
            self.pauses.setdefault(slot.day, set()).add(slot.pause)

    def moment(self, day: int, minutes: float = 0.0) -> int:
        """Seconds of a moment of a day's working clock."""
        return (day - self.first) * _DAY_S + round(minutes * _S_PER_MIN)

    def windows(self, job: int, slots: list[CrewDay]) -> list[tuple[int, int, int]]:
        """First and last moment to begin a job on these days, and what each window costs."""
        earliest, deadline = int(self.jobs.earliest[job]), int(self.jobs.deadline[job])
        days = sorted({slot.day for slot in slots if slot.day >= earliest})
        in_time = [day for day in days if day <= deadline]
        late = [day for day in days if day > deadline]
        # What is late on every day of the block is late by as much everywhere that counts.
        parts = [(in_time, 0), (late, _LATE if in_time else 0)]
        return [
            (begin, end, price)
            for these, price in parts
            if these
            for begin, end in self._open(job, these)
        ]

    def _open(self, job: int, days: list[int]) -> list[tuple[int, int]]:
        """When a job may begin on days that have one price."""
        week = int(self.jobs.quiet[job])
        work = float(self.jobs.work[job])
        kept = [
            day for day in days
            if week >= 0 and work <= self.rules.quiet_longest
            and self.rules.quiet[week][weekday(day)]
        ]  # fmt: skip
        if not kept:
            return [(self.moment(days[0]), self.moment(days[-1], DAY_MIN) - 1)]
        found = []
        for day in days:
            if day not in kept:
                found.append((self.moment(day), self.moment(day, DAY_MIN) - 1))
                continue
            for begin, end in self._free(self.rules.quiet[week][weekday(day)], day):
                first = self.moment(day) + int(np.ceil(begin * _S_PER_MIN - _EVEN))
                last = self.moment(day) + int(np.floor((end - work) * _S_PER_MIN + _EVEN)) - 1
                if last >= first:
                    found.append((first, last))
        return found

    def _free(self, quiet: tuple[Span, ...], day: int) -> list[Span]:
        """What all crews of a day may use, whatever their breaks."""
        pauses = sorted(self.pauses[day], key=lambda pause: (pause.at, pause.minutes))
        free = free_spans(quiet, pauses[0])
        for pause in pauses[1:]:
            other = free_spans(quiet, pause)
            free = [
                (max(a, c), min(b, d)) for a, b in free for c, d in other if min(b, d) > max(a, c)
            ]
        return free


def _stops(
    jobs: DayJobs,
    chosen: Ints,
    windows: dict[int, list[tuple[int, int, int]]],
    ground: Ground,
    *,
    last: int,
) -> Stops:
    """The jobs of a block as stops; a window that is late costs part of what leaving out does."""
    service = np.ceil(jobs.work[chosen] * _S_PER_MIN - _EVEN).astype(np.int64)
    owner = np.repeat(np.arange(chosen.size), [len(windows[job]) for job in chosen.tolist()])
    table = [window for job in chosen.tolist() for window in windows[job]]
    early, late, penalty = np.array(table, dtype=np.int64).reshape(-1, 3).T
    # A job worth more for its time weighs more; one that is due weighs several times as much.
    density = jobs.worth[chosen] / np.maximum(jobs.work[chosen], 1.0)
    place = np.argsort(np.argsort(density, kind="stable"), kind="stable") / max(chosen.size, 1)
    prize = _LEFT_OUT + service * (1.0 + _WORTH * place)
    prize = np.where(jobs.deadline[chosen] <= last, _DUE * prize, prize)
    return Stops(
        place=np.array([ground.local[job] for job in chosen.tolist()], dtype=np.int64),
        service=service,
        demand=np.zeros_like(service),
        prize=np.rint(prize).astype(np.int64),
        required=np.zeros(service.shape, dtype=bool),
        window_of=owner,
        early=early,
        late=late,
        penalty=penalty,
    )


def _fleet(slots: list[CrewDay], ground: Ground, told: _Told) -> Fleet:
    """Each crew-day is one vehicle; an empty one costs more the later it is."""
    days = {day: number for number, day in enumerate(sorted({slot.day for slot in slots}))}
    start, early, late, fixed = [], [], [], []
    for slot in slots:
        at = [ground.depot[slot.depot], *(ground.local[job] for job in slot.jobs[: slot.head])]
        spent = float(ground.cost[at[:-1], at[1:]].sum()) + sum(slot.parts[: slot.head])
        end = told.moment(slot.day) + int((slot.begins + slot.shift) * _S_PER_MIN)
        begin = told.moment(slot.day) + int(np.ceil((slot.begins + spent) * _S_PER_MIN))
        start.append(at[-1])
        early.append(min(begin, end))
        late.append(end)
        fixed.append(0 if slot.jobs else _OPENED + _LATER_DAY * days[slot.day])
    ones = np.ones(len(slots), dtype=np.int64)
    depots = np.array([ground.depot[slot.depot] for slot in slots], dtype=np.int64)
    return Fleet(
        start=np.array(start, dtype=np.int64), end=depots, number=ones, capacity=ones,
        early=np.array(early, dtype=np.int64), late=np.array(late, dtype=np.int64),
        fixed=np.array(fixed, dtype=np.int64),
    )  # fmt: skip
