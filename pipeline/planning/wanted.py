"""Which jobs the proven selection puts where; routine looks and what is over its size follow later.

Routine looks at trees below moderate are left to the order of urgency: they take nearly the same
time each and a crew of their own, so that the order is as good as any program.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.planning.limits import Calendar, calendar, instance
from pipeline.planning.selection.choose import Result, select
from pipeline.planning.selection.instance import NOWHERE, Instance
from pipeline.planning.selection.search import Effort
from pipeline.planning.world import Work, World
from pipeline.terms import RatingWord
from pipeline.units import Flags, Floats, Ints

BEFORE = -2  # done at once or in the lead-in: the day tells the quarter


@dataclass(frozen=True, slots=True)
class Wanted:
    """Where the selection wants each job, each of shape (jobs,).

    Parameters
    ----------
    quarter : place in the horizon, BEFORE for the lead-in, NOWHERE for none.
    period : of the selection, NOWHERE for none.
    pool : NOWHERE for none.
    weight : of a unit of each job's harm when days are filled: more in wards that lack their share.
    rows : jobs that were chosen among; `result` is about them, None where there were none.
    """

    quarter: Ints
    period: Ints
    pool: Ints
    weight: Floats
    rows: Ints
    dates: Calendar
    given: Instance | None
    result: Result | None


def chosen_among(work: Work, world: World, available: Flags) -> Ints:
    """Jobs for the selection: what presses most where there are more than it takes."""
    some = np.asarray((world.rank > 0).any(axis=1))
    able = some[work.group] if work.group.size else np.zeros(0, dtype=bool)
    routine = work.routine & (work.pinned < 0) & (work.rating < RatingWord.MODERATE.value)
    planned = work.pinned < len(world.span.quarters)
    wanted = np.flatnonzero(available & able & planned & ~work.make_safe & ~routine)
    order = np.lexsort((work.tie[wanted], -work.harm[wanted], -work.weight[wanted]))
    among = np.zeros(work.hours.shape, dtype=bool)
    among[wanted[order][: world.order.exact_jobs]] = True
    among[work.links.removal[~among[work.links.test]]] = False  # its test is not here to wait for
    return np.flatnonzero(among)


def nothing_wanted(work: Work, world: World) -> Wanted:
    """No job put anywhere."""
    none = np.full(work.hours.shape, NOWHERE, dtype=np.int64)
    even = np.ones(none.shape)
    return Wanted(none, none, none, even, none[:0], calendar(world), None, None)


def want(
    work: Work,
    world: World,
    available: Flags,
    given: tuple[Floats, Floats, float],
    may_lead_in: Flags,
    *,
    begin: int = -1,
) -> Wanted:
    """The proven selection of a plan, from the lead-in or a quarter on.

    Parameters
    ----------
    available : jobs that wait for a place, shape (jobs,).
    given, may_lead_in : see `limits.instance`.
    begin : see `limits.calendar`.
    """
    dates = calendar(world, begin=begin)
    rows = chosen_among(work, world, available)
    period = np.full(work.hours.shape, NOWHERE, dtype=np.int64)
    pool = period.copy()
    if not rows.size or not dates.periods.first.size:
        return nothing_wanted(work, world)
    made = instance(work, world, dates, given, rows, may_lead_in)
    effort = Effort(gap=world.order.exact_gap, late_gap=world.order.exact_gap)
    found = select(made, work.rating[rows], effort, seconds=world.order.solver_seconds)
    period[rows], pool[rows] = found.chosen.period, found.chosen.pool
    quarter = dates.quarter(period, before=BEFORE)
    weight = np.ones(work.hours.shape)
    weight[rows[found.order]] = found.ward_weight()
    return Wanted(quarter, period, pool, weight, rows, dates, made, found)
