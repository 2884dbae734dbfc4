"""From jobs and crews to a plan: quarters first, then the days of the first quarter."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.planning.capacity import Pool, pool_hours, shift_minutes, working_days
from pipeline.planning.days import CrewDay, DayJobs, Rules, fill_days, straight_metres
from pipeline.planning.neighbourhood import along_curve, expected_drive_m, shared_out
from pipeline.planning.network import Streets
from pipeline.planning.quarters import Horizon
from pipeline.planning.selection import NOWHERE, JobArrays, select_quarter
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


@dataclass(frozen=True, slots=True)
class World:
    """Who works where: crews, their pools, what each pool can do, depots in metres, streets."""

    crews: Sequence[Crew]
    pools: Sequence[Pool]
    rank: Ints  # (groups, pools), 0 for never
    depots: dict[str, tuple[float, float]]
    streets: Streets
    span: Horizon
    order: WorkOrder


@dataclass(frozen=True, slots=True)
class Work:
    """What is to be done, each value of shape (jobs,); see `selection.JobArrays`."""

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


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan: quarter and crew of each job (-1 for none), and the days of the first quarter.

    Parameters
    ----------
    day : day number of the first quarter, -1 elsewhere.
    used : hours with set-up and travel allowance.
    too_long : no crew has enough shifts in a row.
    hours : crew-hours of each pool and quarter.
    travel : between the places of the first quarter; `place` is each job's, -1 for none.
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
    """Choose quarters, fill the first one's days, and let what did not fit there move on."""
    hours = pool_hours(world.crews, world.pools, world.span)
    used, too_long = _hours_used(work, world)
    arrays = JobArrays(
        used, work.group, work.make_safe, work.pinned, work.deadline, work.earliest, work.harm,
        work.tie,
    )  # fmt: skip
    count = work.hours.size
    quarter = np.full(count, NOWHERE, dtype=np.int64)
    crew, day = quarter.copy(), quarter.copy()
    free = hours * (1.0 - _depot_share(work, world))[:, None]
    slots: list[CrewDay] = []
    travel, place = _travel(work, world, np.empty(0, dtype=np.int64))
    for number, last in enumerate(world.span.last.tolist()):
        rows = np.flatnonzero((quarter == NOWHERE) & ~too_long)
        chosen, pool = select_quarter(
            arrays, rows, free[:, number], world.rank, quarter=number, last_day=last
        )
        if number == 0:
            travel, place = _travel(work, world, chosen)
            slots, kept = _first_quarter(work, world, (chosen, pool, used), travel, place)
            chosen, pool = chosen[kept], pool[kept]
            _note_days(slots, crew, day)
        else:
            _share_among_crews(work, world, (chosen, pool, used), number, crew)
        quarter[chosen] = number
    return Plan(quarter, crew, day, used, too_long, hours, slots, travel, place)


def _hours_used(work: Work, world: World) -> tuple[Floats, Flags]:
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
            world.crews[k].hours_per_day for p in able.tolist() for k in world.pools[p].crews
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


def _depot_share(work: Work, world: World) -> Floats:
    """Share of each pool's shift that the way out and back takes, shape (pools,)."""
    share = np.zeros(len(world.pools))
    for number, pool in enumerate(world.pools):
        rows = np.flatnonzero(world.rank[work.group, number]) if work.group.size else work.group
        shift = MINUTES_PER_HOUR * float(
            np.mean([world.crews[k].hours_per_day for k in pool.crews])
        )
        share[number] = min(2 * _trip_minutes(work, world, rows, pool) / shift, 0.5)
    return share


def _travel(work: Work, world: World, rows: Ints) -> tuple[Travel, Ints]:
    """Travel between the depots, in the order of their names, and these jobs after them."""
    names = sorted(world.depots)
    place = np.full(work.hours.shape, NOWHERE, dtype=np.int64)
    place[rows] = len(names) + np.arange(rows.size)
    x = np.concatenate(([world.depots[name][0] for name in names], work.x[rows]))
    y = np.concatenate(([world.depots[name][1] for name in names], work.y[rows]))
    reach = Reach(world.order.snap_limit_m, hubs=len(names), near_min=world.order.near_min)
    travel = Travel(world.streets, x, y, straight=world.order.straight, reach=reach)
    return travel, place


def _first_quarter(
    work: Work,
    world: World,
    selected: tuple[Ints, Ints, Floats],
    travel: Travel,
    place: Ints,
) -> tuple[list[CrewDay], Flags]:
    """The crew-days of the first quarter and which of the selected jobs found one."""
    chosen, pool, used = selected
    order = world.order
    kept = np.zeros(chosen.shape, dtype=bool)
    filled: list[CrewDay] = []
    rules = Rules(
        travel=travel.minutes,
        metres=straight_metres(travel.x, travel.y),
        setup=order.setup_min,
        same_stop=order.same_stop_m,
        block_days=order.block_days,
        longest_span=order.longest_span,
    )
    for number in np.unique(pool).tolist():
        mine = np.flatnonzero(pool == number)
        rows = chosen[mine]
        slots = _crew_days(world, world.pools[number])
        jobs = DayJobs(
            place=place[rows], x=work.x[rows], y=work.y[rows],
            work=work.hours[rows] * MINUTES_PER_HOUR, estimate=used[rows] * MINUTES_PER_HOUR,
            earliest=work.earliest[rows], deadline=work.deadline[rows],
            make_safe=work.make_safe[rows],
        )  # fmt: skip
        kept[mine] = fill_days(jobs, slots, rules)
        for slot in slots:
            slot.jobs = [int(rows[job]) for job in slot.jobs]
        filled += [slot for slot in slots if slot.jobs]
    return filled, kept


def _crew_days(world: World, pool: Pool) -> list[CrewDay]:
    names = sorted(world.depots)
    first, last = int(world.span.first[0]), int(world.span.last[0])
    slots = []
    for place in pool.crews:
        crew = world.crews[place]
        days = working_days(first, last, crew.days)
        minutes = shift_minutes(crew, days)
        depot = names.index(crew.depot)
        slots += [
            CrewDay(place, int(day), depot, float(shift))
            for day, shift in zip(days, minutes, strict=True)
            if shift > 0
        ]
    return sorted(slots, key=lambda slot: (slot.day, pool.crews.index(slot.crew)))


def _note_days(slots: list[CrewDay], crew: Ints, day: Ints) -> None:
    """Crew and day of each job; a job over several days is noted on its first."""
    for slot in sorted(slots, key=lambda s: -s.day):
        crew[slot.jobs] = slot.crew
        day[slot.jobs] = slot.day


def _share_among_crews(
    work: Work, world: World, selected: tuple[Ints, Ints, Floats], quarter: int, crew: Ints
) -> None:
    """In later quarters each crew of a pool gets one stretch of the town."""
    chosen, pool, used = selected
    first, last = int(world.span.first[quarter]), int(world.span.last[quarter])
    for number in np.unique(pool).tolist():
        rows = chosen[pool == number]
        places = np.array(world.pools[number].crews, dtype=np.int64)
        shares = np.array([
            shift_minutes(world.crews[k], working_days(first, last, world.crews[k].days)).sum()
            for k in places
        ])  # fmt: skip
        order = np.lexsort((work.tie[rows], along_curve(work.x[rows], work.y[rows])))
        crew[rows] = places[shared_out(order, used[rows], shares)]
