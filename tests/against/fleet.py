"""A made-up city of trees, taken from prior through decay to the chance of failing.

Every tree of a lattice of sizes, kinds, conditions and hosts, weighed by how common it is; nothing
is drawn. Sizes are exponential above 15 cm, so that those over 30 cm have the mean of a surveyed
city; conditions are those of a real survey; conifers and hosts are assumed (common practice, no
source).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import ndtr

from pipeline.scoring.decay.instruments import Instrument
from pipeline.scoring.decay.prior import CONDITIONS, HOSTS
from pipeline.scoring.decay.spread import LIFESPANS
from pipeline.scoring.decay.update import PartRows
from pipeline.scoring.mechanics import branches, fragility, wind
from pipeline.terms import Part, RotType
from pipeline.units import Floats, Ints
from tests.scoring.decay.asking import LAW, NAN, posterior, reading
from tests.scoring.mechanics import world

LIVE = {"good": 0.65, "fair": 0.22, "poor": 0.125}
DEAD = 0.005
KINDS = (0.85, 0.15)  # broadleaf, conifer
HOST_SHARE = {"poor": 0.25, "middle": 0.5, "good": 0.25}
SIZES = 20
DIAMETERS = 15.0 - 20.0 * np.log1p(-(np.arange(SIZES) + 0.5) / SIZES)
WOOD = (Part.BUTT, Part.STEM)
PARTS = (Part.ROOTS, *WOOD)
X = LAW.grid.x
SERIOUS = LAW.grid.serious_above


@dataclass(frozen=True)
class Fleet:
    """Trees of the lattice, each field of shape (trees,); weights sum to 1.

    `size` and `wood` name the row of `Chances` that a tree shares with others.
    """

    diameter: Floats
    size: Ints
    wood: Ints
    condition: Ints
    host: Ints
    weight: Floats

    def rows(self, part: Part) -> PartRows:
        """One part of every tree, as the grids of decay are asked for."""
        kind = np.full(len(self.size), part, np.int8)
        return PartRows(kind, self.diameter, self.condition, self.host)

    def mean(self, of_tree: Floats, where: Floats | None = None) -> float:
        """Mean over the fleet, or over some of it."""
        weight = self.weight if where is None else self.weight * where
        return float(of_tree @ weight / weight.sum())


@cache
def fleet(*, dead: bool = False) -> Fleet:
    """The live trees, with dead ones if told; without any evidence."""
    mix = LIVE | ({"dead": DEAD} if dead else {})
    size, wood, condition, host = (
        at.ravel()
        for at in np.meshgrid(
            np.arange(SIZES), np.arange(2),
            [CONDITIONS.index(name) for name in mix], [HOSTS.index(name) for name in HOST_SHARE],
            indexing="ij",
        )
    )  # fmt: skip
    shares = np.zeros(len(CONDITIONS))
    shares[[CONDITIONS.index(name) for name in mix]] = list(mix.values())
    of_host = np.zeros(len(HOSTS))
    of_host[[HOSTS.index(name) for name in HOST_SHARE]] = list(HOST_SHARE.values())
    weight = np.array(KINDS)[wood] * shares[condition] * of_host[host]
    return Fleet(DIAMETERS[size], size, wood, condition, host, weight / weight.sum())


@cache
def masses(part: Part, *, dead: bool = False, sign: bool = False) -> Floats:
    """Grids of decay of a part of every tree, shape (trees, cells + 1)."""
    of = fleet(dead=dead)
    seen = [reading(Instrument.SIGN, row=n) for n in range(len(of.size))] if sign else []
    return posterior(of.rows(part), (), seen)


@cache
def with_body(letter: str, lifespan: str) -> Floats:
    """Grids of the butts of all live trees with an attached body of a class."""
    of = fleet()
    kind = len(LIFESPANS) * LAW.spread.classes.index(letter) + LIFESPANS.index(lifespan)
    told = [(n, n, kind, 0, 1.0, NAN) for n in range(len(of.size))]
    return posterior(of.rows(Part.BUTT), told)


@dataclass(frozen=True)
class Column:
    """States of decay of parts of one size and kind: what the sums over gusts need."""

    one: world.OnePart
    ln_kept: Floats
    weights: Floats


def _column(
    size: int, kind: int, part: Part, rot: RotType = RotType.WHITE, *, wet: bool = False
) -> Column:
    roots = part == Part.ROOTS
    one = world.part(float(DIAMETERS[size]), kind, roots=roots, wet=wet)
    if roots:
        return Column(one, world.roots_kept(X), world.ONE)
    return Column(one, world.stem_kept(X, int(rot)), world.parameters().zone.weights)


@cache
def yearly(
    part: Part, rot: RotType = RotType.WHITE, *, wet: bool = False, stood: float = 3.0
) -> Floats:
    """Yearly chance by state, shape (sizes, kinds, cells + 1)."""
    told = np.empty((SIZES, len(KINDS), len(X)))
    for size in range(SIZES):
        for kind in range(len(KINDS)):
            c = _column(size, kind, part, rot, wet=wet)
            told[size, kind] = world.yearly(c.one, c.ln_kept, c.weights, stood=stood)
    return told


@cache
def felled(part: Part, gust: float, rot: RotType = RotType.WHITE, *, wet: bool = False) -> Floats:
    """Share of parts that have stood which one gust at the tree fells, shaped like `yearly`."""
    told = np.empty((SIZES, len(KINDS), len(X)))
    for size in range(SIZES):
        for kind in range(len(KINDS)):
            c = _column(size, kind, part, rot, wet=wet)
            told[size, kind] = _felled(c, gust)
    return told


def _felled(c: Column, gust: float) -> Floats:
    """Share felled by state, in leaf, of parts that have withstood their past gusts."""
    p, known = world.parameters(), world.gusts()
    past = np.exp(-p.fragility.stood * 0.5 * known.rate)
    load = np.log(wind.shape(np.exp(c.one.ln_profile) * known.speed, p.wind))
    deviation = (load - c.ln_kept[..., None] - c.one.capacity) / c.one.spread
    fails = np.einsum("xzv,z->xv", ndtr(deviation), c.weights)
    stands = np.einsum("xz,z->x", ndtr(-deviation[..., -1]), c.weights) * past[-1]
    gone = np.cumsum(np.diff(fails, axis=1) * (past[1:] + past[:-1]) / 2, axis=1)
    share = gone / (gone[:, -1] + stands)[:, None]
    return np.asarray(share[:, int(np.searchsorted(known.speed, gust)) - 1])


def per_tree(by_state: Floats, of_decay: Floats, of: Fleet) -> Floats:
    """Mean over the states of every tree, shape (trees,)."""
    return np.asarray(np.einsum("tx,tx->t", by_state[of.size, of.wood], of_decay))


@cache
def whole_tree(
    gust: float | None = None, *, wet: bool = False, rot: RotType = RotType.WHITE
) -> Floats:
    """Chance that a live tree without a sign fails by any part, in a year or in a gust."""
    of = fleet()
    each = [
        per_tree(
            yearly(part, rot, wet=wet) if gust is None else felled(part, gust, rot, wet=wet),
            masses(part), of,
        )
        for part in PARTS
    ]  # fmt: skip
    return fragility.joined(np.stack(each, axis=-1))


def branch_chance(
    loads: Sequence[float], shares: tuple[float, ...], *, weak: bool = False
) -> float:
    """Yearly chance that a live tree with sound branches loses one."""
    no = np.zeros(1, np.bool_)
    told = branches.branch_chance(
        np.ones(1), no, np.array(loads), world.gusts(), world.parameters().branches,
        season_shares=shares, years=1.0, weak_union=np.array([weak]),
    )  # fmt: skip
    return float(told[0])


def branches_lost(gust: float) -> float:
    """Share of live trees in leaf with sound branches that lose one in a gust."""
    p = world.parameters().branches
    return float(branches.failing_share(np.array([gust]), np.ones(1), np.ones(1), p)[0])


@cache
def sound_gust() -> Floats:
    """Gust that fells half of sound trees by roots or butt, shape (sizes, kinds)."""
    told = np.empty((SIZES, len(KINDS)))
    gusts = np.arange(25.0, 100.0, 0.05)
    for size in range(SIZES):
        for kind in range(len(KINDS)):
            left = np.ones(len(gusts))
            for part in (Part.ROOTS, Part.BUTT):
                left *= ndtr(-_deviation(_column(size, kind, part).one, gusts))
            told[size, kind] = np.interp(-0.5, -left, gusts)
    return told


def _deviation(one: world.OnePart, gusts: Floats) -> Floats:
    load = np.log(wind.shape(np.exp(one.ln_profile) * gusts, world.parameters().wind))
    return np.asarray((load - one.capacity) / one.spread)
