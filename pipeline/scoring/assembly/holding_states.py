"""Chances of parts over every state of decay that they may be in; what is alike is reckoned once.

A city writes stem diameters in whole units and leaves heights to the curve, so many trees bear the
same wind by the same stem: their chances in each state are the same to the last digit, and only
the weights of the states are their own.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import product

import numpy as np

from pipeline.scoring.assembly.wind_load import Chances
from pipeline.scoring.assembly.wood import Wood
from pipeline.scoring.decay.anchorage import anchorage_kept
from pipeline.scoring.decay.instruments import ROTS
from pipeline.scoring.decay.residual import strength_kept
from pipeline.scoring.mechanics.lookup import SoundParts, state_chances, summarise
from pipeline.scoring.parameters import Parameters
from pipeline.units import Flags, Floats, Ints

YEAR, YEARS = 1.0, 3.0
_BATCH, _THREADS = 512, 2
ROT_OF = np.arange(1, len(ROTS) + 1, dtype=np.int8)  # terms.RotType of each of ROTS


@dataclass(frozen=True)
class Rows:
    """Roots, butts and stems that are computed, each shape (rows,)."""

    at: Ints
    place: Ints
    roots: Flags
    dead: Flags
    stood: Floats
    parts: SoundParts
    spread: Floats


def over_states(
    rows: Rows,
    wood: Wood,
    load: Ints,
    loads: Callable[[int], Floats],
    chances: Chances,
    parameters: Parameters,
) -> Floats:
    """Mean, band, three years and words of rows, shape (rows, 9).

    Parameters
    ----------
    load : kind of the load of each row, shape (rows,); `loads` gives that of its two seasons.
    """
    alike = alike_rows(rows, wood, load)
    first, same = _the_same(rows, wood, alike)
    first = first[np.argsort(alike[first], kind="stable")]
    found = np.empty((len(rows.at), 9))

    def told(some: Ints) -> Floats:
        return _batch(take(rows, some), wood, load[some], alike[some], (loads, chances, parameters))

    batches = [first[start : start + _BATCH] for start in range(0, len(first), _BATCH)]
    with ThreadPoolExecutor(_THREADS) as pool:
        for some, numbers in zip(batches, pool.map(told, batches), strict=True):
            found[some] = numbers
    return found[same]


def alike_rows(rows: Rows, wood: Wood, load: Ints) -> Ints:
    """A number for each row; those with the same have the same chances, state by state, (rows,)."""
    at = rows.at
    rotting = np.zeros((len(wood.tree), len(ROTS)), np.bool_)
    rotting[:, 0] = True
    rotting[wood.evidence] = (wood.by_rot > 0).any(axis=2)
    offset = np.where(np.isnan(wood.offset[at]), -1.0, wood.offset[at])
    keys = np.column_stack([
        rows.spread, rows.stood, load, rows.roots, wood.opening[at], offset, rotting[at],
        wood.told.rotten[at], wood.told.cut[at], rows.parts.capacity, rows.parts.ln_profile,
    ])  # fmt: skip
    _, which = np.unique(keys, axis=0, return_inverse=True)
    return np.asarray(which.reshape(-1), np.int64)


def _the_same(rows: Rows, wood: Wood, alike: Ints) -> tuple[Ints, Ints]:
    """Rows that are reckoned, and for each row the one of these that stands for it, (rows,).

    Rows of which nothing is told share their weights too, where they are of trees of one size,
    host and condition.
    """
    same = np.arange(len(rows.at))
    untold = np.flatnonzero(~np.isin(rows.at, wood.evidence))
    masses = np.ascontiguousarray(wood.masses[rows.at[untold]])
    whole = masses.view(np.dtype((np.void, masses.shape[1] * masses.itemsize))).reshape(-1)
    _, weights = np.unique(whole, return_inverse=True)
    pair = alike[untold] * (len(untold) + 1) + weights.reshape(-1)
    _, first, which = np.unique(pair, return_index=True, return_inverse=True)
    same[untold] = untold[first][which.reshape(-1)]
    return np.flatnonzero(same == np.arange(len(same))), same


By = tuple[Callable[[int], Floats], Chances, Parameters]


def _batch(rows: Rows, wood: Wood, load: Ints, alike: Ints, by: By) -> Floats:
    """`over_states` of a few rows, from the chances of each kind of row once."""
    p, weights, which = state_kinds(rows, wood, load, alike, by)
    return _summarised(p, weights, which, by[2].mechanics.limits.yearly)


def state_kinds(
    rows: Rows, wood: Wood, load: Ints, alike: Ints, by: By
) -> tuple[Floats, Floats, Ints]:
    """Chances in one and three years in every state, of each kind of row; see `_summarised`."""
    loads, chances, parameters = by
    grid, wind = parameters.decay.law.grid, parameters.mechanics.wind
    weights = weights_of(rows.at, wood)
    _, one, which = np.unique(alike, return_index=True, return_inverse=True)
    p = np.zeros((2, len(one), *weights.shape[1:]))
    own = (wood.opening[rows.at[one]] > 0) | ~np.isnan(wood.offset[rows.at[one]])
    rotting: Flags = np.any(weights[one] > 0, axis=2)
    kinds = np.column_stack([rows.spread, rows.stood, load, rows.roots])[one]
    several, kind_of = np.unique(kinds, axis=0, return_inverse=True)
    for number, (spread, stood, kind, roots) in enumerate(several):
        mine = kind_of.reshape(-1) == number
        # Sections of the common shape share what they keep; the others are reckoned one by one.
        for rot, shape in product(range(len(ROTS)), (~own, own)):
            some = np.flatnonzero(mine & shape & rotting[:, rot])
            if not some.size:
                continue
            kept, zones = _kept(rows.at[one[some]], wood, rot, grid.x, parameters, roots=roots > 0)
            parts = take(rows, one[some]).parts
            for years, into in ((YEAR, p[0]), (YEARS, p[1])):
                seasons = chances.seasons(float(spread), float(stood), years)
                into[some, rot] = state_chances(
                    seasons, loads(int(kind)), parts, np.log(kept), zones, wind
                )
    return p, weights, which.reshape(-1)


def _summarised(p: Floats, weights: Floats, which: Ints, limits: Floats) -> Floats:
    """Numbers of rows, (rows, 9).

    Parameters
    ----------
    p : chances in one and in three years, shape (2, kinds of rows, rots, cells).
    weights : of rots and states, (rows, rots, cells); `which` kind of row each is, (rows,).
    """
    # With one rot the states lie in order of decay, and more decay never fails less often.
    one_rot = (weights[:, 1:] == 0).all(axis=(1, 2))
    out = np.empty((len(weights), 9))
    only, rest = np.flatnonzero(one_rot), np.flatnonzero(~one_rot)
    each = np.broadcast_to(np.arange(p.shape[3]), (len(only), p.shape[3]))
    year, years = p[:, which[only], 0]
    out[only] = summed(year, years, weights[only, 0], each, limits)
    flat = p.reshape(2, p.shape[1], -1)
    kinds, of = np.unique(which[rest], return_inverse=True)
    order = np.argsort(flat[0, kinds], axis=1, kind="stable")[of.reshape(-1)]
    year, years = flat[:, which[rest]]
    out[rest] = summed(year, years, weights[rest].reshape(len(rest), flat.shape[2]), order, limits)
    return out


def take(rows: Rows, which: Ints) -> Rows:
    """Some of the rows."""
    p = rows.parts
    return Rows(
        rows.at[which], rows.place[which], rows.roots[which], rows.dead[which], rows.stood[which],
        SoundParts(p.capacity[which], p.ln_profile[which], p.ln_speed[which]), rows.spread[which],
    )  # fmt: skip


def summed(year: Floats, years: Floats, weights: Floats, order: Ints, limits: Floats) -> Floats:
    """Numbers of rows, shape (rows, 9), that share chances of states, or have their own.

    Parameters
    ----------
    year, years : chance of each state in one and in three years, (states,) or (rows, states).
    order : of the states by rising chance in a year, likewise.
    weights : of the states, (rows, states).
    """
    if order.ndim == 1:
        p, w = np.broadcast_to(year[order], weights.shape), weights[:, order]
    else:
        p, w = (np.take_along_axis(values, order, axis=1) for values in (year, weights))
    told = summarise(p, w, limits)
    in_three = np.minimum((years * weights).sum(axis=1), 1.0)
    return np.column_stack([told.mean, told.low, told.median, told.high, in_three, told.words])


def weights_of(at: Ints, wood: Wood) -> Floats:
    """Weights of rots and states of rows of `Wood`, (rows, rots, cells); the prior's is white."""
    found = np.zeros((len(at), len(ROTS), wood.masses.shape[1]))
    found[:, 0] = wood.masses[at]
    place = np.searchsorted(wood.evidence, at)
    place = np.minimum(place, max(len(wood.evidence) - 1, 0))
    own = np.isin(at, wood.evidence)
    found[own] = wood.by_rot[place[own]]
    return np.asarray(found / found.sum(axis=(1, 2), keepdims=True))


def _kept(
    at: Ints, wood: Wood, rot: int, x: Floats, parameters: Parameters, *, roots: bool
) -> tuple[Floats, Floats]:
    """Strength kept in each state, (rows or 1, cells, zones), and the weights of the zones."""
    mechanics = parameters.mechanics
    if roots:
        kept = anchorage_kept(roots_lost(at, wood, x[None]), mechanics.anchorage)
        return kept[..., None], np.ones(1)
    zone = mechanics.zone
    opening, offset = wood.opening[at], wood.offset[at]
    if (opening == 0).all() and np.isnan(offset).all():
        return strength_kept(x, ROT_OF[rot], zone)[None], zone.weights
    told = np.where(np.isnan(offset), zone.eccentricity, offset)[:, None]
    kept = strength_kept(
        np.broadcast_to(x, (len(at), len(x))), ROT_OF[rot], zone,
        opening=np.broadcast_to(opening[:, None], (len(at), len(x))),
        offset=np.broadcast_to(told, (len(at), len(x))),
    )  # fmt: skip
    # More decay never strengthens: a cut through the wall of a sound section is told as its own.
    return np.minimum.accumulate(kept, axis=1), zone.weights


def roots_lost(at: Ints, wood: Wood, share: Floats) -> Floats:
    """Share of the roots lost where a share is decayed: no less than was seen, and what is cut."""
    rotten, cut = wood.told.rotten[at][:, None], wood.told.cut[at][:, None]
    return 1.0 - (1.0 - np.maximum(share, rotten)) * (1.0 - cut)
