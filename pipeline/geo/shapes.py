"""Array helpers on shapely geometries that more than one stage needs."""

import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely

Geometries = npt.NDArray[np.object_]
_AREA = 2
_SAME_SHARE = 0.5
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


def told_twice(shapes: Geometries, kind: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Pairs of areas of one kind that share at least half of the smaller one, shape (pairs, 2).

    Such a pair is taken for one place that was told twice. Each pair stands once, lower place
    first, in rising order.

    Parameters
    ----------
    shapes : valid shapes; lines, points and missing ones are left out.
    kind : what each is, shape (n,); negative is never the same as anything.
    """
    areal = np.flatnonzero((shapely.get_dimensions(shapes) == _AREA) & (kind >= 0))
    one, other = shapely.STRtree(shapes[areal]).query(shapes[areal], predicate="intersects")
    later = one < other
    one, other = areal[one[later]], areal[other[later]]
    same = kind[one] == kind[other]
    one, other = one[same], other[same]
    smaller = np.minimum(shapely.area(shapes[one]), shapely.area(shapes[other]))
    shared = shapely.area(shapely.intersection(shapes[one], shapes[other]))
    found = np.stack([one, other], axis=1)[shared >= _SAME_SHARE * smaller]
    return np.asarray(found[np.lexsort((found[:, 1], found[:, 0]))], np.int64)
