"""What a reading of one part says of another part that the same fruiting body rots.

A column of decay that a fungus drives up from the butt is one column. Where the drill finds it
thin at the conk, it is not thick a metre above; where it is thick there, it is thick above too.
Taken apart, the stem over a measured butt would keep all the decay that the fungus alone lets
expect, and the thickest reading could not calm it.

The two parts are joined by their ranks: the reading turns the cumulative of the read part from
F_before into F_after, and the same turn D, F_after = D(F_before), is taken to the other part,

    F_other,after = (1 - together) F_other,before + together D(F_other,before)

with `together` the share of cases in which the two parts stand at the same rank (1: one column,
0: strangers). No reading, no turn; the law of the other part before any reading is untouched.
"""

import numpy as np

from pipeline.units import Floats


def carried(before: Floats, after: Floats, other: Floats, *, together: float) -> Floats:
    """Factors for the grids of other parts, by cell.

    Parameters
    ----------
    before, after : grids of the read parts without and with their readings, each row sums to 1,
        shape (pairs, cells + 1).
    other : grids of the other parts before, of that shape.
    together : share of cases in which both stand at the same rank, 0 to 1.

    Returns
    -------
    by which to multiply the masses of the other parts, (pairs, cells + 1); the products of a row
    sum to 1.
    """
    was, now = _cumulative(before), _cumulative(after)
    ranks = _cumulative(other)
    # One interpolation for all rows: each row stands on its own stretch of the line.
    stretch = 2.0 * np.arange(len(was))[:, None]
    line = np.interp((ranks + stretch).ravel(), (was + stretch).ravel(), now.ravel())
    turned = line.reshape(ranks.shape)
    mass = np.maximum(np.diff(turned, axis=1), 0.0)
    factor = np.divide(mass, other, out=np.ones_like(other), where=other > 0)
    return np.asarray(1.0 - together + together * factor)


def _cumulative(masses: Floats) -> Floats:
    """From 0 to 1 over the edges of atom and cells, shape (rows, cells + 2)."""
    sums = np.cumsum(masses, axis=1)
    sums /= sums[:, -1:]
    return np.concatenate([np.zeros((len(sums), 1)), sums], axis=1)
