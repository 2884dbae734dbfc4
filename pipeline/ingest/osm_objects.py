"""Mapped objects of an OpenStreetMap extract as they stand: tags and shapes, nothing judged.

Single trees come as one Arrow table through GDAL. Ways and areas come through osmium, because GDAL
passes over ways that an extract has cut, and guesses which closed ways are areas.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import osmium
import pyarrow as pa
import pyarrow.compute as pc
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from pipeline.errors import InputError

Tags = Mapping[str, str]
Wanted = Callable[[Tags, str], bool]  # of the tags and the form

_LEAST_LINE, _LEAST_RING = 2, 4
_SHAPES = osmium.geom.WKBFactory()
AREA_ONLY_IF_SAID = ("highway", "railway", "waterway", "barrier")


# GDAL itself leaves out editors' remarks, such as note and source.
TREE_TAGS = (
    "species", "genus", "taxon", "species:en", "height", "circumference", "diameter_crown",
    "start_date", "description",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class OsmObject:
    """One object: `form` is point, line or area.

    `wkb` is its shape in degrees as hexadecimal text, None where the extract lacks it; `cut` says
    that some of its nodes are not in the extract.
    """

    osm_id: str
    form: str
    tags: Tags
    wkb: str | None
    cut: bool = False


@dataclass
class _Seen:
    """Which closed ways and relations ought to become areas, and which did."""

    expected: dict[str, Tags] = field(default_factory=dict)
    made: set[str] = field(default_factory=set)


def tree_nodes(path: Path, *, where: str) -> pa.Table:
    """Nodes tagged natural=tree: columns osm_id, longitude, latitude and one a tag asked for.

    Raises
    ------
    InputError
        If the file is no OpenStreetMap extract.
    """
    try:
        meta, points = pyogrio.read_arrow(path, layer="points")
    except (DataSourceError, DataLayerError) as fault:
        raise InputError(**_unreadable(where, str(fault))) from fault
    points = points.combine_chunks()
    trees = points.filter(pc.equal(_tag(points, "natural"), "tree"))
    shapes = shapely.from_wkb(trees[meta["geometry_name"] or "wkb_geometry"].to_numpy())
    columns = {
        "osm_id": trees["osm_id"],
        "longitude": pa.array(shapely.get_x(shapes)),
        "latitude": pa.array(shapely.get_y(shapes)),
    }
    return pa.table(columns | {name: _tag(trees, name) for name in TREE_TAGS})


def objects(path: Path, *, where: str, keys: tuple[str, ...], wanted: Wanted) -> list[OsmObject]:
    """Objects with one of the keys that `wanted(tags, form)` accepts, in the file's order.

    Parameters
    ----------
    keys : keys that an object must carry one of; the file is filtered by them before Python.

    Raises
    ------
    InputError
        If the file is no OpenStreetMap extract.

    Notes
    -----
    A closed way is an area unless it carries a key of AREA_ONLY_IF_SAID without area=yes. An area
    whose ring or members the extract lacks comes back without a shape, so that it can be counted.
    """
    seen = _Seen()
    found: list[OsmObject] = []
    try:
        keep = osmium.filter.KeyFilter(*keys)
        for entity in osmium.FileProcessor(str(path)).with_areas().with_filter(keep):
            found += _read(entity, wanted, seen)
    except RuntimeError as fault:
        raise InputError(**_unreadable(where, str(fault))) from fault
    found += [
        OsmObject(osm_id, "area", tags, None, cut=True)
        for osm_id, tags in seen.expected.items()
        if osm_id not in seen.made
    ]
    return found


def is_area_way(tags: Tags) -> bool:
    """Whether a closed way encloses something instead of leading around it."""
    said = tags.get("area")
    return said == "yes" or (said != "no" and not any(key in tags for key in AREA_ONLY_IF_SAID))


def _read(entity: Any, wanted: Wanted, seen: _Seen) -> Iterator[OsmObject]:  # noqa: ANN401 - osmium has no stubs
    tags = dict(entity.tags)
    if entity.is_area():
        osm_id = f"{'way' if entity.from_way() else 'relation'}/{entity.orig_id()}"
        if wanted(tags, "area") and (not entity.from_way() or is_area_way(tags)):
            seen.made.add(osm_id)
            yield OsmObject(osm_id, "area", tags, _SHAPES.create_multipolygon(entity))
    elif entity.is_way():
        yield from _way(entity, tags, wanted, seen)
    elif entity.is_node():
        if wanted(tags, "point"):
            yield OsmObject(f"node/{entity.id}", "point", tags, _SHAPES.create_point(entity))
    elif tags.get("type") == "multipolygon" and wanted(tags, "area"):
        seen.expected[f"relation/{entity.id}"] = tags


def _way(entity: Any, tags: Tags, wanted: Wanted, seen: _Seen) -> Iterator[OsmObject]:  # noqa: ANN401 - osmium has no stubs
    osm_id = f"way/{entity.id}"
    closed = len(entity.nodes) >= _LEAST_RING and entity.nodes[0].ref == entity.nodes[-1].ref
    if closed and is_area_way(tags):
        if wanted(tags, "area"):
            seen.expected[osm_id] = tags
        return
    if not wanted(tags, "line"):
        return
    try:
        yield OsmObject(osm_id, "line", tags, _SHAPES.create_linestring(entity))
    except (osmium.InvalidLocationError, RuntimeError):
        yield OsmObject(osm_id, "line", tags, _rest_of(entity), cut=True)


def _rest_of(way: Any) -> str | None:  # noqa: ANN401 - osmium has no stubs
    """What the extract holds of a way that it cuts: the runs of nodes that it knows."""
    runs: list[list[tuple[float, float]]] = [[]]
    for node in way.nodes:
        if node.location.valid():
            runs[-1].append((node.location.lon, node.location.lat))
        else:
            runs.append([])
    lines = [run for run in runs if len(run) >= _LEAST_LINE]
    return shapely.to_wkb(shapely.MultiLineString(lines), hex=True) if lines else None


def _tag(points: pa.Table, key: str) -> pa.Array:
    """Values of a tag, from its own column or from the text of the other tags; null if absent."""
    if key in points.column_names:
        return points[key].combine_chunks()
    found = pc.extract_regex(
        points["other_tags"].combine_chunks(), f'(?:^|,)"{key}"=>"(?P<v>(?:[^"\\\\]|\\\\.)*)"'
    )
    value = pc.struct_field(found, "v")
    plain = pc.replace_substring_regex(value, r"\\(.)", r"\1")
    return plain.combine_chunks() if isinstance(plain, pa.ChunkedArray) else plain


def _unreadable(where: str, found: str) -> dict[str, str]:
    """The parts of the refusal of a file that is no extract."""
    return {
        "where": where,
        "found": f"no readable extract ({found.splitlines()[0] if found else 'no reason given'})",
        "expected": "an OpenStreetMap extract, .osm.pbf or .osm",
        "remedy": "Fetch the extract again and check that it is whole.",
    }
