"""The ward of a point against shapely's predicates, pair by pair and by its index."""

import numpy as np
import pytest
import shapely

from pipeline.ingest.places import polygon_of_point


@pytest.mark.parametrize("seed", range(5))
def test_join_equals_the_first_polygon_that_intersects(seed: int) -> None:
    random = np.random.default_rng(seed)
    centres = shapely.points(random.uniform(0, 100, (30, 2)))
    polygons = np.asarray(shapely.buffer(centres, random.uniform(3, 25, 30)), dtype=object)
    # Half of the points lie on corners of polygons: borders are part of them.
    corners = shapely.get_coordinates(polygons)
    xy = np.concatenate([random.uniform(-5, 105, (400, 2)), random.choice(corners, 400)])
    points = np.asarray(shapely.points(xy), dtype=object)
    table = shapely.intersects(polygons[:, None], points[None, :])
    expected = np.where(table.any(axis=0), table.argmax(axis=0), -1)
    found = polygon_of_point(xy[:, 0], xy[:, 1], polygons)
    np.testing.assert_array_equal(found, expected)
    pairs = shapely.STRtree(polygons).query(points, predicate="intersects")
    by_index = np.full(len(xy), len(polygons))
    np.minimum.at(by_index, pairs[0], pairs[1])
    np.testing.assert_array_equal(found, np.where(by_index == len(polygons), -1, by_index))
