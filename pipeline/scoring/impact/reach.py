"""How far a failing part reaches, and which targets lie within that reach.

The share of fall directions is the angle that the part of a zone within reach fills, seen from the
stem: the circle without its widest empty gap. It is exact for one convex target beside the tree and
over-estimates where the zone within reach is in several pieces; a falling crown's width is left
out. All fall directions count alike.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from pipeline.units import CM_PER_M, Flags, Floats, Ints

Shapes = npt.NDArray[np.object_]

_CELL_M = 64.0
_CHUNK = 8_192
_THREADS = 2
_FULL = 2.0 * np.pi
_SEGMENTS_PER_REACH = 12.0
_QUARTER_SEGMENTS = 12


@dataclass(frozen=True, slots=True)
class ReachValues:
    """Published and elicited numbers on how far trees reach.

    Parameters
    ----------
    dbh_cm, height_m : points of the height curve, rising, each shape (points,).
    height_without_dbh_m, dbh_without_cm : where nothing is known.
    dead_factor : reach of a dead tree over its height: brittle parts are thrown.
    branch_reach_of_height : reach of a branch over the height, where no crown width is known.
    point_radius_m : radius given to a target that is told as a point.
    """

    dbh_cm: Floats
    height_m: Floats
    height_without_dbh_m: float
    dbh_without_cm: float
    dead_factor: float
    branch_reach_of_height: float
    point_radius_m: float


def heights(height_m: Floats, dbh_cm: Floats, *, values: ReachValues) -> tuple[Floats, Flags]:
    """Height used and whether it was filled from the diameter; each shape (trees,)."""
    filled = np.isnan(height_m)
    by_dbh = np.interp(dbh_cm, values.dbh_cm, values.height_m)
    by_dbh = np.where(np.isnan(dbh_cm), values.height_without_dbh_m, by_dbh)
    return np.where(filled, by_dbh, height_m), filled


def whole_tree_reach(height_m: Floats, dead: Flags, *, values: ReachValues) -> Floats:
    """Reach of a tree that falls whole or breaks low; shape (trees,)."""
    return np.asarray(height_m * np.where(dead, values.dead_factor, 1.0), np.float64)


def branch_reach(height_m: Floats, crown_width_m: Floats, *, values: ReachValues) -> Floats:
    """Reach of a branch: the crown's radius, else a share of the height; shape (trees,)."""
    known = crown_width_m / 2.0
    return np.where(np.isnan(known), values.branch_reach_of_height * height_m, known)


@dataclass(frozen=True, slots=True)
class Pairs:
    """Trees and the zones within their reach, in rising order of tree, then zone."""

    tree: Ints
    zone: Ints


def pairs_within(x_m: Floats, y_m: Floats, reach_m: Floats, zones: Shapes) -> Pairs:
    """All pairs of a tree and a zone not farther than the tree's reach.

    Trees are walked by square cells, in chunks, in two threads: neighbours meet the same zones,
    and the geometry engine lets other threads run meanwhile.

    Parameters
    ----------
    x_m, y_m, reach_m : shape (trees,).
    zones : shapes, shape (zones,).
    """
    if len(zones) == 0 or len(x_m) == 0:
        none = np.zeros(0, np.int64)
        return Pairs(none, none)
    order = np.lexsort((np.floor(x_m / _CELL_M), np.floor(y_m / _CELL_M)))
    tree = shapely.STRtree(zones)
    tree.query(shapely.points(x_m[order[:1]], y_m[order[:1]]))  # builds the index once
    chunks = [order[start : start + _CHUNK] for start in range(0, len(order), _CHUNK)]

    def found(chunk: Ints) -> Ints:
        places = shapely.points(x_m[chunk], y_m[chunk])
        hits = tree.query(places, predicate="dwithin", distance=reach_m[chunk])
        return np.stack([chunk[hits[0]], hits[1]])

    with ThreadPoolExecutor(_THREADS) as pool:
        hits = np.concatenate(list(pool.map(found, chunks)), axis=1)
    put = np.lexsort((hits[1], hits[0]))
    return Pairs(hits[0][put].astype(np.int64), hits[1][put].astype(np.int64))


def distances(x_m: Floats, y_m: Floats, zones: Shapes) -> Floats:
    """Distance of each point to the zone beside it; shape (pairs,)."""
    return np.asarray(shapely.distance(shapely.points(x_m, y_m), zones), np.float64)


def stretch(reach_m: Floats, distance_m: Floats) -> Floats:
    """Longest straight way through the disc of reach at that distance: its chord; same shape."""
    half = np.maximum(reach_m**2 - np.minimum(distance_m, reach_m) ** 2, 0.0)
    return np.asarray(2.0 * np.sqrt(half), np.float64)


def widened(zones: Shapes, *, values: ReachValues) -> Shapes:
    """Zones with a body: points become discs, else no fall direction would ever meet them."""
    kinds = shapely.get_type_id(zones)
    points = (kinds == int(shapely.GeometryType.POINT)) | (
        kinds == int(shapely.GeometryType.MULTIPOINT)
    )
    made = zones.copy()
    if points.any():
        made[points] = shapely.buffer(zones[points], values.point_radius_m)
    return made


def direction_shares(x_m: Floats, y_m: Floats, reach_m: Floats, zones: Shapes) -> Floats:
    """Share of the circle of fall directions that the zone within reach fills; shape (pairs,)."""
    if len(x_m) == 0:
        return np.zeros(0)
    stems = shapely.points(x_m, y_m)
    discs = shapely.buffer(stems, reach_m, quad_segs=_QUARTER_SEGMENTS)
    parts = shapely.intersection(zones, discs)
    standing_in = shapely.dwithin(stems, zones, 0.0) & (shapely.get_dimensions(zones) > 1)
    step = np.maximum(reach_m / _SEGMENTS_PER_REACH, 1.0 / CM_PER_M)
    coordinates, pair = shapely.get_coordinates(shapely.segmentize(parts, step), return_index=True)
    angles = np.arctan2(coordinates[:, 1] - y_m[pair], coordinates[:, 0] - x_m[pair])
    shares = 1.0 - _widest_gap(angles, pair.astype(np.int64), len(x_m)) / _FULL
    return np.clip(np.where(standing_in, 1.0, shares), 0.0, 1.0)


def _widest_gap(angles: Floats, pair: Ints, count: int) -> Floats:
    """Widest empty angle between neighbours round the circle; the whole circle where none is."""
    put = np.lexsort((angles, pair))
    angles, pair = angles[put], pair[put]
    if len(angles) == 0:
        return np.full(count, _FULL)
    first = np.flatnonzero(np.r_[True, pair[1:] != pair[:-1]])
    last = np.r_[first[1:], len(pair)] - 1
    gaps = np.empty_like(angles)
    gaps[:-1] = np.diff(angles)
    gaps[last] = angles[first] + _FULL - angles[last]
    widest = np.full(count, _FULL)
    widest[pair[first]] = np.maximum.reduceat(gaps, first)
    return widest
