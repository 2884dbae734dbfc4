"""Vector files as Arrow tables and shapes, through GDAL; GeoParquet through pyarrow."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from pipeline.errors import InputError
from pipeline.geo.shapes import Geometries

FORMATS = {
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".gpkg": "GeoPackage",
    ".shp": "shapefile",
    ".zip": "shapefile, zipped",
    ".fgb": "FlatGeobuf",
    ".gpx": "GPX",
}
POINTS, LINES, POLYGONS = ("Point", "MultiPoint"), ("LineString", "MultiLineString"), (
    "Polygon", "MultiPolygon",
)  # fmt: skip
# A GPX file always has layers for routes and tracks too; trees are points.
_WAYPOINTS = "waypoints"
_TYPE_NAMES = (
    "Point", "LineString", "LinearRing", "Polygon", "MultiPoint", "MultiLineString",
    "MultiPolygon", "GeometryCollection",
)  # fmt: skip
_EXPECTED = {"trees": POINTS, "sightings": POINTS, "streets": LINES, "wards": POLYGONS}


class UnreadableVectorError(InputError):
    """A file that does not hold the shapes that its name promises."""

    def __init__(self, where: str, found: str) -> None:
        """Say which, and what was found."""
        super().__init__(
            where=where,
            found=found,
            expected="a file that holds what its name says",
            remedy="Export the file again, or name another file or layer.",
        )


@dataclass(frozen=True)
class Vector:
    """Columns, shapes (None where missing) and the CRS that the file declares."""

    data: pa.Table
    geometry: Geometries
    crs: str | None


def read_vector(path: Path, *, where: str, layer: str | None) -> Vector:
    """A file that GDAL reads.

    Raises
    ------
    InputError
        If the layer is not there, or features are passed over.
    UnreadableVectorError
        If GDAL cannot read it.
    """
    name = f"/vsizip/{path}" if path.suffix == ".zip" else path
    try:
        layer = _layer_of(name, where=where, layer=layer)
        meta, table = pyogrio.read_arrow(name, layer=layer)
    except (DataSourceError, DataLayerError) as fault:
        if path.suffix in {".geojson", ".json"}:
            _need_all_features(path, 0, where=where)
        raise UnreadableVectorError(where, str(fault)) from fault
    if path.suffix in {".geojson", ".json"}:
        _need_all_features(path, table.num_rows, where=where)
    column = meta["geometry_name"] or "wkb_geometry"
    if column not in table.column_names:
        raise UnreadableVectorError(where, "a layer without geometry")
    shapes = _shapes(table[column])
    data = table.drop_columns([column])
    hidden = [n for n in data.column_names if n == "OGC_FID"]
    return Vector(data.drop_columns(hidden), shapes, meta["crs"])


def read_geoparquet(path: Path, *, where: str) -> Vector | pa.Table:
    """A GeoParquet file, or the plain table of a Parquet file without geometry.

    Raises
    ------
    UnreadableVectorError
        If it is no Parquet, or its geometry is in an encoding other than WKB.
    """
    try:
        table = pq.read_table(path)
    except (pa.ArrowInvalid, OSError) as fault:
        raise UnreadableVectorError(where, str(fault)) from fault
    declared = (table.schema.metadata or {}).get(b"geo")
    table = table.replace_schema_metadata(None)
    if declared is None:
        return table
    geo = json.loads(declared)
    column = geo["primary_column"]
    about = geo["columns"][column]
    if about.get("encoding") != "WKB":
        raise UnreadableVectorError(
            where, f"geometry encoded as {about.get('encoding')!r}, not as WKB"
        )
    # GeoParquet 1.0: no `crs` key means OGC:CRS84, an explicit null means unknown.
    crs = about.get("crs", "OGC:CRS84")
    text = json.dumps(crs) if isinstance(crs, dict) else crs
    return Vector(table.drop_columns([column]), _shapes(table[column]), text)


def need_kind(geometry: Geometries, *, kind: str, where: str) -> None:
    """Refuse a file in which no shape is of the kind that the input needs.

    Raises
    ------
    InputError
        If so, naming what was found.
    """
    expected = _EXPECTED.get(kind)
    if expected is None:
        return
    types = shapely.get_type_id(geometry)
    found = {_TYPE_NAMES[int(kind)] for kind in np.unique(types[types >= 0])}
    if found and not found & set(expected):
        raise InputError(
            where=where,
            found=f"only {', '.join(sorted(found))} geometry",
            expected=f"{expected[0]} geometry for {kind}",
            remedy="Name the right file or layer in the settings.",
        )


def _shapes(column: pa.ChunkedArray) -> Geometries:
    raw = column.to_numpy()
    return np.asarray(shapely.from_wkb(raw, on_invalid="ignore"), dtype=object)


def _layer_of(name: str | Path, *, where: str, layer: str | None) -> str | None:
    """The layer to read: the one named, the only one, or the waypoints of a GPX file.

    Raises
    ------
    InputError
        If the one named is not there, or none is named where there are several.
    """
    suffix = Path(name).suffix
    if layer is None and suffix in {".geojson", ".json"}:
        return None
    layers = [str(found) for found, _ in pyogrio.list_layers(name)]
    if layer is None and suffix == ".gpx" and _WAYPOINTS in layers:
        return _WAYPOINTS
    if layer in layers or (layer is None and len(layers) <= 1):
        return layer
    raise InputError(
        where=where,
        found=f"layers {', '.join(layers)}",
        expected=f"a layer {layer!r}" if layer else "one layer, or the name of one",
        remedy="Write `layer` in the settings, or leave it out where there is only one.",
    )


def _need_all_features(path: Path, rows: int, *, where: str) -> None:
    """GDAL passes over features that are not GeoJSON without a word; count them ourselves.

    Raises
    ------
    InputError
        If it passed over some.
    UnreadableVectorError
        If the file is no GeoJSON at all.
    """
    raw = path.read_bytes()
    if rows and raw.count(b'"properties"') <= rows:
        return
    try:
        whole: Any = json.loads(raw)
    except (UnicodeDecodeError, json.JSONDecodeError) as fault:
        raise UnreadableVectorError(where, f"text that is not JSON ({fault})") from fault
    features = whole.get("features") if isinstance(whole, dict) else None
    if not isinstance(features, list):
        raise UnreadableVectorError(where, "JSON without a list of features")
    if len(features) == rows and rows:
        return
    bare = sum(1 for f in features if not (isinstance(f, dict) and f.get("geometry")))
    raise InputError(
        where=where,
        found=f"{bare:,} features without geometry, of {len(features):,}; "
        f"a reader of GeoJSON sees {rows:,} rows"
        if features
        else "no features",
        expected="features with 'type' and 'geometry', as RFC 7946 says",
        remedy="Export the file again as GeoJSON; nothing of it was used.",
    )
