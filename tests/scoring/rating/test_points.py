"""The community guide's 3-12 points, at the edges of its classes."""

import math
from itertools import product

import numpy as np
import pytest

from pipeline.errors import PublishedValueError
from pipeline.scoring.rating import points
from pipeline.scoring.rating.points import PointsScheme
from pipeline.terms import FailureWord, OccupancyWord, RatingWord
from pipeline.units import CM_PER_INCH
from tests.scoring.from_tables import Change, points_scheme

SCHEME = points_scheme()


@pytest.mark.published
@pytest.mark.parametrize(
    ("inches", "expected"),
    [
        # NA-TP-03-03, size of the defective part (from memory): < 4 in, 4-20 in, > 20 in.
        (0.5, 1),
        (3.99, 1),
        (4.0, 2),
        (12.0, 2),
        (20.0, 2),
        (20.01, 3),
        (60.0, 3),
        (math.nan, 3),  # unknown is taken as the largest
    ],
)
def test_size_of_part_at_its_edges(inches: float, expected: int) -> None:
    assert points.size_points(np.array([inches * CM_PER_INCH]), SCHEME)[0] == expected


@pytest.mark.published
def test_total_runs_from_3_to_12() -> None:
    # NA-TP-03-03: probability 1-4 + size 1-3 + target 1-3 + other 0-2 (from memory).
    every = [
        np.array(c, dtype=np.int8)
        for c in zip(*product(range(1, 5), (1, 2, 3), (1, 2, 3), (0, 1, 2)), strict=True)
    ]
    total = points.total_points(every[0], every[1], every[2], other=every[3])
    np.testing.assert_array_equal(total, sum(column.astype(int) for column in every))
    assert (total.min(), total.max()) == (3, 12)


@pytest.mark.parametrize("other", [-1, 3])
def test_other_points_outside_the_scheme_are_refused(other: int) -> None:
    one = np.array([1], dtype=np.int8)
    with pytest.raises(PublishedValueError) as fault:
        points.total_points(one, one, one, other=other)
    assert fault.value.expected == "0 to 2"


@pytest.mark.parametrize(
    ("total", "expected"),
    [
        # Bands 3-6, 7-9, 10-12 of city adoptions, from memory; the top set apart is elicited.
        (3, RatingWord.LOW),
        (6, RatingWord.LOW),
        (7, RatingWord.MODERATE),
        (9, RatingWord.MODERATE),
        (10, RatingWord.HIGH),
        (11, RatingWord.HIGH),
        (12, RatingWord.EXTREME),
    ],
)
def test_bands_at_their_edges(total: int, expected: RatingWord) -> None:
    assert points.points_rating(np.array([total], dtype=np.int8), SCHEME)[0] == expected


def test_more_points_never_rate_lower() -> None:
    assert (np.diff(SCHEME.rating) >= 0).all()
    assert (np.diff(SCHEME.failure) >= 0).all()
    assert (np.diff(SCHEME.target) >= 0).all()
    sizes = points.size_points(np.linspace(0, 100, 500), SCHEME)
    assert (np.diff(sizes) >= 0).all()


def _results(scheme: PointsScheme) -> list[list[int]]:
    return [
        points.failure_points(np.array(list(FailureWord), dtype=np.int8), scheme).tolist(),
        points.target_points(np.array(list(OccupancyWord), dtype=np.int8), scheme).tolist(),
        points.size_points(np.array([0.0, 5, 10.16, 30, 50.8, 51, 90]), scheme).tolist(),
        points.points_rating(np.arange(3, 13, dtype=np.int8), scheme).tolist(),
    ]


@pytest.mark.parametrize(
    "change",
    [
        *({("points_failure", n): {"points": "0"}} for n in range(4)),
        *({("points_target", n): {"points": "0"}} for n in range(4)),
        *({("points_size", n): {"points": "9"}} for n in range(3)),
        {("points_size", 0): {"diameter_from_cm": "6"}},
        {("points_size", 1): {"diameter_from_cm": "31"}},
        {("points_size", 2): {"diameter_above_cm": "60"}},
        *({("points_rating", n): {"rating": "low" if n > 3 else "extreme"}} for n in range(10)),
    ],
    ids=str,
)
def test_every_row_of_the_tables_matters(change: Change) -> None:
    assert _results(points_scheme(change)) != _results(SCHEME)
