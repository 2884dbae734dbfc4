"""Decay of a part of which nobody has told anything: by part, size, condition and host; never none.

    any decay      1 - exp(-s h),  h = c ln(1 + e^l),  l = intercept + slope ln(D / centre)
    given decay    share of the diameter ~ Beta(a, b times the host's factor)

s is the part's share (butt and stem together are the tree that the surveys drilled), c the factor
of the condition. The host's class of compartmentalisation moves how far decay goes and not how
often it is there. For roots the same law gives the share of the root plate.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import betainc

from pipeline.errors import TableError
from pipeline.scoring.decay.grid import Grid, Masses
from pipeline.units import Floats, Ints


@dataclass(frozen=True)
class PriorParameters:
    """The numbers of the law.

    Parameters
    ----------
    intercept, slope : of l.
    centre_cm : diameter at which l is the intercept [cm].
    part : share of each part, by terms.Part, shape (4,).
    condition : factor of each condition, in `CONDITIONS` order, shape (5,).
    a, b : shapes of the Beta law.
    host : factor on b, in `HOSTS` order, shape (3,).
    """

    intercept: float
    slope: float
    centre_cm: float
    part: Floats
    condition: Floats
    a: float
    b: float
    host: Floats


CONDITIONS = ("good", "fair", "poor", "dead", "unknown")
HOSTS = ("poor", "middle", "good")


def nothing_decayed(
    part: Ints, diameter_cm: Floats, condition: Ints, law: PriorParameters
) -> Floats:
    """Probability that nothing of the part is decayed, shape (rows,).

    Parameters
    ----------
    part : terms.Part.
    diameter_cm : of the part's critical section, above 0 [cm].
    condition : place in `CONDITIONS`.

    Raises
    ------
    TableError
        If a diameter is not above 0.
    """
    D = checked_diameter(diameter_cm)
    at = law.intercept + law.slope * np.log(D / law.centre_cm)
    hazard = np.logaddexp(0.0, at) * law.condition[condition]
    return np.asarray(np.exp(-law.part[part] * hazard), dtype=np.float64)


def bodies(grid: Grid, law: PriorParameters) -> Floats:
    """Masses given decay for each class of host, the atom empty, shape (3, cells + 1)."""
    cumulative = betainc(law.a, law.b * law.host[:, None], grid.edges)
    return np.concatenate([np.zeros((len(law.host), 1)), np.diff(cumulative, axis=1)], axis=1)


def priors(nothing: Floats, host: Ints, given_decay: Masses) -> Masses:
    """Grids of rows, shape (rows, cells + 1), in the precision of `given_decay`.

    Parameters
    ----------
    nothing : from `nothing_decayed`.
    host : place in `HOSTS`.
    given_decay : from `bodies`.
    """
    kind = given_decay.dtype
    masses = np.take(given_decay, host, axis=0)
    masses *= (1.0 - nothing).astype(kind)[:, None]
    masses[:, 0] = nothing.astype(kind)
    return masses


def checked_diameter(diameter_cm: Floats) -> Floats:
    """The diameters.

    Raises
    ------
    TableError
        If one is not a number above 0.
    """
    D = np.asarray(diameter_cm, dtype=np.float64)
    bad = ~(D > 0) | np.isinf(D)
    if bad.any():
        raise TableError(
            where=f"decay of parts, row {int(np.argmax(bad))}",
            found=f"diameter {D[np.argmax(bad)]:g} cm",
            expected="a diameter above 0 cm",
            remedy="Fill missing diameters, and say so, before asking for decay.",
        )
    return D
