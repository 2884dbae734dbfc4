"""Crew-days and the jobs that fill them, pool by pool."""

from collections.abc import Callable, Sequence

import numpy as np

from pipeline.planning.crew_day import CrewDay, DayJobs, Rules
from pipeline.planning.days import fill_days, straight_metres
from pipeline.planning.travel import Travel
from pipeline.planning.world import Work, World, pause_of, start_of, travel_between, yard_min
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

# Ways are reckoned once more when all places of a plan are set into the streets: they then have
# more hops, and each hop rounds.
_HOPS_MIN = 1e-3


def crew_days(
    world: World,
    crews: Sequence[int],
    shifts: Callable[[int], tuple[Ints, Floats]],
    taken: set[tuple[int, int]],
) -> list[CrewDay]:
    """Empty crew-days by day, then crew.

    Parameters
    ----------
    shifts : all working days of a crew in the period and the minutes of each, 0 for a day that is
        left to other work, both of shape (days,).
    taken : pairs of crew and day that are filled already.
    """
    names = sorted(world.depots)
    slots = []
    for place in crews:
        depot = names.index(world.crews[place].depot)
        days, minutes = shifts(place)
        yard = yard_min(world.crews[place])
        free = tuple(day for day in days.tolist() if (place, day) not in taken)
        slots += [
            CrewDay(
                place, int(day), depot, float(shift) - yard - _HOPS_MIN, free=free,
                begins=start_of(world.crews[place]),
                pause=pause_of(world.crews[place], float(shift) - yard),
            )
            for day, shift in zip(days, minutes, strict=True)
            if shift > yard and (place, int(day)) not in taken
        ]  # fmt: skip
    order = {place: number for number, place in enumerate(crews)}
    return sorted(slots, key=lambda slot: (slot.day, order[slot.crew]))


def with_new_days(
    world: World,
    crews: Sequence[int],
    shifts: Callable[[int], tuple[Ints, Floats]],
    taken: set[tuple[int, int]],
    held: list[CrewDay],
) -> list[CrewDay]:
    """The crew-days that hold work, and empty ones of `shifts`, by day, then crew."""
    working = [slot for slot in held if slot.jobs]
    used = taken | {(slot.crew, slot.day) for slot in working}
    order = {place: number for number, place in enumerate(crews)}
    return sorted(
        working + crew_days(world, crews, shifts, used),
        key=lambda slot: (slot.day, order[slot.crew]),
    )


def fill_pools(
    work: Work,
    world: World,
    used: Floats,
    earliest: Ints,
    selected: tuple[Ints, Ints],
    slots: dict[int, list[CrewDay]],
    *,
    block_days: int,
) -> Flags:
    """Put jobs, most urgent first, into the crew-days of their pools; which found a place.

    Parameters
    ----------
    earliest : first day of each job, shape (jobs,).
    selected : rows of the jobs and their pools, both of shape (selected,).
    """
    chosen, pool = selected
    kept = np.zeros(chosen.shape, dtype=bool)
    if not chosen.size:
        return kept
    held = {k: np.array(sorted({j for s in slots[k] for j in s.jobs}), dtype=np.int64)
            for k in np.unique(pool).tolist()}  # fmt: skip
    travel, place = travel_between(work, world, np.unique(np.concatenate((chosen, *held.values()))))
    rules = _rules(world, travel, block_days)
    for number, before in held.items():
        mine = np.flatnonzero(pool == number)
        rows = np.concatenate((before, chosen[mine]))
        jobs = DayJobs(
            place=place[rows], x=work.x[rows], y=work.y[rows],
            work=work.hours[rows] * MINUTES_PER_HOUR, estimate=used[rows] * MINUTES_PER_HOUR,
            earliest=earliest[rows], deadline=work.deadline[rows],
            make_safe=work.make_safe[rows], rating=work.rating[rows],
            worth=work.harm[rows], tie=work.tie[rows], quiet=work.quiet[rows],
        )  # fmt: skip
        local = {int(row): number for number, row in enumerate(rows)}
        for slot in slots[number]:
            slot.jobs = [local[job] for job in slot.jobs]
        kept[mine] = fill_days(jobs, slots[number], rules)[before.size :]
        for slot in slots[number]:
            slot.jobs = [int(rows[job]) for job in slot.jobs]
    return kept


def _rules(world: World, travel: Travel, block_days: int) -> Rules:
    return Rules(
        travel=travel.minutes,
        metres=straight_metres(travel.x, travel.y),
        setup=world.order.setup_min,
        same_stop=world.order.same_stop_m,
        block_days=block_days,
        longest_span=world.order.longest_span,
        quiet=world.quiet,
        quiet_longest=world.order.quiet_longest,
        rounds_per_stop=world.order.rounds_per_stop,
        rounds_most=world.order.rounds_most,
    )
