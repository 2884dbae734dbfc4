"""What lies under the trees on a map: streets, water, parks, buildings, wards, target zones.

Shapes are simplified more and more until they fit the room that the page has for them; what goes
first is the buildings, then the paths.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline.geo.shapes import Geometries, from_wkb
from pipeline.render import packing
from pipeline.render.context import RenderContext

MINOR, MAJOR, PATH, WATER, PARK, BUILDING, WARD = range(7)
TAGGED, SURVEYED = range(2)

_WORLD_M = 40_075_016.686  # girth of the square map at the equator [m] (WGS 84 semi-major axis)
_STEPS_M = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
_MAJOR_CLASSES = ("motorway", "trunk", "primary", "secondary", "tertiary")
_PATH_CLASSES = ("footway", "path", "cycleway", "pedestrian", "steps", "track", "service")
_FIXED_BYTES, _BYTES_PER_TREE = 45_000, 2.0
_POINT_M = 4.0  # half a side of the square that stands for a point
_SHOWN_ZONES = ("survey", "map_tag")

Kinds = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Packed shapes and their names, and whether something had to be left out."""

    block: packing.Block
    names: list[str]
    left_out: int


def basemap(context: RenderContext) -> Drawn:
    """The city's own streets, water, parks, buildings and ward borders."""
    shapes, kinds, names = _all_ground(context)
    room = _FIXED_BYTES + _BYTES_PER_TREE * context.table("ingest.trees").num_rows
    return _fitting(shapes, kinds, names, room=room, drop=(BUILDING, PATH))


def zones(context: RenderContext) -> tuple[Drawn, list[list[Any]]]:
    """Target zones that somebody surveyed or tagged, with kind and occupancy in words."""
    table = context.table("ingest.zones")
    how = table["how"].cast(pa.string()).to_pylist()
    static = table["static"].to_pylist()
    shown = np.array(
        [source in _SHOWN_ZONES and not still for source, still in zip(how, static, strict=True)],
        dtype=bool,
    )
    rows = np.flatnonzero(shown)
    part = table.take(pa.array(rows))
    surveyed = np.asarray(pc.equal(part["how"].cast(pa.string()), "survey")).astype(bool)
    kinds = np.where(surveyed, SURVEYED, TAGGED).astype(np.uint8)
    names = [name or "" for name in part["name"].to_pylist()]
    told = [
        [kind.replace("_", " "), occupancy or ""]
        for kind, occupancy in zip(
            part["kind"].cast(pa.string()).to_pylist(),
            part["occupancy"].cast(pa.string()).to_pylist(),
            strict=True,
        )
    ]
    metric = from_wkb(np.asarray(part["geometry"].to_pylist(), dtype=object))
    shapes = context.layers.degrees(_areas_of_points(metric))
    room = _FIXED_BYTES + _BYTES_PER_TREE * context.table("ingest.trees").num_rows
    drawn = _fitting(shapes, kinds, names, room=room, drop=(TAGGED,))
    return drawn, told


def _all_ground(context: RenderContext) -> tuple[Geometries, Kinds, list[str]]:
    streets = context.table("ingest.streets")
    classes = np.array(streets["street_class"].cast(pa.string()).to_pylist(), dtype=object)
    kinds = np.where(
        np.isin(classes, _MAJOR_CLASSES), MAJOR, np.where(np.isin(classes, _PATH_CLASSES), PATH, 0)
    ).astype(np.uint8)
    street_names = [name or "" for name in streets["name"].cast(pa.string()).to_pylist()]
    base = context.table("ingest.basemap")
    of_kind = {"water": WATER, "park": PARK, "building": BUILDING}
    base_kinds = np.array(
        [of_kind[kind] for kind in base["kind"].cast(pa.string()).to_pylist()], dtype=np.uint8
    )
    base_names = [name or "" for name in base["name"].to_pylist()]
    wards = context.table("ingest.wards")
    ward_kinds = np.full(wards.num_rows, WARD, np.uint8)
    shapes = np.concatenate(
        [
            context.layers.shapes(name) if context.table(name).num_rows else _none()
            for name in ("ingest.basemap", "ingest.wards", "ingest.streets")
        ]
    )
    names = [*base_names, *wards["name"].to_pylist(), *street_names]
    return shapes, np.concatenate((base_kinds, ward_kinds, kinds)), names


def _fitting(
    shapes: Geometries, kinds: Kinds, names: list[str], *, room: float, drop: tuple[int, ...]
) -> Drawn:
    """Simplify until it fits; at each step without success leave one more kind out."""
    kept = np.ones(len(names), dtype=bool)
    block = packing.shapes(_none(), kinds[:0], tolerance=_STEPS_M[0] / _WORLD_M)
    for at, step in enumerate(_STEPS_M):
        block = packing.shapes(shapes[kept], kinds[kept], tolerance=step / _WORLD_M)
        if block.size <= room:
            break
        if at and at - 1 < len(drop):
            kept &= kinds != drop[at - 1]
    told = [name for name, keep in zip(names, kept, strict=True) if keep]
    return Drawn(block, told, int((~kept).sum()))


def _areas_of_points(shapes: Geometries) -> Geometries:
    """Points as small squares, others as they are, so that one way of drawing is enough."""
    points = shapely.get_dimensions(shapes) == 0
    made = shapes.copy()
    if points.any():
        made[points] = shapely.buffer(shapes[points], _POINT_M, cap_style="square")
    return made


def _none() -> Geometries:
    return np.zeros(0, dtype=object)
