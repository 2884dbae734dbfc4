"""Cycles, what is due, prior harm."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.actions.inspection import (
    DUE,
    NEVER,
    NO_DAY,
    NOT_DUE,
    OVERDUE,
    due_days,
    prior_harm,
    sooner_days,
    standing,
)
from pipeline.scoring.parameters.work import work_parameters
from pipeline.terms import RatingWord

WORK = work_parameters(Library(), region="us-mi")


def test_a_tree_that_nobody_inspected_has_no_date() -> None:
    last, one = np.array([NO_DAY]), np.array([1], np.int8)
    assert due_days(last, one, one, cycles=WORK.cycles)[0] == NO_DAY


def test_the_cycle_counts_from_the_last_look() -> None:
    # A large stem over a constant target is looked at every year (elicited): 365 days.
    got = due_days(np.array([1000]), np.array([4], np.int8), np.array([2], np.int8),
                   cycles=WORK.cycles)  # fmt: skip
    assert got[0] == 1365


@pytest.mark.parametrize(
    ("due", "state"),
    [(NO_DAY, NEVER), (99, OVERDUE), (100, DUE), (200, DUE), (201, NOT_DUE)],
)
def test_states_at_their_limits(due: int, state: int) -> None:
    assert standing(np.array([due]), np.array([True]), today=100, until=200)[0] == state


def test_what_is_not_rated_is_never_due() -> None:
    assert standing(np.array([NO_DAY]), np.array([False]), today=1, until=2)[0] == NOT_DUE


def test_busier_places_and_larger_trees_are_never_looked_at_less_often() -> None:
    assert (np.diff(WORK.cycles.years, axis=0) <= 0).all()
    assert (np.diff(WORK.cycles.years, axis=1) <= 0).all()


@given(st.integers(0, 4), st.floats(0, 1))
def test_the_prior_lies_within_its_range(condition: int, harm: float) -> None:
    low, middle, high = prior_harm(np.array([condition]), np.array([harm]), prior=WORK.prior)
    assert low[0] <= middle[0] <= high[0]


def _sooner(due: int, looked: int, rating: RatingWord, code: int = 0) -> int:
    return int(
        sooner_days(
            np.array([due]), np.array([looked]), np.array([rating], np.int8),
            np.array([code], np.int8), rules=WORK.sooner,
        )[0]
    )  # fmt: skip


def test_a_tree_rated_high_is_looked_at_within_a_year_of_its_last_look() -> None:
    """Common practice: what is kept at a high rating is seen every year; 365 days."""
    assert _sooner(1000 + 5 * 365, 1000, RatingWord.HIGH) == 1365
    assert _sooner(1000 + 5 * 365, 1000, RatingWord.LOW) == 1000 + 5 * 365
    # Code R3 repeats its look every year (table of action codes), whatever the rating.
    assert _sooner(1000 + 5 * 365, 1000, RatingWord.LOW, code=3) == 1365


@given(
    st.integers(0, 5000), st.integers(0, 3000), st.sampled_from(list(RatingWord)),
    st.integers(0, 5),
)  # fmt: skip
def test_a_rating_puts_no_look_off(due: int, looked: int, rating: RatingWord, code: int) -> None:
    assert _sooner(due, looked, rating, code) <= due
    assert _sooner(NO_DAY, looked, rating, code) == NO_DAY
    assert _sooner(due, NO_DAY, rating, code) == due


def test_a_worse_rating_and_a_higher_code_bring_it_sooner() -> None:
    by_rating, by_code = WORK.sooner.by_rating[1:], WORK.sooner.by_code
    assert (by_rating[1:] <= by_rating[:-1]).all()
    assert (by_code[1:] <= by_code[:-1]).all()
