"""What is not known of harm, word and rank: against drawn numbers and exact laws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.parameters.spread import rating_spread
from pipeline.scoring.rating.beside import LINKS, beside
from pipeline.scoring.rating.ranks import ranks
from pipeline.scoring.rating.spread import NODES, at_least_by_eye, harm_spread, nodes_of, shares

SPREAD = rating_spread(Library())


def test_band_of_a_lognormal_is_its_own_tenth_and_ninetieth() -> None:
    # 1.2816 is the 90 % point of the normal law; the factor has mean 1.
    found = harm_spread(
        np.full((1, NODES), 1e-4), wind=np.array([0.8]), common=np.array([0.0]),
        occupancy=np.array([0.6]),
    )  # fmt: skip
    for got, sign in ((found.low, -1), (found.high, 1)):
        assert got[0] == pytest.approx(1e-4 * np.exp(-0.5 + sign * 1.2816), rel=1e-3)


@given(st.floats(-3, 3), st.floats(0.1, 2), st.floats(0, 1.5))
def test_harm_scales_exactly(power: float, wind: float, occupancy: float) -> None:
    nodes = np.geomspace(1e-6, 1e-3, NODES)[None]
    kinds = {"wind": np.array([wind]), "common": np.array([0.0]),
             "occupancy": np.array([occupancy])}  # fmt: skip
    one, more = harm_spread(nodes, **kinds), harm_spread(nodes * 10**power, **kinds)
    assert more.low[0] == pytest.approx(one.low[0] * 10**power, rel=1e-3)
    assert more.high[0] == pytest.approx(one.high[0] * 10**power, rel=1e-3)
    assert more.extent[0] == pytest.approx(one.extent[0], rel=1e-6)


def test_nodes_keep_mean_and_order() -> None:
    low, median, high, mean = np.array([[1e-4], [1e-3], [2e-2], [8e-3]])
    words = np.array([[0.7, 0.15, 0.15, 0.0]])
    got = nodes_of((low, median, high, mean), words, np.array([0.0025, 0.01, 0.3]))
    assert got.mean() == pytest.approx(8e-3, rel=1e-6)
    assert (np.diff(got[0]) >= 0).all()


def test_shares_of_variance_sum_to_one_or_none() -> None:
    got = shares(np.array([1.0, 0.0]), np.array([3.0, 0.0]))
    np.testing.assert_allclose(got, np.array([[0.25, 0.75], [0.0, 0.0]]))


@pytest.mark.published
def test_assessors_differ_at_least_as_often_as_was_found() -> None:
    # 18 assessors, 30 trees (Forests 2023): two words or more for at least 83 % of the trees.
    usual = 1 - SPREAD.another_higher - SPREAD.another_lower
    assert 1 - usual**18 >= 0.83
    np.testing.assert_allclose(
        at_least_by_eye(np.array([2], np.int8), SPREAD)[0],
        np.array([1 - SPREAD.another_lower, SPREAD.another_higher, 0.0]),
    )


def test_ranks_against_drawn_ones() -> None:
    mean, sd = np.linspace(-8, -3, 60), np.linspace(0.2, 1.5, 60)
    got = ranks(np.exp(mean), mean, sd)
    drawn = mean + sd * np.random.default_rng(1).standard_normal((4000, 60))
    place = 1 + np.argsort(np.argsort(-drawn, axis=1), axis=1)
    low, high = np.quantile(place, [0.1, 0.9], axis=0)
    assert got.rank.tolist() == list(range(60, 0, -1))
    assert np.abs(got.low - np.minimum(low, got.rank)).max() <= 2.5
    assert np.abs(got.high - np.maximum(high, got.rank)).max() <= 2.5


def test_a_low_tree_with_more_harm_than_a_moderate_one_stands_first_and_says_why() -> None:
    # Low at the top of its bands, moderate at the bottom of its own.
    links = np.log([[0.009, 0.2, 0.01, 1.0], [0.01, 0.05, 0.001, 1.0]])
    harm = np.exp(links.sum(axis=1))
    found = beside(np.array([1, 2], np.int8), harm, links)
    assert ranks(harm, np.log(harm), np.full(2, 0.1)).rank.tolist() == [1, 2]
    assert found.over.tolist() == [1, 0]
    assert found.under.tolist() == [0, 1]
    assert [LINKS[n] for n in found.link] == ["consequence", "consequence"]
    assert found.factor[0] == pytest.approx(10)
