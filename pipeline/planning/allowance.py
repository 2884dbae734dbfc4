"""Travel and set-up as the days filled need them: the choice is made again with them."""

from collections.abc import Sequence

import numpy as np

from pipeline.planning.crew_day import CrewDay
from pipeline.planning.selection.instance import NOWHERE
from pipeline.planning.travel import Travel
from pipeline.planning.world import Work, World
from pipeline.units import MINUTES_PER_HOUR, Floats, Ints

_ENOUGH = 20  # jobs of a kind with days, to tell their travel


def travel_needed(
    work: Work, world: World, filled: tuple[Sequence[CrewDay], Ints, Travel, Floats]
) -> Floats:
    """Set-up and travel that the days filled took, over what was reckoned, shape (groups,).

    1 for a group of jobs of which too few were given days to tell.

    Parameters
    ----------
    filled : crew-days; place of each job, -1 for none; travel between places; hours reckoned.
    """
    slots, place, travel, used = filled
    needed = np.ones(world.rank.shape[0])
    done = np.flatnonzero((place != NOWHERE) & ~work.make_safe)
    taken = np.zeros(work.hours.shape)
    for slot in slots:
        path = np.array([slot.depot, *place[slot.jobs]], dtype=np.int64)
        minutes = travel.legs(path[:-1], path[1:]).minutes[1:]  # the way out is the depot's
        far = np.hypot(np.diff(travel.x[path]), np.diff(travel.y[path]))
        setup = np.where(far > world.order.same_stop_m, world.order.setup_min, 0.0)
        np.add.at(taken, slot.jobs, setup / MINUTES_PER_HOUR)
        np.add.at(taken, slot.jobs[1:], minutes / MINUTES_PER_HOUR)
    for group in np.unique(work.group[done]).tolist():
        rows = done[work.group[done] == group]
        reckoned = float((used[rows] - work.hours[rows]).sum())
        if rows.size >= _ENOUGH and reckoned > 0:
            needed[group] = np.clip(float(taken[rows].sum()) / reckoned, 0.5, 2.0)
    return needed
