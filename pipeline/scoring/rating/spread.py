r"""How far the expected harm of a tree is not known, and how probable each rating word is.

    ln harm = ln( sum over parts of  p(state of decay) x harm if the part fails )   extent, fungus
              + what is not known of wind and strength                              wind
              + what is not known of how often somebody is there                    occupancy

The states of decay are worked through in few nodes of equal probability, all parts of a tree at the
same node: where one part is more rotten than thought, so are the others. The other two are spread
normally on the logarithm, with mean 1. Nothing is drawn at random.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from pipeline.errors import PublishedValueError
from pipeline.units import Floats, Ints, Words

NODES = 10
_STEPS = 12 + 12
_LEAST = float(np.finfo(np.float64).tiny)
# Spreads and variances below this are rounding.
_TINY = float(np.finfo(np.float64).eps)


@dataclass(frozen=True)
class RatingSpread:
    """From config/published/rating_spread.csv and the ranges of occupancy_limits.csv.

    Parameters
    ----------
    wind_own, wind_common : sd of the logarithm of the chance, of the tree and of the whole run.
    occupancy : sd of the logarithm of the occupied share by source, in the order of SOURCES and
        then for a word, rare to constant, and for nothing known, shape (len(SOURCES) + 5,).
    another_higher, another_lower : chance that another assessor's word is worse or better.
    """

    wind_own: float
    wind_common: float
    occupancy: Floats
    another_higher: float
    another_lower: float

    def __post_init__(self) -> None:
        """Refuse what is no spread.

        Raises
        ------
        PublishedValueError
            If a spread is below 0, or the chances of other words pass 1.
        """
        spreads = (self.wind_own, self.wind_common, *self.occupancy)
        other = (self.another_higher, self.another_lower)
        if not (min(spreads) >= 0 and min(other) >= 0 and sum(other) <= 1):
            raise PublishedValueError(
                where="published table rating_spread",
                found=f"spreads from {min(spreads):g}, other words in {sum(other):g}",
                expected="factors of 1 or more, and shares that together stay within 1",
                remedy="Mend the table or the override.",
            )

    @property
    def wind(self) -> float:
        """Sd of the logarithm of a computed chance, own and common together."""
        return float(np.hypot(self.wind_own, self.wind_common))

    @property
    def either_way(self) -> float:
        """Factor either way within which a computed chance lies in 8 of 10 cases."""
        return factor_of_sd(self.wind)


SOURCES = ("static", "counted", "street_class", "assumed")


def sd_of_factor(factor: Floats) -> Floats:
    """Sd of a logarithm whose 80 % range is a factor either way, same shape."""
    upper = 9 / 10
    return np.asarray(np.log(factor) / float(ndtri(upper)), np.float64)


def factor_of_sd(sd: float) -> float:
    """Factor either way that holds 80 % of a normal spread of the logarithm."""
    upper = 9 / 10
    return float(np.exp(sd * ndtri(upper)))


def nodes_of(known: tuple[Floats, Floats, Floats, Floats], words: Floats, limits: Floats) -> Floats:
    """Chances at the middles of `NODES` parts of equal probability, rising, shape (n, NODES).

    Parameters
    ----------
    known : 10, 50 and 90 % of the chance over the states of decay, and its mean, each (n,).
    words : share of the states in each word's band, (n, 4), which `limits` part, (3,).

    The logarithm of the chance is interpolated between what is known of its distribution; the
    highest node is what makes the mean right, but for a chance above 1.
    """
    low, median, high, mean = known
    n = len(mean)
    at = np.maximum(np.stack([low, median, high, *np.broadcast_to(limits[:, None], (3, n))], 1),
                    _LEAST)  # fmt: skip
    tenth = 1.0 / 10
    below = np.cumsum(words[:, :3], axis=1)
    level = np.concatenate([np.broadcast_to([tenth, 0.5, 1.0 - tenth], (n, 3)), below], axis=1)
    # A limit that all states or none pass tells nothing: the median stands for it.
    nothing = (level <= 0) | (level >= 1.0)
    level, at = np.where(nothing, 0.5, level), np.where(nothing, at[:, 1:2], at)
    order = np.argsort(level, axis=1, kind="stable")
    level = np.take_along_axis(level, order, axis=1)
    value = np.maximum.accumulate(np.take_along_axis(np.log(at), order, axis=1), axis=1)
    wanted = (np.arange(NODES) + 0.5) / NODES
    place = (level[:, None, :] <= wanted[None, :, None]).sum(axis=2)
    above, under = np.minimum(place, level.shape[1] - 1), np.maximum(place - 1, 0)
    x0, x1 = (np.take_along_axis(level, i, axis=1) for i in (under, above))
    y0, y1 = (np.take_along_axis(value, i, axis=1) for i in (under, above))
    part = np.clip((wanted - x0) / np.where(x1 > x0, x1 - x0, 1.0), 0.0, 1.0)
    found = np.exp(y0 + (y1 - y0) * np.where(x1 > x0, part, 0.0))
    last = NODES * mean - found[:, :-1].sum(axis=1)
    found[:, -1] = np.clip(last, found[:, -2], 1.0)
    # Where the rest alone passes the mean, all are lowered to it.
    over = np.minimum(mean / np.maximum(found.mean(axis=1), _LEAST), 1.0)
    return np.asarray(found * over[:, None])


@dataclass(frozen=True)
class HarmSpread:
    """What is not known of ln harm, each shape (trees,).

    Parameters
    ----------
    low, high : 10 and 90 % of the expected harm.
    mean, sd : of the logarithm.
    extent, wind, occupancy : variances of the logarithm; that of extent holds the fungus too.
    own : sd of the logarithm without what is common to all trees of a run.
    """

    low: Floats
    high: Floats
    mean: Floats
    sd: Floats
    extent: Floats
    wind: Floats
    occupancy: Floats
    own: Floats


def harm_spread(at_nodes: Floats, *, wind: Floats, common: Floats, occupancy: Floats) -> HarmSpread:
    """Spread of the harm of trees.

    Parameters
    ----------
    at_nodes : harm of each tree at each node of its states of decay, rising, (trees, NODES).
    wind, common, occupancy : sd of the logarithm; `common` is the part of wind that all share.
    """
    ln = np.log(np.maximum(at_nodes, np.finfo(np.float64).tiny))
    extent = ln.var(axis=1)
    sd = np.hypot(wind, occupancy)
    # Both factors have mean 1, so that the mean harm is what is printed.
    middle = ln - (sd**2 / 2.0)[:, None]
    tenth = 1.0 / 10
    low, high = (np.exp(_quantile(middle, sd, level)) for level in (tenth, 1.0 - tenth))
    whole = extent + sd**2
    return HarmSpread(
        low=low,
        high=high,
        mean=middle.mean(axis=1),
        sd=np.sqrt(whole),
        extent=extent,
        wind=np.asarray(wind**2, np.float64),
        occupancy=np.asarray(occupancy**2, np.float64),
        own=np.sqrt(np.maximum(whole - common**2, 0.0)),
    )


def _quantile(middle: Floats, sd: Floats, level: float) -> Floats:
    """Quantile of a mixture of normals of one sd, by halving, shape (trees,)."""
    far = 8
    low, high = middle.min(axis=1) - far * sd, middle.max(axis=1) + far * sd
    spread = np.maximum(sd, _TINY)[:, None]
    for _ in range(_STEPS):
        at = (low + high) / 2.0
        below = ndtr((at[:, None] - middle) / spread).mean(axis=1) < level
        low, high = np.where(below, at, low), np.where(below, high, at)
    return np.asarray((low + high) / 2.0)


def shares(*variances: Floats) -> Floats:
    """Share of each in their sum, 0 where nothing is unknown; shape (trees, variances)."""
    each = np.stack(variances, axis=1)
    whole = each.sum(axis=1, keepdims=True)
    return np.asarray(np.divide(each, whole, out=np.zeros_like(each), where=whole > _TINY))


def between(weight: Floats, mean: Floats, group: Ints, groups: int) -> Floats:
    """Variance of the means of the kinds of each group, weighed, shape (groups,).

    Parameters
    ----------
    weight, mean : of each kind, shape (kinds,); group : to which it belongs.
    """
    whole = np.bincount(group, weights=weight, minlength=groups)
    first = np.bincount(group, weights=weight * mean, minlength=groups)
    middle = np.divide(first, whole, out=np.zeros(groups), where=whole > 0)
    off = weight * (mean - middle[group]) ** 2
    second = np.bincount(group, weights=off, minlength=groups)
    return np.asarray(np.divide(second, whole, out=np.zeros(groups), where=whole > 0))


def at_least_by_chance(chances: Floats, sd: Floats, limits: Floats) -> Floats:
    """Probability that a part is at least possible, probable, imminent, shape (n, 3).

    Parameters
    ----------
    chances : at the nodes of its states of decay, (n, NODES).
    sd : of the logarithm by wind and strength, (n,); the factor has mean 1.
    limits : yearly chances from which each word holds, (3,).
    """
    ln = np.log(np.maximum(chances, _LEAST)) - (sd**2 / 2.0)[:, None]
    over = (ln[:, :, None] - np.log(limits)) / np.maximum(sd, _TINY)[:, None, None]
    return np.asarray(ndtr(over).mean(axis=1))


def at_least_by_eye(word: Words, spread: RatingSpread) -> Floats:
    """The same of the word of an assessor; 0 where none spoke, shape (n, 3)."""
    w, each = word.astype(np.int64)[:, None], np.arange(2, 5)
    found = np.select(
        [w == 0, each < w, each == w, each == w + 1],
        [0.0, 1.0, 1.0 - spread.another_lower, spread.another_higher],
        0.0,
    )
    return np.asarray(found, np.float64)


def words_at(at_least: Floats, levels: Floats) -> Words:
    """Failure word at each level from best to worst, shape (n, levels)."""
    over = at_least[:, None, :] > 1.0 - levels[None, :, None]
    words: Words = (1 + over.sum(axis=2)).astype(np.int8)
    return words


def middles(count: int) -> Floats:
    """Middles of parts of equal probability."""
    return (np.arange(count) + 0.5) / count
