"""The order of a day's stops."""

from itertools import permutations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from pipeline.planning.routes import improve_tour, order_stops, tour_minutes

_MINUTES = st.floats(0.5, 60.0, allow_nan=False, width=32)


def _square(size: int) -> st.SearchStrategy[np.ndarray]:
    return hnp.arrays(np.float64, (size, size), elements=_MINUTES)


TABLES = st.integers(2, 7).flatmap(_square)


def _shortest(times: np.ndarray) -> float:
    """By trying every order."""
    stops = range(1, times.shape[0])
    return min(tour_minutes(times, np.array(tour)) for tour in permutations(stops))


@given(TABLES)
def test_every_stop_is_visited_once_and_no_order_is_beaten_by_magic(times: np.ndarray) -> None:
    tour = order_stops(times)
    assert sorted(tour.tolist()) == list(range(1, times.shape[0]))
    assert tour_minutes(times, tour) >= _shortest(times) - 1e-6


def test_small_tours_on_the_plane_are_the_shortest_or_close() -> None:
    draw = np.random.Generator(np.random.PCG64(5))
    found, best = 0.0, 0.0
    for _ in range(40):
        x, y = draw.random((2, 7))
        times = np.hypot(x[:, None] - x, y[:, None] - y) * 30
        one, shortest = tour_minutes(times, order_stops(times)), _shortest(times)
        assert one <= shortest * 1.2
        found, best = found + one, best + shortest
    assert found <= best * 1.01


@given(TABLES)
def test_improving_never_makes_a_tour_longer(times: np.ndarray) -> None:
    given_tour = np.arange(1, times.shape[0])
    better = improve_tour(times, given_tour)
    assert sorted(better.tolist()) == given_tour.tolist()
    assert tour_minutes(times, better) <= tour_minutes(times, given_tour) + 1e-6


@given(TABLES, st.integers(0, 3))
def test_stops_that_come_first_come_first(times: np.ndarray, first: int) -> None:
    first = min(first, times.shape[0] - 1)
    tour = order_stops(times, first=first)
    assert set(tour[:first].tolist()) == set(range(1, first + 1))
    improved = improve_tour(times, np.arange(1, times.shape[0]), first=first)
    assert set(improved[:first].tolist()) == set(range(1, first + 1))


def test_a_one_way_circle_is_driven_its_way_round() -> None:
    # Five places on a ring that may be driven in one direction only: 1 minute to the next.
    size = 6
    times = np.array([[(b - a) % size for b in range(size)] for a in range(size)], dtype=np.float64)
    assert order_stops(times).tolist() == [1, 2, 3, 4, 5]


def test_no_stop_and_one_stop() -> None:
    assert order_stops(np.zeros((1, 1))).size == 0
    assert order_stops(np.zeros((2, 2))).tolist() == [1]
