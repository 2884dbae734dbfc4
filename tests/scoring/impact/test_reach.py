"""Reach, pairs within reach, share of fall directions."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.impact.reach import (
    branch_reach,
    direction_shares,
    heights,
    pairs_within,
    stretch,
    whole_tree_reach,
    widened,
)
from pipeline.scoring.parameters.targets import target_parameters

VALUES = target_parameters(Library()).reach
NAN = np.nan


def _share(zone: shapely.Geometry, reach_m: float) -> float:
    zones = np.array([zone], dtype=object)
    return float(direction_shares(np.zeros(1), np.zeros(1), np.array([reach_m]), zones)[0])


def test_a_height_told_is_kept_and_a_missing_one_is_filled() -> None:
    told = np.array([9.0, NAN, NAN])
    height, filled = heights(told, np.array([50.0, 50.0, NAN]), values=VALUES)
    assert filled.tolist() == [False, True, True]
    assert height[0] == 9.0
    assert height[1] == np.interp(50.0, VALUES.dbh_cm, VALUES.height_m)
    assert height[2] == VALUES.height_without_dbh_m


@given(st.floats(0.1, 400), st.floats(0.1, 400))
def test_a_thicker_stem_is_never_taken_for_a_lower_tree(a: float, b: float) -> None:
    low, high = sorted((a, b))
    got, _ = heights(np.array([NAN, NAN]), np.array([low, high]), values=VALUES)
    assert got[0] <= got[1]


def test_a_dead_tree_throws_its_parts_farther() -> None:
    # The danger-tree guide's failure zone is 1.5 x height (Filip et al. 2014, from memory).
    reach = whole_tree_reach(np.array([10.0, 10.0]), np.array([False, True]), values=VALUES)
    assert reach.tolist() == [10.0, 15.0]


def test_a_branch_reaches_as_far_as_the_crown() -> None:
    reach = branch_reach(np.array([12.0, 12.0]), np.array([8.0, NAN]), values=VALUES)
    assert reach[0] == 4.0
    assert reach[1] == 12.0 * VALUES.branch_reach_of_height


@given(st.integers(0, 2**31 - 1))
@settings(max_examples=15, deadline=None)
def test_pairs_against_every_distance(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x, y, reach = (rng.uniform(0, 300, 40) for _ in range(3))
    reach = reach / 6
    zones = shapely.buffer(shapely.points(rng.uniform(0, 300, (12, 2))), rng.uniform(1, 20, 12))
    got = pairs_within(x, y, reach, zones)
    places = np.asarray(shapely.points(x, y), dtype=object)
    every = shapely.distance(places[:, None], zones[None, :]) <= reach[:, None]
    tree, zone = np.nonzero(every)
    assert got.tree.tolist() == tree.tolist()
    assert got.zone.tolist() == zone.tolist()


def test_no_zone_makes_no_pair() -> None:
    none = pairs_within(np.zeros(3), np.zeros(3), np.ones(3), np.zeros(0, dtype=object))
    assert none.tree.size == none.zone.size == 0


@pytest.mark.parametrize(("distance_m", "reach_m"), [(3.0, 15.0), (10.0, 14.0), (19.0, 20.0)])
def test_a_straight_street_fills_the_angle_of_its_chord(distance_m: float, reach_m: float) -> None:
    # Geometry: a line at distance d cuts a disc of radius r over 2 acos(d / r).
    street = shapely.LineString([(-500, distance_m), (500, distance_m)])
    exact = 2 * math.acos(distance_m / reach_m) / (2 * math.pi)
    assert _share(street, reach_m) == pytest.approx(exact, abs=0.01)


def test_a_tree_inside_a_zone_always_hits_it() -> None:
    assert _share(shapely.box(-5, -5, 5, 5), 20.0) == 1.0


def test_a_quarter_of_the_circle() -> None:
    corner = shapely.Polygon([(0.5, 0.5), (50, 0.5), (50, 50), (0.5, 50)])
    # From the stem the far corners lie nearly along both axes: a little under a quarter.
    assert 0.2 < _share(corner, 15.0) < 0.25


def test_a_square_all_round_is_all_directions_but_small_gaps() -> None:
    ring = shapely.LinearRing([(-3, -3), (3, -3), (3, 3), (-3, 3)])
    assert _share(ring, 12.0) > 0.94


def test_a_point_gets_a_body() -> None:
    point = np.array([shapely.Point(8, 0)], dtype=object)
    assert _share(point[0], 20.0) == 0.0
    share = _share(widened(point, values=VALUES)[0], 20.0)
    exact = 2 * math.asin(VALUES.point_radius_m / 8) / (2 * math.pi)
    assert share == pytest.approx(exact, abs=0.01)


@given(st.floats(0, 2 * math.pi), st.floats(1, 25), st.floats(26, 60))
@settings(max_examples=30, deadline=None)
def test_turning_the_world_changes_nothing_and_more_reach_never_hits_less(
    turn: float, distance_m: float, reach_m: float
) -> None:
    zone = shapely.box(distance_m, -4, distance_m + 10, 9)
    turned = shapely.affinity.rotate(zone, turn, origin=(0, 0), use_radians=True)
    here = _share(zone, reach_m)
    assert _share(turned, reach_m) == pytest.approx(here, abs=0.005)
    assert _share(zone, distance_m + 0.5) <= here + 0.005


def test_the_chord_shrinks_to_nothing_at_the_end_of_reach() -> None:
    got = stretch(np.array([10.0, 10.0, 10.0]), np.array([0.0, 6.0, 10.0]))
    assert got == pytest.approx([20.0, 16.0, 0.0])
