"""Shapes of a file in the run's metric CRS; wards, the ground map, and the ward of each point.

What is wrong with a shape is mended and said, or sets its row aside; no row is lost.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline.errors import InputError
from pipeline.geo import crs as geo_crs
from pipeline.geo.shapes import Geometries, from_text, to_wkb
from pipeline.ingest.columns import Mapped
from pipeline.ingest.quarantine import Done, Finding, accepted_mask
from pipeline.tables.inputs import BASEMAP
from pipeline.tables.schema import TableSchema
from pipeline.units import Flags, Floats, Ints

_POLYGON, _LINE = 2, 1
_MOST_LATITUDE, _MOST_LONGITUDE = 90.0, 180.0
_KIND_NAMES = {_POLYGON: "a polygon", _LINE: "a line"}


@dataclass(frozen=True, slots=True)
class Shaped:
    """Shapes of a file's rows.

    Parameters
    ----------
    shapes : metric shapes, shape (n,); None where the row is set aside.
    findings : what was mended, and what sets rows aside.
    """

    shapes: Geometries
    findings: tuple[Finding, ...]

    @property
    def usable(self) -> Ints:
        """Positions of the rows that have a shape."""
        return np.flatnonzero(accepted_mask(len(self.shapes), self.findings))


@dataclass(frozen=True, slots=True)
class Part:
    """The rows that one file gives to a table, without the table's key, and its findings."""

    table: pa.Table
    findings: tuple[Finding, ...]


def keyed(schema: TableSchema, parts: Sequence[pa.Table]) -> pa.Table:
    """The parts under each other with the table's key counted from 0."""
    rest = pa.schema([field for field in schema.arrow_schema if field.name != schema.key[0]])
    tables = [part.select(rest.names).cast(rest) for part in parts]
    whole = pa.concat_tables(tables) if tables else rest.empty_table()
    whole = whole.unify_dictionaries()
    key = pa.array(np.arange(whole.num_rows), type=schema.column(schema.key[0]).arrow_type)
    return whole.add_column(0, schema.arrow_schema.field(schema.key[0]), key)


def shapes_of(mapped: Mapped, *, epsg: int, crs: str | None, need: int | None = None) -> Shaped:
    """The shapes of a file, in metres, valid, flat, and of the kind that is needed.

    Parameters
    ----------
    mapped : the file; its geometry, else its `wkt`, else its `longitude` and `latitude` are used.
    epsg : the run's metric CRS.
    crs : CRS of the settings, for files that carry none.
    need : 2 for polygons, 1 for lines, None for any.

    Raises
    ------
    InputError
        If the file has no geometry at all, or one without a CRS.
    """
    shapes, found_crs, findings = _raw_shapes(mapped)
    source = _crs_of(mapped, found_crs or crs)
    missing = shapely.is_missing(shapes)
    empty = ~missing & shapely.is_empty(shapes)
    unread = accepted_mask(len(shapes), findings)
    findings += _aside(
        mapped, missing & unread, "geometry_missing", "The row has no geometry.",
        "Draw the shape, or delete the row.",
    )  # fmt: skip
    findings += _aside(
        mapped, empty, "geometry_empty", "The geometry holds no point.",
        "Draw the shape, or delete the row.",
    )  # fmt: skip
    shapes = _without(np.asarray(shapely.force_2d(shapes), dtype=object), missing | empty)
    shapes, lost = to_metric(shapes, source=source, epsg=epsg)
    findings += _aside(
        mapped, lost, "geometry_outside_crs", f"The coordinates do not exist in {source}.",
        "Name the right CRS of the file in the settings.",
    )  # fmt: skip
    shapes, invalid = mended(shapes)
    findings += _finding(
        mapped, invalid, "geometry_invalid", Done.MENDED,
        "The shape crosses or repeats itself; it was made valid.",
        "Mend the shape in the file if its area looks wrong.",
    )  # fmt: skip
    if need is not None:
        wrong = ~shapely.is_missing(shapes) & (shapely.get_dimensions(shapes) != need)
        findings += _aside(
            mapped, wrong, "geometry_kind", f"The shape is not {_KIND_NAMES[need]}.",
            f"Give {_KIND_NAMES[need]}, or put the row into the input that it belongs to.",
        )  # fmt: skip
        shapes = _without(shapes, wrong)
    return Shaped(shapes, tuple(findings))


def wards(mapped: Mapped, *, epsg: int, crs: str | None) -> Part:
    """Rows of ingest.wards from one file of polygons.

    Raises
    ------
    InputError
        If the file has no geometry at all, or one without a CRS.
    """
    shaped = shapes_of(mapped, epsg=epsg, crs=crs, need=_POLYGON)
    use = shaped.usable
    names = mapped.text("name").take(pa.array(use))
    nameless = np.zeros(len(mapped), dtype=np.bool_)
    nameless[use[names.is_null().to_numpy(zero_copy_only=False)]] = True
    findings = shaped.findings + _finding(
        mapped, nameless, "ward_without_name", Done.FLAGGED,
        "The ward has no name; it is called by its row.", "Give the ward a name.",
    )  # fmt: skip
    rows = pc.cast(pa.array(mapped.raw.rows[use]), pa.string())
    made = pc.binary_join_element_wise("ward", rows, " ")
    table = pa.table({"name": pc.coalesce(names, made), "geometry": wkb_column(shaped.shapes[use])})
    return Part(table, findings)


def basemap(mapped: Mapped, *, epsg: int, crs: str | None) -> Part:
    """Rows of ingest.basemap from one file; a row whose kind says nothing drawn is set aside.

    Raises
    ------
    InputError
        If the file has no geometry at all, or one without a CRS.
    """
    shaped = shapes_of(mapped, epsg=epsg, crs=crs)
    kinds = mapped.text("kind")
    allowed = next(column.allowed for column in BASEMAP.columns if column.name == "kind")
    known = pc.is_in(kinds, value_set=pa.array(allowed)).to_numpy(zero_copy_only=False)
    findings = shaped.findings + _aside(
        mapped, ~known, "basemap_kind_unknown", "The row does not say what it shows.",
        f"Write one of {', '.join(allowed)}.", "kind",
    )  # fmt: skip
    use = np.flatnonzero(accepted_mask(len(mapped), findings))
    table = pa.table(
        {
            "kind": kinds.take(pa.array(use)),
            "name": mapped.text("name").take(pa.array(use)),
            "geometry": wkb_column(shaped.shapes[use]),
        }
    )
    return Part(table, findings)


def polygon_of_point(x: Floats, y: Floats, polygons: Geometries) -> Ints:
    """Position of the first polygon that covers each point, border included; -1 where none does.

    Parameters
    ----------
    x, y : places, shape (n,) [m].
    polygons : valid polygons, shape (p,); on a shared border the lowest position is taken.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    found = np.full(len(x), -1, dtype=np.int64)
    if not len(x) or not len(polygons):
        return found
    # A loop over the few polygons: each is prepared once and asked for its own strip of points,
    # which beats an index over points as long as points are many and polygons few.
    shapely.prepare(polygons)
    boxes = shapely.bounds(polygons)
    order = np.argsort(x, kind="stable")
    sorted_x = x[order]
    starts = np.searchsorted(sorted_x, boxes[:, 0], side="left")
    ends = np.searchsorted(sorted_x, boxes[:, 2], side="right")
    for key in range(len(polygons) - 1, -1, -1):
        strip = order[starts[key] : ends[key]]
        high = y[strip]
        strip = strip[(high >= boxes[key, 1]) & (high <= boxes[key, 3])]
        found[strip[shapely.intersects_xy(polygons[key], x[strip], y[strip])]] = key
    return found


def wkb_column(shapes: Geometries) -> pa.Array:
    """Shapes as an Arrow column of well-known binary."""
    return pa.array(to_wkb(np.asarray(shapes, dtype=object)), type=pa.binary())


def text_values(mapped: Mapped, name: str, rows: Ints) -> tuple[str | None, ...]:
    """The cells of the file behind a canonical column in the given rows, for findings."""
    if mapped.header(name) is not None:
        cells = mapped.original(name).take(pa.array(rows))
    elif mapped.has(name):
        cells = mapped.columns[name].take(pa.array(rows))
    else:
        return (None,) * len(rows)
    return tuple(None if value is None else str(value) for value in cells.to_pylist())


def finding(
    mapped: Mapped,
    flags: Flags,
    *,
    code: str,
    done: Done,
    said: tuple[str, str],
    column: str | None = None,
) -> tuple[Finding, ...]:
    """One finding for the flagged rows, or none; `said` is reason and remedy.

    Parameters
    ----------
    flags : shape (n,), true where the row shows the fault.
    column : canonical column at fault, shown under the file's own header.
    """
    rows = np.flatnonzero(flags)
    if not rows.size:
        return ()
    header = None if column is None else (mapped.header(column) or column)
    values = (None,) * len(rows) if column is None else text_values(mapped, column, rows)
    return (Finding(code, rows, header, values, *said, done),)


def _finding(
    mapped: Mapped,
    flags: Flags,
    code: str,
    done: Done,
    reason: str,
    remedy: str,
    column: str | None = None,
) -> tuple[Finding, ...]:
    return finding(mapped, flags, code=code, done=done, said=(reason, remedy), column=column)


def _aside(
    mapped: Mapped,
    flags: Flags,
    code: str,
    reason: str,
    remedy: str,
    column: str | None = None,
) -> tuple[Finding, ...]:
    return _finding(mapped, flags, code, Done.SET_ASIDE, reason, remedy, column)


def _raw_shapes(mapped: Mapped) -> tuple[Geometries, str | None, tuple[Finding, ...]]:
    """Shapes as the file gives them, the CRS that follows from how, and what could not be read.

    Raises
    ------
    InputError
        If the file has no geometry of any form.
    """
    if mapped.raw.geometry is not None:
        return np.asarray(mapped.raw.geometry, dtype=object), mapped.raw.crs, ()
    if mapped.has("wkt"):
        texts = mapped.text("wkt").to_pylist()
        shapes, _ = from_text(texts)
        unread = shapely.is_missing(shapes) & np.array([text is not None for text in texts], bool)
        findings = _aside(
            mapped, unread, "geometry_unreadable", "The text is no well-known text.",
            "Write it as POINT (x y), LINESTRING (x y, ...) or POLYGON ((x y, ...)).", "wkt",
        )  # fmt: skip
        return shapes, mapped.raw.crs, findings
    if mapped.has("longitude") and mapped.has("latitude"):
        lon, lat = mapped.number("longitude"), mapped.number("latitude")
        whole = np.isfinite(lon) & np.isfinite(lat)
        shapes = np.full(len(lon), None, dtype=object)
        shapes[whole] = shapely.points(lon[whole], lat[whole])
        return shapes, f"EPSG:{geo_crs.WGS84}", ()
    raise InputError(
        where=mapped.raw.file,
        found=f"columns {', '.join(mapped.raw.data.column_names) or 'none'}, no geometry",
        expected=f"a geometry for {mapped.kind}",
        remedy="Give a format that carries shapes, or map wkt, or longitude and latitude.",
    )


def _crs_of(mapped: Mapped, crs: str | None) -> str:
    """The CRS by name, if it is known.

    Raises
    ------
    InputError
        If there is none, or an unknown one.
    """
    if crs:
        geo_crs.parse(crs, where=mapped.raw.file)
        return crs
    raise InputError(
        where=mapped.raw.file,
        found="coordinates without a CRS",
        expected="a CRS in the file or in the settings",
        remedy='Add crs = "EPSG:..." to the input in the settings.',
    )


def _without(shapes: Geometries, flags: Flags) -> Geometries:
    """The shapes with the flagged ones taken out."""
    made = shapes.copy()
    made[flags] = None
    return made


def to_metric(shapes: Geometries, *, source: str, epsg: int) -> tuple[Geometries, Flags]:
    """Shapes in the metric CRS; those with a coordinate that does not exist are lost."""
    parsed = geo_crs.parse(source, where=source)
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    bad: Flags = np.asarray(~np.isfinite(xy).all(axis=1), dtype=np.bool_)
    if geo_crs.is_geographic(parsed):
        bad |= (np.abs(xy[:, 0]) > _MOST_LONGITUDE) | (np.abs(xy[:, 1]) > _MOST_LATITUDE)
    safe = np.where(bad[:, None], 0.0, xy)
    x, y = geo_crs.transform(safe[:, 0], safe[:, 1], source=parsed, target=epsg)
    bad |= ~(np.isfinite(x) & np.isfinite(y))
    new = np.column_stack([x, y])
    new[bad] = 0.0
    lost = np.zeros(len(shapes), dtype=np.bool_)
    lost[owner[bad]] = True
    made = np.asarray(shapely.set_coordinates(shapes.copy(), new), dtype=object)
    return _without(made, lost), lost


def mended(shapes: Geometries) -> tuple[Geometries, Flags]:
    """Valid shapes; of a mixed collection only the parts of its highest dimension stay.

    Lines are left alone: they are invalid only by having no length, which is told as such.
    """
    lines = shapely.get_dimensions(shapes) == _LINE
    usable = ~shapely.is_missing(shapes) & ~lines
    invalid = np.asarray(usable & ~shapely.is_valid(shapes), dtype=np.bool_)
    if not invalid.any():
        return shapes, invalid
    made = shapes.copy()
    dimension = np.asarray(shapely.get_dimensions(shapes[invalid]))
    valid = np.asarray(shapely.make_valid(shapes[invalid]), dtype=object)
    mixed = np.flatnonzero(shapely.get_type_id(valid) == shapely.GeometryType.GEOMETRYCOLLECTION)
    for place in mixed:  # rare: a ring with a spike
        parts = shapely.get_parts(valid[place])
        highest = np.minimum(dimension[place], shapely.get_dimensions(parts).max())
        valid[place] = shapely.union_all(parts[shapely.get_dimensions(parts) == highest])
    made[invalid] = valid
    return made, invalid
