"""Array helpers on shapely geometries that more than one stage needs."""

import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely

Geometries = npt.NDArray[np.object_]
_HEX = re.compile(r"0[01][0-9A-Fa-f]{8,}").fullmatch


def from_wkb(data: npt.ArrayLike) -> Geometries:
    """Shapes of an array of well-known binary, shape (n,)."""
    return np.asarray(shapely.from_wkb(np.asarray(data, dtype=object)), dtype=object)


def to_wkb(shapes: Geometries) -> Geometries:
    """Well-known binary (little endian) of an array of shapes, shape (n,)."""
    return np.asarray(shapely.to_wkb(shapes, byte_order=1), dtype=object)


def from_text(texts: Sequence[str | None]) -> tuple[Geometries, int]:
    """Shapes written as text: well-known text, or well-known binary in hexadecimal digits.

    Databases export the second, often with the number of the CRS in front (EWKB).

    Returns
    -------
    Shapes, shape (n,), None where a text is neither; and the one CRS that all shapes with a CRS
    name (an EPSG number), 0 if none or several are named.
    """
    data = np.asarray(texts, dtype=object).reshape(-1)
    written = np.array([isinstance(one, str) for one in data], np.bool_)
    coded = np.array([isinstance(one, str) and _HEX(one) is not None for one in data], np.bool_)
    shapes = np.full(data.shape, None, dtype=object)
    plain = written & ~coded
    shapes[plain] = shapely.from_wkt(data[plain], on_invalid="ignore")
    shapes[coded] = shapely.from_wkb(data[coded], on_invalid="ignore")
    known = np.unique(shapely.get_srid(shapes[~shapely.is_missing(shapes)]))
    known = known[known > 0]
    return shapes, int(known[0]) if len(known) == 1 else 0
