"""The rank of each tree by expected harm, and how far that rank is not known; nothing is drawn.

The rank of a tree is one more than the number of trees that do more harm. Given its own harm h
that number is a sum over the others, each above h with its own probability; for many trees it is
spread normally, with mean and variance that are tabulated over ln h once for all.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from pipeline.units import Floats, Ints

_GRID, _NODES, _STEPS, _BATCH, _REACH = 2**8, 2**4, 2 * 10, 2**12, 4


@dataclass(frozen=True)
class Ranks:
    """Rank by expected harm, 1 is the most, and its 10 and 90 %; each shape (trees,)."""

    rank: Ints
    low: Ints
    high: Ints


def ranks(harm: Floats, mean: Floats, sd: Floats) -> Ranks:
    """Ranks of trees; equal harm shares the best rank.

    Parameters
    ----------
    harm : expected, which gives the rank itself.
    mean, sd : of ln harm, where trees differ; what is common to all moves no rank.
    """
    n = len(harm)
    if not n:
        none = np.zeros(0, np.int64)
        return Ranks(none, none, none)
    falling = np.sort(-harm)
    rank = 1 + np.searchsorted(falling, -harm, side="left").astype(np.int64)
    sd = np.maximum(sd, np.finfo(np.float64).eps)
    grid = np.linspace((mean - _REACH * sd).min(), (mean + _REACH * sd).max(), _GRID)
    above, scatter = np.zeros(_GRID), np.zeros(_GRID)
    for start in range(0, n, _BATCH):
        some = slice(start, start + _BATCH)
        p = ndtr((mean[some, None] - grid) / sd[some, None])
        above += p.sum(axis=0)
        scatter += (p * (1.0 - p)).sum(axis=0)
    normal = ndtri((np.arange(_NODES) + 0.5) / _NODES)
    at = mean[:, None] + sd[:, None] * normal
    # The tree itself is one of those counted: it is above its own harm with its own probability.
    own = ndtr(-normal)
    more = np.maximum(np.interp(at, grid, above) - own, 0.0)
    off = np.sqrt(np.maximum(np.interp(at, grid, scatter) - own * (1.0 - own), 0.0))
    tenth = 1.0 / 10
    low, high = (_level(more, off, level, n) for level in (tenth, 1.0 - tenth))
    return Ranks(rank, np.minimum(low, rank), np.maximum(high, rank))


def _level(more: Floats, off: Floats, level: float, n: int) -> Ints:
    """The least rank that holds with this probability, shape (trees,)."""
    low, high = np.zeros(len(more)), np.full(len(more), float(n))
    spread = np.maximum(off, np.finfo(np.float64).eps)
    for _ in range(_STEPS):
        at = (low + high) / 2.0
        below = ndtr((at[:, None] - more) / spread).mean(axis=1) < level
        low, high = np.where(below, at, low), np.where(below, high, at)
    # A count between two whole numbers is the nearer one.
    rank = 1 + np.rint((low + high) / 2.0).astype(np.int64)
    return np.asarray(np.clip(rank, 1, n), np.int64)
