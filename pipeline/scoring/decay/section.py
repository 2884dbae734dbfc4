r"""Exact properties of a residual cross-section: area, second moment and modulus, worst direction.

    closed, off centre            open ring
        .-----.                    .---.
      /   .-.   \                /  .-   /  2a: the angle of the opening,
     |   | o |   |   thin side  |  |  +     seen from the centre
      \   '-'   /    to the      \  '-   \
        '-----'      right         '---'

All lengths share one unit; results have that unit squared (area), to the fourth (second moment) and
cubed (modulus). Diameters are those inside the bark, which carries no load: a diameter taken over
the bark overstates the section. Shear and splitting at the lips of an opening are not in these
numbers.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.errors import TableError
from pipeline.units import Floats


@dataclass(frozen=True)
class Section:
    """Properties of sections, each field of one shape; `second_moment` is about the weak axis."""

    area: Floats
    second_moment: Floats
    modulus: Floats


def solid(radius: Floats) -> Section:
    """Full circle: I = pi R^4 / 4, Z = pi R^3 / 4."""
    R = np.asarray(radius, dtype=np.float64)
    return Section(math.pi * R**2, math.pi * R**4 / 4, math.pi * R**3 / 4)


def closed(radius: Floats, hollow_radius: Floats, offset: Floats) -> Section:
    """Ring with its hollow off centre by `offset`, bending in the weaker direction.

    NaN where offset + hollow radius passes the outer radius: such a section is open. Where they
    meet, the value is the limit of a wall that thins to nothing.
    """
    R, rho, e = np.broadcast_arrays(
        np.asarray(radius, dtype=np.float64),
        np.asarray(hollow_radius, dtype=np.float64),
        np.asarray(offset, dtype=np.float64),
    )
    valid = (e + rho <= R) & (rho < R)
    ring = np.where(valid, R**2 - rho**2, np.nan)
    area = math.pi * ring
    centroid = rho**2 * e / ring
    second = math.pi * (R**4 - rho**4) / 4 - math.pi * rho**2 * e**2 * R**2 / ring
    return Section(area, second, second / (R + centroid))


def open_ring(radius: Floats, hollow_radius: Floats, half_opening: Floats) -> Section:
    """Centred ring with an opening of 2a radians cut through its wall, weaker of the two axes.

    At a = 0 it is the closed ring (a slit without width does not change bending by this theory).
    """
    R, rho, a = np.broadcast_arrays(
        np.asarray(radius, dtype=np.float64),
        np.asarray(hollow_radius, dtype=np.float64),
        np.asarray(half_opening, dtype=np.float64),
    )
    angle = math.pi - a
    area = angle * (R**2 - rho**2)
    back = 2.0 * np.sin(a) * (R**3 - rho**3) / (3 * area)  # centroid lies away from the opening
    quarter = (R**4 - rho**4) / 4
    along = quarter * (angle + np.sin(a) * np.cos(a))
    across = quarter * (angle - np.sin(a) * np.cos(a)) - area * back**2
    lip = np.maximum(R * np.cos(a), rho * np.cos(a))
    far = np.maximum(R - back, lip + back)
    # Past a quarter turn the widest point of the wall is at the lips, no longer at R.
    reach = np.where(a > math.pi / 2, R * np.sin(a), R)
    return Section(area, np.minimum(along, across), np.minimum(along / reach, across / far))


def open_ring_any_direction(radius: Floats, hollow_radius: Floats, half_opening: Floats) -> Section:
    """Open ring as `open_ring`, its modulus the least over all directions of the wind.

    In a skew direction both axes bend, and a fibre at (x, y) from the centroid is stressed by
    M sqrt((x / I_across)^2 + (y / I_along)^2) in the direction that is worst for it; the modulus
    is the least over the fibres: back, lips, and the outer arc between them.
    """
    R, rho, a = np.broadcast_arrays(
        np.asarray(radius, dtype=np.float64),
        np.asarray(hollow_radius, dtype=np.float64),
        np.asarray(half_opening, dtype=np.float64),
    )
    angle = math.pi - a
    area = angle * (R**2 - rho**2)
    back = 2.0 * np.sin(a) * (R**3 - rho**3) / (3 * area)
    quarter = (R**4 - rho**4) / 4
    along = quarter * (angle + np.sin(a) * np.cos(a))
    across = quarter * (angle - np.sin(a) * np.cos(a)) - area * back**2
    # Along the arc the stress is a square in cos(turn): its inner stationary point is a maximum
    # only where I_across is the larger; the ends (lip, back) are always looked at.
    u, v = 1.0 / across**2, 1.0 / along**2
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = np.where(v > u, u * back / (R * (v - u)), np.cos(a))
    worst = np.zeros_like(R)
    for cosine in (np.cos(a), -np.ones_like(a), np.clip(turn, -1.0, np.cos(a))):
        sine = np.sqrt(np.maximum(0.0, 1.0 - cosine**2))
        for r in (R, rho):
            worst = np.maximum(worst, u * (r * cosine + back) ** 2 + v * (r * sine) ** 2)
    return Section(area, np.minimum(along, across), 1.0 / np.sqrt(worst))


def polygon_any_direction(rings: Sequence[tuple[Floats, Floats]]) -> Section:
    """Any shape as `polygon`, exactly: smallest principal second moment, and the least modulus.

    The modulus is that of the fibre and the direction of the wind that break first, with the
    stress of the product moment.

    Raises
    ------
    TableError
        If the rings enclose no area.
    """
    area, centre, moments = _green(rings)
    xx, yy, xy = moments
    middle, half = (xx + yy) / 2.0, math.hypot((xx - yy) / 2.0, xy)
    turns = math.atan2(-2.0 * xy, xx - yy) / 2.0
    largest, least = middle + half, middle - half
    x, y = (np.concatenate([np.asarray(r[i], dtype=np.float64) for r in rings]) for i in (0, 1))
    x, y = x - centre[0], y - centre[1]
    # Distances from the axis of the largest second moment, and from that of the least.
    from_largest = y * math.cos(turns) - x * math.sin(turns)
    from_least = x * math.cos(turns) + y * math.sin(turns)
    stress = np.hypot(from_largest / largest, from_least / least).max()
    return Section(np.asarray(area), np.asarray(least), np.asarray(1.0 / stress))


def polygon(rings: Sequence[tuple[Floats, Floats]], *, directions: int) -> Section:
    """Any shape by Green's theorem: outer ring and holes as (x, y), holes wound the other way.

    The weakest of `directions` evenly spaced bending axes over half a turn is returned: second
    moment about the axis, over the farthest fibre from it. For axes that are not principal ones
    this leaves out the stress that the product moment adds.

    Raises
    ------
    TableError
        If the rings enclose no area.
    """
    area, (centre_x, centre_y), (xx, yy, xy) = _green(rings)
    x, y = (np.concatenate([np.asarray(r[i], dtype=np.float64) for r in rings]) for i in (0, 1))
    turn = np.arange(directions) * math.pi / directions
    # Second moment about an axis turned by `turn`; fibres are measured square to that axis.
    second = xx * np.cos(turn) ** 2 + yy * np.sin(turn) ** 2 - xy * np.sin(2 * turn)
    fibre = np.abs(np.outer(np.cos(turn), y - centre_y) - np.outer(np.sin(turn), x - centre_x)).max(
        axis=1
    )
    return Section(np.asarray(area), np.asarray(second.min()), np.asarray((second / fibre).min()))


def loss(residual: Section, whole: Section) -> Section:
    """Share of each property that is lost against the whole section."""
    return Section(
        1.0 - residual.area / whole.area,
        1.0 - residual.second_moment / whole.second_moment,
        1.0 - residual.modulus / whole.modulus,
    )


def _edges(x: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    return x, y, np.roll(x, -1), np.roll(y, -1)


def _green(
    rings: Sequence[tuple[Floats, Floats]],
) -> tuple[float, tuple[float, float], tuple[float, float, float]]:
    """Area, centroid, and second moments xx, yy, xy about it.

    Raises
    ------
    TableError
        If the rings enclose no area.
    """
    x, y, x1, y1 = (np.concatenate(c) for c in zip(*(_edges(*ring) for ring in rings), strict=True))
    c = x * y1 - x1 * y
    area = float(c.sum()) / 2.0
    if not area > 0:
        raise TableError(
            where="polygon of a cross-section",
            found=f"area {area:g}",
            expected="an outer ring wound against the clock, holes with it, together above 0",
            remedy="Wind the outer ring against the clock and the holes with it.",
        )
    centre_x = ((x + x1) * c).sum() / (6 * area)
    centre_y = ((y + y1) * c).sum() / (6 * area)
    xx = ((y**2 + y * y1 + y1**2) * c).sum() / 12 - area * centre_y**2
    yy = ((x**2 + x * x1 + x1**2) * c).sum() / 12 - area * centre_x**2
    xy = ((x * y1 + 2 * x * y + 2 * x1 * y1 + x1 * y) * c).sum() / 24 - area * centre_x * centre_y
    return area, (float(centre_x), float(centre_y)), (float(xx), float(yy), float(xy))
