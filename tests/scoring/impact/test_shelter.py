"""What buildings keep from targets behind them, against rays."""

import numpy as np
import pytest
import shapely

from pipeline.scoring.impact.arcs import direction_shares
from pipeline.scoring.impact.falling import FallDirections, any_way
from pipeline.scoring.impact.outlines import outlines
from pipeline.scoring.impact.shelter import Falls, sheltered
from pipeline.units import Floats

REACH, RAYS = 25.0, 20_000
TURNS = (np.arange(RAYS) + 0.5) / RAYS * 2 * np.pi
WAYS = np.column_stack([np.cos(TURNS), np.sin(TURNS)])


def _shares(
    shapes: list[shapely.Geometry],
    walls: list[bool],
    *,
    stops: float = 1.0,
    falls: FallDirections | None = None,
) -> tuple[Floats, Floats]:
    """Share of falls of one tree at 0, 0 that meet each target: without and with shelter."""
    targets, count = outlines(np.array(shapes, dtype=object)), len(shapes)
    at, zero, reach = np.arange(count), np.zeros(count), np.full(count, REACH)
    ways = falls or any_way(count)
    distance, share = direction_shares(targets, at, (zero, zero), reach, zero, falls=ways)
    given = Falls(np.zeros(count, np.int64), at, zero, zero, reach, zero, distance, ways)
    return share, sheltered(share, given, targets, np.array(walls), stops=stops)


def _meets(shape: shapely.Geometry, length: float) -> np.ndarray:
    ends = np.stack([np.zeros_like(WAYS), length * WAYS], axis=1)
    shapely.prepare(shape)
    return np.asarray(shapely.intersects(shape, shapely.linestrings(ends)), np.bool_)


@pytest.mark.parametrize("seed", range(12))
def test_against_rays_that_end_at_the_first_wall(seed: int) -> None:
    random = np.random.default_rng(seed)
    places = random.uniform(-20, 20, (6, 2))
    shapes = [
        shapely.affinity.rotate(shapely.box(x, y, x + random.uniform(2, 9), y + 4), 30 * seed)
        for x, y in places
    ]
    walls = [True, True, True, False, False, False]
    share, kept = _shares(shapes, walls)
    np.testing.assert_array_equal(kept[:3], share[:3])
    for n in range(3, 6):
        near = min(shapes[n].distance(shapely.Point(0, 0)), REACH)
        stopped = np.zeros(RAYS, np.bool_)
        if near > 0:
            for wall in shapes[:3]:
                stopped |= _meets(wall, near)
        met = _meets(shapes[n], REACH)
        assert share[n] == pytest.approx(met.mean(), abs=0.002)
        assert kept[n] == pytest.approx((met & ~stopped).mean(), abs=0.002)


def test_a_house_between_keeps_all_or_part_and_one_behind_nothing() -> None:
    path = shapely.LineString([(12, -3), (12, 3)])
    house, beyond = shapely.box(5, -8, 8, 8), shapely.box(14, -8, 18, 8)
    free, kept = _shares([path, house], [False, True])
    assert free[0] > 0.05
    assert kept[0] == pytest.approx(0, abs=1e-12)
    _, some = _shares([path, house], [False, True], stops=0.7)
    assert some[0] == pytest.approx(0.3 * free[0])
    _, none = _shares([path, beyond], [False, True])
    assert none[0] == free[0]


def test_who_stands_under_the_tree_is_sheltered_by_nothing() -> None:
    park, house = shapely.box(-20, -20, 20, 20), shapely.box(5, -8, 8, 8)
    free, kept = _shares([park, house], [False, True])
    assert free[0] == kept[0] == 1.0


def test_shelter_counts_as_the_falls_are_spread() -> None:
    path, house = shapely.LineString([(12, -9), (12, 9)]), shapely.box(5, 0.5, 8, 20)

    def kept(turn: float) -> float:
        ways = FallDirections(np.full(2, turn), np.full(2, 0.8))
        free, left = _shares([path, house], [False, True], falls=ways)
        return float(left[0] / free[0])

    # The house stands to the north of east; a tree that leans there is kept from the path more.
    assert kept(0.06) < kept(0.94)
