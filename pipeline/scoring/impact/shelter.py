"""Falls that a building stops before they reach a target behind it.

A building shelters a target in those directions alone in which the falling part meets the building
nearer than the nearest point of the target: what stands beside or behind it shelters nothing, and
of a building that reaches farther out only the near walls count. So shelter is never overstated by
geometry; how often a building stops what falls on it is judged (`shelter_stops`).
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.impact.arcs import Arcs, cut, shares, within_a_turn
from pipeline.scoring.impact.falling import FallDirections
from pipeline.scoring.impact.outlines import Outlines, edges_near, repeated
from pipeline.units import Flags, Floats, Ints


@dataclass(frozen=True, slots=True)
class Falls:
    """A part's fall upon each of its targets, each shape (pairs,), the pairs of a part together.

    Parameters
    ----------
    part : number of the part; rising.
    target : place in the outlines.
    x_m, y_m : stem. reach_m : of the part. stem_m : radius of the stem.
    distance_m : nearest point of the target.
    falls : which way the part falls.
    """

    part: Ints
    target: Ints
    x_m: Floats
    y_m: Floats
    reach_m: Floats
    stem_m: Floats
    distance_m: Floats
    falls: FallDirections


def sheltered(
    share: Floats, given: Falls, targets: Outlines, shelters: Flags, *, stops: float
) -> Floats:
    """Share of falls that reach each target when buildings stop some; never more than `share`.

    Parameters
    ----------
    share : without shelter, shape (pairs,).
    shelters : targets that stop a fall, shape (targets,); they are never sheltered themselves.
    stops : share of the falls upon a building that it stops.
    """
    stopping = np.flatnonzero(shelters[given.target])
    behind = np.flatnonzero(~shelters[given.target] & (given.distance_m > given.stem_m))
    first = np.searchsorted(given.part[stopping], given.part[behind], side="left")
    last = np.searchsorted(given.part[stopping], given.part[behind], side="right")
    behind, first, last = (column[last > first] for column in (behind, first, last))
    if not len(behind):
        return share
    of, place = _ranges(first, last)
    building = given.target[stopping[place]]
    front = _arcs(targets, building, behind[of], given, given.distance_m)
    front = Arcs(of[front.group], front.start, front.end)
    own = _arcs(targets, given.target[behind], behind, given, given.reach_m)
    both = Arcs(*(np.concatenate([getattr(front, n), getattr(own, n)]) for n in Arcs.__slots__))
    falls = given.falls.take(behind)
    free = shares(both, falls) - shares(front, falls)
    made = share.copy()
    made[behind] -= stops * np.maximum(share[behind] - free, 0.0)
    return np.clip(made, 0.0, share)


def _ranges(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """All places of each range, and the range of each: (range, place)."""
    starts = np.stack([first, last], axis=1).reshape(-1)
    of, place = repeated(starts, 2 * np.arange(len(first)))
    return of, place


def _arcs(targets: Outlines, target: Ints, pair: Ints, given: Falls, reach_m: Floats) -> Arcs:
    """Arcs in which each target is met within its pair's `reach_m`; a group is a row of `pair`."""
    row, edges = edges_near(targets, target, given.x_m[pair], given.y_m[pair], reach_m[pair])
    met, start, width = cut(edges, reach_m[pair][row])
    return within_a_turn(row[met], start[met], width[met])
