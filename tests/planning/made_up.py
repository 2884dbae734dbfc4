"""Made-up selections of any size, for tests and the benchmark; a seed gives the same ones again."""

import numpy as np

from pipeline.planning.selection.instance import Aims, Demand, Instance, Periods, Supply

TODAY = 20_700
NEVER = np.iinfo(np.int32).max
GROUPS = ("climb", "climb_no_climb", "lift", "ground", "inspect", "instrument")
# rows as GROUPS; columns climb, lift, ground, inspect, instrument
RANK = np.array([
    [1, 2, 0, 0, 0], [0, 1, 0, 0, 0], [0, 1, 0, 0, 0],
    [2, 3, 1, 0, 0], [0, 0, 0, 1, 2], [0, 0, 0, 0, 1],
])  # fmt: skip
RATE = np.array([180.0, 260.0, 120.0, 75.0, 95.0])


def periods(weeks: int, quarters: int) -> Periods:
    """Weeks of a first stretch, where there are any, then quarters of 91 days."""
    start, first, last, stretch = TODAY + 1, [], [], []
    for week in range(weeks):
        first.append(start + 7 * week)
        last.append(start + 7 * week + 6)
        stretch.append(0)
    start += 7 * weeks
    for quarter in range(quarters):
        first.append(start + 91 * quarter)
        last.append(start + 91 * quarter + 90)
        stretch.append(quarter + (weeks > 0))
    return Periods(np.array(first), np.array(last), np.array(stretch))


def instance(  # noqa: PLR0913 - each is one way in which cities differ
    jobs: int,
    seed: int,
    *,
    weeks: int = 0,
    quarters: int = 4,
    hours_share: float = 0.3,
    budget_share: float = 0.9,
    fairness: float = 0.6,
    due_share: float = 0.08,
    overtime: float = 0.05,
    links: float = 0.01,
) -> Instance:
    """A city's jobs: a few large risks and many small, deadlines, seasons, machines, wards.

    Parameters
    ----------
    hours_share : crew-hours there are, as a share of those asked.
    budget_share : money there is, as a share of what those hours cost.
    due_share : jobs with a deadline.
    """
    draw = np.random.Generator(np.random.PCG64(seed))
    group = draw.choice(len(GROUPS), jobs, p=[0.2, 0.1, 0.1, 0.1, 0.35, 0.15])
    scale = np.array([2.0, 2.5, 5.0, 1.5, 0.4, 1.2])[group]
    hours = np.round(scale * draw.lognormal(0.0, 0.6, jobs), 2) + 0.1
    due = draw.random(jobs) < due_share
    deadline = np.where(due, TODAY + draw.integers(-120, 300, jobs), NEVER)
    span = periods(weeks, quarters)
    end = int(span.last[-1])
    summer = np.array([[TODAY + 120, TODAY + 250]])
    earliest = np.where(draw.random(jobs) < 0.05, TODAY + draw.integers(1, 400, jobs), TODAY)
    first_pool = np.array([0, 1, 1, 2, 3, 4])[group]
    asked = hours_share * np.bincount(first_pool, hours, minlength=RATE.size)
    days = np.arange(TODAY, end + 1)
    working = np.isin((days + 3) % 7, (0, 1, 2, 3, 4)) & (days > TODAY)
    stretches = span.stretches
    granted = np.zeros((stretches, RATE.size))
    daily = np.zeros((days.size, RATE.size))
    for number in range(stretches):
        these = np.flatnonzero(span.stretch == number)
        inside = (days >= span.first[these[0]]) & (days <= span.last[these[-1]]) & working
        part = inside.sum() / working.sum()
        granted[number] = asked * part
        daily[inside] = 1.25 * granted[number] / max(inside.sum(), 1)
    crane = np.where((group == 2) & (draw.random(jobs) < 0.3), 0, -1)
    crane_hours = float(hours[crane == 0].sum()) * hours_share * 0.8 / stretches
    cuts = np.flatnonzero((group == 2) & (draw.random(jobs) < 10 * links))
    looks = np.flatnonzero(group == 5)
    pairs = min(cuts.size, looks.size)
    return Instance(
        Demand(
            hours=hours,
            group=group,
            earliest=earliest,
            deadline=deadline,
            weight=np.where(due, draw.choice([1.0, 3.0, 30.0, 100.0], jobs), 0.0),
            worth=1e-5 * draw.lognormal(0.0, 1.5, jobs),
            machine=crane,
            ward=draw.choice(6, jobs, p=[0.35, 0.25, 0.2, 0.1, 0.06, 0.04]),
            pinned=np.where(draw.random(jobs) < 0.01, draw.integers(0, stretches, jobs), -1),
            opens=np.zeros(jobs, dtype=np.int64),
            season=np.where((group <= 1) & (draw.random(jobs) < 0.4), 1, 0),
            tie=draw.permutation(jobs),
            removal=cuts[:pairs],
            test=draw.permutation(looks)[:pairs],
        ),
        Supply(
            rank=RANK,
            rate=RATE,
            first_day=TODAY,
            daily=daily,
            granted=granted,
            machine=np.full((stretches, 1), crane_hours),
            budget=float((granted.sum(axis=0) * RATE).sum()) * budget_share,
            overtime_share=overtime,
            overtime_rate=1.5,
            closed=(np.empty((0, 2), dtype=np.int64), summer),
        ),
        span,
        Aims(
            today=TODAY,
            years=5.0,
            left_out_days=91,
            fairness=fairness,
            shortfall_price=2.0,
            days_after_test=7,
        ),
    )
