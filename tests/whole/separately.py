"""From fruiting body to yearly chance a second time, by other means than the program's.

Where the program sums over cells of decay and steps of the gust, this takes expectations over the
gust that fells the tree, by Gauss-Hermite nodes, and over rate and years, by nodes too; it reads no
table. The numbers stand here as they were worked beforehand, apart from the program, from the same
published formulae; elicited ones are marked so in config/published, where their ranges stand.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from math import exp, log, pi, sqrt

import numpy as np
import shapely
from scipy.stats import beta, norm

from pipeline.units import Floats

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(80)
WEIGHTS = WEIGHTS / WEIGHTS.sum()
FEW, FEW_WEIGHTS = np.polynomial.hermite_e.hermegauss(16)
FEW_WEIGHTS = FEW_WEIGHTS / FEW_WEIGHTS.sum()
STOOD = 3.0
GUSTS = np.linspace(1.0, 140.0, 28_001)


@dataclass(frozen=True)
class Tree:
    """A tree with measured sizes: diameter [cm], height and crown [m], rupture [MPa]."""

    D: float
    H: float
    W: float
    rupture: float
    conifer: bool = False
    wet: bool = False
    dead_years: float = 0.0
    measured: bool = True
    stood: float = STOOD


def usual(dbh: float, rupture: float) -> Tree:
    """A broadleaf of which nobody measured height and crown: the medians of 12,022 urban trees."""
    tall, wide = 1.3 + 20.26 * (dbh / 100.0) ** 0.728, 18.87 * (dbh / 100.0) ** 0.723
    return Tree(dbh, tall, wide, rupture, measured=False)


# --- wind: gusts of region A of AS/NZS 1170.2, the tree in a suburb (0.83 of the open gust) ------


def rate(gust: Floats) -> Floats:
    """Yearly rate of gusts at the tree above this [m/s]: V_R = 67 - 41 R^-0.1."""
    open_gust = np.asarray(gust, dtype=np.float64) / 0.83
    return np.where(open_gust < 67.0, (np.maximum(67.0 - open_gust, 0.0) / 41.0) ** 10, 0.0)


def load(tree: Tree, gust: Floats) -> Floats:
    """Moment at the ground in leaf [kN m], with the multiplier of dynamics left out."""
    length = (0.75 if tree.conifer else 0.70) * tree.H
    area = (0.525 if tree.conifer else 0.785) * tree.W * length
    centre = tree.H - (0.67 if tree.conifer else 0.50) * length
    at_crown = gust * (max(centre, 3.0) / 10.0) ** 0.25
    drag = (0.40 if tree.conifer else 0.25) * np.sqrt(20.0 / np.clip(at_crown, 10.0, 30.0))
    return np.asarray(0.0006 * drag * area * at_crown**2 * centre)


@cache
def _ln_load(tree: Tree) -> Floats:
    return np.log(load(tree, GUSTS))


def bears(tree: Tree, *, roots: bool) -> float:
    """Moment that sound roots or a sound stem bear [kN m]."""
    d = tree.D / 100.0
    if roots:
        held = (52.0 if tree.conifer else 85.0) * tree.H * d**2
        return held * (0.58 if tree.wet else 1.0)
    return 0.80 * 50.0 * sqrt(tree.rupture / 50.0) * 1000.0 * pi * d**3 / 32.0


def multiplier(tree: Tree, *, roots: bool) -> float:
    """Dynamics, own weight, flaws: what the load is set on trees by."""
    power = (0.15 if tree.conifer else 0.45) if roots else (0.40 if tree.conifer else 0.70)
    return float((0.92 if roots else 1.32) * (tree.D / 40.0) ** power)


def yearly(tree: Tree, kept: float, *, roots: bool, years: float = 1.0) -> float:
    """Chance that a part with this share of its strength fails within so many years.

    c, the gust that fells it, is lognormal in the load. A tree that has stood m years is likelier
    to have a c that none of them reached, G(c)^m; it fails if the coming years reach c.
    """
    guessed = 0.0 if tree.measured else 0.16**2 + 0.10**2
    spread = sqrt((0.332 if roots else 0.385) ** 2 + 0.354**2 + guessed)
    ln_load = _ln_load(tree)
    stays = 1.0
    # A dead tree has the load of its bare crown all year, and its wood weakens by the year.
    seasons = (1.0, 1.0 if tree.conifer else 0.70)
    if tree.dead_years > 0.0:
        seasons = (0.65, 0.65)
        kept *= exp(-(0.25 if roots else 0.35) * tree.dead_years)
    for leaf in seasons:
        median = log(bears(tree, roots=roots) * kept / (multiplier(tree, roots=roots) * leaf))
        felling = np.interp(median + spread * NODES, ln_load, GUSTS)
        season = 0.5 * rate(felling)
        stood = WEIGHTS * np.exp(-tree.stood * season)
        stays *= 1.0 - float(stood @ -np.expm1(-years * season)) / float(stood.sum())
    return 1.0 - stays


def critical_gust(tree: Tree, kept: float, *, roots: bool) -> float:
    """Gust in leaf whose load is the part's median strength [m/s]."""
    wanted = bears(tree, roots=roots) * kept / multiplier(tree, roots=roots)
    return float(np.interp(log(wanted), _ln_load(tree), GUSTS))


# --- strength left --------------------------------------------------------------------------------

WHITE, BROWN, SOFT = "white", "brown", "soft"
_ZONE = {WHITE: 0.06, BROWN: 0.12, SOFT: 0.15}  # median width of the weak zone, share of D
_LOSS = {WHITE: 0.0347, BROWN: 0.0990, SOFT: 0.0990}  # per percent of mass
_CORE = {WHITE: 0.15, BROWN: 0.05, SOFT: 0.05}


def zone_points(rot: str) -> tuple[tuple[float, float], ...]:
    """Width lost to the weak zone and weight, three points."""
    fall = _LOSS[rot] * 20.0
    lost = 1.0 - (1.0 - exp(-fall)) / fall
    spots = ((exp(-0.769), 0.3), (1.0, 0.4), (exp(0.769), 0.3))
    return tuple((lost * _ZONE[rot] * width, weight) for width, weight in spots)


def stem_kept(x: float, rot: str, zone: float, opening_deg: float = 0.0) -> float:
    """Share of a sound stem's bending strength, decayed share of diameter x."""
    if x <= 0.0:
        return 1.0
    xm = min(0.995, x + zone * min(1.0, x / 0.10))
    off = 0.20 * (1.0 - xm)  # eccentricity assumed where nobody measured, in radii
    ring = (1.0 - xm**4 - 4.0 * xm**2 * off**2 / (1.0 - xm**2)) / (1.0 + xm**2 * off / (1 - xm**2))
    kept = ring
    if opening_deg > 0:
        kept = min(ring, open_ring(xm, opening_deg), 1.0 - smiley_fraedrich(xm, opening_deg))
    wall = 1.0 - xm
    if wall < 0.06:
        kept *= (0.06 / 0.27) ** 0.4 * wall / 0.06
    elif wall < 0.27:
        kept *= (wall / 0.27) ** 0.4
    core = 0.0 if opening_deg > 0 else _CORE[rot]
    return max(0.01, kept + core * (1.0 - kept))


def smiley_fraedrich(x: float, opening_deg: float) -> float:
    """Loss by the formula of Smiley and Fraedrich 1992: (d^3 + R (D^3 - d^3)) / D^3."""
    return x**3 + opening_deg / 360.0 * (1.0 - x**3)


def open_ring(x: float, opening_deg: float) -> float:
    """Least section modulus of a ring with a gap over that of the full disc, as a polygon.

    The polygon's area, centroid and second moments come from its corners (Green's theorem); the
    worst bending direction is searched.
    """
    half = np.radians(opening_deg) / 2.0
    turn = np.linspace(half, 2.0 * pi - half, 401)
    outer = np.column_stack([np.cos(turn), np.sin(turn)])
    ring = shapely.Polygon(np.vstack([outer, x * outer[::-1]]))
    xy = shapely.get_coordinates(ring.exterior)
    xy = xy - shapely.get_coordinates(ring.centroid)
    a, b = xy[:-1], xy[1:]
    cross = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
    ixx, iyy = (
        abs(float((cross * (a[:, k] ** 2 + a[:, k] * b[:, k] + b[:, k] ** 2)).sum())) / 12.0
        for k in (1, 0)
    )
    # The gap is symmetric about the x axis, so these are the principal axes; a moment at an angle
    # is the sum of its two parts, and its stress is largest at some corner.
    angles = np.linspace(0.0, pi, 91)[:, None]
    stress = np.cos(angles) * xy[:, 1] / ixx + np.sin(angles) * xy[:, 0] / iyy
    return float(1.0 / np.abs(stress).max() / (pi / 4.0))


def roots_kept(q: float) -> float:
    """Anchorage with a share q of the root plate lost (Smiley 2008 to a half, then elicited)."""
    return 1.0 - 0.6 * q if q <= 0.5 else 0.70 - 1.2 * (q - 0.5)


# --- how far decay has gone -----------------------------------------------------------------------

Law = tuple[Floats, Floats]  # states and their weights, which sum to 1


def under_a_body(
    dbh: float,
    median: float,
    spread: float,
    *,
    years: float,
    counted: bool = False,
    host: float = 1.0,
) -> Law:
    """Decayed share of diameter under a fruiting body: spread rate by years, to the living shell.

    median : radial rate at 50 cm [cm/year]; years : of fruiting, or of layers counted.
    """
    rates = (
        median * host * sqrt(dbh / 50.0) * np.exp(spread * norm.ppf((np.arange(400) + 0.5) / 400))
    )
    lags = 10.0 * np.exp(0.54 * FEW)
    fruited = np.array([years]) if counted else years * np.exp(0.90 * FEW)
    weights = np.ones(1) if counted else FEW_WEIGHTS
    t = lags[:, None] + fruited[None, :]
    x = 2.0 * rates[:, None, None] * t / dbh
    each = np.broadcast_to(FEW_WEIGHTS[:, None] * weights / 400.0, x.shape)
    return np.minimum(x.ravel(), 1.0 - 3.0 / dbh), each.ravel()


def without_a_sign(dbh: float, share: float, *, condition: float, host: float = 1.0) -> Law:
    """A soft threshold in the diameter for any decay, and a Beta law for how much."""
    some = 1.0 - exp(-share * np.log1p(exp(0.128 + 1.1 * log(dbh / 38.0))) * condition)
    ranks = (np.arange(4_000) + 0.5) / 4_000
    states = beta.ppf(ranks, 0.488, 1.895 * host)
    return np.append(states, 0.0), np.append(np.full(4_000, some / 4_000), 1.0 - some)


def of_roots(mean: float) -> Law:
    """Share of the root plate lost under a fungus of roots."""
    ranks = (np.arange(4_000) + 0.5) / 4_000
    return beta.ppf(ranks, 4.0 * mean, 4.0 * (1.0 - mean)), np.full(4_000, 1.0 / 4_000)


def measured(law: Law, seen: Callable[[Floats], Floats]) -> Law:
    """The law after a reading: weights times its likelihood."""
    weights = law[1] * seen(law[0])
    return law[0], weights / weights.sum()


def mixed(*laws: tuple[float, Law]) -> Law:
    """Several laws by their weights."""
    return (
        np.concatenate([states for _, (states, _) in laws]),
        np.concatenate([share * weights for share, (_, weights) in laws]),
    )


def mean_of(law: Law) -> float:
    """Mean state."""
    return float(law[0] @ law[1])


def expected(law: Law, chance: Callable[[float], float]) -> float:
    """Mean of a chance over the states, from its values at 400 points joined by straight lines."""
    points = np.concatenate([[0.0], (np.arange(400) + 0.5) / 400.0])
    # x = 0 is a state of its own: from there the next point is a jump, not a slope.
    values = np.array([chance(float(at)) for at in points])
    states = np.where(law[0] <= 0.0, values[0], np.interp(law[0], points[1:], values[1:]))
    return float(states @ law[1])


def stem_chance(tree: Tree, rot: str, opening_deg: float = 0.0) -> Callable[[float], float]:
    """Yearly chance by the decayed share, averaged over the weak zone's width."""

    def of(x: float) -> float:
        return sum(
            weight * yearly(tree, stem_kept(x, rot, zone, opening_deg), roots=False)
            for zone, weight in zone_points(rot)
        )

    return of


def root_chance(tree: Tree) -> Callable[[float], float]:
    """Yearly chance by the share of roots lost."""
    return lambda q: yearly(tree, roots_kept(q), roots=True)
