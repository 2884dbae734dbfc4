"""Arcs of fall directions against rays, masks of the screening pass, and which way trees fall."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.scoring.impact.arcs import direction_shares, mask_shares, masks
from pipeline.scoring.impact.falling import FallDirections, Sides, any_way, sided
from pipeline.scoring.impact.outlines import Shapes, outlines
from pipeline.units import Flags, Floats, Ints

RAYS, STEP = 100_000, 100


def _shares(
    shapes: Shapes, reach_m: Floats, falls: FallDirections | None = None, stem_m: float = 0.0
) -> Floats:
    count = len(shapes)
    _, share = direction_shares(
        outlines(shapes), np.arange(count), (np.zeros(count), np.zeros(count)), reach_m,
        np.full(count, stem_m), falls=falls or any_way(count),
    )  # fmt: skip
    return share


def _share(zone: shapely.Geometry, reach_m: float, *, stem_m: float = 0.0) -> float:
    shares = _shares(np.array([zone], dtype=object), np.array([reach_m]), stem_m=stem_m)
    return float(shares[0])


def _masked(shapes: Shapes, reach_m: Floats) -> Floats:
    count = len(shapes)
    zero = np.zeros(count)
    return mask_shares(masks(outlines(shapes), np.arange(count), zero, zero, reach_m))


def _targets(count: int) -> tuple[Shapes, Floats]:
    """Areas with and without holes, lines, and several areas as one, around a stem at 0, 0."""
    random = np.random.default_rng(20261126)
    made: list[shapely.Geometry] = []
    for kind in random.integers(0, 4, count):
        middle, size = random.uniform(-22, 22, 2), random.uniform(1, 12)
        turns = np.sort(random.uniform(0, 2 * np.pi, 9))
        radius = size * random.uniform(0.4, 1.0, 9)
        corners = middle + np.column_stack([radius * np.cos(turns), radius * np.sin(turns)])
        area = shapely.make_valid(shapely.Polygon(corners))
        if kind == 0:
            area = area.difference(shapely.Point(middle).buffer(size / 4))
        elif kind == 1:
            area = shapely.LineString(corners)
        elif kind == 2:
            area = area.union(shapely.box(*(-middle - 2), *(-middle + 1)))
        made.append(area)
    reach = random.uniform(8, 30, count)
    return np.array(made, dtype=object), reach


def _cast(shape: shapely.Geometry, reach_m: float) -> float:
    """Share of a hundred thousand rays from 0, 0 that meet a shape, by the geometry engine.

    Every hundredth ray is cast, and all rays between two of those that do not agree.
    """

    def meet(rays: Ints) -> Flags:
        turns = (rays + 0.5) / RAYS * 2 * np.pi
        ends = reach_m * np.column_stack([np.cos(turns), np.sin(turns)])
        lines = shapely.linestrings(np.stack([0 * ends, ends], axis=1))
        return np.asarray(shapely.intersects(shape, lines), np.bool_)

    shapely.prepare(shape)
    coarse = np.arange(0, RAYS, STEP, dtype=np.int64)
    met = meet(coarse)
    changes = coarse[met != np.roll(met, -1)]
    alike = STEP * (met & np.roll(met, -1)).sum()
    between = (changes[:, None] + np.arange(STEP)).ravel()
    return float(alike + (meet(between % RAYS).sum() if len(between) else 0)) / RAYS


def test_shares_are_those_of_a_hundred_thousand_rays() -> None:
    shapes, reach = _targets(200)
    exact = _shares(shapes, reach)
    counted = [_cast(shape, far) for shape, far in zip(shapes, reach, strict=True)]
    np.testing.assert_allclose(exact, counted, atol=0.002)
    assert 0.2 < (exact > 0).mean() < 1.0


def test_the_screening_pass_is_near_the_exact_one() -> None:
    shapes, reach = _targets(400)
    exact, masked = _shares(shapes, reach), _masked(shapes, reach)
    assert np.abs(masked - exact).mean() < 0.01
    assert ((masked > 0) | (exact == 0)).all()


@pytest.mark.parametrize(("distance_m", "reach_m"), [(3.0, 15.0), (10.0, 14.0), (19.0, 20.0)])
def test_a_straight_street_fills_the_angle_of_its_chord(distance_m: float, reach_m: float) -> None:
    # Geometry: a line at distance d cuts a disc of radius r over 2 acos(d / r).
    street = shapely.LineString([(-500, distance_m), (500, distance_m)])
    exact = math.acos(distance_m / reach_m) / math.pi
    assert _share(street, reach_m) == pytest.approx(exact, abs=1e-9)


def test_inside_touching_and_nearer_than_the_stem_is_every_direction() -> None:
    assert _share(shapely.box(-5, -5, 5, 5), 20.0) == 1.0
    assert _share(shapely.box(0, -5, 5, 5), 20.0) == 1.0
    near = shapely.LineString([(-9, 0.2), (9, 0.2)])
    assert _share(near, 5.0) == pytest.approx(0.5, abs=0.02)
    assert _share(near, 5.0, stem_m=0.3) == 1.0


def test_a_stem_in_a_hole_meets_what_is_around_it() -> None:
    ring = shapely.Point(0, 0).buffer(10).difference(shapely.Point(0, 0).buffer(4))
    assert _share(ring, 12.0) == pytest.approx(1.0)
    assert _share(ring, 3.0) == 0.0


def test_an_outline_of_many_corners_is_met_as_a_plain_one() -> None:
    plain = shapely.box(3, -40, 60, 40)
    fine = shapely.segmentize(plain, 0.002)
    assert shapely.get_num_coordinates(fine) > 100_000
    assert _share(fine, 14.0) == pytest.approx(_share(plain, 14.0), abs=1e-9)


@given(st.floats(0, 360), st.floats(1, 25), st.floats(26, 60))
@settings(max_examples=30, deadline=None)
def test_turning_the_world_changes_nothing_and_more_reach_never_hits_less(
    turn: float, distance_m: float, reach_m: float
) -> None:
    zone = shapely.box(distance_m, -4, distance_m + 10, 9)
    turned = shapely.affinity.rotate(zone, turn, origin=(0, 0))
    here = _share(zone, reach_m)
    assert _share(turned, reach_m) == pytest.approx(here, abs=1e-9)
    assert _share(zone, distance_m + 0.5) <= here + 1e-9


@given(st.floats(0, 1), st.floats(0, 0.95), st.floats(0, 1), st.floats(0.01, 0.4))
def test_a_fall_toward_a_target_meets_it_more(
    toward: float, resultant: float, at: float, half: float
) -> None:
    def wedge(middle: float) -> float:
        turns = 2 * np.pi * (middle + np.linspace(-half, half, 200))
        line = shapely.LineString(np.column_stack([5 * np.cos(turns), 5 * np.sin(turns)]))
        falls = FallDirections(np.array([toward]), np.array([resultant]))
        return float(_shares(np.array([line], dtype=object), np.array([9.0]), falls)[0])

    assert wedge(toward) >= wedge(at) - 1e-6
    # The closed form of the wrapped Cauchy distribution function, about its middle.
    sharp = (1 + resultant) / (1 - resultant)
    assert wedge(toward) == pytest.approx(2 * math.atan(sharp * math.tan(math.pi * half)) / math.pi,
                                          abs=1e-6)  # fmt: skip


def test_a_lean_says_where_to_and_lost_roots_say_where_from() -> None:
    sides = Sides(
        defect=np.array([1, 1, 2]),
        lean_from_deg=np.array([0.0, 10.0, 0.0]),
        turn_deg=np.array([0.0, 0.0, 180.0]),
        resultant=np.array([0.1, 0.3, 0.2]),
    )
    nan = np.nan
    made = sided(
        np.array([1, 1, 2, 1, 3]), np.array([90.0, 0.0, 0.0, nan, 90.0]),
        np.array([12.0, nan, nan, 30.0, nan]), sides=sides,
    )  # fmt: skip
    assert made.resultant.tolist() == [0.3, 0.1, 0.2, 0.0, 0.0]
    # East is no turn, north a quarter, south three quarters.
    assert made.toward[:3].tolist() == [0.0, 0.25, 0.75]
