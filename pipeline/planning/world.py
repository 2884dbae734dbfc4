"""What a plan is made from, and how long a job takes with its way and its set-up."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.planning.capacity import Pool
from pipeline.planning.clock import Pause, Week
from pipeline.planning.neighbourhood import expected_drive_m
from pipeline.planning.network import Streets
from pipeline.planning.precedence import Links
from pipeline.planning.quarters import Horizon
from pipeline.planning.selection.instance import NOWHERE
from pipeline.planning.travel import Reach, StraightLine, Travel
from pipeline.settings.model import Crew
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

_ROUNDS = 4  # the number of stops and the drive between them settle each other quickly


@dataclass(frozen=True, slots=True)
class WorkOrder:
    """Rules of config/rules/work_order.csv and of the settings' planning section."""

    snap_limit_m: float
    same_stop_m: float
    near_min: float
    block_days: int
    longest_span: int
    tour_constant: float
    setup_min: float
    straight: StraightLine
    lead_in_share: float
    days_after_test: int
    quiet_longest: float
    rounds_per_stop: int
    rounds_most: int
    harm_years: float
    left_out_days: int
    ward_price: float
    exact_jobs: int
    exact_gap: float
    solver_seconds: float


@dataclass(frozen=True, slots=True)
class Budget:
    """Limits beside the crews' hours, all of the settings.

    Parameters
    ----------
    money : for all quarters planned, infinite for no limit.
    machine_hours : of each machine a quarter, infinite for no limit, shape (machines,).
    overtime_share : of the hours granted that may come on top.
    overtime_rate : an hour of overtime costs this many times the hour.
    ward_share : of its part of the harm removed that each ward is owed, 0 for no bound.
    """

    money: float
    machines: tuple[str, ...]
    machine_hours: Floats
    overtime_share: float
    overtime_rate: float
    ward_share: float


@dataclass(frozen=True, slots=True)
class World:
    """Who works where and when: crews, their pools, what each can do, depots in metres, streets."""

    crews: Sequence[Crew]
    pools: Sequence[Pool]
    rank: Ints  # (groups, pools), 0 for never
    depots: dict[str, tuple[float, float]]
    streets: Streets
    span: Horizon
    order: WorkOrder
    budget: Budget
    rates: Floats  # money an hour of each pool, 0 where none is told, (pools,)
    as_of: int
    holidays: Ints
    quiet: tuple[Week, ...] = ()  # times that work keeps free, by `Work.quiet`


@dataclass(frozen=True, slots=True)
class Work:
    """What is to be done, each value of shape (jobs,); see `selection.JobArrays`.

    Parameters
    ----------
    severe : the tree is rated high or worse.
    rating : of the tree, higher is worse.
    weight : of one day late.
    routine : looks that return by the city's cycle.
    machine : row of `Budget.machines`, -1 for none that is limited.
    ward : number of the ward, -1 for none.
    season : row of `closed`.
    closed : closed days of each season, see `seasons`.
    links : removals and the tests that may lift them.
    quiet : row of the world's quiet weeks, -1 where work keeps no time of day free.
    """

    hours: Floats
    group: Ints
    make_safe: Flags
    pinned: Ints
    deadline: Ints
    earliest: Ints
    harm: Floats
    tie: Ints
    x: Floats
    y: Floats
    severe: Flags
    rating: Ints
    weight: Floats
    routine: Flags
    machine: Ints
    ward: Ints
    season: Ints
    closed: tuple[Ints, ...]
    links: Links
    quiet: Ints


def start_of(crew: Crew) -> float:
    """When a crew leaves its depot, minutes after midnight."""
    begins = crew.shift_start.hour * MINUTES_PER_HOUR + crew.shift_start.minute
    return begins + crew.load_min


def yard_min(crew: Crew) -> float:
    """Minutes of a shift at the depot, before the way out and after the way back."""
    return crew.load_min + crew.unload_min


def pause_of(crew: Crew, work: float) -> Pause:
    """The break of a day with so many minutes of work; none where the day ends before it."""
    begins = start_of(crew)
    if crew.break_start is None or not crew.break_min:
        return Pause()
    at = crew.break_start.hour * MINUTES_PER_HOUR + crew.break_start.minute
    return Pause(at, crew.break_min) if begins < at < begins + work else Pause()


def hours_used(work: Work, world: World) -> tuple[Floats, Flags]:
    """Hours with set-up and expected travel, and which jobs no span of shifts can hold."""
    used = work.hours.copy()
    too_long = np.zeros(used.shape, dtype=bool)
    for group in np.unique(work.group).tolist():
        rows = np.flatnonzero(work.group == group)
        able = np.flatnonzero(world.rank[group])
        if not able.size:
            continue
        pool = world.pools[int(able[np.argmin(world.rank[group][able])])]
        stop_h = _stop_minutes(work, world, rows, pool) / MINUTES_PER_HOUR
        fixed_h = (2 * _trip_minutes(work, world, rows, pool)
                   + world.order.setup_min) / MINUTES_PER_HOUR  # fmt: skip
        shift = max(
            world.crews[k].hours_per_day - yard_min(world.crews[k]) / MINUTES_PER_HOUR
            for p in able.tolist()
            for k in world.pools[p].crews
        )
        usable = max(shift - fixed_h, shift / 2)
        shifts = np.ceil(work.hours[rows] / usable)
        used[rows] += np.where(shifts > 1, shifts * fixed_h, stop_h)
        too_long[rows] = shifts > world.order.longest_span
    return used, too_long


def _stop_minutes(work: Work, world: World, rows: Ints, pool: Pool) -> float:
    """Set-up and drive expected at a stop when a block of days is filled."""
    order = world.order
    mean = float(work.hours[rows].mean()) * MINUTES_PER_HOUR
    block = sum(world.crews[k].hours_per_day for k in pool.crews)
    minutes = block * order.block_days * MINUTES_PER_HOUR
    stop = order.setup_min
    for _ in range(_ROUNDS):
        count = min(minutes / max(mean + stop, 1.0), float(rows.size))
        apart = expected_drive_m(work.x[rows], work.y[rows], count, constant=order.tour_constant)
        setup = order.setup_min * min(1.0, apart / order.same_stop_m)
        stop = setup + order.straight.minutes_of(apart)
    return stop


def _trip_minutes(work: Work, world: World, rows: Ints, pool: Pool) -> float:
    """Mean drive between a crew's depot and its jobs, by straight line."""
    if not rows.size:
        return 0.0
    far = [
        float(np.hypot(work.x[rows] - x, work.y[rows] - y).mean())
        for x, y in (world.depots[world.crews[k].depot] for k in pool.crews)
    ]
    return world.order.straight.minutes_of(float(np.mean(far)))


def depot_share(work: Work, world: World) -> Floats:
    """Share of each pool's shift that depot, way out and way back take, shape (pools,)."""
    share = np.zeros(len(world.pools))
    for number, pool in enumerate(world.pools):
        able = world.rank[work.group, number] > 0 if work.group.size else work.make_safe
        rows = np.flatnonzero(able & ~work.make_safe)
        shift = MINUTES_PER_HOUR * float(
            np.mean([world.crews[k].hours_per_day for k in pool.crews])
        )
        yard = float(np.mean([yard_min(world.crews[k]) for k in pool.crews]))
        share[number] = min((2 * _trip_minutes(work, world, rows, pool) + yard) / shift, 0.5)
    return share


def travel_between(work: Work, world: World, rows: Ints) -> tuple[Travel, Ints]:
    """Travel between the depots, in the order of their names, and these jobs after them."""
    names = sorted(world.depots)
    place = np.full(work.hours.shape, NOWHERE, dtype=np.int64)
    place[rows] = len(names) + np.arange(rows.size)
    x = np.concatenate(([world.depots[name][0] for name in names], work.x[rows]))
    y = np.concatenate(([world.depots[name][1] for name in names], work.y[rows]))
    reach = Reach(world.order.snap_limit_m, hubs=len(names), near_min=world.order.near_min)
    travel = Travel(world.streets, x, y, straight=world.order.straight, reach=reach)
    return travel, place
