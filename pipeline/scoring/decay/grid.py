"""The grid that carries how much is decayed: an atom at none and equal cells up to all.

    at 0 | cell 1 | cell 2 | ... | last cell     columns of every grid array, (rows, cells + 1)
     x 0           ...             1             decayed diameter over diameter of the section

x is a share of the DIAMETER; a share of the section's area is x squared. For roots x is the share
of the root plate that is affected. The first column is the probability that nothing is decayed;
the others hold the probability of each cell, so a row sums to 1. Values are taken near the
centres of cells, and a part of a cell counts by its share.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from pipeline.units import Floats, Ints

Masses = npt.NDArray[np.floating]


@dataclass(frozen=True)
class Grid:
    """The cells.

    Parameters
    ----------
    cells : number of equal cells between 0 and 1.
    serious_above : decayed share of the diameter from which decay is called serious.
    power : values are taken at the mean of a law x^(power - 1) over each cell; 1 gives the
        centres. The prior rises without bound towards none, so its mass in the first cells lies
        below their centres.
    """

    cells: int
    serious_above: float
    power: float = 1.0

    @cached_property
    def edges(self) -> Floats:
        """Edges of the cells, shape (cells + 1,)."""
        return np.linspace(0.0, 1.0, self.cells + 1)

    @cached_property
    def x(self) -> Floats:
        """0 and the points at which the cells' values are taken, shape (cells + 1,)."""
        of_law, of_mean = self.edges**self.power, self.edges ** (self.power + 1.0)
        means = self.power / (self.power + 1.0) * np.diff(of_mean) / np.diff(of_law)
        return np.append(0.0, means)

    def share_above(self, limit: float) -> Floats:
        """Share of each column that lies above a limit, shape (cells + 1,)."""
        share = np.clip((self.edges[1:] - limit) * self.cells, 0.0, 1.0)
        return np.append(0.0, share)


@dataclass(frozen=True)
class Summary:
    """What a grid says in few numbers, each field of shape (rows,).

    Parameters
    ----------
    nothing : probability that nothing is decayed.
    mean, mean_area : expected decayed share of the diameter, and of the section's area.
    low, middle, high : 10, 50 and 90 % quantiles of the share of the diameter.
    serious : probability of decay above `Grid.serious_above`.
    """

    nothing: Floats
    mean: Floats
    mean_area: Floats
    low: Floats
    middle: Floats
    high: Floats
    serious: Floats


def normalised(masses: Masses) -> Masses:
    """Rows that sum to 1; the last axis is divided by its sum."""
    return np.asarray(masses / masses.sum(axis=-1, keepdims=True))


def means(masses: Masses, grid: Grid, *, power: int = 1) -> Floats:
    """Expected share of the diameter to a power, shape (rows,)."""
    return _weighed(masses, grid.x**power)


def mass_above(masses: Masses, grid: Grid, limit: float) -> Floats:
    """Probability of more than a share of the diameter, shape (rows,)."""
    return _weighed(masses, grid.share_above(limit))


def _weighed(masses: Masses, weight: Floats) -> Floats:
    """Sum of each row times weights; the same for a row whatever rows stand beside it."""
    sums = np.einsum("rx,x->r", masses, weight.astype(masses.dtype))
    return np.asarray(sums, dtype=np.float64)


def quantiles(masses: Masses, grid: Grid, levels: tuple[float, ...]) -> Floats:
    """Linear interpolation of the cumulative at 0 and the cell centres, shape (rows, levels)."""
    cumulative = np.cumsum(masses, axis=1, dtype=np.float64)
    rows = np.arange(len(masses))
    found = np.empty((len(masses), len(levels)))
    for place, level in enumerate(levels):
        above = np.minimum((cumulative <= level).sum(axis=1), grid.cells)
        below = np.maximum(above - 1, 0)
        rise = cumulative[rows, above] - cumulative[rows, below]
        part = (level - cumulative[rows, below]) / np.where(rise > 0, rise, 1.0)
        step = np.clip(np.where(rise > 0, part, 0.0), 0.0, 1.0)
        found[:, place] = grid.x[below] + step * (grid.x[above] - grid.x[below])
    return found


def summary(masses: Masses, grid: Grid, levels: tuple[float, float, float]) -> Summary:
    """What rows say in few numbers.

    Parameters
    ----------
    levels : low, middle and high quantile, as shares of probability.
    """
    low, middle, high = quantiles(masses, grid, levels).T
    return Summary(
        nothing=masses[:, 0].astype(np.float64),
        mean=means(masses, grid),
        mean_area=means(masses, grid, power=2),
        low=low,
        middle=middle,
        high=high,
        serious=mass_above(masses, grid, grid.serious_above),
    )


def joined(some: Sequence[Summary]) -> Summary:
    """Summaries of blocks of rows, one after the other; none gives one of no rows."""
    names, none = tuple(Summary.__dataclass_fields__), np.empty(0)
    return Summary(*(np.concatenate([none, *(getattr(s, name) for s in some)]) for name in names))


def worse(masses: Masses, other: Masses) -> Masses:
    """The least distribution with no less decay than either, row by row.

    Its cumulative is the smaller of the two at every share, so that a second sign can worsen what
    is known and never better it, and what both say is not counted twice.
    """
    least = np.minimum(np.cumsum(masses, axis=-1), np.cumsum(other, axis=-1))
    return np.diff(least, axis=-1, prepend=0.0)


def worst_of(masses: Masses, first: Ints) -> Masses:
    """`worse` over runs of rows that begin at `first`, shape (runs, cells + 1)."""
    least = np.minimum.reduceat(np.cumsum(masses, axis=-1), first, axis=0)
    return np.diff(least, axis=-1, prepend=0.0)
