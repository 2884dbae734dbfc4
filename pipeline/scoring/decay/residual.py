"""Strength that a decayed section keeps: weak zone, off-centre column, opening, thin wall, core.

The decayed share x is that of the diameter. Around the column the wood is weakened without looking
decayed: mass loss falls in a line from the column's edge to nothing over the width of the zone, and
bending strength falls exponentially with mass loss. The zone counts as if a part of its width were
gone. Its width is not known for a tree: three points stand for its spread, and it is probabilities
that are averaged over them, never strengths.
"""

import math
from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.scoring.decay import section
from pipeline.scoring.decay.strength import smiley_fraedrich
from pipeline.units import Floats, Words


@dataclass(frozen=True)
class ThinShell:
    """When a closed wall no longer bends as one piece, from config/published/thin_shell.csv.

    Parameters
    ----------
    bending_from, buckling_below : shell over radius [share].
    power : of shell over `bending_from` in between.
    """

    bending_from: float
    buckling_below: float
    power: float

    def __post_init__(self) -> None:
        """Refuse limits out of order.

        Raises
        ------
        PublishedValueError
            If buckling does not come before splitting, or a wall would gain by being thin.
        """
        if not (0 < self.buckling_below < self.bending_from < 1 and self.power >= 0):
            raise PublishedValueError(
                where="published table thin_shell",
                found=f"{self.buckling_below:g}, {self.bending_from:g}, power {self.power:g}",
                expected="0 < buckling_below < bending_from < 1 and a power of 0 or more",
                remedy="Mend the table or the override.",
            )


@dataclass(frozen=True)
class WeakZone:
    """How far wood is weakened beyond the column, from config/published/weak_zone.csv.

    Parameters
    ----------
    decay_rate, width, core_kept : by `RotType` [1/% mass loss, share of diameter, share], (4,).
    edge_mass_loss : at the column's edge [%].
    spread : sd of the logarithm of the width.
    points, weights : standard deviations and shares of the points of its spread, (zones,).
    full_zone_from, widest : decayed shares [share of diameter].
    eccentricity : offset of the column where azimuths are unknown [share of the shell].
    least_kept : strength is not taken below [share].
    """

    decay_rate: Floats
    width: Floats
    core_kept: Floats
    edge_mass_loss: float
    spread: float
    points: Floats
    weights: Floats
    full_zone_from: float
    widest: float
    eccentricity: float
    least_kept: float
    thin: ThinShell

    def __post_init__(self) -> None:
        """Refuse what would make a decayed stem stronger than a sound one.

        Raises
        ------
        PublishedValueError
            If a rate or width is below 0, a share is outside 0..1, or weights do not sum to 1.
        """
        shares = (*self.core_kept, self.widest, self.eccentricity, self.least_kept, *self.weights)
        sound = (
            min(*self.decay_rate, *self.width, self.edge_mass_loss, self.spread) >= 0
            and all(0 <= share <= 1 for share in shares)
            and math.isclose(float(self.weights.sum()), 1.0)
            and self.full_zone_from > 0
            and self.widest < 1
        )
        if not sound:
            raise PublishedValueError(
                where="published table weak_zone",
                found="a rate below 0, a share outside 0..1, or weights that do not sum to 1",
                expected="rates and widths of 0 or more, shares within 0..1, weights that sum to 1",
                remedy="Mend the table or the override.",
            )


def kept_in_zone(rate: Floats, edge_mass_loss: Floats) -> Floats:
    """Mean bending strength kept in a zone whose mass loss falls in a line to nothing [share]."""
    lost = np.asarray(rate, dtype=np.float64) * edge_mass_loss
    some = np.where(lost > 0, lost, 1.0)
    return np.where(lost > 0, -np.expm1(-some) / some, 1.0)


def lost_width(zone: WeakZone) -> Floats:
    """Width that counts as gone beyond the column [share of diameter], shape (4 rots, zones)."""
    kept = kept_in_zone(zone.decay_rate, np.asarray(zone.edge_mass_loss))
    spread = np.exp(zone.spread * zone.points)
    return (1.0 - kept)[:, None] * zone.width[:, None] * spread


def with_zone(decayed: Floats, rot: Words, zone: WeakZone) -> Floats:
    """Decayed share with its weak zone [share], shape (..., zones); 0 where nothing is decayed."""
    x = np.asarray(decayed, dtype=np.float64)[..., None]
    full = np.minimum(1.0, x / zone.full_zone_from)
    return np.where(x > 0, np.minimum(zone.widest, x + lost_width(zone)[rot] * full), 0.0)


def thin_wall(shell: Floats, thin: ThinShell) -> Floats:
    """Strength kept where the wall splits or buckles [share]; shell over radius [share]."""
    t = np.asarray(shell, dtype=np.float64)
    split = np.maximum(t, thin.buckling_below) / thin.bending_from
    kept = np.minimum(1.0, split) ** thin.power
    return np.asarray(kept * np.minimum(1.0, t / thin.buckling_below))


def section_kept(hollow: Floats, *, offset: Floats, opening: Floats) -> Floats:
    """Section modulus kept against the solid stem [share], the least that the shape allows.

    Parameters
    ----------
    hollow : decayed diameter over diameter [share], below 1.
    offset : of the column from the centre [share of the shell], 0..1.
    opening : opening over circumference [share], 0 if closed.

    An opening adds the centred ring with the wall cut through, and the formula of Smiley and
    Fraedrich; the least of all is taken. Bending of the open ring is about its axes of symmetry:
    `section.open_ring_any_direction` tells how much less a skew direction keeps.
    """
    x, e, o = np.broadcast_arrays(
        *(np.asarray(a, dtype=np.float64) for a in (hollow, offset, opening))
    )
    one = np.ones_like(x)
    whole = section.solid(one)
    closed = section.closed(one, x, e * (1.0 - x)).modulus / whole.modulus
    kept = np.array(closed)
    # The open ring is dear and few are open.
    at = np.nonzero((o > 0) & (o < 1))
    if at[0].size:
        kept[at] = np.minimum(kept[at], _open_kept(x[at], o[at]))
    return np.clip(np.where(o >= 1, 0.0, kept), 0.0, 1.0)


def _open_kept(x: Floats, opening: Floats) -> Floats:
    """Modulus kept of open rings by the ring itself and by the published formula, (n,)."""
    one = np.ones_like(x)
    half = math.pi * opening
    # Open over more than half of the girth, wood gone inside raises the modulus (its fibres lie
    # nearer to the shifted axis) by up to 0.4 % of the solid stem, which strengthens nothing.
    ring = np.minimum(
        section.open_ring(one, x, half).modulus, section.open_ring(one, 0.0 * x, half).modulus
    )
    return np.minimum(ring / section.solid(one).modulus, 1.0 - smiley_fraedrich(x, opening))


def strength_kept(
    decayed: Floats,
    rot: Words,
    zone: WeakZone,
    *,
    opening: Floats | float = 0.0,
    offset: Floats | float | None = None,
) -> Floats:
    """Bending strength kept of a stem [share of the sound one], shape (..., zones).

    Parameters
    ----------
    decayed : decayed diameter over diameter [share], shape (...).
    rot : `RotType` of the column, broadcast with `decayed`; NONE is a clean hollow.
    opening : opening over circumference [share], broadcast with `decayed`.
    offset : of the column [share of the shell]; None: as unknown azimuths have it.

    Nothing decayed and closed keeps 1 exactly. A hole through the wall of a section whose decayed
    share is 0 is a cut to the centre.
    """
    xm = with_zone(decayed, rot, zone)
    o = np.asarray(opening, dtype=np.float64)[..., None]
    e = np.asarray(zone.eccentricity if offset is None else offset, dtype=np.float64)[..., None]
    wall = section_kept(xm, offset=np.where(xm > 0, e, 0.0), opening=o)
    wall = wall * np.where(xm > 0, thin_wall(1.0 - xm, zone.thin), 1.0)
    core = np.where(o > 0, 0.0, zone.core_kept[rot][..., None])
    return np.maximum(zone.least_kept, wall + core * (1.0 - wall))
