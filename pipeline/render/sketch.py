"""A sketch map of one crew-day: streets in grey, the line driven, numbered stops, the depot.

Inline SVG, a few kilobytes, the same to the byte on repeat. It shows the order and the lie of the
land; it is no navigation.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import shapely
from markupsafe import Markup

from pipeline.geo.shapes import Geometries, from_wkb
from pipeline.render.context import RenderContext
from pipeline.units import Flags, Floats

WIDTH, LEAST_HEIGHT, MOST_HEIGHT = 460.0, 240.0, 400.0
_MARGIN = 28.0
_LEAST_SPAN_M = 250.0
_MOST_STREETS = 1_500
_MOST_LABELS = 9
_LABEL_CHAR_PX, _LABEL_ROOM_PX = 6.2, 54.0
_SAME_MARK_PX = 21.0
_MAJOR_CLASSES = ("motorway", "trunk", "primary", "secondary", "tertiary")
_BAR_PX = 90.0
_HALF_TURN_DEG, _RIGHT_ANGLE_DEG = 180.0, 90.0


@dataclass(frozen=True, slots=True)
class Frame:
    """How metres become drawing units: x to the right, y down."""

    left: float
    top: float
    per_metre: float
    height: float

    def to_drawing(self, places: Floats) -> Floats:
        """Drawing coordinates of metric ones, shape (n, 2)."""
        return np.column_stack(
            (
                (places[:, 0] - self.left) * self.per_metre,
                (self.top - places[:, 1]) * self.per_metre,
            )
        )

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east, north in metres."""
        return (
            self.left,
            self.top - self.height / self.per_metre,
            self.left + WIDTH / self.per_metre,
            self.top,
        )


def frame_around(places: Floats) -> Frame:
    """A frame that shows all places, shape (n, 2), with a margin, wide rather than high."""
    low, high = places.min(axis=0), places.max(axis=0)
    centre = (low + high) / 2
    span = np.maximum(high - low, _LEAST_SPAN_M)
    per_metre = min(
        (WIDTH - 2 * _MARGIN) / span[0],
        (MOST_HEIGHT - 2 * _MARGIN) / span[1],
    )
    height = float(np.clip(span[1] * per_metre + 2 * _MARGIN, LEAST_HEIGHT, MOST_HEIGHT))
    left = centre[0] - WIDTH / 2 / per_metre
    top = centre[1] + height / 2 / per_metre
    return Frame(float(left), float(top), float(per_metre), round(height))


class Streets:
    """The streets of a run, indexed once for all its sketches."""

    def __init__(self, context: RenderContext) -> None:
        """Read shapes, names and classes."""
        table = context.table("ingest.streets")
        self._shapes = _shapes(table["geometry"])
        classes = np.array(table["street_class"].cast(pa.string()).to_pylist(), dtype=object)
        self._major: Flags = np.isin(classes, _MAJOR_CLASSES)
        self._drivable: Flags = table["drivable"].to_numpy(zero_copy_only=False).astype(bool)
        self._names = np.array(
            [name or "" for name in table["name"].cast(pa.string()).to_pylist()], dtype=object
        )
        self._middles = np.asarray(shapely.centroid(self._shapes), dtype=object)
        self._tree = shapely.STRtree(self._shapes)

    def drawn(self, frame: Frame, route: Geometries, wanted: Sequence[str]) -> Markup:
        """Paths of the streets inside the frame, and the names of the wanted ones first.

        Where there are too many, larger roads and those next to the route are kept.
        """
        box = frame.box
        rows = np.sort(self._tree.query(shapely.box(*box)))
        if rows.size > _MOST_STREETS:
            away = shapely.distance(self._middles[rows], route[0])
            order = np.lexsort((rows, away, ~self._drivable[rows], ~self._major[rows]))
            rows = np.sort(rows[order[:_MOST_STREETS]])
        parts, of_row = shapely.get_parts(
            shapely.clip_by_rect(self._shapes[rows], *box), return_index=True
        )
        lines_only = shapely.get_dimensions(parts) == 1
        clipped, rows = parts[lines_only], rows[of_row[lines_only]]
        major = self._major[rows]
        minor_path = path_of(_joined(clipped[~major], frame), frame)
        major_path = path_of(_joined(clipped[major], frame), frame)
        lines = Markup('<path class="st" d="{}"/><path class="st big" d="{}"/>').format(
            minor_path, major_path
        )
        return lines + _labels(clipped, self._names[rows], major, frame, wanted)


def sketch(
    streets: Streets, route: Geometries, stops: Floats, depot: Floats | None, names: Sequence[str]
) -> Markup:
    """The drawing.

    Parameters
    ----------
    route : the line driven, shape (1,), metric.
    stops : places in driving order, shape (n, 2), metric.
    depot : place of the depot, shape (1, 2), or None where the settings no longer name it.
    names : streets of the stops, whose names are written first.
    """
    line = shapely.get_coordinates(route)
    everything = [stops, line] if depot is None else [stops, line, depot]
    frame = frame_around(np.concatenate(everything))
    thin = shapely.simplify(route, 1 / frame.per_metre, preserve_topology=False)
    parts = [
        streets.drawn(frame, thin, names),
        Markup('<path class="rt" d="{}"/>').format(path_of(thin, frame)),
    ]
    if depot is not None:
        x, y = frame.to_drawing(depot)[0]
        parts.append(Markup('<path class="dp" d="M{:.0f} {:.0f}l9 9v8h-18v-8z"/>').format(x, y - 9))
    parts += _numbers(frame.to_drawing(stops))
    parts.append(_scale(frame))
    return Markup(
        '<svg class="sketch" role="img" viewBox="0 0 {:.0f} {:.0f}"><title>Sketch of the day: the '
        "stops in driving order. North is up. The list beside it says the same.</title>{}</svg>"
    ).format(WIDTH, frame.height, Markup("").join(parts))


def path_of(lines: Geometries, frame: Frame) -> str:
    """One SVG path of many lines, whole drawing units, points that fall together left out."""
    pieces = shapely.get_parts(lines)
    places, line = shapely.get_coordinates(pieces, return_index=True)
    if not places.size:
        return ""
    points = np.rint(frame.to_drawing(places)).astype(np.int64)
    first = np.ones(line.size, dtype=bool)
    first[1:] = line[1:] != line[:-1]
    step = np.diff(points, axis=0, prepend=points[:1])
    kept = first | (step != 0).any(axis=1)
    points, first = points[kept], first[kept]
    step = np.diff(points, axis=0, prepend=points[:1])
    told = np.where(first[:, None], points, step)
    return "".join(
        f"M{x} {y}" if new else f"l{x} {y}"
        for new, (x, y) in zip(first.tolist(), told.tolist(), strict=True)
    )


def _joined(lines: Geometries, frame: Frame) -> Geometries:
    """Lines joined end to end and simplified to the drawing's grain: far fewer points."""
    merged = np.array([shapely.line_merge(shapely.multilinestrings(lines))], dtype=object)
    return np.asarray(
        shapely.simplify(merged, 1 / frame.per_metre, preserve_topology=False), dtype=object
    )


def numbered(places: Floats) -> list[tuple[str, float, float]]:
    """Marks of the stops: text and place; stops that would cover each other share one mark."""
    groups: list[tuple[list[int], Floats]] = []
    for number, place in enumerate(places, start=1):
        near = [g for g in groups if math.dist(g[1], place) < _SAME_MARK_PX]
        if near:
            near[0][0].append(number)
        else:
            groups.append(([number], place))
    return [(_told(members), float(at[0]), float(at[1])) for members, at in groups]


def _told(members: list[int]) -> str:
    """Numbers in short: 3, 3-5, 3,7."""
    runs: list[list[int]] = []
    for member in members:
        if runs and member == runs[-1][-1] + 1:
            runs[-1].append(member)
        else:
            runs.append([member])
    return ",".join(str(r[0]) if len(r) == 1 else f"{r[0]}\N{EN DASH}{r[-1]}" for r in runs)


def _numbers(places: Floats) -> list[Markup]:
    made = []
    for text, x, y in reversed(numbered(places)):
        half = max(11.0, 4.2 * len(text) + 5)
        made.append(
            Markup(
                '<rect class="no" x="{:.0f}" y="{:.0f}" width="{:.0f}" height="22" rx="11"/>'
                '<text class="nt" x="{:.0f}" y="{:.0f}">{}</text>'
            ).format(x - half, y - 11, 2 * half, x, y + 5, text)
        )
    return made


def _labels(
    lines: Geometries, names: Geometries, major: Flags, frame: Frame, wanted: Sequence[str]
) -> Markup:
    """Street names along their longest piece; names that would cover another are left out."""
    length = shapely.length(lines) * frame.per_metre
    order = np.lexsort((np.arange(length.size), -length, ~major, ~np.isin(names, list(wanted))))
    placed: list[tuple[float, float]] = []
    said: set[str] = set()
    made: list[Markup] = []
    for row in order.tolist():
        name = str(names[row])
        if len(made) == _MOST_LABELS:
            break
        fits = name in wanted or length[row] >= _LABEL_CHAR_PX * len(name)
        if not name or name in said or not fits:
            continue
        ends = frame.to_drawing(
            shapely.get_coordinates(
                shapely.line_interpolate_point(lines[row], [0.4, 0.6], normalized=True)
            )
        )
        x, y = ends.mean(axis=0).tolist()
        if any(math.dist((x, y), other) < _LABEL_ROOM_PX for other in placed):
            continue
        said.add(name)
        placed.append((x, y))
        made.append(
            Markup('<text class="sn" transform="translate({:.0f} {:.0f}) rotate({:.0f})">{}</text>')
            .format(x, y, _upright(ends), name)
        )  # fmt: skip
    return Markup("").join(made)


def _upright(ends: Floats) -> float:
    """Angle of a text along a line that is not upside down [deg]."""
    angle = math.degrees(math.atan2(*(ends[1] - ends[0])[::-1]))
    if angle > _RIGHT_ANGLE_DEG:
        return angle - _HALF_TURN_DEG
    return angle + _HALF_TURN_DEG if angle <= -_RIGHT_ANGLE_DEG else angle


def _scale(frame: Frame) -> Markup:
    """A bar of a round length near the lower left corner."""
    most = _BAR_PX / frame.per_metre
    step = 10.0 ** math.floor(math.log10(most))
    metres = max(step * factor for factor in (1, 2, 5) if step * factor <= most)
    text = f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"  # noqa: PLR2004 - m a km
    y = frame.height - 12
    return Markup(
        '<path class="sc" d="M12 {0:.0f}v5h{1:.0f}v-5"/><text class="sl" x="{2:.0f}" y="{3:.0f}">'
        "{4}</text>"
    ).format(y - 5, metres * frame.per_metre, 18 + metres * frame.per_metre, y, text)


def _shapes(column: pa.ChunkedArray) -> Geometries:
    return from_wkb(np.asarray(column.to_pylist(), dtype=object))
