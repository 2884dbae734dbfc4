"""Street lines of files and map extracts, and the network of edges and junctions made of them.

Lines meet where they share a vertex, as mappers draw junctions, or where an end lies within the
snapping distance of another line's vertex. Lines that merely cross (a bridge) do not meet.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from pipeline.geo.shapes import Geometries
from pipeline.ingest.columns import Mapped
from pipeline.ingest.places import finding, shapes_of, wkb_column
from pipeline.ingest.quarantine import Done, Finding, accepted_mask
from pipeline.published.table import PublishedTable
from pipeline.tables.catalogue_places import STREET_NODES, STREETS
from pipeline.units import Flags, Floats, Ints

Names = npt.NDArray[np.object_]

UNKNOWN_CLASS = "unknown"
SNAP_M = 0.5
_LINE = 1
_KM_PER_MILE = 1.609344
_KM_H_PER_KNOT = 1.852
_MOST_KM_H = 200.0
_FORWARD_ONLY = ("yes", "true", "1", "y", "t", "forward")
_BACKWARD_ONLY = ("-1", "reverse", "backward")
_BOTH = ("no", "false", "0", "n", "f", "reversible", "alternating")


@dataclass(frozen=True, slots=True)
class RoadClasses:
    """The published table of road classes as arrays; `row` of the unknown class is `unknown`."""

    names: tuple[str, ...]
    occupancy: tuple[str, ...]
    vehicles_per_day: Floats
    persons_per_h: Floats
    speed_km_h: Floats
    drivable: Flags

    @classmethod
    def of(cls, table: PublishedTable) -> "RoadClasses":
        """The arrays of config/published/street_classes.csv.

        Raises
        ------
        PublishedValueError
            If a column is missing or a value is no number, or there is no row 'unknown'.
        """
        table.row(road_class=UNKNOWN_CLASS)
        return cls(
            table.texts("road_class"),
            table.texts("occupancy"),
            table.numbers("vehicles_per_day"),
            table.numbers("persons_per_h"),
            table.numbers("speed_km_h"),
            table.numbers("drivable") > 0,
        )

    def rows_of(self, names: pa.Array) -> Ints:
        """Row of each class name, shape (n,); the row 'unknown' for others and for null."""
        found = pc.index_in(pc.utf8_lower(names), value_set=pa.array(self.names))
        return np.asarray(
            found.fill_null(self.names.index(UNKNOWN_CLASS)).to_numpy(zero_copy_only=False),
            dtype=np.int64,
        )


@dataclass(frozen=True, slots=True)
class StreetLines:
    """Street lines before they are cut at junctions; all of length n.

    Parameters
    ----------
    shapes : single lines of some length, metric.
    street_id, name : texts; the name may be None.
    class_row : row of RoadClasses.
    forward, backward : may be driven along, against the line.
    drivable : for crews' vehicles.
    speed_km_h, vehicles_per_day : as told, NaN where not.
    above_ground : open to the sky, so that a tree may fall on it.
    """

    shapes: Geometries
    street_id: Names
    name: Names
    class_row: Ints
    forward: Flags
    backward: Flags
    drivable: Flags
    speed_km_h: Floats
    vehicles_per_day: Floats
    above_ground: Flags

    def __len__(self) -> int:
        """Number of lines."""
        return len(self.shapes)

    def at(self, chosen: Flags) -> "StreetLines":
        """The chosen lines."""
        return StreetLines(*(getattr(self, name)[chosen] for name in self.__slots__))

    @classmethod
    def joined(cls, several: Sequence["StreetLines"]) -> "StreetLines":
        """All lines under each other; none gives an empty one."""
        if several:
            return cls(
                *(np.concatenate([getattr(one, name) for one in several]) for name in cls.__slots__)
            )
        objects, flags, numbers = (np.empty(0, dtype=t) for t in (object, np.bool_, np.float64))
        rows = np.empty(0, dtype=np.int64)
        return cls(objects, objects, objects, rows, flags, flags, flags, numbers, numbers, flags)


@dataclass(frozen=True, slots=True)
class StreetPart:
    """What one file gives: its lines, its findings, and a note for the account."""

    lines: StreetLines
    findings: tuple[Finding, ...]
    note: str | None


@dataclass(frozen=True, slots=True)
class StreetGraph:
    """ingest.street_nodes and ingest.streets, whole."""

    nodes: pa.Table
    edges: pa.Table


def speed_km_h(texts: pa.Array) -> Floats:
    """Speeds [km/h] that texts such as '30', '30 mph' or '50 km/h' name; NaN for all others."""
    parts = pc.extract_regex(
        pc.utf8_lower(texts), r"^\s*(?P<n>\d+(?:\.\d+)?)\s*(?P<u>km/h|kmh|kph|mph|knots)?\s*$"
    )
    number = pc.cast(pc.struct_field(parts, "n"), pa.float64()).fill_null(np.nan)
    unit = pc.struct_field(parts, "u").fill_null("").to_numpy(zero_copy_only=False)
    factor = np.where(unit == "mph", _KM_PER_MILE, np.where(unit == "knots", _KM_H_PER_KNOT, 1.0))
    return np.asarray(number.to_numpy(zero_copy_only=False) * factor, dtype=np.float64)


def directions(oneway: pa.Array) -> tuple[Flags, Flags, Flags]:
    """Whether lines may be driven along and against, and where the text is not understood."""
    text = pc.utf8_lower(pc.utf8_trim_whitespace(oneway)).fill_null("")
    only_forward, only_backward, both = (
        pc.is_in(text, value_set=pa.array(words)).to_numpy(zero_copy_only=False)
        for words in (_FORWARD_ONLY, _BACKWARD_ONLY, (*_BOTH, ""))
    )
    return ~only_backward, ~only_forward, ~(only_forward | only_backward | both)


def lines_of(mapped: Mapped, classes: RoadClasses, *, epsg: int, crs: str | None) -> StreetPart:
    """The street lines of one file.

    Raises
    ------
    InputError
        If the file has no geometry at all, or one without a CRS.
    """
    shaped = shapes_of(mapped, epsg=epsg, crs=crs, need=_LINE)
    shapes, owner = shapely.get_parts(shaped.shapes, return_index=True)
    long = shapely.length(shapes) > 0
    shapes, owner = np.asarray(shapes[long], dtype=object), np.asarray(owner[long], np.int64)
    pointlike = accepted_mask(len(mapped), shaped.findings)
    pointlike[owner] = False
    forward, backward, odd = directions(mapped.text("oneway"))
    class_row = classes.rows_of(mapped.text("class"))
    speed, unread = _told_speed(mapped)
    findings = (*shaped.findings, *_line_faults(mapped, pointlike, odd, unread, classes))
    ids = pc.coalesce(
        mapped.text("street_id"),
        pc.binary_join_element_wise("street", pc.cast(pa.array(mapped.raw.rows), pa.string()), "-"),
    )
    lines = StreetLines(
        shapes,
        _objects(ids)[owner],
        _objects(mapped.text("name"))[owner],
        class_row[owner],
        forward[owner],
        backward[owner],
        classes.drivable[class_row][owner],
        speed[owner],
        mapped.number("vehicles_per_day")[owner],
        np.ones(len(owner), dtype=np.bool_),
    )
    classless = mapped.text("class").null_count == len(mapped)
    note = None if not classless else "no road classes: every line is taken as class 'unknown'"
    return StreetPart(lines, findings, note)


def graph(lines: StreetLines, classes: RoadClasses, *, snap_m: float = SNAP_M) -> StreetGraph:
    """Edges between junctions and ends, and the islands that vehicles cannot leave.

    Parameters
    ----------
    lines : all street lines of the run.
    classes : table of road classes, for the speed where a line tells none.
    snap_m : ends closer than this to another vertex meet it [m]; 0: only equal coordinates meet.

    Notes
    -----
    Islands are parts connected by drivable edges, direction aside; 0 has the most nodes, and of
    equal ones the lowest node. A node that only paths reach is an island of its own.
    """
    if not len(lines):
        return StreetGraph(
            STREET_NODES.arrow_schema.empty_table(), STREETS.arrow_schema.empty_table()
        )
    xy, owner = shapely.get_coordinates(lines.shapes, return_index=True)
    node_of, node_xy = _nodes(xy, owner, snap_m)
    at = np.flatnonzero(node_of >= 0)
    within = owner[at[1:]] == owner[at[:-1]]
    start, end = at[:-1][within], at[1:][within]
    geometry, length = _pieces(xy, start, end)
    # Snapping leaves crumbs where several vertices of one line melt into one node.
    crumb = (node_of[start] == node_of[end]) & (length <= 2 * snap_m)
    start, end, geometry, length = (a[~crumb] for a in (start, end, geometry, length))
    line, a, b = owner[start], node_of[start], node_of[end]
    drivable = lines.drivable[line]
    island = _islands(len(node_xy), a[drivable], b[drivable])
    own = lines.speed_km_h[line]
    nodes = {
        "node_key": np.arange(len(node_xy), dtype=np.int32),
        "x_m": node_xy[:, 0],
        "y_m": node_xy[:, 1],
        "island": island,
    }
    edges = {
        "street_key": np.arange(len(line), dtype=np.int32),
        "street_id": pa.array(lines.street_id[line], type=pa.string()),
        "name": pa.array(lines.name[line], type=pa.string()),
        "street_class": pa.array(np.array(classes.names, dtype=object)[lines.class_row[line]]),
        "from_node": a.astype(np.int32),
        "to_node": b.astype(np.int32),
        "length_m": length,
        "speed_km_h": np.where(np.isnan(own), classes.speed_km_h[lines.class_row[line]], own),
        "forward": lines.forward[line],
        "backward": lines.backward[line],
        "drivable": drivable,
        "geometry": wkb_column(geometry),
    }
    return StreetGraph(pa.table(nodes), pa.table(edges))


def _line_faults(
    mapped: Mapped, pointlike: Flags, odd: Flags, unread: Flags, classes: RoadClasses
) -> tuple[Finding, ...]:
    """What is said of lines: without length, odd one-way words, strange classes, odd speeds."""
    names = pc.utf8_lower(mapped.text("class"))
    known = pc.is_in(names, value_set=pa.array(classes.names))
    strange = pc.and_(names.is_valid(), pc.invert(known))
    return (
        *finding(
            mapped, pointlike, code="line_without_length", done=Done.SET_ASIDE,
            said=("The line has no length.", "Draw the line, or delete the row."),
        ),
        *finding(
            mapped, odd, code="oneway_unknown", done=Done.FLAGGED, column="oneway",
            said=("The word for one-way is not known; both directions are taken.",
                  "Write yes, no or -1."),
        ),
        *finding(
            mapped, strange.fill_null(False).to_numpy(zero_copy_only=False),
            code="street_class_unknown", done=Done.FLAGGED, column="class",
            said=("The road class is not in the table of classes; the row 'unknown' is used.",
                  "Map the class in the column map, or add it to street_classes.csv."),
        ),
        *finding(
            mapped, unread, code="speed_impossible", done=Done.EMPTIED, column="speed_km_h",
            said=(f"No speed between 0 and {_MOST_KM_H:g} km/h; that of the class is used.",
                  "Write km/h as a number, or '30 mph'."),
        ),
    )  # fmt: skip


def _nodes(xy: Floats, owner: Ints, snap_m: float) -> tuple[Ints, Floats]:
    """The node of each vertex (-1: none) and the places of the nodes.

    A vertex is a node if a line ends there, if more than one line (or one line twice) passes it,
    or if an end lies within the snapping distance.
    """
    first = np.ones(len(xy), dtype=np.bool_)
    first[1:] = owner[1:] != owner[:-1]
    is_end = first | np.roll(first, -1)
    # Equal to the millimetre is the same point: reprojection repeats itself to the last bit.
    _, index, place_of = np.unique(
        np.round(xy * 1000).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    place_of = place_of.reshape(-1)
    place_xy = xy[index]
    # Vertices that a line repeats one after the other are one passing, not two.
    repeated = np.zeros(len(xy), dtype=np.bool_)
    repeated[1:] = (place_of[1:] == place_of[:-1]) & ~first[1:]
    ends = np.zeros(len(place_xy), dtype=np.bool_)
    ends[place_of[is_end]] = True
    node = ends | (np.bincount(place_of[~repeated], minlength=len(place_xy)) > 1)
    if snap_m > 0:
        near, _ = cKDTree(place_xy[ends]).query(place_xy, distance_upper_bound=snap_m)
        node |= np.isfinite(near)
    chosen = np.flatnonzero(node)
    group = _clusters(place_xy[chosen], ends[chosen], snap_m)
    member_of_place = np.full(len(place_xy), -1, dtype=np.int64)
    member_of_place[chosen] = group
    size = np.bincount(group)
    mean = np.column_stack(
        [np.bincount(group, weights=place_xy[chosen, axis]) / size for axis in (0, 1)]
    )
    return np.where(repeated & ~is_end, -1, member_of_place[place_of]), mean


def _clusters(xy: Floats, ends: Flags, snap_m: float) -> Ints:
    """Number of the group of each point: an end and the points within the snapping distance."""
    if snap_m <= 0:
        return np.arange(len(xy), dtype=np.int64)
    pairs = cKDTree(xy).query_pairs(snap_m, output_type="ndarray")
    pairs = pairs[ends[pairs].any(axis=1)]
    return _components(len(xy), pairs[:, 0], pairs[:, 1])


def _components(count: int, a: Ints, b: Ints) -> Ints:
    """Number of the connected part of each node, in the order of their lowest nodes."""
    links = coo_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(count, count))
    _, label = connected_components(links, directed=False)
    _, first, inverse = np.unique(label, return_index=True, return_inverse=True)
    return np.asarray(np.argsort(np.argsort(first))[inverse.reshape(-1)], dtype=np.int64)


def _islands(count: int, a: Ints, b: Ints) -> npt.NDArray[np.int32]:
    part = _components(count, a, b)
    order = np.argsort(-np.bincount(part), kind="stable")
    rank = np.empty(len(order), dtype=np.int32)
    rank[order] = np.arange(len(order), dtype=np.int32)
    return rank[part]


def _pieces(xy: Floats, start: Ints, end: Ints) -> tuple[Geometries, Floats]:
    """Lines over the vertices from each start to its end, and their lengths [m]."""
    count = end - start + 1
    piece = np.repeat(np.arange(len(start)), count)
    offset = np.repeat(start - (np.cumsum(count) - count), count)
    shapes = shapely.linestrings(xy[offset + np.arange(count.sum())], indices=piece)
    return np.asarray(shapes, dtype=object), np.asarray(shapely.length(shapes), dtype=np.float64)


def _told_speed(mapped: Mapped) -> tuple[Floats, Flags]:
    """Speeds as told, a text such as '30 mph' included, and where no speed could be read."""
    speed, told = mapped.number("speed_km_h"), mapped.original("speed_km_h")
    speed = np.where(np.isfinite(speed), speed, speed_km_h(told))
    given = pc.greater(pc.utf8_length(told), 0).fill_null(False).to_numpy(zero_copy_only=False)
    possible = (speed > 0) & (speed <= _MOST_KM_H)
    return np.where(possible, speed, np.nan), given & ~possible


def _objects(texts: pa.Array) -> Names:
    return np.asarray(texts.to_numpy(zero_copy_only=False), dtype=object)
