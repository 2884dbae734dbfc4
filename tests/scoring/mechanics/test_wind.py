"""Wind loads: scaling laws of Virot, powers of the drag, published resistances' proportions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.mechanics import fragility, resistance, wind
from tests.scoring.mechanics import world

speeds = st.floats(0.5, 120)


def _critical(diameter_m: float, height_m: float, rupture: float = 50.0) -> float:
    """Critical gust of a sound stem whose crown is half as wide as the tree is tall."""
    p = world.parameters()
    dbh, tall_m, kind = np.array([diameter_m * 100]), np.array([height_m]), np.zeros(1, np.int8)
    load = wind.crown_load(tall_m, tall_m / 2, kind, p.wind)
    bears = resistance.stem_moment(dbh, np.array([rupture]), p.resistance)
    factor = fragility.load_multiplier(dbh, kind, roots=np.array([False]), fragility=p.fragility)
    capacity = fragility.ln_capacity(bears, load.base, factor)
    return float(fragility.critical_gust(capacity, np.log(load.profile), p.wind)[0])


@pytest.mark.published
@pytest.mark.parametrize(
    ("times_d", "times_l", "published", "ours"),
    [(2**1.5, 2.0, 1.0905, 0.983), (2.0, 1.0, 1.68, 2.22), (1.0, 2.0, 0.50, 0.280)],
)
def test_critical_gusts_beside_virots_ratios(
    times_d: float, times_l: float, published: float, ours: float
) -> None:
    # Virot et al. 2016: V ~ D^0.75 / L; + 9 % for a doubled height where D ~ L^1.5. Grown both
    # ways together ours moves as little (- 2 %). Grown one way only it moves more, a known miss:
    # stress here goes with M / D^3, and there is no strength that falls with size. `ours` is what
    # was measured, so that a change of it is seen.
    ratio = _critical(0.4 * times_d, 12 * times_l) / _critical(0.4, 12)
    assert ratio == pytest.approx(ours, abs=0.01)
    together = times_d > 2.5
    assert 0.5 < ratio / published < 1.5
    assert not together or 0.85 < ratio / published < 1.15


@pytest.mark.published
def test_oak_and_pine_differ_by_less_than_a_tenth() -> None:
    # Virot et al. 2016, abstract: less than 10 % between oak and pine; green oak and Scots pine
    # 59 and 46 MPa, Lavers 1983, from memory.
    assert 1.0 < _critical(0.4, 12, 59.0) / _critical(0.4, 12, 46.0) < 1.10


@pytest.mark.published
@pytest.mark.parametrize("wood", [0, 1])
def test_the_gust_that_fells_sound_roots_hardly_follows_size(wood: int) -> None:
    # Virot et al. 2016: about 42 m/s whatever the tree. The near-constancy is met, the level is
    # not: 54-61 m/s at 10 m over open-grown trees here, where theirs are gusts over a forest.
    p = world.parameters().wind
    found = []
    for dbh in (10, 20, 40, 80, 150):
        one = world.part(dbh, wood, roots=True)
        found.append(
            float(fragility.critical_gust(np.array(one.capacity), np.array(one.ln_profile), p))
        )
    assert max(found) / min(found) < 1.25
    assert 45 < min(found) < max(found) < 65


@given(speeds, speeds)
def test_a_stronger_gust_never_loads_less(v: float, u: float) -> None:
    low, high = wind.shape(np.sort(np.array([v, u])), world.parameters().wind)
    assert low <= high


@given(speeds)
def test_critical_speed_is_the_inverse_of_the_load(v: float) -> None:
    p = world.parameters().wind
    back = np.exp(wind.ln_critical_speed(np.log(wind.shape(np.array([v]), p)), p))
    assert back == pytest.approx([v])


@pytest.mark.published
def test_drag_grows_with_the_speed_as_tunnels_found() -> None:
    # Vollsinger et al. 2005 and a 60 m/s tunnel: exponent 1.0-1.6 between 10 and 30 m/s in leaf;
    # a crown that does not streamline is loaded more at 30 m/s.
    p = world.parameters().wind
    low, high = wind.shape(np.array([10.0, 30.0]), p)
    assert 1.0 <= np.log(high / low) / np.log(3.0) <= 1.6
    rigid = low * 9
    assert rigid > high


@pytest.mark.published
def test_a_doubled_diameter_and_height() -> None:
    # Peltola et al. 2000: uprooting goes with H D^2, breakage with D^3.
    p = world.parameters().resistance
    kind, dry = np.zeros(3, np.int8), np.zeros(3, np.bool_)
    roots = resistance.root_moment(
        np.array([30.0, 60, 30]), np.array([15.0, 15, 30]), kind, wet=dry, resistance=p
    )
    stem = resistance.stem_moment(np.array([30.0, 60]), np.array([50.0, 50]), p)
    assert roots[1:] / roots[0] == pytest.approx([4, 2])
    assert stem[1] / stem[0] == pytest.approx(8)


@pytest.mark.published
def test_wet_ground_halves_roots_only() -> None:
    # Forests 2022, 13:1875: 35-50 % less in saturated soil.
    p = world.parameters().resistance
    kind = np.zeros(2, np.int8)
    dry, wet = resistance.root_moment(
        np.array([40.0, 40]), np.array([12.0, 12]), kind, wet=np.array([False, True]), resistance=p
    )
    assert 0.50 <= wet / dry <= 0.65


@pytest.mark.published
def test_spread_of_winched_trees_and_what_a_pull_test_takes_off() -> None:
    # Detter et al. 2023, tables A1 and A2: residual sums of squares over degrees of freedom.
    p = world.parameters().fragility
    assert p.resistance_spread[0] == pytest.approx(np.sqrt(29.51 / 267), abs=5e-4)
    assert p.pulled_spread == pytest.approx(np.sqrt(14.3 / 267), abs=5e-4)
    no, yes = np.array([False]), np.array([True])
    pulled, not_pulled = (
        fragility.spread_of(roots=yes, pulled=told, no_height=no, no_crown=no, fragility=p)
        for told in (yes, no)
    )
    assert pulled < not_pulled
    stem = fragility.spread_of(roots=no, pulled=yes, no_height=no, no_crown=no, fragility=p)
    assert stem == fragility.spread_of(roots=no, pulled=no, no_height=no, no_crown=no, fragility=p)


@given(st.floats(10, 150), st.sampled_from([0, 1]))
def test_what_is_not_measured_widens_the_spread(dbh: float, wood: int) -> None:
    p = world.parameters().fragility
    yes, no = np.array([True]), np.array([False])
    told = [
        float(fragility.spread_of(roots=no, pulled=no, no_height=h, no_crown=w, fragility=p)[0])
        for h, w in ((no, no), (no, yes), (yes, no), (yes, yes))
    ]
    assert told == sorted(told)
    assert world.part(dbh, wood, roots=False).spread == told[-1]


def test_a_measured_crown_length_replaces_the_usual_one() -> None:
    p, kind = world.parameters().wind, np.zeros(3, np.int8)
    tall_m, wide_m = np.full(3, 20.0), np.full(3, 10.0)
    told = wind.crown_load(tall_m, wide_m, kind, p, length_m=np.array([np.nan, 5.0, 50.0]))
    usual, short, whole = told.base
    assert short < usual < whole
    # A crown of the whole height has its centre half way up: 1/2 1.2/1000 0.25 (0.785 10 20) 10.
    assert whole == pytest.approx(0.0006 * 0.25 * 0.785 * 10 * 20 * 10)


def test_units_in_are_units_out() -> None:
    # The same tree told in centimetres and inches: the same moment, if converted before.
    p, kind = world.parameters(), np.zeros(1, np.int8)
    inches = np.array([16.0])
    moment = resistance.stem_moment(inches * 2.54, np.array([50.0]), p.resistance)
    # 0.8 x 50 MPa x pi 0.4064^3 / 32 m3, in kN m.
    assert moment == pytest.approx(0.8 * 50e3 * np.pi * 0.4064**3 / 32)
    load = wind.crown_load(np.array([12.0]), np.array([9.0]), kind, p.wind)
    feet = wind.crown_load(np.array([12.0 / 0.3048]) * 0.3048, np.array([9.0]), kind, p.wind)
    assert feet.base == pytest.approx(load.base)
