"""Distances to live lines against figures worked by hand from 29 CFR 1910.269, steps rounded up."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.actions.clearance import approach_m
from pipeline.scoring.parameters.work import work_parameters

RULE = work_parameters(Library(), region="us-mi").approach
METRES_PER_FOOT = 0.3048


@pytest.mark.parametrize(
    ("kv", "feet"),
    [(0.23, 10.0), (12.47, 10.0), (50, 10.0), (50.1, 10 + 4 / 12), (60, 10 + 4 / 12), (69, 10.667),
     (115, 12.333), (138, 13.0), (230, 16.0), (345, 20.0)],
)  # fmt: skip
def test_the_printed_distances(kv: float, feet: float) -> None:
    found = approach_m(np.array([kv * 1000]), RULE)[0]
    assert found / METRES_PER_FOOT == pytest.approx(feet, abs=0.001)


@pytest.mark.parametrize("volts", [np.nan, 0.0, -5.0])
def test_no_voltage_gives_no_distance(volts: float) -> None:
    assert np.isnan(approach_m(np.array([volts]), RULE)[0])


@given(st.floats(1, 1e6), st.floats(0, 1e6))
def test_more_voltage_never_lets_anybody_nearer(volts: float, more: float) -> None:
    near, far = approach_m(np.array([volts, volts + more]), RULE)
    assert near <= far
