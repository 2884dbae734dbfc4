"""Arcs of fall directions in which a falling part meets a target, and the share that they fill.

A part is a straight line that falls from the stem in any direction; its width is left out. It
meets a target in exactly those directions in which some edge of the target, cut at the end of
reach, lies: the union of the arcs of the edges, exact up to rounding. Angles are turns, from 0 to
1, counted against the clock from east.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.scoring.impact.falling import FallDirections, probability_up_to
from pipeline.scoring.impact.outlines import Outlines, edges_near, standing_in
from pipeline.units import Flags, Floats, Ints

Masks = npt.NDArray[np.uint64]

DIRECTIONS = 60
_TURN = 2.0 * np.pi
_PAIRS_AT_ONCE = 8_192
# Room between the arcs of two groups on one line: more than a turn.
_APART = 2.0


@dataclass(frozen=True, slots=True)
class Arcs:
    """Arcs of groups, each inside one turn: 0 <= start <= end <= 1; each shape (arcs,)."""

    group: Ints
    start: Floats
    end: Floats


def cut(edges: Floats, reach_m: Floats) -> tuple[Flags, Floats, Floats]:
    """Edges within reach, and the arc that each fills: (met, start, width), shape (edges,).

    Parameters
    ----------
    edges : x and y of both ends, seen from the stem, shape (edges, 4) [m].
    reach_m : shape (edges,).

    Returns
    -------
    met : some of the edge lies within reach; start and width mean nothing elsewhere.
    start : turns, -0.5 to 0.5. width : turns, 0 to 0.5.
    """
    ax, ay, bx, by = edges.T
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    cross = ax * dy - ay * dx
    root = square * reach_m * reach_m - cross * cross
    met = root >= 0.0
    root = np.sqrt(np.where(met, root, 0.0))
    middle = -(ax * dx + ay * dy)
    scale = 1.0 / np.where(square > 0, square, 1.0)
    low = np.clip((middle - root) * scale, 0.0, 1.0)
    high = np.clip((middle + root) * scale, 0.0, 1.0)
    # A line of no length is met if it is near; one that ends before the circle is not.
    beyond = ((middle - root) > square) | ((middle + root) < 0.0)
    point = square == 0.0
    met &= np.where(point, ax * ax + ay * ay <= reach_m * reach_m, ~beyond)
    low, high = np.where(point, 0.0, low), np.where(point, 0.0, high)
    one = np.arctan2(ay + low * dy, ax + low * dx)
    other = np.arctan2(ay + high * dy, ax + high * dx)
    width = other - one
    width -= _TURN * np.rint(width / _TURN)
    start = np.where(width < 0, other, one)
    return met, start / _TURN, np.abs(width) / _TURN


@dataclass(frozen=True, slots=True)
class Meeting:
    """What lies between the stems and the targets of pairs.

    Parameters
    ----------
    distance_m : from the middle of the stem; 0 inside a target, infinite out of reach; (pairs,).
    arcs : directions in which the part meets its target; a group is a pair.
    """

    distance_m: Floats
    arcs: Arcs


def meeting(
    targets: Outlines, target: Ints, x_m: Floats, y_m: Floats, reach_m: Floats, stem_m: Floats
) -> Meeting:
    """Distance and arcs of each pair.

    A stem that stands in its target, or touches it, meets it whatever way it falls.

    Parameters
    ----------
    target, x_m, y_m, reach_m : each shape (pairs,).
    stem_m : radius of the stem, shape (pairs,).
    """
    distance = np.full(len(target), np.inf)
    pair, edges = edges_near(targets, target, x_m, y_m, reach_m)
    np.minimum.at(distance, pair, _distances(edges))
    distance[standing_in(targets, target, x_m, y_m)] = 0.0
    full = distance <= stem_m
    out = ~full[pair]
    pair, edges = pair[out], edges[out]
    met, start, width = cut(edges, reach_m[pair])
    arcs = within_a_turn(pair[met], start[met], width[met])
    every = np.flatnonzero(full)
    whole = Arcs(
        np.concatenate([arcs.group, every]),
        np.concatenate([arcs.start, np.zeros(len(every))]),
        np.concatenate([arcs.end, np.ones(len(every))]),
    )
    return Meeting(distance, whole)


def _distances(edges: Floats) -> Floats:
    """Distance of each edge from the stem that it is seen from, shape (edges,) [m]."""
    ax, ay, bx, by = edges.T
    dx, dy = bx - ax, by - ay
    square = dx * dx + dy * dy
    at = np.clip(-(ax * dx + ay * dy) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    return np.asarray(np.hypot(ax + at * dx, ay + at * dy), np.float64)


def within_a_turn(group: Ints, start: Floats, width: Floats) -> Arcs:
    """Arcs of at most one turn from any start, those past the end of the turn cut in two."""
    start = start - np.floor(start)
    end = start + np.minimum(width, 1.0)
    past = end > 1.0
    return Arcs(
        np.concatenate([group, group[past]]),
        np.concatenate([start, np.zeros(int(past.sum()))]),
        np.concatenate([np.minimum(end, 1.0), end[past] - 1.0]),
    )


def covered(arcs: Arcs, groups: int) -> Floats:
    """Length that the union of each group's arcs covers, 0 to 1; shape (groups,)."""
    start = arcs.start + _APART * arcs.group
    order = np.argsort(start, kind="stable")
    group, start = arcs.group[order], start[order]
    end = arcs.end[order] + _APART * group
    reached = np.maximum.accumulate(end)
    before = np.concatenate([[-1.0], reached[:-1]]) if len(end) else end
    new = np.maximum(end - np.maximum(start, before), 0.0)
    return np.clip(np.bincount(group, weights=new, minlength=groups), 0.0, 1.0)


def shares(arcs: Arcs, falls: FallDirections) -> Floats:
    """Probability that the fall goes into each group's arcs; shape (groups,).

    Parameters
    ----------
    falls : how likely each direction is, of each group.
    """
    weighed = Arcs(
        arcs.group,
        probability_up_to(arcs.start, arcs.group, falls),
        probability_up_to(arcs.end, arcs.group, falls),
    )
    return covered(weighed, len(falls.toward))


def direction_shares(
    targets: Outlines,
    target: Ints,
    places: tuple[Floats, Floats],
    reach_m: Floats,
    stem_m: Floats,
    *,
    falls: FallDirections,
) -> tuple[Floats, Floats]:
    """Distance [m] and exact share of the falls that meet its target of each pair; (pairs,).

    Parameters
    ----------
    places : x and y of the stem of each pair [m].
    stem_m : radius of the stem.
    """
    distance, share = np.zeros(len(target)), np.zeros(len(target))
    for first in range(0, len(target), _PAIRS_AT_ONCE):
        at = slice(first, first + _PAIRS_AT_ONCE)
        x, y = places[0][at], places[1][at]
        met = meeting(targets, target[at], x, y, reach_m[at], stem_m[at])
        distance[at] = np.minimum(met.distance_m, reach_m[at])
        share[at] = shares(met.arcs, FallDirections(falls.toward[at], falls.resultant[at]))
    return distance, share


def masks(targets: Outlines, target: Ints, x_m: Floats, y_m: Floats, reach_m: Floats) -> Masks:
    """The screening pass: a bit for each of 60 directions that meets the target, shape (pairs,).

    A target within reach that lies between two directions gets the bit next to it, so that none
    is lost. All directions count alike.
    """
    inside = standing_in(targets, target, x_m, y_m)
    pair, edges = edges_near(targets, target, x_m, y_m, reach_m)
    met, start, width = cut(edges, reach_m[pair])
    bits = np.zeros(len(target), np.uint64)
    near, from_turn, wide = pair[met], start[met], width[met]
    first = np.ceil(from_turn * DIRECTIONS - 0.5)
    last = np.floor((from_turn + wide) * DIRECTIONS - 0.5)
    empty = last < first
    beside = np.rint((from_turn + wide / 2.0) * DIRECTIONS - 0.5)
    each = _run(np.where(empty, beside, first), np.where(empty, 1.0, last - first + 1.0))
    full, loose = np.where(empty, np.uint64(0), each), np.where(empty, each, np.uint64(0))
    if len(near):
        new = np.flatnonzero(np.concatenate([[True], near[1:] != near[:-1]]))
        found, maybe = np.bitwise_or.reduceat(full, new), np.bitwise_or.reduceat(loose, new)
        lowest = maybe & (~maybe + np.uint64(1))
        bits[near[new]] = np.where(found > 0, found, lowest)
    bits[inside] = _EVERY
    return bits


_EVERY = np.uint64((1 << DIRECTIONS) - 1)


def _run(first: Floats, count: Floats) -> Masks:
    """`count` bits from the bit `first` on, round the circle."""
    at = (first.astype(np.int64) % DIRECTIONS).astype(np.uint64)
    ones = (np.uint64(1) << count.astype(np.uint64)) - np.uint64(1)
    return ((ones << at) | (ones >> (np.uint64(DIRECTIONS) - at))) & _EVERY


def mask_shares(bits: Masks) -> Floats:
    """Share of the 60 directions that a mask holds; same shape."""
    return np.bitwise_count(bits) / float(DIRECTIONS)
