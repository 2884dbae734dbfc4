"""layers.gpkg: every layer of a run for a GIS, with a description of each field.

Written with Arrow tables and well-known binary made in numpy: points of a million trees are never
built as objects. The file is equal to the byte on repeat: GDAL's clock is fixed to the run's day.
"""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyogrio
import shapely

from pipeline import terms
from pipeline.errors import RenderError
from pipeline.geo.crs import WGS84
from pipeline.geo.shapes import Geometries
from pipeline.published.sentences import Texts
from pipeline.render import fungi
from pipeline.render.cautions import every_page
from pipeline.render.context import RenderContext
from pipeline.render.joined import joined
from pipeline.tables.catalogue import TABLES
from pipeline.units import Floats

NAME = "layers.gpkg"
_CRS = f"EPSG:{WGS84}"

_TREE_FIELDS = (
    "tree_id", "species", "genus", "dbh_cm", "height_m", "status", "condition", "street", "ward",
    "owner", "place_doubtful",
)  # fmt: skip
_RATING_FIELDS = (
    "assessed", "evidence", "points", "harm_per_year", "harm_low", "harm_high", "taxon_id",
    "no_climb", "make_safe", "last_looked_on", "inspection_due_on", "occupancy_assumed",
    "best_action",
)  # fmt: skip
# All that is read of the largest tables: who makes these layers alone needs no more in memory.
READ = {
    "ingest.trees": (*_TREE_FIELDS, "x_m", "y_m"),
    "scoring.tree_ratings": ("rating", "program_rating", *_RATING_FIELDS),
}
_SIGHTING_FIELDS = (
    "sighting_id", "seen_on", "name_text", "taxon_id", "name_how", "name_by", "attachment",
    "position", "accuracy_m", "match", "match_note",
)  # fmt: skip
_ZONE_FIELDS = ("zone_id", "name", "kind", "how", "occupancy", "persons_per_h", "vehicles_per_day")
_STREET_FIELDS = ("street_id", "name", "street_class", "length_m", "forward", "backward")
_TABLES_OF = {
    "trees": ("scoring.tree_ratings", "ingest.trees"),
    "sightings": ("ingest.sightings", "scoring.identifications"),
    "zones": ("ingest.zones",),
    "streets": ("ingest.streets",),
    "wards": ("ingest.wards",),
    "routes": ("planning.routes",),
}
_MEANINGS = {"sightings": {"fungus": "accepted name of the most probable taxon"}}
_ROUTE_FIELDS = ("day", "crew_id", "depot", "stops", "drive_min", "work_min", "length_m", "how")


def _at_once() -> None:
    """The plan stands already."""


def write(context: RenderContext, *, planned: Callable[[], None] = _at_once) -> list[Path]:
    """Write layers.gpkg whole or not at all.

    Parameters
    ----------
    planned : returns when the plan stands; asked before the tables of planning are read.

    Raises
    ------
    RenderError
        If the file cannot be written.
    """
    path = context.out / NAME
    waiting = context.out / f".{NAME}"
    waiting.unlink(missing_ok=True)
    context.out.mkdir(parents=True, exist_ok=True)
    clock = f"{context.as_of.isoformat()}T00:00:00.000Z"
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": clock})
    try:
        for layer, table, geometry_type in _layers(context, planned):
            pyogrio.write_arrow(
                table,
                waiting,
                layer=layer,
                driver="GPKG",
                geometry_name="geometry",
                geometry_type=geometry_type,
                crs=_CRS,
                append=waiting.exists(),
            )
        _describe(waiting, clock, context.texts)
        waiting.replace(path)
    except (OSError, pyogrio.errors.DataSourceError, sqlite3.Error) as fault:
        waiting.unlink(missing_ok=True)
        raise RenderError(
            where=str(path),
            found=f"a file that cannot be written ({fault})",
            expected="a writable folder with room",
            remedy="Free space, or choose another --out.",
        ) from fault
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    return [path]


def _layers(
    context: RenderContext, planned: Callable[[], None]
) -> Iterator[tuple[str, pa.Table, str]]:
    """Name, rows and kind of shape of each layer; one lies in memory at a time."""
    yield "trees", _trees(context), "Point"
    sightings = _sightings(context)
    if sightings.num_rows:
        yield "sightings", sightings, "Point"
    for layer, name, fields, kind in (
        ("zones", "ingest.zones", _ZONE_FIELDS, "Unknown"),
        ("streets", "ingest.streets", _STREET_FIELDS, "Unknown"),
        ("wards", "ingest.wards", ("name",), "Unknown"),
        ("routes", "planning.routes", _ROUTE_FIELDS, "Unknown"),
    ):
        if layer == "routes":
            planned()
        table = context.table(name)
        if table.num_rows:
            shapes = context.layers.shapes(name)
            yield layer, _with(_plain(table, fields), _wkb(shapes)), kind


def _trees(context: RenderContext) -> pa.Table:
    trees = context.table("ingest.trees", columns=READ["ingest.trees"])
    table = _plain(trees, _TREE_FIELDS)
    ratings = context.table("scoring.tree_ratings")
    if ratings.num_rows == trees.num_rows:
        words = [terms.word(w) for w in terms.RatingWord]
        for name in ("rating", "program_rating"):
            codes = ratings[name].combine_chunks().cast(pa.int32())
            table = table.append_column(
                name, pa.DictionaryArray.from_arrays(codes, words).cast(pa.string())
            )
        for name in _RATING_FIELDS:
            table = table.append_column(name, _flat(ratings[name]))
    return _with(table, point_wkb(*context.layers.trees))


def _sightings(context: RenderContext) -> pa.Table:
    """Sightings with a place, and what each is found to be."""
    table = _points(context, "ingest.sightings", ("sighting_key", *_SIGHTING_FIELDS))
    match = pa.array(joined(context).match, pa.string())
    table = table.set_column(
        table.column_names.index("match"), "match", match.take(table["sighting_key"])
    )
    found = fungi.told_of(context, table["sighting_key"])
    for name in found.column_names:
        table = table.add_column(table.num_columns - 1, name, found[name])
    return table.drop_columns(["sighting_key"])


def _points(context: RenderContext, name: str, fields: tuple[str, ...]) -> pa.Table:
    table = context.table(name)
    longitude, latitude = context.layers.places(name)
    placed = np.isfinite(longitude) & np.isfinite(latitude)
    kept = _plain(table.filter(pa.array(placed)), fields)
    return _with(kept, point_wkb(longitude[placed], latitude[placed]))


def _plain(table: pa.Table, fields: tuple[str, ...]) -> pa.Table:
    return pa.table({name: _flat(table[name]) for name in fields})


def _flat(column: pa.ChunkedArray) -> pa.ChunkedArray:
    return column.cast(pa.string()) if pa.types.is_dictionary(column.type) else column


def _with(table: pa.Table, geometry: pa.Array) -> pa.Table:
    field = pa.field("geometry", pa.binary(), metadata={"ARROW:extension:name": "geoarrow.wkb"})
    return table.append_column(field, geometry)


def _wkb(shapes: Geometries) -> pa.Array:
    return pa.array(shapely.to_wkb(shapes, byte_order=1), type=pa.binary())


def point_wkb(x: Floats, y: Floats) -> pa.Array:
    """Well-known binary points (little endian) of coordinate arrays, shape (n,)."""
    record = np.zeros(x.shape, dtype=[("order", "u1"), ("type", "<u4"), ("x", "<f8"), ("y", "<f8")])
    record["order"], record["type"], record["x"], record["y"] = 1, 1, x, y
    width = record.dtype.itemsize
    fixed = pa.FixedSizeBinaryArray.from_buffers(
        pa.binary(width), x.size, [None, pa.py_buffer(record.tobytes())]
    )
    return fixed.cast(pa.binary())


def _describe(path: Path, clock: str, t: Texts) -> None:
    """Put field descriptions and the cautions into the file, as the GeoPackage standard has them.

    Tables gpkg_data_columns (schema extension) and gpkg_metadata (metadata extension) of OGC
    12-128r18, annexes F.9 and F.8.
    """
    with closing(sqlite3.connect(path)) as file, file:
        file.executescript(_EXTENSIONS)
        layers = [row[0] for row in file.execute("select table_name from gpkg_contents order by 1")]
        for layer in layers:
            meanings = {
                c.name: c.meaning for name in _TABLES_OF[layer] for c in TABLES[name].columns
            }
            meanings |= _MEANINGS.get(layer, {})
            columns = [row[1] for row in file.execute(f'pragma table_info("{layer}")')]
            file.executemany(
                "insert into gpkg_data_columns (table_name, column_name, name, description) "
                "values (?, ?, ?, ?)",
                [(layer, c, f"{layer}.{c}", meanings[c]) for c in columns if c in meanings],
            )
        file.execute(
            "insert into gpkg_metadata values (1, 'dataset', 'http://purl.org/dc/terms/', "
            "'text/plain', ?)",
            (" ".join(every_page(t)),),
        )
        file.execute(
            "insert into gpkg_metadata_reference values "
            "('geopackage', null, null, null, ?, 1, null)",
            (clock,),
        )


_EXTENSIONS = """
create table if not exists gpkg_data_columns (
  table_name text not null, column_name text not null, name text unique, title text,
  description text, mime_type text, constraint_name text,
  constraint pk_gdc primary key (table_name, column_name));
create table if not exists gpkg_metadata (
  id integer constraint m_pk primary key asc not null, md_scope text not null default 'dataset',
  md_standard_uri text not null, mime_type text not null default 'text/xml',
  metadata text not null default '');
create table if not exists gpkg_metadata_reference (
  reference_scope text not null, table_name text, column_name text, row_id_value integer,
  timestamp datetime not null, md_file_id integer not null, md_parent_id integer,
  constraint crmr_mfi_fk foreign key (md_file_id) references gpkg_metadata(id));
create table if not exists gpkg_extensions (
  table_name text, column_name text, extension_name text not null, definition text not null,
  scope text not null, constraint ge_tce unique (table_name, column_name, extension_name));
insert into gpkg_extensions values
  ('gpkg_data_columns', null, 'gpkg_schema',
   'http://www.geopackage.org/spec121/#extension_schema', 'read-write'),
  ('gpkg_metadata', null, 'gpkg_metadata',
   'http://www.geopackage.org/spec121/#extension_metadata', 'read-write'),
  ('gpkg_metadata_reference', null, 'gpkg_metadata',
   'http://www.geopackage.org/spec121/#extension_metadata', 'read-write');
"""
