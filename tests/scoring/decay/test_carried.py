"""A reading at the butt, carried to the stem that the same fungus rots.

The law is this project's own; what is checked is that it is the comonotone coupling it says it
is, against counting draws, and what follows from that.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from pipeline.scoring.decay.carried import carried
from pipeline.units import Floats

CELLS = 200
EDGES = np.linspace(0.0, 1.0, CELLS + 1)
X = np.append(0.0, (EDGES[1:] + EDGES[:-1]) / 2)


def grid(nothing: float, a: float, b: float) -> Floats:
    body = np.diff(beta.cdf(EDGES, a, b))
    return np.append(nothing, (1 - nothing) * body / body.sum())[None, :]


def read(before: Floats, at: float, scatter: float = 0.05) -> Floats:
    after = before * np.exp(-0.5 * ((X - at) / scatter) ** 2)
    return np.asarray(after / after.sum(axis=1, keepdims=True))


BUTT, STEM = grid(0.0, 4, 2), grid(0.5, 2, 2)


def turned(after: Floats, together: float = 1.0) -> Floats:
    return np.asarray(STEM * carried(BUTT, after, STEM, together=together))


def test_it_is_the_same_rank_in_both() -> None:
    """Ten million ranks drawn evenly, kept by how the reading favours the butt at that rank."""
    after = read(BUTT, 0.45)
    ranks = (np.arange(10_000_000) + 0.5) / 10_000_000
    was = np.cumsum(BUTT[0])
    favour = (after[0] / np.where(BUTT[0] > 0, BUTT[0], 1.0))[np.searchsorted(was, ranks)]
    place = np.minimum(np.searchsorted(np.cumsum(STEM[0]), ranks), CELLS)
    counted = np.bincount(place, weights=favour, minlength=CELLS + 1) / favour.sum()
    assert turned(after)[0] == pytest.approx(counted, abs=2e-6)


@pytest.mark.parametrize("at", [0.2, 0.5, 0.8])
def test_without_a_reading_or_a_tie_nothing_changes(at: float) -> None:
    assert turned(BUTT) == pytest.approx(STEM, abs=1e-12)
    assert turned(read(BUTT, at), together=0.0) == pytest.approx(STEM, abs=1e-12)


@given(at=st.floats(0.05, 0.95), together=st.floats(0.0, 1.0), nothing=st.floats(0.0, 0.9))
def test_it_stays_a_distribution(at: float, together: float, nothing: float) -> None:
    stem = grid(nothing, 1.5, 3)
    after = stem * carried(BUTT, read(BUTT, at), stem, together=together)
    assert after.sum() == pytest.approx(1.0, abs=1e-9)
    assert (after >= 0).all()


@given(low=st.floats(0.1, 0.9), more=st.floats(0.0, 0.5), together=st.floats(0.0, 1.0))
def test_a_thinner_column_at_the_butt_never_thickens_that_of_the_stem(
    low: float, more: float, together: float
) -> None:
    thin, thick = (
        np.cumsum(turned(read(BUTT, at), together)) for at in (low, min(low + more, 0.99))
    )
    assert (thin >= thick - 1e-9).all()
