"""From fungus to chance: class grids and worked trees, and what storms and cities have shown."""

import csv
from functools import cache

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import beta

from pipeline.scoring.decay.prior import HOSTS
from pipeline.scoring.decay.spread import SpreadTables, class_grids
from pipeline.scoring.mechanics import branches, fragility, wind
from pipeline.scoring.mechanics.lookup import summarise
from pipeline.units import Floats
from tests.helpers import CHECK_VALUES, check_values
from tests.scoring.decay.asking import LAW
from tests.scoring.mechanics import world

LETTERS, LIFESPANS = "ABCMLU", ("annual", "perennial")


def _class_grid(letter: str, lifespan: str, diameter: float, host: str = "middle") -> Floats:
    kind = 2 * LETTERS.index(letter) + LIFESPANS.index(lifespan)
    masses = class_grids(
        np.array([kind]), np.array([HOSTS.index(host)]), np.array([np.nan]),
        np.array([diameter], np.float64), LAW.grid, SpreadTables(LAW.spread),
    )  # fmt: skip
    return np.asarray(masses[0], np.float64)


def _root_grid(mean: float) -> Floats:
    body = np.diff(beta.cdf(world.EDGES, 4 * mean, 4 * (1 - mean)))
    return np.concatenate([[0.0], body])


def _stem(one: world.OnePart, rot: int = 1, years: float = 1.0) -> Floats:
    weights = world.parameters().zone.weights
    return world.yearly(one, world.stem_kept(world.CELLS, rot), weights, years=years)


def _roots(one: world.OnePart, years: float = 1.0) -> Floats:
    return world.yearly(one, world.roots_kept(world.CELLS), world.ONE, years=years)


@pytest.mark.published
@pytest.mark.parametrize("row", check_values("mechanics/classes"), ids=lambda row: row["case"])
def test_butts_with_a_fruiting_body(row: dict[str, str]) -> None:
    found = _class_grid(row["class"], row["lifespan"], 55) @ _stem(
        world.part(55, 0, roots=False), int(row["rot"])
    )
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def _band(p: Floats, weights: Floats) -> tuple[float, float]:
    told = summarise(p[None], weights[None], world.parameters().limits.yearly)
    return float(told.low[0]), float(told.high[0])


# Worked beforehand by a separate program from the same formulae; 1 %, bands 2 % (a cell).


def test_lacquered_shelf_on_the_butt_of_a_maple() -> None:
    size = {"height": 15.0, "crown": 12.0, "rupture": 53.0}
    butt, roots = (world.part(55, 0, roots=r, **size) for r in (False, True))  # type: ignore[arg-type]
    grid = _class_grid("B", "annual", 55)
    below = 0.5 * _root_grid(0.45) + 0.5 * world.prior(55, 0.60)
    of_butt, of_roots = grid @ _stem(butt), below @ _roots(roots)
    assert of_butt == pytest.approx(0.0232, rel=0.01)
    assert _band(_stem(butt), grid) == pytest.approx((0.0006, 0.115), rel=0.02)
    assert grid @ _stem(butt, years=3.0) == pytest.approx(0.0531, rel=0.01)
    assert of_roots == pytest.approx(0.0073, rel=0.01)
    assert fragility.joined(np.array([of_butt, of_roots])) == pytest.approx(0.0303, rel=0.01)


def test_mushroom_in_mulch_by_a_maple() -> None:
    stem, roots = (world.part(45, 0, roots=r, rupture=53.0) for r in (False, True))
    below = world.prior(45, 0.60, condition=0.7)
    assert below @ _roots(roots) == pytest.approx(0.00173, rel=0.01)
    assert _band(_roots(roots), below) == pytest.approx((0.0007, 0.0016), rel=0.05)
    assert below @ _roots(roots, years=3.0) == pytest.approx(0.0044, rel=0.015)
    above = [world.prior(45, s, condition=0.7) @ _stem(stem) for s in (0.55, 0.45)]
    whole = fragility.joined(np.array([below @ _roots(roots), *above]))
    assert whole == pytest.approx(0.0033, rel=0.015)


def test_giant_rosette_on_the_roots_of_a_beech_in_wet_soil() -> None:
    size = {"height": 22.0, "crown": 18.0, "rupture": 59.0}
    roots = world.part(80, 0, roots=True, wet=True, **size)
    butt = world.part(80, 0, roots=False, **size)  # type: ignore[arg-type]
    below = _root_grid(0.60)
    above = 0.5 * _class_grid("B", "annual", 80, "poor") + 0.5 * world.prior(80, 0.55, host=0.8)
    of_roots, of_butt = below @ _roots(roots), above @ _stem(butt)
    assert of_roots == pytest.approx(0.153, rel=0.01)
    assert _band(_roots(roots), below) == pytest.approx((0.049, 0.323), rel=0.02)
    assert below @ _roots(roots, years=3.0) == pytest.approx(0.316, rel=0.01)
    assert of_butt == pytest.approx(0.0398, rel=0.01)
    assert fragility.joined(np.array([of_roots, of_butt])) == pytest.approx(0.186, rel=0.01)
    kept = world.roots_kept(np.array([0.60]))[:, 0]
    gust = fragility.critical_gust(
        roots.capacity + kept, np.array(roots.ln_profile), world.parameters().wind
    )
    assert gust == pytest.approx([26.2], abs=0.05)


def _fallen(one: world.OnePart, ln_kept: Floats, weights: Floats, gust: float) -> Floats:
    """Share of such trees that have stood which a gust at the tree fells, by state; (cells,)."""
    known = world.gusts()
    past = np.exp(-3.0 * 0.5 * known.rate)
    load = np.log(wind.shape(np.exp(one.ln_profile) * known.speed, world.parameters().wind))
    deviation = (load - (one.capacity + ln_kept)[..., None]) / one.spread
    fails = np.einsum("xzv,z->xv", ndtr(deviation), weights)
    stands = np.einsum("xz,z->x", ndtr(-deviation[..., -1]), weights) * past[-1]
    gone = np.cumsum(np.diff(fails, axis=1) * (past[1:] + past[:-1]) / 2, axis=1)
    share = gone / (gone[:, -1] + stands)[:, None]
    at = int(np.searchsorted(known.speed, gust))
    return np.asarray(share[:, at - 1])


@cache
def _measured() -> dict[str, float]:
    p = world.parameters()
    found: dict[str, float] = {}
    prior, cells = world.prior(50, 0.55), world.CELLS
    one = world.part(50, 0, roots=False)
    far, little = (cells >= 0.70) & (cells <= 0.95), cells <= 0.50
    for name, rot in (("white", 1), ("brown", 2)):
        chance = _stem(one, rot)
        advanced, before = (
            float((prior * chance)[w].sum() / prior[w].sum()) for w in (far, little)
        )
        found[f"advanced_{name}"], found[f"ratio_{name}"] = advanced, advanced / before
    serious = cells > 0.69
    signed = prior * np.where(serious, 0.88, 0.533) * (cells > 0.2)
    for gust in (33, 40):
        fallen = _fallen(one, world.stem_kept(cells, 1), p.zone.weights, gust)
        found[f"caught_{gust}"] = float((signed * fallen)[serious].sum() / (signed @ fallen))
        stands = signed * (1 - fallen)
        found[f"condemned_{gust}"] = float(stands[serious].sum() / stands.sum())
    lost = []
    for diameter in (20, 40):
        stem, roots = (world.part(diameter, 0, roots=r) for r in (False, True))
        of_stem = _fallen(stem, world.stem_kept(cells, 1), p.zone.weights, 42)
        of_roots = _fallen(roots, world.roots_kept(cells), world.ONE, 42)
        each = [world.prior(diameter, 0.60) @ of_roots]
        each += [world.prior(diameter, s) @ of_stem for s in (0.55, 0.45)]
        lost.append(float(fragility.joined(np.array(each))))
    found["whole_42"] = float(np.mean(lost))
    roots = world.part(40, 0, roots=True)
    found["median_gust"] = float(
        fragility.critical_gust(np.array(roots.capacity), np.array(roots.ln_profile), p.wind)
    )
    found["gust_spread"] = roots.spread / 2
    found["root_spread"] = float(p.fragility.resistance_spread[0])
    found["pulled_spread"] = p.fragility.pulled_spread
    return found | _branches()


def _branches() -> dict[str, float]:
    p, no = world.parameters(), np.zeros(1, np.bool_)

    def chance(loads: tuple[float, ...], shares: tuple[float, ...]) -> float:
        told = branches.branch_chance(
            np.ones(1), no, np.array(loads), world.gusts(), p.branches,
            season_shares=shares, years=1.0, weak_union=no,
        )  # fmt: skip
        return float(told[0])

    in_leaf, leafless = chance((1.0,), (0.5,)), chance((world.loads(0)[1],), (0.5,))
    storm = branches.failing_share(np.array([26.0]), np.ones(1), np.ones(1), p.branches)
    return {
        "branches": chance(world.loads(0), (0.5, 0.5)),
        "leaf_ratio": (in_leaf - p.branches.calm) / (leafless - p.branches.calm),
        "branch_26": float(storm[0]),
    }


@pytest.mark.published
@pytest.mark.parametrize("row", check_values("mechanics/anchors"), ids=lambda row: row["case"])
def test_what_storms_and_cities_have_shown(row: dict[str, str]) -> None:
    """Within the published bounds, or a known miss; either way as it was measured."""
    found = _measured()[row["quantity"]]
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))
    within = float(row["low"]) <= found <= float(row["high"])
    assert within == (row["known_miss"] != "yes")


def test_every_line_measured_is_listed() -> None:
    with (CHECK_VALUES / "mechanics" / "anchors.csv").open(encoding="utf-8", newline="") as file:
        listed = {row["quantity"] for row in csv.DictReader(file)}
    assert listed == set(_measured())
