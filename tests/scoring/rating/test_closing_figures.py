"""What the published matrices can and cannot tell apart, counted from the tables as they lie."""

from itertools import product

import numpy as np
import pytest

from pipeline.scoring.rating import matrix
from pipeline.units import Floats, Words
from tests.scoring.from_tables import risk_matrices

MATRICES = risk_matrices()
INPUTS = np.array(list(product(range(1, 5), repeat=3)), dtype=np.int8)


def _rated(inputs: Words) -> Words:
    joint = matrix.likelihood(inputs[..., 0], inputs[..., 1], MATRICES)
    return matrix.rating(joint, inputs[..., 2], MATRICES)


@pytest.mark.published
def test_few_pairs_of_inputs_are_told_apart() -> None:
    # Derived from the two matrices: 49 of 64 are low, 60.6 % of distinct pairs tie.
    rated = _rated(INPUTS)
    one, other = np.triu_indices(len(rated), k=1)
    assert (rated == 1).sum() == 49
    assert 100 * (rated[one] != rated[other]).mean() == pytest.approx(39.4, abs=0.05)


@pytest.mark.published
def test_no_neighbour_jumps_two_words_and_none_falls() -> None:
    # Cox 2008, betweenness: 144 pairs of inputs that differ by one step in one of them.
    rated = _rated(INPUTS).reshape(4, 4, 4).astype(int)
    steps = np.concatenate([np.diff(rated, axis=axis).ravel() for axis in range(3)])
    assert len(steps) == 144
    assert steps.min() == 0
    assert steps.max() == 1


def _drawn() -> tuple[Floats, Words]:
    """Random inputs spread evenly over decades, as the critique of matrices assumes them."""
    rng = np.random.default_rng(2026)
    low = np.array([-5.0, -4.0, -4.0])
    logs = low + (0.0 - low) * rng.random((200_000, 3))
    edges = [np.linspace(one, 0.0, 5)[1:-1] for one in low]
    words = np.stack([1 + np.searchsorted(e, logs[:, n]) for n, e in enumerate(edges)], axis=1)
    return logs.sum(axis=1), words.astype(np.int8)


@pytest.mark.published
def test_ties_and_inversions_of_random_pairs() -> None:
    # With decade bands (failure 1e-5 to 1, impact and consequence 1e-4 to 1, even over the
    # logarithm): 61.5 % of random pairs tie, and 3.1 % of the ordered ones are inverted.
    loss, words = _drawn()
    rated = _rated(words)
    half = len(rated) // 2
    one, other = rated[:half], rated[half:]
    tie = one == other
    inverted = (np.sign(loss[:half] - loss[half:]) * np.sign(one.astype(int) - other)) < 0
    assert 100 * tie.mean() == pytest.approx(61.5, abs=1.0)
    assert 100 * inverted[~tie].mean() == pytest.approx(3.1, abs=1.0)
