"""The routing module: both ways of answering against every plan there is, and the check itself."""

import sys
from collections.abc import Callable
from itertools import permutations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.planning.routing import insertion, library
from pipeline.planning.routing.check import check, timed
from pipeline.planning.routing.library import Effort
from pipeline.planning.routing.problem import Answer, Fleet, Problem, Route, Stops
from pipeline.planning.routing.solve import solve

EFFORT = Effort(rounds=300)


def problem(seed: int, *, stops: int = 5, vehicles: int = 2, windows: int = 1) -> Problem:
    """Places on a square of 60 minutes, optional stops with prizes, one start for each vehicle."""
    draw = np.random.Generator(np.random.PCG64(seed))
    x, y = draw.integers(0, 60, (2, stops + vehicles))
    duration = np.rint(np.hypot(x[:, None] - x, y[:, None] - y)).astype(np.int64)
    slack = draw.integers(0, 5, duration.shape)
    np.fill_diagonal(slack, 0)
    owner = np.repeat(np.arange(stops), windows)
    early = draw.integers(0, 200, owner.size)
    return Problem(
        cost=duration,
        duration=duration + slack,
        stops=Stops(
            place=vehicles + np.arange(stops),
            service=draw.integers(5, 40, stops),
            demand=draw.integers(1, 5, stops),
            prize=draw.integers(10, 200, stops),
            required=np.zeros(stops, dtype=bool),
            window_of=owner,
            early=early,
            late=early + draw.integers(0, 120, owner.size),
            penalty=draw.integers(0, 10, owner.size),
        ),
        fleet=Fleet(
            start=np.arange(vehicles),
            end=np.arange(vehicles),
            number=np.ones(vehicles, dtype=np.int64),
            capacity=np.full(vehicles, 8),
            early=np.zeros(vehicles, dtype=np.int64),
            late=draw.integers(150, 300, vehicles),
            fixed=draw.integers(0, 30, vehicles),
        ),
    )


def _tours(given_problem: Problem, vehicle: int, rows: tuple[int, ...]) -> list[Route]:
    """Every order of some stops in every choice of their windows."""
    return [
        Route(vehicle, order, windows)
        for order in permutations(rows)
        for windows in product(*(given_problem.windows(stop).tolist() for stop in order))
    ]


def _cheapest(given_problem: Problem) -> int:
    """The cost of the best answer, by trying each."""
    vehicles, count = len(given_problem.fleet), len(given_problem.stops)
    best = int(given_problem.stops.prize.sum())
    by_rows: dict[tuple[int, tuple[int, ...]], list[Route]] = {}
    for share in product(range(-1, vehicles), repeat=count):
        per_vehicle = []
        for vehicle in range(vehicles):
            rows = tuple(k for k in range(count) if share[k] == vehicle)
            if (vehicle, rows) not in by_rows:
                allowed = [
                    (one, check(given_problem, Answer((one,), "", 0)))
                    for one in _tours(given_problem, vehicle, rows)
                ]
                good = [(c.cost, one) for one, c in allowed if not c.faults]
                by_rows[vehicle, rows] = [min(good, key=lambda pair: pair[0])[1]] if good else []
            per_vehicle.append((rows, by_rows[vehicle, rows]))
        if any(rows and not tours for rows, tours in per_vehicle):
            continue
        chosen = tuple(tours[0] for rows, tours in per_vehicle if rows)
        found = check(given_problem, Answer(chosen, "", 0))
        assert not found.faults
        best = min(best, found.cost)
    return best


@pytest.mark.parametrize("windows", [1, 2])
@pytest.mark.parametrize("seed", range(6))
def test_the_library_finds_the_best_of_all_answers(seed: int, windows: int) -> None:
    pytest.importorskip("pyvrp")
    one = problem(seed, windows=windows, stops=4)
    answer = solve(one, EFFORT)
    found = check(one, answer)
    assert not found.faults
    assert found.cost == _cheapest(one)


@given(st.integers(0, 10_000), st.integers(1, 9), st.integers(1, 3), st.integers(1, 2))
def test_insertion_keeps_every_rule_and_no_stop_costs_more_than_leaving_it(
    seed: int, stops: int, vehicles: int, windows: int
) -> None:
    one = problem(seed, stops=stops, vehicles=vehicles, windows=windows)
    found = check(one, insertion.insert(one))
    assert not found.faults
    assert found.cost <= one.stops.prize.sum()


@settings(max_examples=20)
@given(st.integers(0, 10_000))
def test_insertion_is_never_cheaper_than_the_best_answer(seed: int) -> None:
    one = problem(seed, stops=4)
    assert check(one, insertion.insert(one)).cost >= _cheapest(one)


def test_two_answers_are_equal_and_another_seed_may_differ() -> None:
    one = problem(3, stops=30, vehicles=3)
    assert solve(one, EFFORT) == solve(one, EFFORT)


def test_without_the_library_insertion_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyvrp", None)
    assert library.library() is None
    answer = solve(problem(1), EFFORT)
    assert answer.how == "insertion"
    assert answer == insertion.insert(problem(1))


def test_the_check_names_each_fault() -> None:
    one = problem(0, stops=3, vehicles=1)
    late = Route(0, (0, 1, 2), (0, 1, 2))
    twice = Route(0, (0, 0), (0, 0))
    told = " ".join(check(one, Answer((late, twice), "", 0)).faults)
    assert "2 vehicles of type 0, 1 there are" in told
    assert "stop 0 is served 3 times" in told
    wrong = check(one, Answer((Route(0, (0,), (1,)),), "", 0))
    assert any("window of another" in fault for fault in wrong.faults)


def test_a_day_is_timed_by_hand() -> None:
    # Depot, 10 to the first stop that opens at 30, 5 of service, 20 to the second, 7, 15 home.
    duration = np.array([[0, 10, 15], [10, 0, 20], [15, 20, 0]])
    none = np.zeros(2, dtype=np.int64)
    stops = Stops(np.array([1, 2]), np.array([5, 7]), none, none + 1, none > 0,
                  np.array([0, 1]), np.array([30, 0]), np.array([30, 99]), none)  # fmt: skip
    fleet = Fleet(*(np.array([value]) for value in (0, 0, 1, 1, 0, 77, 0)))
    one = Problem(duration, duration, stops, fleet)
    arrive, begin, back = timed(one, Route(0, (0, 1), (0, 1)))
    assert (arrive.tolist(), begin.tolist(), back) == ([10, 55], [30, 55], 77)
    assert not check(one, Answer((Route(0, (0, 1), (0, 1)),), "", 0)).faults


@pytest.mark.published
def test_published_instances_are_met_in_few_rounds(
    shared_file: Callable[[str], Path],
) -> None:
    """Solomon (1987), best known costs of open collections; the long runs are a benchmark."""
    pytest.importorskip("pyvrp")
    from tests.benchmarks import routing_instances as bench  # noqa: PLC0415

    for name, most in (("c101.txt", 0.001), ("r105.txt", 0.05)):
        path = shared_file(f"data/routing/solomon/{name}")
        _, cost, best, how = bench.run(path, Effort(rounds=1500))
        assert how.startswith("library")
        assert -0.0001 <= cost / best - 1 <= most
