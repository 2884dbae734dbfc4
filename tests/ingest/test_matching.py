"""How sightings find their trees: laws and edges; numbers against brute force are in against/."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.ingest import matching

RULES = {"cap_m": 60.0, "inventory_error_m": 3.0, "unlisted_per_listed": 1.0}


def one(accuracy: float, *trees: tuple[float, float]) -> matching.Candidates:
    """Candidates of one sighting at the origin."""
    return matching.candidates(
        np.zeros((1, 2)), np.array([accuracy]), np.array(trees, dtype=float).reshape(-1, 2), **RULES
    )


def test_accuracy_is_the_radius_of_the_middle_sigma() -> None:
    # trade-model of the project: sigma per axis = accuracy / 1.515 (Rayleigh quantile of 0.6827)
    assert pytest.approx(1.515, abs=5e-4) == matching.ACCURACY_PER_SIGMA


def test_a_lone_near_tree_wins_but_leaves_room_for_an_unlisted_one() -> None:
    found = one(3.0, (1.0, 0.0))
    assert found.tree.tolist() == [-1, 0]
    assert found.best_weight[0] > 0.9
    # By hand: s^2 = 18 / 1.515^2; f = exp(-1 / 2 s^2) / 2 pi s^2; f0 = 1 / (pi 60^2).
    s2 = 18 / 1.51517**2
    f, f0 = math.exp(-0.5 / s2) / (2 * math.pi * s2), 1 / (math.pi * 3600)
    assert found.best_weight[0] == pytest.approx(f / (f + f0), rel=1e-4)


def test_two_equal_trees_are_ambiguous_and_the_lower_index_is_named() -> None:
    found = one(3.0, (2.0, 0.0), (-2.0, 0.0))
    assert found.best_tree[0] == 0
    assert found.best_weight[0] < 0.5
    assert found.weight[1] == pytest.approx(found.weight[2])


@pytest.mark.parametrize("distance", [15.1, 16.6])
def test_ten_metres_accuracy_keeps_a_tree_at_fifteen_metres_as_candidate(distance: float) -> None:
    found = one(10.0, (distance, 0.0))
    assert found.tree.tolist() == [-1, 0]
    assert found.best_weight[0] < 0.9


@pytest.mark.parametrize(
    ("accuracy", "place", "reason"),
    [
        (math.nan, 0.0, "accuracy_unknown"),
        (-1.0, 0.0, "accuracy_unknown"),
        (1978.0, 0.0, "accuracy_beyond_cap"),
        (5.0, math.nan, "no_place"),
        (5.0, 500.0, "no_tree_near"),
    ],
)
def test_no_candidate_has_a_reason(accuracy: float, place: float, reason: str) -> None:
    found = matching.candidates(
        np.array([[place, 0.0]]), np.array([accuracy]), np.zeros((1, 2)), **RULES
    )
    assert matching.REASONS[found.reason[0]] == reason
    assert found.sighting.size == 0
    assert (found.best_tree[0], found.best_weight[0]) == (-1, 0.0)


def test_the_cap_and_three_accuracies_both_bound_the_reach() -> None:
    reach = 3 * math.hypot(10, 3)
    assert one(10.0, (reach - 0.01, 0), (reach + 0.01, 0)).tree.tolist() == [-1, 0]
    assert one(50.0, (59.99, 0), (60.01, 0)).tree.tolist() == [-1, 0]


def test_no_trees_and_no_sightings_are_no_error() -> None:
    assert matching.REASONS[one(5.0).reason[0]] == "no_tree_near"
    none = matching.candidates(np.zeros((0, 2)), np.zeros(0), np.zeros((1, 2)), **RULES)
    assert none.weight.size == 0


def test_many_trees_on_one_point_are_all_candidates(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(matching, "_PAIRS_AT_ONCE", 100)
    found = matching.candidates(np.zeros((7, 2)), np.full(7, 4.0), np.ones((60, 2)), **RULES)
    assert np.bincount(found.sighting).tolist() == [61] * 7


def test_perfect_accuracy_does_not_divide_by_zero() -> None:
    rules = {"cap_m": 60.0, "inventory_error_m": 0.0, "unlisted_per_listed": 0.0}
    found = matching.candidates(np.zeros((1, 2)), np.zeros(1), np.zeros((1, 2)), **rules)
    assert found.best_weight[0] == pytest.approx(1.0)


def test_told_tree_and_place_disagree_beyond_the_errors_only() -> None:
    distance = np.array([5.0, 30.0, 30.0, np.nan])
    flags, allowed = matching.disagree(
        distance, np.array([5.0, 5.0, np.nan, 5.0]), inventory_error_m=3.0
    )
    assert flags.tolist() == [False, True, False, False]
    # Rayleigh: 99 % radius = 3.0349 sigma, from memory; sigma = hypot(5, 3) / 1.515
    assert allowed[0] == pytest.approx(3.0349 * math.hypot(5, 3) / 1.5152, rel=1e-3)


def test_shapes_and_trees_without_place_are_refused() -> None:
    with pytest.raises(ValueError, match="accuracy_m has shape"):
        matching.candidates(np.zeros((2, 2)), np.zeros(1), np.zeros((1, 2)), **RULES)
    with pytest.raises(ValueError, match="not finite"):
        matching.candidates(np.zeros((1, 2)), np.zeros(1), np.array([[np.nan, 0.0]]), **RULES)


@given(
    st.lists(st.tuples(st.floats(-90, 90), st.floats(-90, 90)), max_size=12),
    st.floats(0, 70),
    st.integers(0, 1000),
)
def test_weights_sum_to_one_and_order_of_trees_does_not_matter(
    trees: list[tuple[float, float]], accuracy: float, seed: int
) -> None:
    xy = np.array(trees, dtype=float).reshape(-1, 2)
    order = np.random.default_rng(seed).permutation(len(xy))
    place, error = np.zeros((1, 2)), np.array([accuracy])
    found = matching.candidates(place, error, xy, **RULES)
    again = matching.candidates(place, error, xy[order], **RULES)
    if found.weight.size:
        assert found.weight.sum() == pytest.approx(1.0)
    back = dict(zip(order[again.tree[again.tree >= 0]], again.weight[again.tree >= 0], strict=True))
    for tree, weight in zip(found.tree, found.weight, strict=True):
        if tree >= 0:
            assert back[tree] == pytest.approx(weight)
    assert len(again.tree) == len(found.tree)
