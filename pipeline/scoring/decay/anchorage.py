"""What the ground still holds: roots lost by share and distance, trenches, and dead trees."""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.units import Flags, Floats


@dataclass(frozen=True)
class AnchorageLoss:
    """From config/published/anchorage.csv.

    Parameters
    ----------
    loss_per_share : anchorage lost per share of roots lost, up to `straight_to` of them.
    kept_without : anchorage kept with all roots lost [share].
    reach : distance from which a cut costs nothing [trunk diameters].
    trench : anchorage lost by a trench at the trunk [share].
    dead_stem_rate, dead_root_rate : decline of dead trees [1/year].
    dead_load : wind load of a dead tree over that of one in leaf [share].
    """

    loss_per_share: float
    straight_to: float
    kept_without: float
    reach: float
    trench: float
    dead_stem_rate: float
    dead_root_rate: float
    dead_load: float

    def __post_init__(self) -> None:
        """Refuse a curve that rises.

        Raises
        ------
        PublishedValueError
            If losing more roots would leave more, or a dead tree would grow stronger.
        """
        at_break = 1.0 - self.loss_per_share * self.straight_to
        falls = 0 <= self.kept_without <= at_break <= 1 and 0 < self.straight_to < 1
        dead = min(self.dead_stem_rate, self.dead_root_rate) >= 0 and 0 < self.dead_load <= 1
        if not (falls and dead and self.reach > 0 and 0 <= self.trench <= 1):
            raise PublishedValueError(
                where="published table anchorage",
                found="a loss that falls with roots lost, or shares outside 0..1",
                expected="a curve that never rises from 1, rates of 0 or more, shares within 0..1",
                remedy="Mend the table or the override.",
            )


def roots_that_count(lost: Floats, distance: Floats, loss: AnchorageLoss) -> Floats:
    """Share of roots lost as if at the trunk [share], same shape.

    Parameters
    ----------
    lost : share of the main roots lost.
    distance : of the cut from the trunk [trunk diameters]; NaN, not known, counts as at the trunk.
    """
    near = np.nan_to_num(np.asarray(distance, dtype=np.float64), nan=0.0)
    return np.asarray(lost, dtype=np.float64) * np.clip(1.0 - near / loss.reach, 0.0, 1.0)


def anchorage_kept(lost: Floats, loss: AnchorageLoss) -> Floats:
    """Anchorage kept [share of the sound one] with a share of the main roots lost, same shape."""
    q = np.clip(np.asarray(lost, dtype=np.float64), 0.0, 1.0)
    at_break = 1.0 - loss.loss_per_share * loss.straight_to
    return np.interp(q, [0.0, loss.straight_to, 1.0], [1.0, at_break, loss.kept_without])


def trench_kept(distance: Floats, loss: AnchorageLoss) -> Floats:
    """Anchorage kept beside one trench [share]; distance [trunk diameters], NaN: at the trunk."""
    return 1.0 - loss.trench * roots_that_count(np.ones(np.shape(distance)), distance, loss)


def dead_kept(years_dead: Floats, *, roots: Flags, loss: AnchorageLoss) -> Floats:
    """Strength kept of a dead tree's part [share], same shape; a live tree has NaN years and 1.

    Parameters
    ----------
    years_dead : years since it died; below 0 counts as 0.
    roots : whether the part is the roots, else stem and branches; broadcast with the years.
    """
    years = np.maximum(np.nan_to_num(np.asarray(years_dead, dtype=np.float64), nan=0.0), 0.0)
    return np.asarray(np.exp(-np.where(roots, loss.dead_root_rate, loss.dead_stem_rate) * years))
