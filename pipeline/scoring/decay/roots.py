"""Share of the root plate that a root rot affects, when its fruiting body is there.

    q ~ Beta(n mu, n (1 - mu)),   logit mu + slope x max(0, years - free)

mu by the taxon's significance, years those for which bodies were seen or whose layers were counted.
No published distribution of q by fungus is known, so these are the least supported grids.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import betainc, expit, logit

from pipeline.scoring.decay.grid import Grid, Masses
from pipeline.units import Floats, Ints


@dataclass(frozen=True)
class RootParameters:
    """The numbers of the law.

    Parameters
    ----------
    mean : expected share for significance 1, 2, ... and last for what has no name, shape (kinds,).
    concentration : n of the Beta law.
    slope : on the logit, a year.
    free_years : that add nothing.
    """

    mean: Floats
    concentration: float
    slope: float
    free_years: float

    @property
    def unnamed(self) -> int:
        """Kind of what is attached and has no name."""
        return len(self.mean) - 1

    @property
    def kinds(self) -> int:
        """Number of kinds."""
        return len(self.mean)


def root_grids(kind: Ints, years: Floats, grid: Grid, law: RootParameters) -> Masses:
    """Grids of the share of the root plate, shape (rows, cells + 1); no mass at none.

    Parameters
    ----------
    kind : significance - 1, or `RootParameters.unnamed`, shape (rows,).
    years : seen or counted, NaN where neither, shape (rows,).
    """
    more = np.maximum(np.nan_to_num(years) - law.free_years, 0.0)
    mu = expit(logit(law.mean[kind]) + law.slope * more)
    each, which = np.unique(mu, return_inverse=True)
    n = law.concentration
    cumulative = betainc(n * each[:, None], n * (1.0 - each[:, None]), grid.edges)
    masses = np.concatenate([np.zeros((len(each), 1)), np.diff(cumulative, axis=1)], axis=1)
    return np.asarray(masses[which])
