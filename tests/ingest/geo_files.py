"""Small files with canonical columns and shapes, for the tests of geography and history."""

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa
import shapely

from pipeline.ingest.columns import Mapped
from pipeline.ingest.readers import RawTable

EPSG = 3879

Columns = Mapping[str, pa.Array | Sequence[object]]


def file_of(
    kind: str,
    shapes: Sequence[str | None] | None,
    columns: Columns | None = None,
    *,
    crs: str | None = f"EPSG:{EPSG}",
    told: Columns | None = None,
) -> Mapped:
    """A file with canonical names, its headers in capitals, and shapes given as text.

    Parameters
    ----------
    columns : canonical columns as they were understood.
    told : cells of the file where they differ from what was understood.
    """
    made = {name: pa.array(values) for name, values in (columns or {}).items()}
    size = len(shapes) if shapes is not None else len(next(iter(made.values())))
    geometry = None
    if shapes is not None:
        geometry = np.asarray(shapely.from_wkt(np.array(shapes, dtype=object)), dtype=object)
    cells = {name.upper(): pa.array(v) for name, v in {**made, **(told or {})}.items()}
    raw = RawTable(
        0, kind, f"{kind}.geojson", "", 0, "GeoJSON", pa.table(cells or {"_": pa.nulls(size)}),
        np.arange(size) + 1, geometry=geometry, crs=crs,
    )  # fmt: skip
    return Mapped(raw, kind, {name: name.upper() for name in made}, made)
