"""A crew-day as GPX 1.1: its stops as waypoints, their order as a route, the way driven as a track.

Topografix (2004), GPX 1.1 schema: the order of elements is fixed, places are WGS 84. No time is
written, since GPX asks for UTC and a run knows only the clock on the wall; it stands in the text. A
day that was reckoned by straight lines has no track: nobody can drive it.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Places = npt.NDArray[np.float64]

NAMESPACE = "http://www.topografix.com/GPX/1/1"
_SCHEMA = "http://www.w3.org/2001/XMLSchema-instance"
_HALF_ROUND = 180.0
_DIGITS = 7  # of degrees: a centimetre
# What XML 1.0 does not allow in any text, not even escaped.
_FORBIDDEN = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True)
class Waypoint:
    """A place with its name, what is said of it, and its kind."""

    longitude: float
    latitude: float
    name: str
    text: str
    kind: str


def gpx(
    name: str, text: str, points: Sequence[Waypoint], order: Sequence[int], track: Places | None
) -> bytes:
    """A GPX document.

    Parameters
    ----------
    order : places in `points` in driving order.
    track : longitude and latitude of the way driven, shape (vertices, 2); None for no track.
    """
    root = ET.Element(
        "gpx",
        {
            "xmlns": NAMESPACE, "xmlns:xsi": _SCHEMA, "version": "1.1", "creator": "soundwood",
            "xsi:schemaLocation": f"{NAMESPACE} {NAMESPACE}/gpx.xsd",
        },
    )  # fmt: skip
    _say(ET.SubElement(root, "metadata"), name=name, desc=text)
    for point in points:
        _point(root, "wpt", point)
    if order:
        route = ET.SubElement(root, "rte")
        _say(route, name=name)
        for place in order:
            _point(route, "rtept", points[place])
    if track is not None and len(track):
        driven = ET.SubElement(root, "trk")
        _say(driven, name=name)
        segment = ET.SubElement(driven, "trkseg")
        for longitude, latitude in track.tolist():
            ET.SubElement(segment, "trkpt", _at(longitude, latitude))
    ET.indent(root, " ")
    written: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return written + b"\n"


def _point(parent: ET.Element, tag: str, point: Waypoint) -> None:
    made = ET.SubElement(parent, tag, _at(point.longitude, point.latitude))
    _say(made, name=point.name, desc=point.text, type=point.kind)


def _at(longitude: float, latitude: float) -> dict[str, str]:
    """Latitude and longitude as the schema's ranges want them: 180 is written as -180."""
    east = round(longitude, _DIGITS)
    east = -_HALF_ROUND if east >= _HALF_ROUND else east
    return {"lat": f"{latitude:.{_DIGITS}f}", "lon": f"{east:.{_DIGITS}f}"}


def _say(parent: ET.Element, **texts: str) -> None:
    for tag, text in texts.items():
        ET.SubElement(parent, tag).text = _FORBIDDEN.sub("\N{REPLACEMENT CHARACTER}", text)
