"""Where rows lie: places read, judged against the city and brought to longitude and latitude."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline.errors import InputError
from pipeline.geo import crs as geo_crs
from pipeline.geo.shapes import Geometries, from_text
from pipeline.ingest.columns import Mapped
from pipeline.ingest.quarantine import Done, Finding
from pipeline.units import Flags, Floats, Ints

OUTSIDE_BOX = "outside_bounding_box"
_WGS84 = "EPSG:4326"
MOST_LONGITUDE, MOST_LATITUDE = 180.0, 90.0
# How far from the bulk of a city's rows a place is doubtful, and not this city's at all.
DOUBTFUL_KM, FOREIGN_KM = 50.0, 100.0
_KM_PER_DEGREE = 111.2  # mean of the meridian
_MADS, _LEAST_HALF_WIDTH_DEG = 12.0, 0.05
_ROUNDED_DECIMALS = 3
_MOST_ON_ONE_POINT, _MANY_ROWS = 0.5, 50

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Places:
    """Places of one file's rows.

    Parameters
    ----------
    longitude, latitude : degrees, shape (n,), NaN where there is no usable place.
    crs : the CRS and where it was found, for the account.
    told : True where the row says something about its place.
    flags : code to rows, for rows that stay.
    in_degrees : the file itself gives longitude and latitude, which can have changed places.
    findings : faults; those of missing places are `set aside`.
    """

    longitude: Floats
    latitude: Floats
    crs: str
    told: Flags
    flags: dict[str, Flags]
    findings: tuple[Finding, ...]
    in_degrees: bool = False


def tells_place(mapped: Mapped) -> bool:
    """Whether the file has what a place is read from: a geometry, or columns that are mapped."""
    geometry = mapped.raw.geometry
    if geometry is not None and np.any(~shapely.is_missing(geometry)):
        return True
    pairs = (("x", "y"), ("longitude", "latitude"), ("wkt", "wkt"))
    return any(mapped.has(one) and mapped.has(other) for one, other in pairs)


def read_places(mapped: Mapped, *, crs: str | None, need: bool) -> Places:
    """Places of a file: its geometry, else x and y, else longitude and latitude, else WKT.

    Parameters
    ----------
    crs : CRS of the settings, for files that declare none.
    need : refuse a file without columns for a place; else all rows come back without one.

    Raises
    ------
    InputError
        If there is no place or no CRS, or the coordinates do not fit the CRS.
    """
    where = f"{mapped.kind} file {mapped.raw.file}"
    found = _coordinates(mapped, crs, where=where)
    if found is None:
        if need:
            raise InputError(
                where=where,
                found=f"columns {', '.join(mapped.raw.data.column_names)}",
                expected="a place: longitude and latitude, x and y, WKT or geometry",
                remedy="Map the columns of the place in a column map.",
            )
        nothing = np.full(len(mapped), np.nan)
        untold = np.zeros(len(mapped), np.bool_)
        findings = _unusable(mapped, nothing, nothing, untold)
        return Places(nothing, nothing, "no place", untold, {}, findings)
    a, b, told, name, source = found
    parsed = geo_crs.parse(name, where=where)
    read = np.isfinite(a) & np.isfinite(b)
    degrees = geo_crs.is_geographic(parsed)
    shown = name if parsed.to_epsg() is None else f"EPSG:{parsed.to_epsg()}"
    shown = f"{shown} ({source})"
    _need_fit(a[read], b[read], geographic=degrees, where=where, crs=shown)
    findings = _unusable(mapped, a, b, told)
    bad = np.zeros(len(a), np.bool_)
    for finding in findings:
        bad[finding.rows] = True
    lon, lat = np.where(bad, np.nan, a), np.where(bad, np.nan, b)
    if not degrees:
        lon, lat = geo_crs.transform(lon, lat, source=parsed, target=geo_crs.WGS84)
        lost = ~bad & ~(np.isfinite(lon) & np.isfinite(lat))
        lon[~np.isfinite(lon)] = lat[~np.isfinite(lat)] = np.nan
        findings += _aside(mapped, lost, "place_outside_crs",
                           f"the coordinates do not exist in {name}")  # fmt: skip
    elif name not in {_WGS84, "OGC:CRS84"}:
        lon, lat = geo_crs.transform(lon, lat, source=parsed, target=geo_crs.WGS84)
    return Places(lon, lat, shown, told, {}, findings, degrees)


def judged(
    mapped: Mapped, places: Places, *, city: Box, wanted: Box | None, swappable: bool
) -> Places:
    """Places judged against the city: swapped back, doubtful, foreign, outside the wanted box.

    Parameters
    ----------
    city : west, south, east, north of the bulk of the city, degrees.
    wanted : the bounding box of the settings; rows outside it are set aside.
    swappable : the file gives degrees, in which the two can have changed places.
    """
    lon, lat = places.longitude.copy(), places.latitude.copy()
    findings = list(places.findings)
    flags: dict[str, Flags] = {}
    away = distance_km(lon, lat, city)
    if swappable:
        swapped = (~(away <= DOUBTFUL_KM)) & (distance_km(lat, lon, city) == 0)
        lon[swapped], lat[swapped] = lat[swapped], lon[swapped].copy()
        flags["lonlat_swapped"] = swapped
        findings += _found(mapped, swapped, "lonlat_swapped", Done.MENDED,
                           "longitude and latitude had changed places; they were changed back",
                           "Change them back in the file.")  # fmt: skip
        away = distance_km(lon, lat, city)
    impossible = np.isfinite(lon) & ((np.abs(lon) > MOST_LONGITUDE) | (np.abs(lat) > MOST_LATITUDE))
    findings += _aside(mapped, impossible, "place_impossible",
                       "no place on Earth has these degrees")  # fmt: skip
    if wanted is not None:
        west, south, east, north = wanted
        inside = (lon >= west) & (lon <= east) & (lat >= south) & (lat <= north)
        outside = np.isfinite(lon) & ~inside
        findings += _aside(mapped, outside & ~impossible, OUTSIDE_BOX,
                           "the place lies outside the bounding box of the settings",
                           "Nothing, if it belongs elsewhere; else mend the box.")  # fmt: skip
    else:
        outside = away > FOREIGN_KM
        findings += _aside(mapped, outside & ~impossible, "out_of_area",
                           f"the place lies more than {FOREIGN_KM:.0f} km from the city",
                           "Mend the coordinates.")  # fmt: skip
        far = (away > DOUBTFUL_KM) & ~outside & ~impossible
        flags["far_from_city"] = far
        findings += _found(mapped, far, "far_from_city", Done.FLAGGED,
                           f"the place lies more than {DOUBTFUL_KM:.0f} km from the city",
                           "Look whether the coordinates are right.")  # fmt: skip
    rounded = (np.round(lon, _ROUNDED_DECIMALS) == lon) & (np.round(lat, _ROUNDED_DECIMALS) == lat)
    flags["place_rounded"] = rounded & ~outside & ~impossible
    gone = outside | impossible
    lon[gone] = lat[gone] = np.nan
    return Places(lon, lat, places.crs, places.told, flags, tuple(findings), places.in_degrees)


def bulk_box(lon: Floats, lat: Floats) -> Box:
    """Where most of the rows lie, whatever the strays: median and median absolute deviation.

    Parameters
    ----------
    lon, lat : degrees, at least one of them finite in both.
    """
    keep = np.isfinite(lon) & np.isfinite(lat)
    lon, lat = lon[keep], lat[keep]
    mid_x, mid_y = float(np.median(lon)), float(np.median(lat))
    half_x = max(_MADS * float(np.median(np.abs(lon - mid_x))), _LEAST_HALF_WIDTH_DEG)
    half_y = max(_MADS * float(np.median(np.abs(lat - mid_y))), _LEAST_HALF_WIDTH_DEG)
    return (mid_x - half_x, mid_y - half_y, mid_x + half_x, mid_y + half_y)


def distance_km(lon: Floats, lat: Floats, box: Box) -> Floats:
    """Distance to a box of degrees, good enough to tell kilometres from continents; NaN stays.

    Parameters
    ----------
    lon, lat : degrees, same shape.
    box : its west may be greater than its east: then it lies over the 180th meridian.
    """
    west, south, east, north = box
    # a box over the 180th meridian has its west east of its east
    beyond = np.minimum if west > east else np.maximum
    wide = np.maximum(beyond(west - lon, lon - east), 0.0)
    high = np.maximum(np.maximum(south - lat, lat - north), 0.0)
    shrink = np.cos(np.radians((south + north) / 2))
    return np.asarray(np.hypot(wide * shrink, high) * _KM_PER_DEGREE, np.float64)


def need_spread(lon: Floats, lat: Floats, *, where: str) -> None:
    """Refuse an inventory most of whose rows lie on one point: that is a default, not a place.

    Raises
    ------
    InputError
        If so.
    """
    keep = np.isfinite(lon) & np.isfinite(lat)
    if keep.sum() < _MANY_ROWS:
        return
    on_middle = (lon[keep] == _middle(lon[keep])) & (lat[keep] == _middle(lat[keep]))
    if on_middle.mean() > _MOST_ON_ONE_POINT:
        without = f", and {(~keep).sum():,} without a place" if not keep.all() else ""
        raise InputError(
            where=where,
            found=f"{on_middle.sum():,} of {keep.sum():,} rows on one point, "
            f"{_middle(lon[keep]):g} {_middle(lat[keep]):g}{without}",
            expected="a place for each tree",
            remedy="The point is a default of the export; export the file with true places.",
        )


def _middle(values: Floats) -> float:
    """The lower middle value, which is one of the values."""
    return float(np.partition(values, (len(values) - 1) // 2)[(len(values) - 1) // 2])


_Found = tuple[Floats, Floats, Flags, str, str]


def _coordinates(mapped: Mapped, crs: str | None, *, where: str) -> _Found | None:
    """East and north as told, which rows tell something, the CRS and where it comes from."""
    raw = mapped.raw
    if raw.geometry is not None and np.any(~shapely.is_missing(raw.geometry)):
        x, y, told = _of_shapes(raw.geometry)
        return x, y, told, *_crs(raw.crs, crs, where)
    if mapped.has("x") and mapped.has("y"):
        told = _any_valid(mapped, "x", "y")
        return mapped.number("x"), mapped.number("y"), told, *_crs(raw.crs, crs, where)
    if mapped.has("longitude") and mapped.has("latitude"):
        told = _any_valid(mapped, "longitude", "latitude")
        name = "by the columns longitude and latitude"
        return mapped.number("longitude"), mapped.number("latitude"), told, _WGS84, name
    if mapped.has("wkt"):
        text = mapped.text("wkt")
        shapes, epsg = from_text(text.to_pylist())
        x, y, _ = _of_shapes(shapes)
        told = text.is_valid().to_numpy(zero_copy_only=False)
        return x, y, told, *_crs(f"EPSG:{epsg}" if epsg else raw.crs, crs, where)
    return None


def _any_valid(mapped: Mapped, one: str, other: str) -> Flags:
    """Rows in which the file writes anything into either cell, readable or not."""
    told: Flags = np.zeros(len(mapped), np.bool_)
    for name in (one, other):
        cells = mapped.original(name)
        written = pc.and_(cells.is_valid(), pc.not_equal(pc.utf8_trim_whitespace(cells), ""))
        told |= written.fill_null(False).to_numpy(zero_copy_only=False)
    return told


def _of_shapes(shapes: Geometries) -> tuple[Floats, Floats, Flags]:
    """One point a shape; the middle of what is more than a point; NaN for none."""
    told = ~shapely.is_missing(shapes)
    kinds = shapely.get_type_id(shapes)
    points = shapes
    if np.any(told & (kinds != shapely.GeometryType.POINT)):
        points = np.where(kinds == shapely.GeometryType.POINT, shapes, shapely.centroid(shapes))
    return shapely.get_x(points), shapely.get_y(points), told & ~shapely.is_empty(shapes)


def _crs(declared: str | None, told: str | None, where: str) -> tuple[str, str]:
    """The CRS of the coordinates and where it comes from.

    Raises
    ------
    InputError
        If nobody tells it.
    """
    if declared:
        return declared, "of the file"
    if told:
        return told, "of the settings"
    raise InputError(
        where=where,
        found="coordinates and no CRS",
        expected="a CRS in the file or in the settings",
        remedy="Add crs = 'EPSG:...' to the input in the settings.",
    )


def _need_fit(a: Floats, b: Floats, *, geographic: bool, where: str, crs: str) -> None:
    """Refuse coordinates most of which the CRS cannot hold, either way round.

    Raises
    ------
    InputError
        If so.
    """
    if not len(a):
        return
    if geographic:
        straight = (np.abs(a) <= MOST_LONGITUDE) & (np.abs(b) <= MOST_LATITUDE)
        turned = (np.abs(b) <= MOST_LONGITUDE) & (np.abs(a) <= MOST_LATITUDE)
        fits, kind = straight | turned, "degrees"
    else:
        small = (np.abs(a) <= MOST_LONGITUDE) & (np.abs(b) <= MOST_LATITUDE)
        fits, kind = ~small, "lengths on a grid"
    if fits.mean() < 1 - _MOST_ON_ONE_POINT:
        raise InputError(
            where=where,
            found=f"coordinates such as {np.median(a):.6g} {np.median(b):.6g} under CRS {crs}",
            expected=f"{kind}, as that CRS has them",
            remedy="Name the CRS that the coordinates are in.",
        )


def _unusable(mapped: Mapped, a: Floats, b: Floats, told: Flags) -> tuple[Finding, ...]:
    finite = np.isfinite(a) & np.isfinite(b)
    found = _aside(mapped, ~told, "place_missing", "the row has no place",
                   "Give the row its coordinates.")  # fmt: skip
    found += _aside(mapped, told & ~finite, "place_unreadable",
                    "the coordinates are not two numbers")  # fmt: skip
    return found + _aside(mapped, finite & (a == 0) & (b == 0), "place_zero",
                          "both coordinates are 0, which is a default and no place")  # fmt: skip


def _aside(
    mapped: Mapped, mask: Flags, code: str, reason: str, remedy: str = "Mend the coordinates."
) -> tuple[Finding, ...]:
    return tuple(_found(mapped, mask, code, Done.SET_ASIDE, reason, remedy))


def _found(
    mapped: Mapped, mask: Flags, code: str, done: Done, reason: str, remedy: str
) -> list[Finding]:
    rows = np.flatnonzero(mask)
    if not len(rows):
        return []
    column, values = _shown(mapped, rows)
    return [Finding(code, rows, column, values, reason, remedy, done)]


def _shown(mapped: Mapped, rows: Ints) -> tuple[str | None, tuple[str | None, ...]]:
    """The header and the cells of the place, as the file writes them."""
    for one, other in (("longitude", "latitude"), ("x", "y")):
        if mapped.header(one) and mapped.header(other):
            pair = [
                mapped.original(name).take(pa.array(rows)).fill_null("") for name in (one, other)
            ]
            joined = pc.binary_join_element_wise(*pair, " ").to_pylist()
            return mapped.header(one), tuple(text.strip() or None for text in joined)
    if mapped.raw.geometry is not None:
        return "geometry", tuple(
            None if shape is None else shape.wkt for shape in mapped.raw.geometry[rows]
        )
    return mapped.header("wkt"), tuple(mapped.original("wkt").take(pa.array(rows)).to_pylist())
