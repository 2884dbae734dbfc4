"""Array helpers on shapely geometries that more than one stage needs."""

import numpy as np
import numpy.typing as npt
import shapely

Geometries = npt.NDArray[np.object_]


def from_wkb(data: npt.ArrayLike) -> Geometries:
    """Shapes of an array of well-known binary, shape (n,)."""
    return np.asarray(shapely.from_wkb(np.asarray(data, dtype=object)), dtype=object)


def to_wkb(shapes: Geometries) -> Geometries:
    """Well-known binary (little endian) of an array of shapes, shape (n,)."""
    return np.asarray(shapely.to_wkb(shapes, byte_order=1), dtype=object)
