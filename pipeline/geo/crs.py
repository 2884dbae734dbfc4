"""Choosing, checking and transforming coordinate systems: the only caller of pyproj."""

import numpy as np
from pyproj import CRS, Proj, Transformer
from pyproj.exceptions import CRSError

from pipeline.errors import InputError
from pipeline.units import Floats

WGS84 = 4326
_UTM_NORTH, _UTM_SOUTH, _UTM_WIDTH_DEG, _HALF_TURN_DEG, _ZONES = 32600, 32700, 6.0, 180.0, 60


def parse(text: str, *, where: str) -> CRS:
    """The CRS that a text names: an EPSG code, WKT or PROJJSON.

    Raises
    ------
    InputError
        If no such CRS is known.
    """
    try:
        return CRS.from_user_input(text)
    except CRSError:
        raise InputError(
            where=where,
            found=f"CRS {text!r}",
            expected="a known CRS, such as EPSG:4326",
            remedy="Name the CRS of the coordinates by its EPSG code.",
        ) from None


def metric_epsg(text: str, *, where: str) -> int:
    """The EPSG code of a projected CRS in metres.

    Raises
    ------
    InputError
        If the CRS is unknown, geographic, or not in metres.
    """
    crs = parse(text, where=where)
    code = crs.to_epsg()
    if code is None or not crs.is_projected or crs.axis_info[0].unit_name != "metre":
        raise InputError(
            where=where,
            found=f"CRS {text!r}, {crs.name}",
            expected="a projected CRS in metres with an EPSG code",
            remedy="Use the UTM zone or the national grid of the city, or leave the key out.",
        )
    return int(code)


def stretch(epsg: int, *, longitude: float, latitude: float) -> float:
    """How far a metre of a projected CRS is off a metre on the ground at a place, as a share.

    The worse of the two directions; +0.37 for web mercator at 43 degrees, inf where the CRS has no
    scale (outside of what its projection can show).
    """
    factors = Proj(CRS.from_epsg(epsg)).get_factors(longitude, latitude)
    scales = np.array([factors.meridional_scale, factors.parallel_scale])
    if not np.isfinite(scales).all():
        return float("inf")
    return float((scales - 1.0)[np.argmax(np.abs(scales - 1.0))])


def utm_epsg(longitude: Floats, latitude: Floats) -> int:
    """The UTM zone of the median place, as an EPSG code (WGS 84)."""
    lon, lat = float(np.nanmedian(longitude)), float(np.nanmedian(latitude))
    zone = int((lon + _HALF_TURN_DEG) // _UTM_WIDTH_DEG) % _ZONES + 1
    return (_UTM_NORTH if lat >= 0 else _UTM_SOUTH) + zone


def transform(
    x: Floats, y: Floats, *, source: CRS | int, target: CRS | int
) -> tuple[Floats, Floats]:
    """Coordinates in another CRS, east before north; same shapes; inf where impossible."""
    transformer = Transformer.from_crs(source, target, always_xy=True)
    new_x, new_y = transformer.transform(np.asarray(x, np.float64), np.asarray(y, np.float64))
    return np.asarray(new_x, np.float64), np.asarray(new_y, np.float64)


def to_longitude_latitude(x: Floats, y: Floats, *, epsg: int) -> tuple[Floats, Floats]:
    """Longitude and latitude (WGS 84, degrees) of metric coordinates."""
    return transform(x, y, source=epsg, target=WGS84)


def is_geographic(crs: CRS) -> bool:
    """True where coordinates are degrees."""
    return bool(crs.is_geographic)


def wkt(epsg: int) -> str:
    """Well-known text of an EPSG code, for files that carry it."""
    return str(CRS.from_epsg(epsg).to_wkt())
