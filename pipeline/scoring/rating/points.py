"""The community guide's points: probability 1-4 + size 1-3 + target 1-3 + other 0-2 = 3-12."""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.units import Floats, Ints, Words

_DECIMALS = 9
_OTHER_MOST = 2


@dataclass(frozen=True)
class PointsScheme:
    """The scheme's tables.

    Parameters
    ----------
    failure : points by failure word, for evidence without points of its own, (4,);
        points_failure.csv.
    size_above, size_from : lower bound of each size class, exclusive or inclusive [cm], NaN where
        the other holds; (classes,), points_size.csv, smallest first.
    size : points of each size class, (classes,).
    target : points by occupancy word, (4,); points_target.csv.
    rating : rating word by total, 3..12, shape (10,); points_rating.csv.
    """

    failure: Words
    size_above: Floats
    size_from: Floats
    size: Words
    target: Words
    rating: Words


def size_points(diameter: Floats, scheme: PointsScheme) -> Words:
    """Points for the size of the defective part, by its diameter [cm]; the most where unknown."""
    across = np.round(np.asarray(diameter, dtype=np.float64), _DECIMALS)[..., None]
    reached = (across >= np.round(scheme.size_from, _DECIMALS)) | (across > scheme.size_above)
    best = np.where(reached, scheme.size, 0).max(axis=-1)
    points: Words = np.where(np.isnan(np.asarray(diameter)), scheme.size.max(), best).astype(
        np.int8
    )
    return points


def target_points(occupancy: Words, scheme: PointsScheme) -> Words:
    """Points for the use of the target, by terms.OccupancyWord."""
    return scheme.target[np.asarray(occupancy, dtype=np.int64) - 1]


def failure_points(failure: Words, scheme: PointsScheme) -> Words:
    """Points for a failure word that no criterion with points of its own has given."""
    return scheme.failure[np.asarray(failure, dtype=np.int64) - 1]


def total_points(failure: Words, size: Words, target: Words, *, other: Words | int = 0) -> Words:
    """Sum of the components, 3-12; `other` is the assessor's 0-2.

    Raises
    ------
    PublishedValueError
        If `other` leaves 0..2.
    """
    extra = np.asarray(other, dtype=np.int8)
    if extra.size and (extra.min() < 0 or extra.max() > _OTHER_MOST):
        raise PublishedValueError(
            where="points scheme, other risk factors",
            found=f"{extra.min()} to {extra.max()}",
            expected=f"0 to {_OTHER_MOST}",
            remedy="Give 0, 1 or 2 points.",
        )
    total: Words = (failure.astype(np.int8) + size + target + extra).astype(np.int8)
    return total


def points_rating(points: Words, scheme: PointsScheme) -> Words:
    """Rating word of a total of 3..12."""
    lowest = 12 - scheme.rating.size + 1
    at: Ints = np.asarray(points, dtype=np.int64) - lowest
    return scheme.rating[at]
