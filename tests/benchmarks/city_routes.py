"""A made-up quarter put into days: drive, worth left out, rules broken, risk early.

    python tests/benchmarks/city_routes.py --jobs 1000 --days 18
    python tests/benchmarks/city_routes.py --jobs 3000 --days 52

Eight crews of two depots, shifts of eight hours, 15 % of the jobs with school times, 20 % with a
first day or a deadline. The floor is the same days filled by insertion alone, without the routing
library, in the same call. Asked of 1,000 jobs: at most 0.80 of its drive and half of the worth that
it leaves out, within 60 s; of 3,000 at most 0.95 and half.
"""

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.planning.clock import weekday
from pipeline.planning.crew_day import CrewDay, DayJobs, Rules
from pipeline.planning.days import fill_days, schedule
from pipeline.planning.quarters import NEVER
from pipeline.units import Floats

FIRST = 20_821  # a Monday
CREWS, SHIFT_MIN, BEGINS_MIN, SETUP_MIN, SAME_STOP_M = 8, 480.0, 420.0, 10.0, 50.0
QUIET_LONGEST_MIN = 240.0
SIDE_M, DETOUR, SPEED_KM_H = 10_000.0, 1.4, 25.0
LOAD = 0.92  # work, set-up and four minutes of drive a job, as a share of all shifts
SCHOOL = ((450.0, 525.0), (810.0, 870.0))  # when children come and go, minutes after midnight
WEEK = (*((SCHOOL,) * 5), (), ())


def city(jobs: int, days: int, seed: int) -> tuple[DayJobs, list[CrewDay], Floats]:
    """Jobs, empty crew-days and the places, depots first, in metres; more work than shifts."""
    draw = np.random.Generator(np.random.PCG64(seed))
    centres = draw.uniform(0, SIDE_M, (60, 2))
    place = centres[draw.integers(0, 60, jobs)] + draw.normal(0, 400.0, (jobs, 2))
    depots = np.array([[2_500.0, 2_500.0], [7_500.0, 7_500.0]])
    work = np.clip(draw.lognormal(np.log(50.0), 0.6, jobs), 10.0, 300.0)
    work *= LOAD * CREWS * days * SHIFT_MIN / (work.sum() + jobs * (SETUP_MIN + 4.0))
    calendar = [FIRST + n for n in range(10 * days) if weekday(FIRST + n) < 5][:days]
    earliest, deadline = np.full(jobs, FIRST), np.full(jobs, NEVER)
    dated = draw.permutation(jobs)[: jobs // 5]
    half = dated.size // 2
    earliest[dated[:half]] = draw.choice(calendar[: 2 * days // 3], half)
    deadline[dated[half:]] = draw.choice(calendar[days // 6 :], dated.size - half)
    quiet = np.full(jobs, -1)
    quiet[draw.permutation(jobs)[: 15 * jobs // 100]] = 0
    made = DayJobs(
        place=np.arange(jobs) + 2,
        x=place[:, 0],
        y=place[:, 1],
        work=work,
        estimate=work + SETUP_MIN + 4.0,
        earliest=earliest,
        deadline=deadline,
        make_safe=np.zeros(jobs, dtype=bool),
        rating=np.ones(jobs, dtype=np.int64),
        worth=draw.lognormal(0.0, 1.5, jobs),
        tie=draw.permutation(jobs),
        quiet=quiet,
    )
    slots = [
        CrewDay(crew, day, crew % 2, SHIFT_MIN, begins=BEGINS_MIN)
        for day in calendar
        for crew in range(CREWS)
    ]
    return made, slots, np.concatenate((depots, place))


def told(jobs: DayJobs, slots: list[CrewDay], drive: Floats, days: int) -> dict[str, float]:
    """What the filled days come to."""
    hours, broken, late, day_of = 0.0, 0, 0, np.full(jobs.work.size, -1)
    calendar = sorted({slot.day for slot in slots})
    for slot in slots:
        if not slot.jobs:
            continue
        path = np.array([slot.depot, *jobs.place[slot.jobs], slot.depot])
        legs = drive[path[:-1], path[1:]]
        hours += legs.sum() / 60.0
        apart = legs[:-1] * SPEED_KM_H / 60.0 * 1000.0 / DETOUR > SAME_STOP_M
        kept = (jobs.quiet[slot.jobs] >= 0) & (jobs.work[slot.jobs] <= QUIET_LONGEST_MIN)
        free = [[(-1e9, 450.0), (525.0, 810.0), (870.0, 1e9)] if k else [] for k in kept]
        timed = schedule(slot, legs, apart, free, setup=SETUP_MIN)
        late_home = timed.back > BEGINS_MIN + SHIFT_MIN + 0.1
        early = jobs.earliest[slot.jobs] > slot.day
        late += int((jobs.deadline[slot.jobs] < slot.day).sum())
        inside = [
            any(b < end - 0.05 and e > start + 0.05 for start, end in SCHOOL) and bool(k)
            for b, e, k in zip(timed.begin, timed.leave, kept, strict=True)
        ]
        broken += int(late_home) + int(early.sum()) + sum(inside)
        day_of[slot.jobs] = calendar.index(slot.day)
    done = day_of >= 0
    lost = jobs.worth[~done].sum() / jobs.worth.sum()
    mean = (jobs.worth[done] * day_of[done]).sum() / jobs.worth[done].sum() / max(days - 1, 1)
    return {
        "drive_h": hours,
        "lost": float(lost),
        "broken": broken,
        "late": late,
        "day": float(mean),
    }


def main() -> None:
    """Measure one city."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=1_000)
    parser.add_argument("--days", type=int, default=18)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--block-days", type=int, default=10)
    parser.add_argument("--rounds-per-stop", type=int, default=5)
    parser.add_argument("--rounds-most", type=int, default=3_000)
    asked = parser.parse_args()
    jobs, slots, places = city(asked.jobs, asked.days, asked.seed)
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    drive = apart * DETOUR / 1000.0 / SPEED_KM_H * 60.0
    rules = Rules(
        travel=lambda at: drive[np.ix_(at, at)],
        metres=lambda at: apart[np.ix_(at, at)],
        setup=SETUP_MIN,
        same_stop=SAME_STOP_M,
        block_days=asked.block_days,
        longest_span=5,
        quiet=(WEEK,),
        quiet_longest=QUIET_LONGEST_MIN,
        rounds_per_stop=asked.rounds_per_stop,
        rounds_most=asked.rounds_most,
    )
    found = {}
    for name, library in (("insertion", {"pyvrp": None}), ("library", {})):
        days = [replace(slot, jobs=[], parts=[]) for slot in slots]
        started = time.perf_counter()
        with patch.dict(sys.modules, library):
            fill_days(jobs, days, rules)
        seconds = time.perf_counter() - started
        found[name] = told(jobs, days, drive, asked.days)
        print(
            f"{name}: {seconds:.1f} s, drive {found[name]['drive_h']:.1f} h, worth left out "
            f"{found[name]['lost']:.2%}, rules broken {found[name]['broken']:.0f}, "
            f"late {found[name]['late']:.0f}, "
            f"mean day of the worth {found[name]['day']:.2f} (0 the first, 1 the last)"
        )
    plain, best = found["insertion"], found["library"]
    print(
        f"drive {best['drive_h'] / plain['drive_h']:.2f} x, worth left out "
        f"{best['lost'] / max(plain['lost'], 1e-12):.2f} x"
    )


if __name__ == "__main__":
    main()
