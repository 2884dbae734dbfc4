"""Travel on streets against networkx's shortest paths (Hagberg, Schult & Swart 2008)."""

from dataclasses import replace
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
import shapely

from pipeline.planning.network import Streets
from pipeline.planning.travel import Reach, StraightLine, Travel
from tests.planning.small_town import grid, scattered

STOPS = 40
SOURCES = np.arange(8)
STRAIGHT = StraightLine(factor=1.4, speed_km_h=25.0)
LIMIT_M = 150.0


@pytest.fixture(scope="module")
def streets() -> Streets:
    """A grid with one-ways and a different speed on every edge."""
    plain = grid()
    pace = np.random.Generator(np.random.PCG64(7)).integers(5, 40, size=len(plain)) / 10.0
    return replace(plain, minutes=plain.minutes * pace)


@pytest.fixture(scope="module")
def places() -> tuple[np.ndarray, np.ndarray]:
    return scattered(STOPS)


@pytest.fixture(scope="module")
def travel(streets: Streets, places: tuple[np.ndarray, np.ndarray]) -> Travel:
    return Travel(streets, *places, straight=STRAIGHT, reach=Reach(LIMIT_M))


@pytest.fixture(scope="module")
def reference(streets: Streets, places: tuple[np.ndarray, np.ndarray]) -> nx.DiGraph:
    """The same network made edge by edge: each stop cuts the nearest edge."""
    cuts: dict[int, list[tuple[float, str]]] = {k: [] for k in range(len(streets))}
    for stop, point in enumerate(map(shapely.Point, *places)):
        distances = [line.distance(point) for line in streets.lines]
        edge = int(np.argmin(distances))
        cuts[edge].append((streets.lines[edge].project(point, normalized=True), f"stop {stop}"))
    graph = nx.DiGraph()
    for edge, found in cuts.items():
        marks = [(0.0, int(streets.tail[edge])), *sorted(found), (1.0, int(streets.head[edge]))]
        for (low, tail), (high, head) in pairwise(marks):
            minutes = (high - low) * streets.minutes[edge]
            if streets.forward[edge]:
                graph.add_edge(tail, head, minutes=minutes)
            if streets.backward[edge]:
                graph.add_edge(head, tail, minutes=minutes)
    return graph


def test_every_place_lies_on_the_network(travel: Travel) -> None:
    assert travel.on_network.all()


def test_minutes_are_those_of_networkx(travel: Travel, reference: nx.DiGraph) -> None:
    ours = travel.minutes(np.arange(STOPS))
    for source in SOURCES:
        found = nx.single_source_dijkstra_path_length(reference, f"stop {source}", weight="minutes")
        theirs = [found[f"stop {stop}"] for stop in range(STOPS)]
        # 1e-4 minutes: pieces of no length count a millionth of a minute each
        np.testing.assert_allclose(ours[source], theirs, atol=1e-4)


def test_times_differ_by_direction_where_streets_are_one_way(travel: Travel) -> None:
    ours = travel.minutes(np.arange(STOPS))
    assert np.abs(ours - ours.T).max() > 0.1


def test_legs_take_the_minutes_of_the_matrix_and_are_as_long_as_their_line(
    travel: Travel, reference: nx.DiGraph, streets: Streets
) -> None:
    origin, target = np.repeat(SOURCES, STOPS), np.tile(np.arange(STOPS), SOURCES.size)
    legs = travel.legs(origin, target)
    assert legs.on_streets.all()
    np.testing.assert_allclose(
        legs.minutes.reshape(SOURCES.size, STOPS), travel.minutes(np.arange(STOPS))[SOURCES]
    )
    lengths = [np.hypot(*np.diff(line, axis=0).T).sum() for line in legs.lines]
    np.testing.assert_allclose(legs.metres, lengths)
    assert reference.number_of_edges() > len(streets)


def test_lines_never_run_against_a_one_way_street(travel: Travel, streets: Streets) -> None:
    origin, target = np.repeat(SOURCES, STOPS), np.tile(np.arange(STOPS), SOURCES.size)
    legs = travel.legs(origin, target)
    one_way = streets.lines[~streets.backward]
    heights = np.unique(np.round(shapely.get_coordinates(one_way)[:, 1], 3))
    steps = 0
    for line in legs.lines:
        for (x0, y0), (x1, y1) in pairwise(line):
            along_one_way = abs(y0 - y1) < 1e-6 and np.abs(heights - y0).min() < 1e-3
            if along_one_way and abs(x1 - x0) > 1e-6:
                steps += 1
                assert x1 > x0
    assert steps > 0


def test_the_quicker_of_two_parallel_streets_is_taken() -> None:
    line = shapely.LineString([(0, 0), (100, 0)])
    twice = Streets(
        nodes=2,
        tail=np.array([0, 0]),
        head=np.array([1, 1]),
        minutes=np.array([5.0, 7.0]),
        forward=np.array([True, True]),
        backward=np.array([True, True]),
        lines=np.array([line, shapely.LineString([(0, 0), (50, 80), (100, 0)])], dtype=object),
    )
    travel = Travel(
        twice, np.array([0.0, 100.0]), np.array([0.0, 0.0]), straight=STRAIGHT, reach=Reach(10.0)
    )
    assert travel.minutes(np.array([0, 1]))[0, 1] == pytest.approx(5.0, abs=1e-4)


def test_a_place_on_an_island_is_reached_by_a_straight_line_and_says_so() -> None:
    far = np.array([0.0, 100.0, 5_000.0])
    line = shapely.LineString([(0, 0), (100, 0)])
    island = shapely.LineString([(5_000, 0), (5_010, 0)])
    streets = Streets(
        nodes=5,
        tail=np.array([0, 1, 3]),
        head=np.array([1, 2, 4]),
        minutes=np.array([1.0, 1.0, 1.0]),
        forward=np.ones(3, dtype=bool),
        backward=np.ones(3, dtype=bool),
        lines=np.array([line, shapely.LineString([(100, 0), (200, 0)]), island], dtype=object),
    )
    travel = Travel(streets, far, np.zeros(3), straight=STRAIGHT, reach=Reach(50.0))
    legs = travel.legs(np.array([0, 0]), np.array([1, 2]))
    assert legs.on_streets.tolist() == [True, False]
    # 5 km x 1.4 at 25 km/h, by hand
    assert legs.minutes[1] == pytest.approx(16.8)
    assert legs.metres[1] == pytest.approx(7_000.0)


def test_a_street_that_can_be_entered_but_not_left_is_not_used() -> None:
    trap = Streets(
        nodes=3,
        tail=np.array([0, 1]),
        head=np.array([1, 2]),
        minutes=np.array([1.0, 1.0]),
        forward=np.array([True, True]),
        backward=np.array([True, False]),
        lines=np.array(
            [shapely.LineString([(0, 0), (100, 0)]), shapely.LineString([(100, 0), (900, 0)])],
            dtype=object,
        ),
    )
    travel = Travel(
        trap, np.array([10.0, 800.0]), np.zeros(2), straight=STRAIGHT, reach=Reach(50.0)
    )
    assert travel.on_network.tolist() == [True, False]
    assert np.isfinite(travel.minutes(np.array([0, 1]))).all()


def test_a_bounded_search_is_exact_when_near_and_a_drivable_way_beyond(
    streets: Streets, places: tuple[np.ndarray, np.ndarray], travel: Travel
) -> None:
    near = 2.0
    reach = Reach(LIMIT_M, hubs=2, near_min=near)
    bounded = Travel(streets, *places, straight=STRAIGHT, reach=reach)
    everywhere = np.arange(STOPS)
    exact, found = travel.minutes(everywhere), bounded.minutes(everywhere)
    close = exact <= near
    assert close.any()
    assert (~close).any()
    np.testing.assert_allclose(found[close], exact[close])
    assert (found >= exact - 1e-9).all()
    np.testing.assert_allclose(found[:2], exact[:2])
    np.testing.assert_allclose(found[:, :2], exact[:, :2])
    over_hubs = (exact[:, :2, None] + exact[None, :2, :]).min(axis=1)
    np.testing.assert_allclose(found[~close], np.maximum(over_hubs, exact)[~close], atol=1e-9)
    # the legs themselves are as short as they are
    origin, target = np.repeat(everywhere, STOPS), np.tile(everywhere, STOPS)
    legs = bounded.legs(origin, target)
    np.testing.assert_allclose(legs.minutes.reshape(STOPS, STOPS), exact)
