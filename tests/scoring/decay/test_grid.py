"""What a grid says in few numbers, against scipy's Beta law and by hand."""

import numpy as np
import pytest
from scipy import stats

from pipeline.scoring.decay import grid as grids
from pipeline.scoring.decay.grid import Grid
from tests.scoring.decay.asking import LAW, finer


def beta_masses(
    grid: Grid, a: float, b: float
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    cells = np.diff(stats.beta.cdf(grid.edges, a, b))
    return np.append(0.0, cells)[None, :]


def test_the_columns_are_none_and_the_centres_of_the_cells() -> None:
    assert Grid(4, 0.69).x.tolist() == [0, 0.125, 0.375, 0.625, 0.875]
    assert LAW.grid.cells == 200


@pytest.mark.parametrize(("a", "b"), [(2.4, 1.6), (1.2, 2.8), (0.488, 1.895)])
def test_moments_and_mass_above_a_limit_of_a_beta_law(a: float, b: float) -> None:
    grid, law = finer(2000).grid, stats.beta(a, b)
    masses = beta_masses(grid, a, b)
    assert grids.means(masses, grid) == pytest.approx(law.mean(), abs=1e-4)
    assert grids.means(masses, grid, power=2) == pytest.approx(law.moment(2), abs=1e-4)
    for limit in (0.0, 0.15, 1 / 3, 2 / 3, 0.69):
        found = grids.mass_above(masses, grid, limit)
        assert found == pytest.approx(law.sf(limit), abs=1e-4)
    found = grids.quantiles(masses, grid, (0.1, 0.5, 0.9))[0]
    np.testing.assert_allclose(found, law.ppf([0.1, 0.5, 0.9]), atol=5e-4)


def test_the_atom_at_none_is_above_no_limit() -> None:
    grid = Grid(2, 0.69)
    assert grids.mass_above(np.array([[0.5, 0.25, 0.25]]), grid, 0.0) == pytest.approx(0.5)
    assert grids.mass_above(np.array([[0.5, 0.25, 0.25]]), grid, 0.25) == pytest.approx(0.375)


def test_quantiles_are_those_of_numpy_interp_on_any_row() -> None:
    drawn = np.random.default_rng(3).gamma(0.2, size=(50, LAW.grid.cells + 1)) + 1e-12
    masses = grids.normalised(drawn)
    levels = (0.001, 0.1, 0.5, 0.9, 0.999)
    found = grids.quantiles(masses, LAW.grid, levels)
    expected = [np.interp(levels, np.cumsum(row), LAW.grid.x) for row in masses]
    np.testing.assert_allclose(found, expected, atol=1e-12)


def test_quantiles_of_masses_that_sit_in_one_place() -> None:
    grid = Grid(4, 0.69)
    rows = np.array([[1.0, 0, 0, 0, 0], [0, 0, 0, 0, 1.0]])
    assert grids.quantiles(rows, grid, (0.5,))[0, 0] == 0
    assert 0.6 < grids.quantiles(rows, grid, (0.5,))[1, 0] <= 0.875


def test_the_worse_of_two_has_no_less_decay_than_either() -> None:
    drawn = grids.normalised(np.random.default_rng(5).gamma(0.3, size=(2, 40, 201)))
    worse = grids.worse(drawn[0], drawn[1])
    assert (worse >= -1e-15).all()
    np.testing.assert_allclose(worse.sum(axis=1), 1)
    for one in drawn:
        assert (np.cumsum(worse, axis=1) <= np.cumsum(one, axis=1) + 1e-12).all()
    np.testing.assert_allclose(grids.worse(drawn[0], drawn[0]), drawn[0], atol=1e-15)
    runs = grids.worst_of(
        np.concatenate([drawn[0, :1], drawn[1, :1], drawn[0, 1:2]]), np.array([0, 2])
    )
    np.testing.assert_allclose(runs, [worse[0], drawn[0, 1]], atol=1e-15)


def test_single_precision_says_the_same() -> None:
    masses = grids.normalised(np.random.default_rng(7).gamma(0.3, size=(9, 201)))
    double = grids.summary(masses, LAW.grid, LAW.levels)
    single = grids.summary(masses.astype(np.float32), LAW.grid, LAW.levels)
    np.testing.assert_allclose(single.mean, double.mean, rtol=1e-5)
    np.testing.assert_allclose(single.serious, double.serious, rtol=1e-4)
