"""Branches fail by a base rate in the gusts of the place: nothing published predicts which one.

Strength, the leaves and death move the gust at which half of the trees lose a branch. There is no
allowance for having stood: the weak branches of last year are gone and others have grown.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from pipeline.errors import PublishedValueError
from pipeline.scoring.mechanics.fragility import Gusts, chance, joined
from pipeline.units import Flags, Floats


@dataclass(frozen=True)
class BranchRate:
    """From config/published/branch_rate.csv.

    Parameters
    ----------
    median_gust : in leaf, of a tree without decay [m/s]; spread : sd of its logarithm.
    calm : failures without wind [1/year].
    dead : median gust of dead trees over that of live ones [share].
    large_share : of failing branches, those from `large_from` [cm] up.
    weak_union : factor on the chance, for trees with a weak union.
    """

    median_gust: float
    spread: float
    calm: float
    dead: float
    large_share: float
    large_from: float
    weak_union: float

    def __post_init__(self) -> None:
        """Refuse what is no rate.

        Raises
        ------
        PublishedValueError
            If a gust, spread or factor is not above 0, or a share outside 0..1.
        """
        above = (self.median_gust, self.spread, self.large_from, self.weak_union)
        shares = (self.calm, self.dead, self.large_share)
        if not (min(above) > 0 and all(0 <= s <= 1 for s in shares) and self.dead > 0):
            raise PublishedValueError(
                where="published table branch_rate",
                found="a gust, spread or factor of 0 or less, or a share outside 0..1",
                expected="gusts, spreads and factors above 0, shares within 0..1",
                remedy="Mend the table or the override.",
            )


def failing_share(gust: Floats, kept: Floats, load: Floats, rate: BranchRate) -> Floats:
    """Share of trees that lose a branch in a gust [m/s], broadcast.

    Parameters
    ----------
    kept : strength kept [share]; load : load over that of a live tree in leaf [share].
    """
    return ndtr(_deviation(np.asarray(gust, dtype=np.float64), kept, load, rate))


def branch_chance(
    kept: Floats, dead: Flags, season_loads: Floats, gusts: Gusts, rate: BranchRate, *,
    season_shares: tuple[float, ...], years: float, weak_union: Flags,
) -> Floats:  # fmt: skip
    """Chance that a tree loses a branch of any size within years; shape of `kept`.

    Parameters
    ----------
    kept : strength that decay leaves [share]; average chances, not strengths, over states.
    dead, weak_union : same shape.
    season_loads : load over that in leaf, shape (..., seasons).
    season_shares : of the year's gusts.
    """
    strong = np.asarray(kept, dtype=np.float64) * np.where(dead, rate.dead, 1.0) ** 2
    each = []
    for n, season in enumerate(season_shares):
        load = season_loads[..., n, None]
        deviation = _deviation(gusts.speed, strong[..., None], load, rate)
        each.append(chance(deviation, gusts, stood=0.0, years=years, season=season).fails)
    windy = joined(np.stack(each, axis=-1))
    with_calm = 1.0 - (1.0 - windy) * (1.0 - rate.calm) ** years
    told: Floats = np.minimum(1.0, with_calm * np.where(weak_union, rate.weak_union, 1.0))
    return told


def large_branch_chance(any_branch: Floats, rate: BranchRate) -> Floats:
    """Chance that the branch lost is a large one, same shape."""
    return np.asarray(any_branch, dtype=np.float64) * rate.large_share


def _deviation(gust: Floats, kept: Floats, load: Floats, rate: BranchRate) -> Floats:
    # The median gust goes with the root of strength over load.
    median = rate.median_gust * np.sqrt(kept / load)
    return np.log(gust / median) / rate.spread
