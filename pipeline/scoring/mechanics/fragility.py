r"""Chance that a part fails in the gusts of a year, given that it has stood so far.

                  known of the tree            the wind of the years to come
    strength  ---> F(V): share of such    x    G(V): chance that no gust passes V   ---> p
    and load       trees that V fells          within n years

Two kinds of not knowing stay apart. F is lack of knowledge: which of the trees that look alike this
one is. It does not change from year to year, so a tree that stood through m years is likely one of
the stronger ones, and the chance over three years is less than three chances of one year. G is the
scatter of the wind from year to year, drawn anew each year.

A part fails when K M(V) passes its resistance; ln(K M / resistance) is spread normally.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from pipeline.errors import PublishedValueError
from pipeline.scoring.mechanics.climate import GustClimate, gust_of_rate, none_within, rate_above
from pipeline.scoring.mechanics.wind import WindLoad, ln_critical_speed, shape
from pipeline.units import CM_PER_M, Flags, Floats, Words


@dataclass(frozen=True)
class Fragility:
    """From config/published/fragility.csv; pairs are (roots, stem or butt).

    Parameters
    ----------
    load_multiplier, load_size_power : K = multiplier (D / reference)^power, shape (2, 2 woods).
    reference_diameter : [m].
    resistance_spread : sd of the logarithm, shape (2,); `pulled_spread` of roots after a pull test.
    size_response : share of what measured sizes change of the capacity that counts, shape (2,).
    load_spread : sd of the logarithm, height and crown measured; `no_height`, `no_crown`: added in
        square where they come from the curve.
    stood : yearly largest gusts that a standing tree has withstood [years].
    grid_from, grid_to, grid_step : gusts that are summed over [m/s], at least to `grid_to` and on
        to the gust of the yearly rate `grid_rarest`.
    """

    load_multiplier: Floats
    load_size_power: Floats
    reference_diameter: float
    resistance_spread: Floats
    pulled_spread: float
    size_response: Floats
    load_spread: float
    no_height: float
    no_crown: float
    stood: float
    grid_from: float
    grid_to: float
    grid_step: float
    grid_rarest: float

    def __post_init__(self) -> None:
        """Refuse what gives no probability.

        Raises
        ------
        PublishedValueError
            If a spread or multiplier is not above 0, a share outside 0..1, or the grid is none.
        """
        above = (
            *self.load_multiplier.ravel(), *self.resistance_spread, self.pulled_spread,
            self.load_spread, self.reference_diameter, self.grid_from, self.grid_step,
            self.grid_rarest, self.grid_to - self.grid_from,
        )  # fmt: skip
        shares = ((self.size_response >= 0) & (self.size_response <= 1)).all()
        least = min(self.no_height, self.no_crown, self.stood)
        if not (min(above) > 0 and least >= 0 and shares):
            raise PublishedValueError(
                where="published table fragility",
                found="a spread, multiplier or step of 0 or less, a bad share, or no gusts",
                expected="spreads, multipliers and steps above 0, and a grid that goes up",
                remedy="Mend the table or the override.",
            )


@dataclass(frozen=True)
class Gusts:
    """Gusts that are summed over, both of shape (speeds,).

    Parameters
    ----------
    speed : at the tree [m/s], going up.
    rate : yearly rate above each [1/year].
    """

    speed: Floats
    rate: Floats


def gusts_of(climate: GustClimate, fragility: Fragility) -> Gusts:
    """The grid of a climate: as far up as its gusts are thinkable, and at least to `grid_to`."""
    rarest = float(gust_of_rate(np.asarray(fragility.grid_rarest), climate))
    steps = np.ceil((max(fragility.grid_to, rarest) - fragility.grid_from) / fragility.grid_step)
    count = np.arange(int(steps) + 1, dtype=np.float64)
    speed = fragility.grid_from + fragility.grid_step * count
    return Gusts(speed, rate_above(speed, climate))


def load_multiplier(
    diameter_cm: Floats, wood: Words, *, roots: Flags, fragility: Fragility
) -> Floats:
    """K: what a gust does beyond its static load, same shape."""
    D = np.asarray(diameter_cm, dtype=np.float64) / CM_PER_M / fragility.reference_diameter
    part = np.where(roots, 0, 1)
    power = fragility.load_size_power[part, wood]
    return np.asarray(fragility.load_multiplier[part, wood] * D**power)


def ln_capacity(resistance: Floats, base: Floats, multiplier: Floats) -> Floats:
    """Logarithm of the wind `shape` at the crown that the part just bears [ln (m/s)^2].

    Parameters
    ----------
    resistance : moment that the sound part resists [kN m].
    base : of the crown's load in leaf, see `CrownLoad`; multiplier : K.

    What decay leaves adds ln(share kept); a load of a share s takes ln(s) away.
    """
    return np.log(resistance) - np.log(base) - np.log(multiplier)


def answered(measured: Floats, usual: Floats, share: float) -> Floats:
    """Capacity of trees whose sizes were measured, same shape.

    Parameters
    ----------
    measured, usual : `ln_capacity` at the measured sizes, and at those usual for the diameter.
    share : of `Fragility.size_response`.

    A tree that is tall for its stem bears more wind by the statics alone, yet such trees are not
    seen to fail so much oftener: they stand in shelter, or have bent and grown to their wind. The
    share keeps a city of measured trees at the rate of the same city unmeasured.
    """
    return np.asarray(usual + share * (measured - usual))


def spread_of(
    *, roots: Flags, pulled: Flags, no_height: Flags, no_crown: Flags, fragility: Fragility
) -> Floats:
    """Sd of ln(load / resistance), same shape: lack of knowledge of the tree and its exposure."""
    of_roots, of_stem = fragility.resistance_spread
    own = np.where(roots, np.where(pulled, fragility.pulled_spread, of_roots), of_stem)
    height = np.where(no_height, fragility.no_height, 0.0)
    crown = np.where(no_crown, fragility.no_crown, 0.0)
    return np.asarray(np.sqrt(own**2 + fragility.load_spread**2 + height**2 + crown**2))


def critical_gust(capacity: Floats, ln_profile: Floats, wind: WindLoad) -> Floats:
    """Gust at 10 m that fells half of such trees [m/s], same shape; `capacity` as `ln_capacity`."""
    return np.exp(ln_critical_speed(capacity, wind) - ln_profile)


@dataclass(frozen=True)
class Chance:
    """Chance of failing within the years to come, and of having stood so far; same shape."""

    fails: Floats
    stood: Floats


def chance(deviation: Floats, gusts: Gusts, *, stood: float, years: float, season: float) -> Chance:
    """Chance of failing within years, given the years stood, in a season; shape (...).

    Parameters
    ----------
    deviation : (ln load - ln resistance) / spread at each gust, shape (..., speeds), going up.
    stood : yearly largest gusts withstood [years]; 0: nothing is known of the past.
    years : to come.
    season : share of the year's gusts in which the load is this one.

    Within each step of the grid the mean of its two ends stands for both curves. Strength beyond
    the grid counts as withstanding all that the grid's last gust lets pass.
    """
    past = none_within(np.asarray(stood), gusts.rate, share=season)
    coming = none_within(np.asarray(years), gusts.rate, share=season)
    # Differences of the nearer tail, so that what little is left of a weak tree is not rounded off.
    lower, upper = ndtr(deviation), ndtr(-deviation)
    gain = np.where(
        deviation[..., 1:] < 0,
        lower[..., 1:] - lower[..., :-1],
        upper[..., :-1] - upper[..., 1:],
    )
    at_first = (lower[..., 0] * past[0])[..., None]
    steps = gain * (past[1:] + past[:-1]) / 2.0
    failed = np.concatenate([at_first, at_first + np.cumsum(steps, axis=-1)], axis=-1)
    whole = failed[..., -1] + upper[..., -1] * past[-1]
    known = np.maximum(whole, np.finfo(np.float64).tiny)[..., None]
    failed = np.where(whole[..., None] > 0, failed / known, 1.0)
    middle = (failed[..., 1:] + failed[..., :-1]) / 2.0
    beyond = failed[..., -1] * -np.expm1(-years * season * gusts.rate[-1])
    fails = (middle * np.diff(coming)).sum(axis=-1) + beyond
    return Chance(np.clip(fails, 0.0, 1.0), np.clip(whole, 0.0, 1.0))


def chance_of_capacity(
    capacity: Floats,
    ln_profile: Floats,
    gusts: Gusts,
    wind: WindLoad,
    *,
    spread: float,
    stood: float,
    years: float,
    season: float,
) -> Chance:
    """Chances of parts, summed over all gusts; `capacity` and `ln_profile` of one shape."""
    load = np.log(shape(np.exp(ln_profile)[..., None] * gusts.speed, wind))
    deviation = (load - np.asarray(capacity, dtype=np.float64)[..., None]) / spread
    return chance(deviation, gusts, stood=stood, years=years, season=season)


def averaged(fails: Floats, ln_stood: Floats, weights: Floats) -> Floats:
    """Chance averaged over what a tree may be, over the last axis, given that it has stood.

    Parameters
    ----------
    fails : chance of failing of each possibility that has stood, shape (..., possibilities).
    ln_stood : logarithm of each one's chance of having stood, same shape.
    weights : of the possibilities before that, shape (possibilities,).

    A tree that stood is likelier one of those that would: a weak zone that would have brought it
    down long ago counts less.
    """
    if fails.shape[-1] == 1:
        return fails[..., 0]
    # The last axis is short: a loop over it is faster than sums along it.
    most = ln_stood[..., 0]
    for k in range(1, ln_stood.shape[-1]):
        most = np.maximum(most, ln_stood[..., k])
    most = np.where(np.isfinite(most), most, 0.0)
    whole, failing = np.zeros(most.shape), np.zeros(most.shape)
    for k, weight in enumerate(weights):
        share = weight * np.exp(ln_stood[..., k] - most)
        whole += share
        failing += share * fails[..., k]
    return np.asarray(failing / whole)


def joined(chances: Floats) -> Floats:
    """Chance that at least one of independent things happens, over the last axis."""
    below_one = np.minimum(chances, 1.0 - np.finfo(np.float64).eps)
    return np.asarray(-np.expm1(np.log1p(-below_one).sum(axis=-1)))
