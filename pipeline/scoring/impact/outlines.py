"""Outlines of targets as straight edges in short pieces, so that a tree meets only what is near.

A ray that meets an area from outside meets its outline first, holes and parts included; so edges
are all that directions need, beside the question whether the stem stands inside. Pieces with their
boxes keep an outline of a hundred thousand corners as quick as many small ones.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from pipeline.units import Flags, Floats, Ints

Shapes = npt.NDArray[np.object_]

_PER_PIECE = 16
_AREA = 2
# Boxes looked at in one go: small enough to stay in a core's cache.
_BOXES_AT_ONCE = 65_536


@dataclass(frozen=True, slots=True)
class Outlines:
    """Targets as edges; edges of a piece, and pieces of a target, stand together.

    Parameters
    ----------
    shapes : targets, shape (targets,); areas are prepared for many questions.
    areal : targets with an inside, shape (targets,).
    first_piece : piece at which each target begins, and the number of pieces, (targets + 1,).
    boxes : west, south, east and north of each piece [m], shape (pieces, 4).
    first_edge : edge at which each piece begins, and the number of edges, (pieces + 1,).
    edges : x and y of both ends of each edge [m], shape (edges, 4); a point has no length.
    """

    shapes: Shapes
    areal: Flags
    first_piece: Ints
    boxes: Floats
    first_edge: Ints
    edges: Floats


def outlines(shapes: Shapes) -> Outlines:
    """Edges of targets of any shape, shape (targets,); an empty target has none."""
    strands, target = _strands(np.asarray(shapes, dtype=object))
    coordinates, strand = shapely.get_coordinates(strands, return_index=True)
    strand = strand.astype(np.int64)
    one = np.bincount(strand, minlength=len(strands)) == 1
    begins = np.flatnonzero((strand[1:] == strand[:-1]) | one[strand[:-1]])
    if len(strand) and one[strand[-1]]:
        begins = np.append(begins, len(strand) - 1)
    ends = np.where(one[strand[begins]], begins, np.minimum(begins + 1, len(strand) - 1))
    edges = np.hstack([coordinates[begins], coordinates[ends]]).astype(np.float64)
    of = strand[begins]
    new = np.ones(len(of), np.bool_)
    new[1:] = of[1:] != of[:-1]
    place = np.arange(len(of)) - np.maximum.accumulate(np.where(new, np.arange(len(of)), 0))
    piece_at = np.flatnonzero(place % _PER_PIECE == 0)
    pieces = np.bincount(target[of[piece_at]], minlength=len(shapes))
    areal = shapely.get_dimensions(shapes) == _AREA
    shapely.prepare(shapes[areal])
    return Outlines(
        shapes=shapes,
        areal=np.asarray(areal, np.bool_),
        first_piece=np.concatenate([[0], np.cumsum(pieces)]).astype(np.int64),
        boxes=_boxes(edges, piece_at),
        first_edge=np.append(piece_at, len(of)).astype(np.int64),
        edges=edges,
    )


def _strands(shapes: Shapes) -> tuple[Shapes, Ints]:
    """Rings, lines and points that the targets are made of, in order, and the target of each."""
    parts, target = shapely.get_parts(shapes, return_index=True)
    nested = shapely.get_type_id(parts) > int(shapely.GeometryType.POLYGON)
    while nested.any():
        parts, of = shapely.get_parts(parts, return_index=True)
        target = target[of]
        nested = shapely.get_type_id(parts) > int(shapely.GeometryType.POLYGON)
    areas = shapely.get_type_id(parts) == int(shapely.GeometryType.POLYGON)
    rings, of = shapely.get_rings(parts[areas], return_index=True)
    strands = np.concatenate([rings, parts[~areas]])
    owner = np.concatenate([target[areas][of], target[~areas]]).astype(np.int64)
    order = np.argsort(owner, kind="stable")
    return strands[order], owner[order]


def _boxes(edges: Floats, piece_at: Ints) -> Floats:
    if not len(piece_at):
        return np.zeros((0, 4))
    low = np.minimum(edges[:, :2], edges[:, 2:])
    high = np.maximum(edges[:, :2], edges[:, 2:])
    return np.hstack(
        [np.minimum.reduceat(low, piece_at), np.maximum.reduceat(high, piece_at)]
    ).astype(np.float64)


def repeated(first: Ints, rows: Ints) -> tuple[Ints, Ints]:
    """Members of each row, and the place in `rows` of each: (place, member).

    Parameters
    ----------
    first : member at which each row begins, and the number of members.
    rows : rows asked for, shape (n,).
    """
    count = first[rows + 1] - first[rows]
    place = np.repeat(np.arange(len(rows)), count)
    within = np.arange(len(place)) - np.repeat(np.cumsum(count) - count, count)
    return place, first[rows][place] + within


def edges_near(
    targets: Outlines, target: Ints, x_m: Floats, y_m: Floats, reach_m: Floats
) -> tuple[Ints, Floats]:
    """Edges near the stem of each pair, seen from it: pair of each, and its ends (edges, 4) [m].

    Edges of other pieces than those whose box the square of reach meets are left out.

    Parameters
    ----------
    target : target of each pair, shape (pairs,).
    x_m, y_m, reach_m : stem and reach of each pair, shape (pairs,).
    """
    ends = np.cumsum(targets.first_piece[target + 1] - targets.first_piece[target])
    found = []
    first = 0
    while first < len(target):
        reached = (ends[first - 1] if first else 0) + _BOXES_AT_ONCE
        last = max(int(np.searchsorted(ends, reached, side="right")), first + 1)
        at = slice(first, last)
        pair, piece = _pieces_near(targets, target[at], x_m[at], y_m[at], reach_m[at])
        found.append((pair + first, piece))
        first = last
    if not found:
        return np.zeros(0, np.int64), np.zeros((0, 4))
    pair, piece = (np.concatenate(column) for column in zip(*found, strict=True))
    place, edge = repeated(targets.first_edge, piece)
    pair = pair[place]
    seen = targets.edges[edge]
    x, y = x_m[pair], y_m[pair]
    for column, origin in enumerate((x, y, x, y)):
        seen[:, column] -= origin
    return pair, seen


def _pieces_near(
    targets: Outlines, target: Ints, x_m: Floats, y_m: Floats, reach_m: Floats
) -> tuple[Ints, Ints]:
    """Pieces whose box meets the square of reach of each pair: pair and piece of each."""
    pair, piece = repeated(targets.first_piece, target)
    box = targets.boxes[piece]
    reach, x, y = reach_m[pair], x_m[pair], y_m[pair]
    near = (box[:, 0] <= x + reach) & (box[:, 2] >= x - reach)
    near &= (box[:, 1] <= y + reach) & (box[:, 3] >= y - reach)
    return pair[near], piece[near]


def standing_in(targets: Outlines, target: Ints, x_m: Floats, y_m: Floats) -> Flags:
    """Pairs whose stem stands in the target or on its border; shape (pairs,)."""
    inside = np.zeros(len(target), np.bool_)
    asked = np.flatnonzero(targets.areal[target])
    if len(asked):
        shapes = targets.shapes[target[asked]]
        inside[asked] = shapely.intersects_xy(shapes, x_m[asked], y_m[asked])
    return inside
