"""Trees on one point are drawn apart, the same way each time, and nothing else moves."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.render.spreading import apart


def test_alone_stays_and_shared_points_open() -> None:
    x = np.array([0.0, 10.0, 10.0, 10.0, np.nan, 500.0])
    y = np.array([0.0, 10.0, 10.0, 10.0, np.nan, 10.0])
    drawn_x, drawn_y, shares = apart(x, y)
    assert shares.tolist() == [1, 3, 3, 3, 0, 1]
    assert (drawn_x[[0, 1, 5]], drawn_y[[0, 1, 5]])[0].tolist() == [0.0, 10.0, 500.0]
    assert np.isnan(drawn_x[4])
    assert len({(a, b) for a, b in zip(drawn_x[1:4], drawn_y[1:4], strict=True)}) == 3


def test_no_crowd_is_thrown_across_town() -> None:
    # Oakland's list has 38,598 trees on one default point
    x = np.zeros(38_598)
    drawn_x, drawn_y, shares = apart(x, x)
    assert shares.min() == 38_598
    assert np.hypot(drawn_x, drawn_y).max() < 46
    assert len(np.unique(np.round(np.column_stack((drawn_x, drawn_y)), 6), axis=0)) == 38_598


@given(arrays(np.int64, st.integers(0, 40), elements=st.integers(0, 3)))
def test_what_others_do_elsewhere_moves_no_tree(cells: np.ndarray) -> None:
    """Law: the drawing of a point depends on its own trees and their order only."""
    x = cells.astype(float) * 1000
    drawn_x, _, shares = apart(x, np.zeros(len(x)))
    for point in np.unique(x):
        own = x == point
        alone, _, _ = apart(x[own], np.zeros(int(own.sum())))
        np.testing.assert_array_equal(drawn_x[own], alone)
        assert (shares[own] == own.sum()).all()
