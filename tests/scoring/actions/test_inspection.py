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
    standing,
)
from pipeline.scoring.parameters.work import work_parameters

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
