"""Parameters as the published tables have them, and one tree taken through the chain by its parts.

Everything here is summed over all gusts; `test_lookup` holds the tabulated ways against it.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.stats import beta

from pipeline.published.table import Library
from pipeline.scoring.decay.anchorage import anchorage_kept
from pipeline.scoring.decay.residual import strength_kept
from pipeline.scoring.mechanics import fragility as fr
from pipeline.scoring.mechanics.allometry import tree_sizes
from pipeline.scoring.mechanics.climate import GustClimate
from pipeline.scoring.mechanics.resistance import root_moment, stem_moment
from pipeline.scoring.mechanics.wind import crown_load
from pipeline.scoring.parameters.mechanics import (
    MechanicsParameters,
    gust_climate,
    mechanics_parameters,
)
from pipeline.units import Floats

EDGES = np.linspace(0.0, 1.0, 201)
CELLS = np.concatenate([[0.0], (EDGES[1:] + EDGES[:-1]) / 2])


@cache
def parameters() -> MechanicsParameters:
    """From config/published as it lies."""
    return mechanics_parameters(Library())


@cache
def climate(region: str = "as_nzs_a") -> GustClimate:
    """Suburban, with a gust of 50 years of 39.27 m/s where the region needs one."""
    return gust_climate(Library(), region=region, terrain="suburban", gust_50_years_m_s=39.27)


@cache
def gusts() -> fr.Gusts:
    """Region A, suburban."""
    return fr.gusts_of(climate(), parameters().fragility)


@dataclass(frozen=True)
class OnePart:
    """A sound part: what the sums over gusts need."""

    capacity: float
    ln_profile: float
    spread: float
    wood: int


def part(
    diameter_cm: float,
    wood: int,
    *,
    roots: bool,
    rupture: float | None = None,
    height: float = np.nan,
    crown: float = np.nan,
    wet: bool = False,
) -> OnePart:
    """Roots or stem of a tree, its sizes from the curves where they are not given."""
    p = parameters()
    dbh, kind = np.array([diameter_cm]), np.array([wood], np.int8)
    no, is_roots = np.array([False]), np.array([roots])
    sizes = tree_sizes(
        dbh, kind, height_m=np.array([height]), crown_m=np.array([crown]), curves=p.curves
    )
    load = crown_load(sizes.height, sizes.crown, kind, p.wind)
    mpa = np.array([(50.0, 45.0)[wood] if rupture is None else rupture])
    bears = (
        root_moment(dbh, sizes.height, kind, wet=np.array([wet]), resistance=p.resistance)
        if roots
        else stem_moment(dbh, mpa, p.resistance)
    )
    factor = fr.load_multiplier(dbh, kind, roots=is_roots, fragility=p.fragility)
    spread = fr.spread_of(
        roots=is_roots, pulled=no, no_height=sizes.height_filled,
        no_crown=sizes.crown_filled, fragility=p.fragility,
    )  # fmt: skip
    capacity = fr.ln_capacity(bears, load.base, factor)
    return OnePart(float(capacity[0]), float(np.log(load.profile[0])), float(spread[0]), wood)


def loads(wood: int) -> tuple[float, float]:
    """Load in the two seasons over that in leaf."""
    return 1.0, float(parameters().wind.leafless[wood])


def yearly(
    one: OnePart,
    ln_kept: Floats,
    weights: Floats,
    *,
    stood: float = 3.0,
    years: float = 1.0,
    of: fr.Gusts | None = None,
) -> Floats:
    """Chance of failing in each state, summed over all gusts; ln_kept is (cells, zones)."""
    each = []
    for load in loads(one.wood):
        told = fr.chance_of_capacity(
            one.capacity + ln_kept - np.log(load), np.full(ln_kept.shape, one.ln_profile),
            of or gusts(), parameters().wind,
            spread=one.spread, stood=stood, years=years, season=0.5,
        )  # fmt: skip
        each.append(fr.averaged(told.fails, np.log(told.stood), weights))
    return fr.joined(np.stack(each, axis=-1))


def stem_kept(x: Floats, rot: int) -> Floats:
    """Logarithm of the strength kept, (cells, zones)."""
    return np.log(strength_kept(x, np.array(rot, np.int8), parameters().zone))


def roots_kept(q: Floats) -> Floats:
    """Logarithm of the anchorage kept, (cells, 1)."""
    return np.log(anchorage_kept(q, parameters().anchorage))[:, None]


ONE = np.ones(1)


def prior(
    diameter_cm: float, part_share: float, *, condition: float = 1.1, host: float = 1.0
) -> Floats:
    """Share of each state in a tree (fair, middling host) without any sign; shape (201,).

    Any decay by a soft threshold in ln D, share decayed by a beta curve: elicited, and only what
    the check values of whole trees assume.
    """
    steep = 0.128 + 1.1 * np.log(diameter_cm / 38)
    some = 1.0 - np.exp(-part_share * np.log1p(np.exp(steep)) * condition)
    return np.concatenate([[1.0 - some], some * np.diff(beta.cdf(EDGES, 0.488, 1.895 * host))])
