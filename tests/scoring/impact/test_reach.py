"""Reach, pairs within reach, share of fall directions."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.impact.arcs import direction_shares
from pipeline.scoring.impact.falling import any_way
from pipeline.scoring.impact.outlines import outlines
from pipeline.scoring.impact.reach import (
    branch_reach,
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
    zones = outlines(np.array([zone], dtype=object))
    at, zero = np.zeros(1, np.int64), np.zeros(1)
    _, share = direction_shares(
        zones, at, (zero, zero), np.array([reach_m]), zero, falls=any_way(1)
    )
    return float(share[0])


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
    middles = np.asarray(shapely.points(rng.uniform(0, 300, (12, 2))), dtype=object)
    radius = rng.uniform(1, 20, 12)
    # The last ones have so many corners that they are looked for piece by piece.
    zones = np.concatenate(
        [
            shapely.buffer(middles[:8], radius[:8], quad_segs=8),
            shapely.buffer(middles[8:], radius[8:], quad_segs=400),
        ]
    )
    got = pairs_within(x, y, reach, outlines(zones))
    places = np.asarray(shapely.points(x, y), dtype=object)
    every = shapely.distance(places[:, None], zones[None, :]) <= reach[:, None]
    tree, zone = np.nonzero(every)
    assert got.tree.tolist() == tree.tolist()
    assert got.zone.tolist() == zone.tolist()


def test_no_zone_makes_no_pair() -> None:
    none = pairs_within(np.zeros(3), np.zeros(3), np.ones(3), outlines(np.zeros(0, dtype=object)))
    assert none.tree.size == none.zone.size == 0


def test_a_point_gets_a_body() -> None:
    point = np.array([shapely.Point(8, 0)], dtype=object)
    assert _share(point[0], 20.0) == 0.0
    share = _share(widened(point, values=VALUES)[0], 20.0)
    exact = 2 * math.asin(VALUES.point_radius_m / 8) / (2 * math.pi)
    assert share == pytest.approx(exact, abs=0.01)


def test_the_chord_shrinks_to_nothing_at_the_end_of_reach() -> None:
    got = stretch(np.array([10.0, 10.0, 10.0]), np.array([0.0, 6.0, 10.0]))
    assert got == pytest.approx([20.0, 16.0, 0.0])
