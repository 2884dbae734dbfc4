"""Trees that share a point, drawn apart: for the eye only, never for a distance."""

import numpy as np

from pipeline.units import Floats, Ints

_STEP_M = 4.0  # between neighbours on the spiral, where there is room
_MOST_M = 45.0  # no tree is drawn farther from its point, however many share it
_TURN = np.pi * (3.0 - np.sqrt(5.0))  # the golden angle: no two rays coincide


def apart(x_m: Floats, y_m: Floats) -> tuple[Floats, Floats, Ints]:
    """Where to draw trees so that those on one point are seen one by one.

    Parameters
    ----------
    x_m, y_m : places [m], NaN where there is none, shape (n,).

    Returns
    -------
    x and y to draw at, and how many trees have the same point, itself included (0 without a
    place). A tree that is alone stays; of those on one point the first stays and the others lie on
    a spiral around it, in the order given, so that the same trees are always drawn the same way.
    """
    known = np.flatnonzero(np.isfinite(x_m) & np.isfinite(y_m))
    shares = np.zeros(len(x_m), np.int64)
    drawn_x, drawn_y = x_m.copy(), y_m.copy()
    shares[known] = 1
    several = _on_one_meridian(x_m, known)
    if not len(several):
        return drawn_x, drawn_y, shares
    order = several[np.lexsort((y_m[several], x_m[several]))]  # stable: in the order given
    first = np.ones(len(order), np.bool_)
    first[1:] = (np.diff(x_m[order]) != 0) | (np.diff(y_m[order]) != 0)
    starts = np.flatnonzero(first)
    group = np.cumsum(first) - 1
    counts = np.diff(np.append(starts, len(order)))
    nth = np.arange(len(order)) - starts[group]
    shares[order] = counts[group]
    step = np.minimum(_STEP_M, _MOST_M / np.sqrt(np.maximum(counts, 1)))[group]
    radius = step * np.sqrt(nth)
    drawn_x[order] += radius * np.cos(nth * _TURN)
    drawn_y[order] += radius * np.sin(nth * _TURN)
    return drawn_x, drawn_y, shares


def _on_one_meridian(x_m: Floats, known: Ints) -> Ints:
    """Rows whose x another has too, in their order: all that can share a point, and few more."""
    by_x = known[np.argsort(x_m[known], kind="stable")]
    same = np.diff(x_m[by_x]) == 0
    shared = np.zeros(len(by_x), np.bool_)
    shared[1:] |= same
    shared[:-1] |= same
    return np.sort(by_x[shared])
