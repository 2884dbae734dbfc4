"""Which trees a sighting with a place may sit on, and with what weight: pure arithmetic on arrays.

This module owns the distances and their errors. It knows nothing of fungi or hosts: scoring
multiplies its weights with the hosts' compatibility.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.units import Flags, Floats, Ints

# A stated accuracy is the radius that holds as much of a round normal error as one standard
# deviation holds of a straight one: erf(1/sqrt 2) = 0.6827; radius / sigma = 1.515.
_HELD = math.erf(1 / math.sqrt(2))
ACCURACY_PER_SIGMA = math.sqrt(-2 * math.log(1 - _HELD))
REACH_IN_ACCURACIES = 3.0
# A radius of 99 in 100: a told tree farther off than that is called a disagreement.
_DISAGREE_IN_SIGMAS = math.sqrt(-2 * math.log(0.01))
# Coordinates are written to a centimetre at best; keeps a claimed perfection from dividing by zero.
_LEAST_SIGMA_M = 0.01
# Bounds memory, and keeps what is computed at once in the processor's cache.
_PAIRS_AT_ONCE = 1 << 17
# Small cells hold fewer trees in vain, and ask for more runs.
_CELLS_PER_CAP = 2
# Trees far from all sightings are left out before sorting, unless the cells are too many to hold.
_CELLS_PER_TREE = 64

Codes = npt.NDArray[np.int8]

MATCHED, NO_PLACE, ACCURACY_UNKNOWN, ACCURACY_BEYOND_CAP, NO_TREE_NEAR = range(5)
REASONS = ("", "no_place", "accuracy_unknown", "accuracy_beyond_cap", "no_tree_near")


@dataclass(frozen=True, slots=True)
class Candidates:
    """Candidate trees of n sightings.

    Parameters
    ----------
    sighting, tree, distance_m, weight : flat arrays, one entry a candidate, ordered by sighting
        then tree; tree -1 (a tree that is not in the inventory, distance NaN) comes first. Weights
        of a sighting sum to one.
    best_tree, best_weight : of the listed trees, shape (n,); -1 and 0 where there is no candidate.
        Equal weights: the lowest tree index.
    reason : index into REASONS, shape (n,); 0 where there are candidates.
    """

    sighting: Ints
    tree: Ints
    distance_m: Floats
    weight: Floats
    best_tree: Ints
    best_weight: Floats
    reason: Codes


def sigma_m(accuracy_m: Floats, *, inventory_error_m: float) -> Floats:
    """Combined standard deviation per axis of sighting and tree place [m], same shape.

    Parameters
    ----------
    accuracy_m : 68 % radius of the sightings [m]; NaN stays NaN.
    inventory_error_m : 68 % radius of the trees' own places [m].
    """
    combined = np.hypot(np.asarray(accuracy_m, dtype=np.float64), inventory_error_m)
    return np.maximum(combined / ACCURACY_PER_SIGMA, _LEAST_SIGMA_M)


def candidates(
    sighting_xy: Floats,
    accuracy_m: Floats,
    tree_xy: Floats,
    *,
    cap_m: float,
    inventory_error_m: float,
    unlisted_per_listed: float,
) -> Candidates:
    """Candidate trees of each sighting and the probability of each by distance alone.

    Parameters
    ----------
    sighting_xy : places, shape (n, 2) [m]; NaN where there is none.
    accuracy_m : 68 % radius, shape (n,) [m]; NaN is unknown, and names no candidate.
    tree_xy : places of the trees, shape (t, 2) [m], all finite.
    cap_m : no candidate is farther than this; a sighting less accurate than it has none.
    inventory_error_m : 68 % radius of the trees' own places [m].
    unlisted_per_listed : trees that the inventory lacks, per listed one within the cap.

    Raises
    ------
    ValueError
        If shapes do not fit, or a tree has no place.

    Notes
    -----
    With accuracy a, inventory error e and k = 1.515 (68 % radius over sigma), the variance per
    axis is s^2 = (a^2 + e^2) / k^2. Trees within r = min(cap, 3 sqrt(a^2 + e^2)) are candidates.
    A listed tree at distance d has f(d) = exp(-d^2 / 2 s^2) / (2 pi s^2). With N listed trees
    within the cap, there are U = max(1, u N) unlisted ones, each anywhere in the disc of the cap
    with equal chance, so together they have
        f0 = U / (pi cap^2) * (1 - exp(-cap^2 / 2 s^2)),
    the mean of f over the disc times U. Each weight is its f over the sum of f and f0.
    """
    places, accuracy, trees = _checked(sighting_xy, accuracy_m, tree_xy)
    reason = _reasons(places, accuracy, cap_m)
    usable = np.flatnonzero(reason == MATCHED)
    sigma = sigma_m(accuracy[usable], inventory_error_m=inventory_error_m)
    reach = np.minimum(cap_m, REACH_IN_ACCURACIES * ACCURACY_PER_SIGMA * sigma)
    near, tree, distance, listed = _pairs(places[usable], reach, trees, cap_m)

    lonely = np.bincount(near, minlength=len(usable)) == 0
    reason[usable[lonely]] = NO_TREE_NEAR
    density = np.exp(-0.5 * (distance / sigma[near]) ** 2) / (2 * math.pi * sigma[near] ** 2)
    unlisted = _unlisted(sigma, np.maximum(1.0, unlisted_per_listed * listed), cap_m)
    total = unlisted + np.bincount(near, weights=density, minlength=len(usable))
    some = np.flatnonzero(~lonely)
    where = np.concatenate([some, near])
    which = np.concatenate([np.full(len(some), -1, dtype=np.int64), tree])
    weight = np.concatenate([unlisted[some], density]) / total[where]
    apart = np.concatenate([np.full(len(some), np.nan), distance])
    order = np.argsort(where * (len(trees) + 1) + which)
    sighting, which, weight = usable[where[order]], which[order], weight[order]
    best = _best(len(places), sighting, which, weight)
    return Candidates(sighting, which, apart[order], weight, *best, reason)


def disagree(
    distance_m: Floats, accuracy_m: Floats, *, inventory_error_m: float
) -> tuple[Flags, Floats]:
    """Where the told tree lies farther from the told place than the errors allow.

    Parameters
    ----------
    distance_m : from the told place to the told tree [m]; NaN where one of them is missing.
    accuracy_m : 68 % radius of the place [m]; unknown (NaN) never disagrees.
    inventory_error_m : 68 % radius of the trees' own places [m].

    Returns
    -------
    Flags, and the distance that the errors allow [m] (NaN where unknown), same shape: the radius
    that holds the true distance in 99 of 100 cases, sqrt(-2 ln 0.01) = 3.03 combined sigma.
    """
    allowed = _DISAGREE_IN_SIGMAS * sigma_m(accuracy_m, inventory_error_m=inventory_error_m)
    return np.asarray(distance_m, dtype=np.float64) > allowed, allowed


def _checked(
    sighting_xy: Floats, accuracy_m: Floats, tree_xy: Floats
) -> tuple[Floats, Floats, Floats]:
    places = np.asarray(sighting_xy, dtype=np.float64).reshape(-1, 2)
    accuracy = np.asarray(accuracy_m, dtype=np.float64)
    trees = np.asarray(tree_xy, dtype=np.float64).reshape(-1, 2)
    if accuracy.shape != (len(places),):
        message = f"accuracy_m has shape {accuracy.shape}, sighting_xy {places.shape}"
        raise ValueError(message)
    if not np.isfinite(trees).all():
        message = "tree_xy holds a place that is not finite"
        raise ValueError(message)
    return places, accuracy, trees


def _reasons(places: Floats, accuracy: Floats, cap_m: float) -> Codes:
    """Why a sighting has no candidates, before any tree is looked at; the place comes first."""
    reason = np.full(len(places), MATCHED, dtype=np.int8)
    reason[accuracy > cap_m] = ACCURACY_BEYOND_CAP
    reason[~np.isfinite(accuracy) | (accuracy < 0)] = ACCURACY_UNKNOWN
    reason[~np.isfinite(places).all(axis=1)] = NO_PLACE
    return reason


def _pairs(
    places: Floats, reach: Floats, trees: Floats, cap_m: float
) -> tuple[Ints, Ints, Floats, Ints]:
    """Pairs within each sighting's own reach, and the listed trees within the cap of each.

    Trees are put in the order of square cells, numbered along columns: all that can be within the
    cap of a place are then a few runs of that order, one a column.
    """
    listed = np.zeros(len(places), dtype=np.int64)
    found = [(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0))]
    if not len(places) or not len(trees):
        return *found[0], listed
    in_order, first, length, by_cell = _runs(places, trees, cap_m)
    tree_x, tree_y = trees[in_order].T
    # Many trees on one point must not make one huge block of pairs.
    part = np.cumsum(length.sum(axis=1)[by_cell]) // _PAIRS_AT_ONCE
    for block in np.split(by_cell, np.flatnonzero(np.diff(part)) + 1):
        runs = length[block].ravel()
        at = np.repeat(first[block].ravel() - np.cumsum(runs) + runs, runs)
        at += np.arange(len(at))
        own = np.repeat(np.arange(len(block)), length[block].sum(axis=1))
        apart = np.square(tree_x[at] - places[block, 0][own])
        apart += np.square(tree_y[at] - places[block, 1][own])
        within = np.flatnonzero(apart <= cap_m**2)
        own = own[within]
        listed[block] = np.bincount(own, minlength=len(block))
        distance = np.sqrt(apart[within])
        inside = np.flatnonzero(distance <= reach[block][own])
        found.append((block[own[inside]], in_order[at[within[inside]]], distance[inside]))
    sighting, tree, distance = (np.concatenate(column) for column in zip(*found, strict=True))
    return sighting, tree, distance, listed


def _runs(places: Floats, trees: Floats, cap_m: float) -> tuple[Ints, Ints, Ints, Ints]:
    """Trees near any place in the order of their cells, and the runs of each place among them.

    Returns
    -------
    Trees in that order; first and length of the runs, shape (places, runs); and the places in the
    order of their cells, so that what is read after one another lies together.
    """
    side, around = cap_m / _CELLS_PER_CAP, np.arange(-_CELLS_PER_CAP, _CELLS_PER_CAP + 1)
    origin = places.min(axis=0)
    size = np.floor((places.max(axis=0) - origin) / side) + 2 * _CELLS_PER_CAP + 1
    column, row = (np.floor((places - origin) / side) + _CELLS_PER_CAP).T
    tree_column, tree_row = (np.floor((trees - origin) / side) + _CELLS_PER_CAP).T
    kept = np.flatnonzero(
        (tree_column >= 0) & (tree_column < size[0]) & (tree_row >= 0) & (tree_row < size[1])
    )
    cell = (tree_column[kept] * size[1] + tree_row[kept]).astype(np.int64)
    own = (column * size[1] + row).astype(np.int64)
    by_cell = np.argsort(own, kind="stable")
    cells, of_cell = np.unique(own, return_inverse=True)
    low = cells[:, None] + around * np.int64(size[1]) - _CELLS_PER_CAP
    if size.prod() <= _CELLS_PER_TREE * len(kept):
        wanted = np.zeros(int(size.prod()) + 1, np.bool_)
        for up in range(2 * _CELLS_PER_CAP + 1):
            wanted[low + up] = True
        near = np.flatnonzero(wanted[cell])
        kept, cell = kept[near], cell[near]
    order = np.argsort(cell, kind="stable")
    cell = cell[order]
    first = np.searchsorted(cell, low)
    length = np.searchsorted(cell, low + 2 * _CELLS_PER_CAP, side="right") - first
    return kept[order], first[of_cell], length[of_cell], by_cell


def _unlisted(sigma: Floats, trees: Floats, cap_m: float) -> Floats:
    """Density at the told place of that many trees spread evenly over the disc of the cap."""
    inside = -np.expm1(-0.5 * (cap_m / sigma) ** 2)
    return np.asarray(trees / (math.pi * cap_m**2) * inside, dtype=np.float64)


def _best(count: int, sighting: Ints, tree: Ints, weight: Floats) -> tuple[Ints, Floats]:
    """The best listed tree of each sighting and its weight, shape (count,); rows are in order."""
    best_tree, best_weight = np.full(count, -1, dtype=np.int64), np.zeros(count)
    if not len(sighting):
        return best_tree, best_weight
    # Every sighting has the unlisted tree first and then at least one that is listed.
    starts = np.flatnonzero(tree < 0)
    listed = np.where(tree < 0, -1.0, weight)
    top = np.maximum.reduceat(listed, starts)
    at = np.flatnonzero(listed == np.repeat(top, np.diff(np.append(starts, len(tree)))))
    first = np.ones(len(at), np.bool_)
    first[1:] = sighting[at[1:]] != sighting[at[:-1]]
    at = at[first]
    best_tree[sighting[at]], best_weight[sighting[at]] = tree[at], weight[at]
    return best_tree, best_weight
