"""How far a failing part reaches, and which targets lie within that reach."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import shapely

from pipeline.scoring.impact.arcs import Masks, masks
from pipeline.scoring.impact.outlines import Outlines, Shapes, repeated, standing_in
from pipeline.units import Flags, Floats, Ints

_CELL_M = 64.0
_CHUNK = 8_192
_THREADS = 2
# From so many pieces of outline on, a target is looked for piece by piece.
_MANY_PIECES = 16


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
    """Trees and the targets within their reach, in rising order of tree, then target.

    Parameters
    ----------
    tree, zone : shape (pairs,).
    bits : directions of 60 that meet the target, where asked for, else 0.
    """

    tree: Ints
    zone: Ints
    bits: Masks


def pairs_within(
    x_m: Floats, y_m: Floats, reach_m: Floats, targets: Outlines, *, with_masks: bool = False
) -> Pairs:
    """All pairs of a tree and a target not farther than the tree's reach.

    Trees are walked by square cells, in chunks, in two threads: neighbours meet the same targets,
    and the geometry engine lets other threads run meanwhile. Targets of many corners are looked
    for by the pieces of their outline.

    Parameters
    ----------
    x_m, y_m, reach_m : shape (trees,).
    with_masks : also say in which of the 60 directions a fall meets the target.
    """
    if len(targets.shapes) == 0 or len(x_m) == 0:
        none = np.zeros(0, np.int64)
        return Pairs(none, none, none.astype(np.uint64))
    order = _by_cells(x_m, y_m)
    search = _Search.of(targets)
    chunks = [order[start : start + _CHUNK] for start in range(0, len(order), _CHUNK)]

    def found(chunk: Ints) -> tuple[Ints, Ints, Masks]:
        x, y, reach = x_m[chunk], y_m[chunk], reach_m[chunk]
        tree, target = search.within(x, y, reach)
        bits = np.zeros(len(tree), np.uint64)
        if with_masks:
            bits = masks(targets, target, x[tree], y[tree], reach[tree])
        return chunk[tree], target, bits

    with ThreadPoolExecutor(_THREADS) as pool:
        parts = list(pool.map(found, chunks))
    tree, target, bits = (np.concatenate(column) for column in zip(*parts, strict=True))
    put = np.argsort(tree * len(targets.shapes) + target)
    return Pairs(tree[put].astype(np.int64), target[put].astype(np.int64), bits[put])


def _by_cells(x_m: Floats, y_m: Floats) -> Ints:
    """Order of trees by rows of square cells."""
    column = np.floor((x_m - x_m.min()) / _CELL_M)
    row = np.floor((y_m - y_m.min()) / _CELL_M)
    return np.argsort((row * (column.max() + 1.0) + column).astype(np.int64), kind="stable")


@dataclass(frozen=True, slots=True)
class _Search:
    """Indexes of targets of few corners, of the pieces of the others, and of their areas."""

    targets: Outlines
    light: Ints
    plain: shapely.STRtree
    heavy: Ints
    pieces: shapely.STRtree
    owner: Ints
    areas: shapely.STRtree

    @classmethod
    def of(cls, targets: Outlines) -> "_Search":
        many = np.diff(targets.first_piece) > _MANY_PIECES
        light, heavy = np.flatnonzero(~many), np.flatnonzero(many)
        place, piece = repeated(targets.first_piece, heavy)
        _, edge = repeated(targets.first_edge, piece)
        of = np.repeat(np.arange(len(piece)), np.diff(targets.first_edge)[piece])
        lines = np.zeros(0, dtype=object)
        if len(of):
            ends = targets.edges[edge].reshape(-1, 2, 2)
            strings = np.asarray(shapely.linestrings(ends), dtype=object)
            lines = np.asarray(shapely.multilinestrings(strings, indices=of), dtype=object)
        plain, pieces = shapely.STRtree(targets.shapes[light]), shapely.STRtree(lines)
        areas = shapely.STRtree(targets.shapes[heavy])
        for tree in (plain, pieces, areas):
            tree.query(shapely.Point(0.0, 0.0))  # builds the index once, not in each thread
        return cls(targets, light, plain, heavy, pieces, heavy[place], areas)

    def within(self, x_m: Floats, y_m: Floats, reach_m: Floats) -> tuple[Ints, Ints]:
        """Tree and target of every pair, in any order."""
        stems = shapely.points(x_m, y_m)
        tree, at = self.plain.query(stems, predicate="dwithin", distance=reach_m)
        target = self.light[at]
        if not len(self.heavy):
            return tree, target
        by, piece = self.pieces.query(stems, predicate="dwithin", distance=reach_m)
        over, area = self.areas.query(stems)
        inside = standing_in(self.targets, self.heavy[area], x_m[over], y_m[over])
        trees = np.concatenate([by, over[inside]])
        owners = np.concatenate([self.owner[piece], self.heavy[area[inside]]])
        both = np.unique(np.stack([trees, owners]), axis=1)
        return np.concatenate([tree, both[0]]), np.concatenate([target, both[1]])


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
