"""Which jobs lie together: order along a space-filling curve, and the drives to expect."""

import numpy as np

from pipeline.units import Floats, Ints

_BITS = 16
_WIDE = (2.0, 98.0)  # percentiles: a far outlier does not make the town larger


def along_curve(x: Floats, y: Floats) -> Ints:
    """Place of each point on a Hilbert curve over all of them, shape (points,).

    Points that are near on the curve are near on the ground.
    """
    if not x.size:
        return np.empty(0, dtype=np.int64)
    side = max(float(np.ptp(x)), float(np.ptp(y)), 1.0)
    cells = (1 << _BITS) - 1
    column = ((x - x.min()) / side * cells).astype(np.int64)
    row = ((y - y.min()) / side * cells).astype(np.int64)
    place = np.zeros(x.shape, dtype=np.int64)
    for bit in range(_BITS - 1, -1, -1):
        half = 1 << bit
        right, upper = (column & half) > 0, (row & half) > 0
        quarter = (3 * right) ^ upper
        place += quarter.astype(np.int64) << (2 * bit)
        mirror = ~upper & right
        column, row = np.where(mirror, cells - column, column), np.where(mirror, cells - row, row)
        column, row = np.where(upper, column, row), np.where(upper, row, column)
    return place


def expected_drive_m(x: Floats, y: Floats, count: float, *, constant: float) -> float:
    """Metres between neighbouring stops of a short tour over `count` stops in the area.

    The area is the box that holds the middle of the points; the length of the tour is about
    `constant` times the root of count and area.
    """
    if x.size < 2 or count < 1:  # noqa: PLR2004 - one point spans nothing
        return 0.0
    west, east = np.percentile(x, _WIDE)
    south, north = np.percentile(y, _WIDE)
    return float(constant * np.sqrt((east - west) * (north - south) / count))


def shared_out(order: Ints, hours: Floats, shares: Floats) -> Ints:
    """Cut an order into pieces whose hours stand in the given proportions.

    Parameters
    ----------
    order : the rows in the order that is cut.
    hours : hours of each row.
    shares : what each piece may hold, shape (pieces,); all zero means equal pieces.

    Returns
    -------
    piece of each row, shape as `hours`.
    """
    piece = np.zeros(hours.shape, dtype=np.int64)
    if not order.size:
        return piece
    weights = shares if shares.sum() > 0 else np.ones_like(shares)
    bounds = np.cumsum(weights)[:-1] / weights.sum()
    middle = np.cumsum(hours[order]) - hours[order] / 2
    piece[order] = np.searchsorted(bounds * hours[order].sum(), middle, side="right")
    return piece
