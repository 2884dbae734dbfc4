"""Wind load of a crown: size, wind at its height, drag that falls as the crown streamlines.

M(V) = 1/2 rho Cd A Vh^2 h, Vh the gust at the height h of the crown's centre. Cd falls with the
root of the speed between two speeds, so that there the load grows with the speed to 1.5 and to 2
outside. A load is thus a number of the tree times one curve of the speed at its crown:

    M(V) = base * shape(profile * V)
"""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.units import Floats, Words

_NEWTONS = 1000.0  # of a kilonewton


@dataclass(frozen=True)
class WindLoad:
    """From config/published/wind_load.csv; arrays by wood (broadleaf, conifer), shape (2,).

    Parameters
    ----------
    air_density : [kg/m3].
    drag : coefficient on the still-air frontal area, in leaf, at `drag_at`.
    drag_at, streamlining_from, streamlining_to : speeds [m/s].
    leafless : load without leaves over load in leaf [share].
    leaf_on_share : share of the year's gusts that meet the tree in leaf.
    crown_length : [share of height]; crown_fill : area over width times length.
    centre_below_top : [share of crown length].
    profile_power, profile_height, profile_least : of the wind's profile [-, m, m].
    """

    air_density: float
    drag: Floats
    drag_at: float
    streamlining_from: float
    streamlining_to: float
    leafless: Floats
    leaf_on_share: float
    crown_length: Floats
    crown_fill: Floats
    centre_below_top: Floats
    profile_power: float
    profile_height: float
    profile_least: float

    def __post_init__(self) -> None:
        """Refuse a crown that is longer than its tree, or a load that falls as the wind grows.

        Raises
        ------
        PublishedValueError
            If a share is outside 0..1, or a speed, density or length is not above 0.
        """
        shares = np.concatenate(
            [self.leafless, self.crown_length, self.crown_fill, self.centre_below_top]
        )
        lengths = (self.air_density, self.drag_at, self.profile_height, self.profile_least)
        sound = (
            ((shares > 0) & (shares <= 1)).all()
            and 0 <= self.leaf_on_share <= 1
            and min(*self.drag, *lengths, self.streamlining_from) > 0
            and self.streamlining_to >= self.streamlining_from
            and self.profile_power >= 0
        )
        if not sound:
            raise PublishedValueError(
                where="published table wind_load",
                found="a share outside 0..1, or a density, speed or height of 0 or less",
                expected="shares above 0 and up to 1, and speeds in order",
                remedy="Mend the table or the override.",
            )


@dataclass(frozen=True)
class CrownLoad:
    """Load of crowns in leaf, both of shape (trees,).

    Parameters
    ----------
    base : moment at the ground per unit of `shape` [kN m / (m/s)^2].
    profile : wind at the crown's centre over wind at the height for which gusts are given.
    """

    base: Floats
    profile: Floats


def crown_load(
    height_m: Floats,
    crown_m: Floats,
    wood: Words,
    wind: WindLoad,
    *,
    length_m: Floats | None = None,
) -> CrownLoad:
    """Load of crowns, all arguments of shape (trees,).

    Parameters
    ----------
    height_m, crown_m : height of the tree and diameter of its crown [m].
    length_m : of the crown [m], NaN or None: as a share of the height; no longer than the tree.
    """
    H = np.asarray(height_m, dtype=np.float64)
    usual = wind.crown_length[wood] * H
    length = usual if length_m is None else np.where(np.isnan(length_m), usual, length_m)
    length = np.minimum(length, H)
    centre = H - wind.centre_below_top[wood] * length
    area = wind.crown_fill[wood] * np.asarray(crown_m, dtype=np.float64) * length
    profile = (np.maximum(centre, wind.profile_least) / wind.profile_height) ** wind.profile_power
    pressure = wind.air_density / 2.0 / _NEWTONS
    return CrownLoad(pressure * wind.drag[wood] * area * centre, profile)


def shape(speed: Floats, wind: WindLoad) -> Floats:
    """How a load grows with the speed at the crown [(m/s)^2], same shape."""
    u = np.asarray(speed, dtype=np.float64)
    held = np.clip(u, wind.streamlining_from, wind.streamlining_to)
    return u**2 * np.sqrt(wind.drag_at / held)


def ln_critical_speed(capacity: Floats, wind: WindLoad) -> Floats:
    """Logarithm of the speed at the crown whose `shape` is exp(capacity), same shape.

    The inverse of `shape`; in logarithms it has three straight pieces.
    """
    c = np.asarray(capacity, dtype=np.float64)
    at, low, high = np.log([wind.drag_at, wind.streamlining_from, wind.streamlining_to])
    # shape is u^2 (at / held)^(1/2): in logarithms 2 u + (at - held) / 2, held within low..high.
    # Slopes of u over c are 1/2, 2/3, 1/2: a line of 1/2 and what the middle adds.
    from_low = c - (2.0 * low + (at - low) / 2.0)
    added = np.clip(from_low, 0.0, (high - low) * 2.0 * 3 / 4) / 6
    return np.asarray(low + from_low / 2.0 + added)


def moment(gust: Floats, load: CrownLoad, wind: WindLoad) -> Floats:
    """Moment at the ground in leaf [kN m] of a gust at the reference height [m/s], broadcast."""
    return load.base * shape(load.profile * np.asarray(gust, dtype=np.float64), wind)
