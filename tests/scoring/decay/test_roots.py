"""Share of the root plate behind a root rot."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pipeline.scoring.decay import grid as grids
from pipeline.scoring.decay.roots import root_grids
from tests.helpers import check_values
from tests.scoring.decay.asking import LAW, NAN


@pytest.mark.published
@pytest.mark.parametrize("row", check_values("decay/roots"), ids=lambda row: row["case"])
def test_worked_root_grids(row: dict[str, str]) -> None:
    kind = np.array([int(row["significance"]) - 1])
    masses = root_grids(kind, np.array([NAN]), LAW.grid, LAW.roots)
    found = getattr(grids.summary(masses, LAW.grid, LAW.levels), row["quantity"])[0]
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


# Means as elicited, for significance 1 to 5 and for what has no name.
@pytest.mark.parametrize(("kind", "mu"), list(enumerate([0.08, 0.15, 0.30, 0.45, 0.60, 0.15])))
def test_masses_are_those_of_the_beta_law(kind: int, mu: float) -> None:
    masses = root_grids(np.array([kind]), np.array([3.0]), LAW.grid, LAW.roots)[0]
    assert masses[0] == 0
    expected = np.diff(stats.beta.cdf(np.linspace(0, 1, 201), 4 * mu, 4 * (1 - mu)))
    np.testing.assert_allclose(masses[1:], expected, atol=1e-12)


def test_years_beyond_three_raise_the_share_on_the_logit() -> None:
    masses = root_grids(np.array([4]), np.array([13.0]), LAW.grid, LAW.roots)
    # logit 0.60 = 0.405465; + 0.06 x 10 = 1.005465; back to 0.7321
    assert grids.means(masses, LAW.grid)[0] == pytest.approx(0.7321, abs=2e-4)


@given(st.integers(0, 4), st.floats(0, 30), st.floats(0, 30))
def test_more_years_or_a_worse_taxon_never_means_less(kind: int, years: float, more: float) -> None:
    kinds = np.array([kind, kind, min(kind + 1, 4)])
    masses = root_grids(kinds, np.array([years, years + more, years]), LAW.grid, LAW.roots)
    cumulative = np.cumsum(masses, axis=1)
    assert (cumulative[1] <= cumulative[0] + 1e-9).all()
    assert (cumulative[2] <= cumulative[0] + 1e-9).all()
    np.testing.assert_allclose(masses.sum(axis=1), 1)
