"""From chance to word, the cap on imminent, and who is left out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library
from pipeline.scoring.mechanics.applicable import KINDS, Applicability, not_applicable
from pipeline.scoring.mechanics.branches import branch_chance, large_branch_chance
from pipeline.scoring.mechanics.words import WordLimits, words_of
from pipeline.terms import FailureWord
from tests.scoring.mechanics import world

LIMITS = world.parameters().limits


def _word(mean: float, median: float, *, three: bool = False) -> int:
    limits = LIMITS.three_years if three else LIMITS.yearly
    told = words_of(np.array([mean]), np.array([median]), limits, LIMITS.imminent_median)
    return int(told[0])


def test_words_hold_from_their_limit_on() -> None:
    # Limits as elicited: 0.0025, 0.010, 0.30 a year.
    at = {0.0: 1, 0.00249: 1, 0.0025: 2, 0.00999: 2, 0.010: 3, 0.299: 3, 0.30: 4, 1.0: 4}
    assert {p: _word(p, 1.0) for p in at} == at


def test_yearly_and_three_year_limits_keep_the_same_words() -> None:
    # Pairs of one and three years of the roots of one tree, worked beforehand.
    for year, three in ((0.0007, 0.0019), (0.0026, 0.0069), (0.0101, 0.0262), (0.05, 0.12)):
        assert _word(year, year) == _word(three, year, three=True)


def test_imminent_needs_the_median_as_well() -> None:
    assert _word(0.4, 0.29) == FailureWord.PROBABLE
    assert _word(0.4, 0.30) == FailureWord.IMMINENT
    assert _word(0.4, np.nan) == FailureWord.PROBABLE


def test_nothing_known_is_no_word() -> None:
    assert _word(np.nan, np.nan) == 0


@given(st.floats(0, 1), st.floats(0, 1))
def test_a_higher_chance_is_never_a_better_word(p: float, q: float) -> None:
    low, high = sorted((p, q))
    assert _word(low, low) <= _word(high, high)


def test_the_limits_are_the_edges_of_the_bands_that_rank() -> None:
    # Two tables, one fact: the yearly limits must be the edges of failure_bands.csv.
    bands = Library().table("failure_bands")
    lows = [bands.number("probability_low_per_year", failure=w) for w in
            ("possible", "probable", "imminent")]  # fmt: skip
    assert LIMITS.yearly.tolist() == lows


@pytest.mark.parametrize(
    ("yearly", "three"),
    [([0.01, 0.0025, 0.3], [0.1, 0.2, 0.5]), ([0.01, 0.1, 0.3], [0.001, 0.2, 1])],
)
def test_limits_out_of_order_are_refused(yearly: list[float], three: list[float]) -> None:
    with pytest.raises(PublishedValueError):
        WordLimits(np.array(yearly), np.array(three), 0.3)


def test_mechanics_says_nothing_of_palms_and_their_like() -> None:
    flags = np.eye(5, dtype=np.bool_)
    told = not_applicable(
        palm=flags[0], multi_stem=flags[1], pole=flags[2], topped=flags[3],
        diameter_cm=np.array([30.0, 30, 30, 30, np.nan]),
        rules=world.parameters().applicability,
    )  # fmt: skip
    assert [KINDS[k] for k in told] == list(KINDS)
    plain = not_applicable(
        palm=flags[0, 1:2], multi_stem=flags[0, 1:2], pole=flags[0, 1:2], topped=flags[0, 1:2],
        diameter_cm=np.array([30.0]), rules=world.parameters().applicability,
    )  # fmt: skip
    assert plain.tolist() == [-1]


def test_a_tree_without_a_diameter_is_never_let_through() -> None:
    with pytest.raises(PublishedValueError):
        Applicability(np.array([False, False, False, False, True]))


def _branch(kept: float, *, dead: bool = False, load: float = 1.0, union: bool = False) -> float:
    told = branch_chance(
        np.array([kept]), np.array([dead]), np.array([load, load]), world.gusts(),
        world.parameters().branches, season_shares=(0.5, 0.5), years=1.0,
        weak_union=np.array([union]),
    )  # fmt: skip
    return float(told[0])


@given(st.floats(0.05, 1), st.floats(0.05, 1))
def test_weaker_and_dead_branches_fail_more_often(a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert _branch(low) >= _branch(high) - 1e-12
    assert _branch(high, dead=True) >= _branch(high)
    assert _branch(high, load=low) <= _branch(high)


@pytest.mark.published
def test_a_weak_union_carries_no_extra_in_ordinary_storms() -> None:
    # Koeser et al. 2023, abstract: 14 branch failures among 1,518 trees, none at the union.
    assert _branch(1.0, union=True) == _branch(1.0)


def test_only_a_share_of_the_branches_is_large() -> None:
    told = large_branch_chance(np.array([0.01]), world.parameters().branches)
    assert told == pytest.approx([0.0035])
