"""Loads, resistances, climates and chances against values worked out elsewhere."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr

from pipeline.scoring.decay.residual import strength_kept
from pipeline.scoring.mechanics import allometry, branches, climate, fragility, resistance, wind
from pipeline.scoring.mechanics.wind import CrownLoad
from pipeline.units import Floats
from tests.helpers import check_rows
from tests.scoring.mechanics import world

pytestmark = pytest.mark.published


def _woods(wood: Floats) -> "np.typing.NDArray[np.int8]":
    return wood.astype(np.int8)


def _load(dbh: Floats, wood: Floats) -> CrownLoad:
    kind, p = _woods(wood), world.parameters()
    height = allometry.curve_height(dbh, kind, p.curves)
    return wind.crown_load(height, allometry.curve_crown(dbh, kind, p.curves), kind, p.wind)


def _roots(dbh: Floats, wood: Floats, _v: Floats) -> Floats:
    kind, p = _woods(wood), world.parameters()
    height = allometry.curve_height(dbh, kind, p.curves)
    dry = np.zeros(len(dbh), np.bool_)
    return resistance.root_moment(dbh, height, kind, wet=dry, resistance=p.resistance)


def _multiplier(*, roots: bool) -> Callable[..., Floats]:
    def of(dbh: Floats, wood: Floats, _v: Floats) -> Floats:
        is_roots = np.full(len(dbh), roots)
        return fragility.load_multiplier(
            dbh, _woods(wood), roots=is_roots, fragility=world.parameters().fragility
        )

    return of


LOADS: dict[str, Callable[..., Floats]] = {
    "height": lambda dbh, w, _v: allometry.curve_height(dbh, _woods(w), world.parameters().curves),
    "crown": lambda dbh, w, _v: allometry.curve_crown(dbh, _woods(w), world.parameters().curves),
    "moment": lambda dbh, w, v: wind.moment(v, _load(dbh, w), world.parameters().wind),
    "leafless": lambda dbh, w, v: (
        wind.moment(v, _load(dbh, w), world.parameters().wind)
        * world.parameters().wind.leafless[_woods(w)]
    ),
    "root_moment": _roots,
    "stem_moment": lambda dbh, _w, _v: resistance.stem_moment(
        dbh, np.full(len(dbh), 50.0), world.parameters().resistance
    ),
    "multiplier_roots": _multiplier(roots=True),
    "multiplier_stem": _multiplier(roots=False),
}


@pytest.mark.parametrize("quantity", LOADS)
def test_loads_and_resistances(quantity: str) -> None:
    inputs = ("diameter_cm", "wood", "gust")
    check_rows("mechanics/load", LOADS[quantity], inputs=inputs, where={"quantity": quantity})


def _open_gust(region: str) -> Callable[..., Floats]:
    def of(years: Floats, _b: Floats, _c: Floats) -> Floats:
        one = world.climate(region)
        return climate.gust_of_rate(1.0 / years, one) / one.multiplier

    return of


CLIMATES: dict[str, Callable[..., Floats]] = {
    "rate_power": lambda v, _b, _c: climate.rate_above(v, world.climate()),
    "rate_en": lambda v, _b, _c: climate.rate_above(v, world.climate("en_recommended")),
    "region_a": _open_gust("as_nzs_a"),
    "region_b": _open_gust("as_nzs_b"),
    "factor": lambda p, k, n: np.concatenate(
        [climate.probability_factor(p[i : i + 1], shape=k[i], power=n[i]) for i in range(len(p))]
    ),
    "encounter": lambda p, n, _c: climate.encounter(p, n),
    "asce": lambda years, _b, _c: _open_gust("asce_7")(years, _b, _c) / 39.27,
}


@pytest.mark.parametrize("quantity", CLIMATES)
def test_gusts(quantity: str) -> None:
    check_rows(
        "mechanics/climate", CLIMATES[quantity], inputs=("a", "b", "c"),
        where={"quantity": quantity},
    )  # fmt: skip


def test_lognormal_fragilities_in_one_season() -> None:
    def of(median: Floats, spread: Floats, stood: Floats, years: Floats) -> Floats:
        speed = world.gusts().speed
        return np.array(
            [
                fragility.chance(
                    np.log(speed / m) / s, world.gusts(), stood=before, years=n, season=1.0
                ).fails
                for m, s, before, n in zip(median, spread, stood, years, strict=True)
            ]
        )

    check_rows("mechanics/fragility", of, inputs=("median_gust", "spread", "stood", "years"))


def _rows(one: Callable[[float, int, int, float], float]) -> Callable[..., Floats]:
    def of(dbh: Floats, wood: Floats, rot: Floats, x: Floats) -> Floats:
        cells = zip(dbh, wood, rot, x, strict=True)
        return np.array([one(d, int(w), int(r), share) for d, w, r, share in cells])

    return of


def _stem(dbh: float, wood: int, rot: int, x: float) -> float:
    weights = world.parameters().zone.weights
    kept = world.stem_kept(np.array([x]), rot)
    return float(world.yearly(world.part(dbh, wood, roots=False), kept, weights)[0])


def _anchored(dbh: float, wood: int, _rot: int, q: float) -> float:
    kept = world.roots_kept(np.array([q]))
    return float(world.yearly(world.part(dbh, wood, roots=True), kept, world.ONE)[0])


def _critical(dbh: float, wood: int, x: float, *, roots: bool) -> float:
    p, one = world.parameters(), world.part(dbh, wood, roots=roots)
    kept = world.roots_kept(np.array([x])) if roots else world.stem_kept(np.array([x]), 1)
    ln_kept = kept @ (world.ONE if roots else p.zone.weights)
    gust = fragility.critical_gust(one.capacity + ln_kept, np.array(one.ln_profile), p.wind)
    return float(gust[0])


def _sound(dbh: float, wood: int, rot: int, x: float) -> float:
    both = np.array([_stem(dbh, wood, 1, 0.0), _anchored(dbh, wood, rot, x)])
    return float(fragility.joined(both))


def _sound_gust(dbh: float, wood: int, _rot: int, _x: float) -> float:
    parts = [world.part(dbh, wood, roots=roots) for roots in (True, False)]

    def half(v: float) -> float:
        stands = 1.0
        for one in parts:
            load = wind.shape(np.array(v * np.exp(one.ln_profile)), world.parameters().wind)
            stands *= 1.0 - float(ndtr((np.log(load) - one.capacity) / one.spread))
        return stands - 0.5

    return float(brentq(half, 10, 150))


def _whole(dbh: float, wood: int, _rot: int, _x: float) -> float:
    weights = world.parameters().zone.weights
    stem = world.yearly(
        world.part(dbh, wood, roots=False), world.stem_kept(world.CELLS, 1), weights
    )
    roots = world.yearly(
        world.part(dbh, wood, roots=True), world.roots_kept(world.CELLS), world.ONE
    )
    means = [world.prior(dbh, 0.60) @ roots, *(world.prior(dbh, s) @ stem for s in (0.55, 0.45))]
    return float(fragility.joined(np.array(means)))


def _any_branch(dbh: float, wood: int, _rot: int, _x: float) -> float:
    p = world.parameters()
    kept = strength_kept(world.CELLS, np.array(1, np.int8), p.zone)
    no = np.zeros(kept.shape, np.bool_)
    each = branches.branch_chance(
        kept, no, np.array(world.loads(wood)), world.gusts(), p.branches,
        season_shares=(0.5, 0.5), years=1.0, weak_union=no,
    )  # fmt: skip
    return float(world.prior(dbh, 0.60) @ (each @ p.zone.weights))


TREES: dict[str, Callable[..., Floats]] = {
    "stem": _rows(_stem),
    "roots": _rows(_anchored),
    "gust_stem": _rows(lambda dbh, w, _r, x: _critical(dbh, w, x, roots=False)),
    "gust_roots": _rows(lambda dbh, w, _r, x: _critical(dbh, w, x, roots=True)),
    "sound": _rows(_sound),
    "sound_gust": _rows(_sound_gust),
    "whole": _rows(_whole),
    "any_branch": _rows(_any_branch),
    "branch_share": lambda v, _w, _r, _x: branches.failing_share(
        v, np.ones(len(v)), np.ones(len(v)), world.parameters().branches
    ),
}


@pytest.mark.parametrize("quantity", TREES)
def test_trees(quantity: str) -> None:
    check_rows(
        "mechanics/trees", TREES[quantity], inputs=("diameter_cm", "wood", "rot", "x"),
        where={"quantity": quantity},
    )  # fmt: skip


def test_branches_of_sound_trees_fail_as_often_as_in_rochester() -> None:
    # Luley, Sisinni & Pleninger 2002, abstract: 7.6 (requests) and 6.5 (work done) per 1,000 trees
    # a year, three times as many in leaf as without; one city, so a band.
    p, no = world.parameters(), np.zeros(1, np.bool_)

    def chance(loads: tuple[float, ...], shares: tuple[float, ...]) -> float:
        told = branches.branch_chance(
            np.ones(1), no, np.array(loads), world.gusts(), p.branches,
            season_shares=shares, years=1.0, weak_union=no,
        )  # fmt: skip
        return float(told[0])

    year = chance(world.loads(0), (0.5, 0.5))
    in_leaf, leafless = chance((1.0,), (0.5,)), chance((world.loads(0)[1],), (0.5,))
    assert 0.003 < year < 0.015
    assert 2.0 < (in_leaf - p.branches.calm) / (leafless - p.branches.calm) < 4.0
