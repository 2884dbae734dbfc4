"""Tabulated chances against the same sums over all gusts, tree by tree; laws of the chain."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.scoring.mechanics import fragility as fr
from pipeline.scoring.mechanics import lookup
from pipeline.terms import RotType
from pipeline.units import Floats, Ints
from tests.scoring.mechanics import world

KINDS = np.array(list(RotType), np.int8)
SEASONS = np.array([1.0, 0.7])
STATED_ERROR = 0.005


def _ln_kept() -> Floats:
    return np.stack([world.stem_kept(world.CELLS, rot) for rot in KINDS])


def _tables(spread: float, stood: float) -> tuple[lookup.ChanceTable, lookup.ChanceTable]:
    one = lookup.chance_table(
        world.gusts(), world.parameters().wind, spread=spread, stood=stood, years=1.0, season=0.5
    )
    return one, one


def _sums(parts: lookup.SoundParts, kind: Ints, spread: float, stood: float) -> Floats:
    """Every state of every part summed over all gusts, (n, cells)."""
    rows = []
    ln_kept, weights = _ln_kept(), world.parameters().zone.weights
    for c, g, k in zip(parts.capacity, parts.ln_profile, kind, strict=True):
        one = world.OnePart(float(c), float(g), spread, 0)
        rows.append(world.yearly(one, ln_kept[k], weights, stood=stood))
    return np.maximum.accumulate(np.stack(rows), axis=1)


@pytest.fixture(scope="module")
def sample() -> tuple[lookup.SoundParts, Ints, Floats]:
    random = np.random.default_rng(6)
    n = 40
    parts = lookup.sound_parts(
        random.uniform(6.5, 9.0, n), np.exp(random.uniform(-0.3, 0.35, n)), world.parameters().wind
    )
    weights = random.dirichlet(np.full(len(world.CELLS), 0.3), n)
    return parts, random.integers(0, 4, n), weights


@pytest.mark.parametrize(("spread", "stood"), [(0.42, 3.0), (0.57, 0.0)])
def test_means_over_states_are_off_by_less_than_stated(
    spread: float, stood: float, sample: tuple[lookup.SoundParts, Ints, Floats]
) -> None:
    parts, kind, weights = sample
    p = world.parameters()
    direct = _sums(parts, kind, spread, stood)
    seasons = _tables(spread, stood)
    own = lookup.state_chances(seasons, SEASONS, parts, _ln_kept()[kind], p.zone.weights, p.wind)
    told = lookup.summarise(own, weights, p.limits.yearly)
    assert told.mean == pytest.approx((weights * direct).sum(axis=1), rel=STATED_ERROR)
    assert told.words.sum(axis=1) == pytest.approx(1.0)
    assert (told.low <= told.median).all()
    assert (told.median <= told.high).all()


def test_nothing_to_look_up_gives_nothing() -> None:
    none = np.zeros(0)
    parts = lookup.SoundParts(none, none, none)
    p = world.parameters()
    few = _ln_kept()[:1, :9]
    own = lookup.state_chances(_tables(0.5, 3.0), SEASONS, parts, few, p.zone.weights, p.wind)
    told = lookup.summarise(own, np.zeros((0, 9)), p.limits.yearly)
    assert told.mean.shape == (0,)
    assert told.words.shape == (0, 4)


def test_a_part_of_which_nothing_is_known_stays_unknown() -> None:
    p, nan = world.parameters(), np.array([np.nan, 7.5])
    parts = lookup.sound_parts(nan, np.ones(2), p.wind)
    seasons, few = _tables(0.5, 3.0), _ln_kept()[:1, :9]
    told = lookup.state_chances(seasons, SEASONS, parts, few, p.zone.weights, p.wind)
    assert np.isnan(told[0]).all()
    assert np.isfinite(told[1]).all()


diameters, woods = st.floats(10, 150), st.sampled_from([0, 1])


def _stem(dbh: float, wood: int, rot: int, gusts: fr.Gusts | None = None, **k: float) -> Floats:
    kept, weights = world.stem_kept(world.CELLS[::10], rot), world.parameters().zone.weights
    return world.yearly(world.part(dbh, wood, roots=False), kept, weights, of=gusts, **k)


@given(diameters, woods)
@settings(max_examples=15)
def test_brown_rot_never_fails_less_often_than_white(dbh: float, wood: int) -> None:
    white = np.maximum.accumulate(_stem(dbh, wood, RotType.WHITE))
    brown = np.maximum.accumulate(_stem(dbh, wood, RotType.BROWN))
    assert (brown >= white * (1 - 1e-9)).all()


@given(diameters, woods, st.sampled_from(["as_nzs_a", "as_nzs_b", "en_recommended", "asce_7"]))
@settings(max_examples=15)
def test_a_doubled_gust_climate_never_lowers_the_chance(dbh: float, wood: int, region: str) -> None:
    one = world.climate(region)
    twice = type(one)(one.form, one.a, one.b, one.c, 2 * one.multiplier)
    p = world.parameters().fragility
    mild = _stem(dbh, wood, 1, fr.gusts_of(one, p))
    wild = _stem(dbh, wood, 1, fr.gusts_of(twice, p))
    assert (wild >= mild * (1 - 1e-9)).all()


@given(diameters, woods)
@settings(max_examples=15)
def test_three_years_fail_more_often_than_one_and_less_than_three_times(
    dbh: float, wood: int
) -> None:
    one, three = _stem(dbh, wood, 1), _stem(dbh, wood, 1, years=3.0)
    assert (three > one).all()
    assert (three <= 1 - (1 - one) ** 3 + 1e-12).all()


@given(diameters, woods)
@settings(max_examples=15)
def test_having_stood_never_speaks_against_a_tree(dbh: float, wood: int) -> None:
    assert (_stem(dbh, wood, 1) <= _stem(dbh, wood, 1, stood=0.0) + 1e-12).all()


def test_weak_trees_stay_numbers_in_a_wild_climate() -> None:
    # Gumbel with hardly any scatter: a tree that cannot have stood must still get a chance.
    p = world.parameters()
    one = type(world.climate())(2, 40.0, 0.5, 0.0, 1.0)
    table = lookup.chance_table(
        fr.gusts_of(one, p.fragility), p.wind, spread=0.4, stood=3.0, years=1.0, season=0.5
    )
    assert np.isfinite(table.ln_p).all()
    assert np.isfinite(table.ln_stood).all()
    assert (np.diff(table.ln_p, axis=0) <= 0).all()
