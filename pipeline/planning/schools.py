"""Which jobs keep the times free at which children come and go."""

from collections.abc import Sequence

import numpy as np
import shapely

from pipeline.geo.shapes import Geometries
from pipeline.planning.clock import Week, quiet_week
from pipeline.units import Flags, Floats, Ints


def quiet_weeks(
    x: Floats,
    y: Floats,
    over_paths: Flags,
    schools: Geometries,
    hours: Sequence[str | None],
    *,
    near_m: float,
    margin: float,
) -> tuple[Ints, tuple[Week, ...]]:
    """The different weeks of quiet times, and the one of each job, -1 for none, shape (jobs,).

    Parameters
    ----------
    x, y, over_paths : place of each job and whether what it brings down may meet people.
    schools, hours : shapes in metres and opening hours, both of shape (schools,).
    near_m : a job no farther than this from a school keeps its times; the nearest school's.
    margin : minutes before and after opening and closing.
    """
    weeks = tuple(dict.fromkeys(quiet_week(text, margin=margin) for text in hours))
    of_job = np.full(x.shape, -1, dtype=np.int64)
    rows = np.flatnonzero(over_paths)
    if not len(hours) or not rows.size:
        return of_job, weeks
    week = np.array([weeks.index(quiet_week(text, margin=margin)) for text in hours])
    tree = shapely.STRtree(schools)
    at, found = tree.query_nearest(
        np.asarray(shapely.points(x[rows], y[rows]), dtype=object),
        max_distance=near_m,
        all_matches=True,
    )
    # Equally near: the first in the list, so that the answer does not hang on the tree's inside.
    order = np.lexsort((found, at))
    at, first = np.unique(at[order], return_index=True)
    of_job[rows[at]] = week[found[order][first]]
    return of_job, weeks
