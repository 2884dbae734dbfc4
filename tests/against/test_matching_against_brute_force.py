"""Candidate weights against the formula of the docstring, written out pair by pair in numpy."""

import math

import numpy as np
import pytest

from pipeline.ingest.matching import candidates
from pipeline.units import Floats


def brute(
    place: Floats, accuracy: float, trees: Floats, rules: tuple[float, float, float]
) -> Floats:
    """Weights of every tree (0 where no candidate), the unlisted one last; all 0 for none."""
    cap, error, per_listed = rules
    weights = np.zeros(len(trees) + 1)
    if not (0 <= accuracy <= cap) or not np.isfinite(place).all():
        return weights
    sigma = max(math.sqrt(accuracy**2 + error**2) / 1.5151729, 0.01)
    distance = np.sqrt(((trees - place) ** 2).sum(axis=1))
    near = distance <= min(cap, 3 * 1.5151729 * sigma)
    if not near.any():
        return weights
    density = np.exp(-(distance**2) / (2 * sigma**2)) / (2 * np.pi * sigma**2)
    unlisted = max(1.0, per_listed * (distance <= cap).sum()) / (np.pi * cap**2)
    # The mean of the density over the disc, by rings instead of by the closed form.
    radius = (np.arange(20_000) + 0.5) * cap / 20_000
    ring = np.exp(-(radius**2) / (2 * sigma**2)) / (2 * np.pi * sigma**2)
    weights[:-1][near] = density[near]
    weights[-1] = unlisted * (ring * 2 * np.pi * radius).sum() * cap / 20_000
    return np.asarray(weights / weights.sum())


@pytest.mark.parametrize("block", range(10))
def test_one_thousand_random_layouts(block: int) -> None:
    random = np.random.default_rng(1914 + block)
    for _ in range(100):
        count, seen = int(random.integers(1, 60)), int(random.integers(1, 5))
        width = float(random.choice([5.0, 80.0, 400.0]))
        trees = random.uniform(0, width, (count, 2)) + np.array([500_000, 6_600_000])
        places = random.uniform(0, width, (seen, 2)) + np.array([500_000, 6_600_000])
        accuracy = random.choice([1.0, 4.0, 10.0, 35.0, 75.0, np.nan], seen)
        rules = (60.0, float(random.choice([1.0, 3.0, 8.0])), float(random.choice([0.0, 1.0, 2.5])))
        found = candidates(
            places, accuracy, trees, cap_m=rules[0], inventory_error_m=rules[1],
            unlisted_per_listed=rules[2],
        )  # fmt: skip
        table = np.zeros((seen, count + 1))
        table[found.sighting, found.tree] = found.weight  # -1 is the last column
        expected = np.array(
            [brute(p, a, trees, rules) for p, a in zip(places, accuracy, strict=True)]
        )
        np.testing.assert_allclose(table, expected, rtol=1e-5, atol=1e-9)
        listed = expected[:, :-1]
        np.testing.assert_allclose(found.best_weight, listed.max(axis=1), rtol=1e-5, atol=1e-9)
