"""Where the city lies: the box that strays are judged by, and the run's metric CRS."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow.compute as pc
import shapely

from pipeline.errors import InputError
from pipeline.geo import crs as geo_crs
from pipeline.ingest import points
from pipeline.ingest.gathering import Read
from pipeline.ingest.points import Box, Places
from pipeline.units import Floats

# Trees and wards of one city are not farther apart than this.
_APART_KM = 100.0
# Every distance of a run is off by the scale of its CRS; a grid made for a country stays within.
_MOST_STRETCH_SHARE = 0.02


class NoPlaceError(InputError):
    """An inventory without a single place: it can be told what is in it, and no more."""

    def __init__(self, where: str, found: str, remedy: str) -> None:
        """Say which, what was found and what would make it usable."""
        super().__init__(
            where=where,
            found=found,
            expected="a place for each tree: longitude and latitude, x and y, WKT or geometry",
            remedy=remedy,
        )


@dataclass(frozen=True)
class Site:
    """The run's metric CRS, the city's box in degrees, and the judged places of each tree file."""

    epsg: int
    city: Box
    places: tuple[Places, ...]


def settle(trees: Sequence[Read], wards: Sequence[Read], *, crs: str | None, where: str) -> Site:
    """Place the trees, and with them the run.

    Parameters
    ----------
    crs : the metric CRS of the settings; None: the UTM zone of the trees.
    where : the settings file, for messages.

    Raises
    ------
    NoPlaceError
        If no tree has a usable place.
    InputError
        If a CRS cannot be right, or trees and wards lie apart.
    """
    _need_columns(trees)
    raw = [points.read_places(t.mapped, crs=t.spec.crs, need=True) for t in trees]
    lon = np.concatenate([p.longitude for p in raw])
    lat = np.concatenate([p.latitude for p in raw])
    names = ", ".join(t.mapped.raw.file for t in trees)
    _need_places(lon, lat, names, trees)
    points.need_spread(lon, lat, where=f"trees file {names}")
    box = points.bulk_box(lon, lat)
    wards_box = _box_of(wards)
    area = None if crs is None else geo_crs.parse(crs, where=where).area_of_use
    frame = wards_box or (None if area is None else area.bounds)
    if _swapped(box, frame):
        box = (box[1], box[0], box[3], box[2])
    if frame is not None:
        _need_near(box, frame, names, "the wards" if wards_box else f"the area of {crs}")
    if area is not None:  # the wards may agree with the trees and the CRS still be another city's
        _need_near(box, area.bounds, names, f"the area of {crs}")
    for read, place in zip(trees, raw, strict=True):
        _need_own_area(read, place)
    city = box if wards_box is None else wards_box
    places = tuple(
        points.judged(t.mapped, p, city=city, wanted=t.spec.bounding_box, swappable=p.in_degrees)
        for t, p in zip(trees, raw, strict=True)
    )
    lon = np.concatenate([p.longitude for p in places])
    lat = np.concatenate([p.latitude for p in places])
    if not (np.isfinite(lon) & np.isfinite(lat)).any():
        raise InputError(
            where=f"trees file {names}",
            found=f"{len(lon):,} rows and no usable place",
            expected="trees within the bounding box, near the city",
            remedy="Look at the columns that the map names for the place, at the box and the CRS.",
        )
    if crs is not None:
        epsg = geo_crs.metric_epsg(crs, where=f"{where}, key city.crs")
        _need_scale(epsg, lon, lat, crs=crs, where=f"{where}, key city.crs")
        return Site(epsg, city, places)
    return Site(geo_crs.utm_epsg(lon, lat), city, places)


def _need_columns(trees: Sequence[Read]) -> None:
    """Refuse an inventory none of whose files has anything that a place is read from.

    A file of which the map understands nothing at all is told as such when its place is read.

    Raises
    ------
    NoPlaceError
        If so.
    """
    if any(points.tells_place(read.mapped) or not read.mapped.headers for read in trees):
        return
    rows = sum(len(read.mapped) for read in trees)
    raise NoPlaceError(
        _shown(trees), f"{rows:,} rows and no column that tells a place", _by_address(trees)
    )


def _shown(trees: Sequence[Read]) -> str:
    """The tree files by name, or the first and how many more."""
    names = [read.mapped.raw.file for read in trees]
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f"trees file {names[0]}{more}"


def _by_address(trees: Sequence[Read]) -> str:
    """What would give these trees a place: coordinates, or the addresses that they carry."""
    columns = "Add two columns of coordinates and name them in the column map"
    street, both = 0, 0
    for read in trees:
        named = read.mapped.text("street").is_valid()
        street += pc.sum(named).as_py() or 0
        both += pc.sum(pc.and_(named, read.mapped.text("address").is_valid())).as_py() or 0
    if not street:
        return f"{columns}."
    return (
        f"{columns}; or look the addresses up in the city's address register first: {street:,} "
        f"rows name a street, {both:,} of them with an address or door number."
    )


def _need_places(lon: Floats, lat: Floats, names: str, trees: Sequence[Read]) -> None:
    """Refuse an inventory without a single place.

    Raises
    ------
    NoPlaceError
        If there is none.
    """
    if not (np.isfinite(lon) & np.isfinite(lat)).any():
        raise NoPlaceError(
            f"trees file {names}",
            f"{len(lon):,} rows and no usable place",
            "Look at the columns that the map names for the place, and at the CRS. "
            + _by_address(trees),
        )


def _box_of(wards: Sequence[Read]) -> Box | None:
    """The box of all ward polygons in degrees, or None."""
    found: list[Box] = []
    for ward in wards:
        raw = ward.mapped.raw
        if raw.geometry is None or not (raw.crs or ward.spec.crs):
            continue
        west, south, east, north = shapely.total_bounds(raw.geometry)
        source = geo_crs.parse(raw.crs or str(ward.spec.crs), where=f"wards file {raw.file}")
        x, y = geo_crs.transform(
            np.array([west, east, west, east]), np.array([south, south, north, north]),
            source=source, target=geo_crs.WGS84,
        )  # fmt: skip
        if np.isfinite(x).all() and np.isfinite(y).all():
            found.append((float(x.min()), float(y.min()), float(x.max()), float(y.max())))
    if not found:
        return None
    sides = np.array(found)
    return (*map(float, sides[:, :2].min(axis=0)), *map(float, sides[:, 2:].max(axis=0)))  # type: ignore[return-value]


def _swapped(box: Box, frame: Box | None) -> bool:
    """Whether the bulk itself has longitude and latitude the wrong way round."""
    lon, lat = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    if frame is None:
        return abs(lat) > points.MOST_LATITUDE >= abs(lon)
    return _km(lon, lat, frame) > _APART_KM and _km(lat, lon, frame) <= _APART_KM


def _need_near(box: Box, frame: Box, names: str, what: str) -> None:
    """Refuse trees whose bulk lies far from where the city is said to be.

    Raises
    ------
    InputError
        If they lie too far apart.
    """
    lon, lat = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    apart = _km(lon, lat, frame)
    if apart > _APART_KM:
        raise InputError(
            where=f"trees file {names}",
            found=f"trees about {lon:.4f} {lat:.4f} degrees, {apart:,.0f} km from {what}",
            expected=f"trees within {_APART_KM:.0f} km of {what}",
            remedy="Name the right CRS of the file, or the right file of wards.",
        )


def _need_own_area(read: Read, place: Places) -> None:
    """Refuse a file whose trees lie far outside the area that its CRS in the settings is made for.

    Raises
    ------
    InputError
        If they do.
    """
    if (
        read.spec.crs is None
        or not (np.isfinite(place.longitude) & np.isfinite(place.latitude)).any()
    ):
        return
    file = read.mapped.raw.file
    area = geo_crs.parse(read.spec.crs, where=f"trees file {file}").area_of_use
    if area is not None:
        box = points.bulk_box(place.longitude, place.latitude)
        _need_near(box, area.bounds, file, f"the area of {read.spec.crs}")


def _need_scale(epsg: int, lon: Floats, lat: Floats, *, crs: str, where: str) -> None:
    """Refuse a metric CRS whose metres are not those on the ground where the trees stand.

    Raises
    ------
    InputError
        If they are off by more than two in a hundred.
    """
    middle = float(np.nanmedian(lon)), float(np.nanmedian(lat))
    off = geo_crs.stretch(epsg, longitude=middle[0], latitude=middle[1])
    if abs(off) <= _MOST_STRETCH_SHARE:
        return
    wrong = f"{abs(off):.0%} too {'long' if off > 0 else 'short'}"
    raise InputError(
        where=where,
        found=f"CRS {crs!r}, whose distances about {middle[0]:.4f} {middle[1]:.4f} degrees are "
        f"{wrong if np.isfinite(off) else 'of no known scale'}",
        expected=f"a metric CRS within {_MOST_STRETCH_SHARE:.0%} of the ground where the trees are",
        remedy=f'Use the UTM zone there, crs = "EPSG:{geo_crs.utm_epsg(lon, lat)}", or the '
        "national grid, or leave the key out.",
    )


def _km(lon: float, lat: float, frame: Box) -> float:
    return float(points.distance_km(np.array([lon]), np.array([lat]), frame)[0])
