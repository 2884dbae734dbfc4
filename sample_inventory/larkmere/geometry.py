"""Plane geometry in the town's own metres, and the way from them to longitude and latitude.

Only the four operations and square roots, so that results do not hang on a library's version.
"""

import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator
from math import sqrt

Point = tuple[float, float]
Line = list[Point]

ORIGIN_LONGITUDE = -76.9
ORIGIN_LATITUDE = 43.2
# Metres in a degree at the origin's latitude (series of the WGS 84 ellipsoid, fixed here).
_METRES_A_DEGREE_EAST = 81275.1
_METRES_A_DEGREE_NORTH = 111096.6
# The street grid is turned against north by the 7-24-25 triangle.
_COSINE, _SINE = 0.96, 0.28


def degrees(place: Point) -> Point:
    """Longitude and latitude of a place in town metres, to six decimals."""
    east = _COSINE * place[0] - _SINE * place[1]
    north = _SINE * place[0] + _COSINE * place[1]
    longitude = ORIGIN_LONGITUDE + east / _METRES_A_DEGREE_EAST
    latitude = ORIGIN_LATITUDE + north / _METRES_A_DEGREE_NORTH
    return round(longitude, 6), round(latitude, 6)


def distance(first: Point, second: Point) -> float:
    """Distance of two places [m]."""
    return sqrt((first[0] - second[0]) ** 2 + (first[1] - second[1]) ** 2)


def line_length(line: Line) -> float:
    """Length of a line [m]."""
    length = 0.0
    for start, end in itertools.pairwise(line):
        length += distance(start, end)  # not sum(): newer versions of Python round it otherwise
    return length


def from_segment(place: Point, start: Point, end: Point) -> float:
    """Distance of a place from a straight piece [m]."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    square = dx * dx + dy * dy
    if square == 0:
        return distance(place, start)
    along = ((place[0] - start[0]) * dx + (place[1] - start[1]) * dy) / square
    along = min(1.0, max(0.0, along))
    return distance(place, (start[0] + along * dx, start[1] + along * dy))


def from_line(place: Point, line: Line) -> float:
    """Distance of a place from a line [m]."""
    return min(from_segment(place, a, b) for a, b in itertools.pairwise(line))


def inside(place: Point, ring: Line) -> bool:
    """True where the place lies inside a ring, by counting crossings."""
    x, y = place
    odd = False
    for (x1, y1), (x2, y2) in zip(ring, [*ring[1:], ring[0]], strict=True):
        if (y1 > y) != (y2 > y) and x < x1 + (x2 - x1) * (y - y1) / (y2 - y1):
            odd = not odd
    return odd


def box(west: float, south: float, east: float, north: float) -> Line:
    """A closed rectangle."""
    return [(west, south), (east, south), (east, north), (west, north), (west, south)]


def offset(start: Point, end: Point, along: float, left: float) -> Point:
    """The place `along` metres from start towards end and `left` metres to the left of it."""
    length = distance(start, end)
    dx, dy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    return start[0] + along * dx - left * dy, start[1] + along * dy + left * dx


def along_line(line: Line, metres: float, left: float) -> Point:
    """The place `metres` along a line and `left` metres to its left."""
    for start, end in itertools.pairwise(line):
        length = distance(start, end)
        if metres <= length:
            return offset(start, end, metres, left)
        metres -= length
    return offset(line[-2], line[-1], distance(line[-2], line[-1]), left)


class Cells:
    """Places kept by square cell, for quick neighbours.

    Parameters
    ----------
    size : edge of a cell [m]; also the greatest radius that `near` may be asked for.
    """

    def __init__(self, size: float) -> None:
        """Start empty."""
        self.size = size
        self._cells: dict[tuple[int, int], list[tuple[Point, int]]] = defaultdict(list)

    def _cell(self, place: Point) -> tuple[int, int]:
        return int(place[0] // self.size), int(place[1] // self.size)

    def add(self, place: Point, number: int) -> None:
        """Keep a place under a number."""
        self._cells[self._cell(place)].append((place, number))

    def near(self, place: Point, radius: float) -> Iterator[tuple[float, int]]:
        """Distance and number of each kept place within a radius, in no order."""
        column, row = self._cell(place)
        for i in (column - 1, column, column + 1):
            for j in (row - 1, row, row + 1):
                for other, number in self._cells.get((i, j), ()):
                    away = distance(place, other)
                    if away <= radius:
                        yield away, number


def ring_of(centre: Point, radii: Point, shape: Iterable[float]) -> Line:
    """A closed ring of 24 corners about a centre; `shape` scales each corner's radius."""
    corners = [
        (centre[0] + radii[0] * c * scale, centre[1] + radii[1] * s * scale)
        for (c, s), scale in zip(_CIRCLE, shape, strict=True)
    ]
    return [*corners, corners[0]]


_QUARTER = [(1.0, 0.0), (0.966, 0.259), (0.866, 0.5), (0.707, 0.707), (0.5, 0.866), (0.259, 0.966)]
_HALF = [*_QUARTER, *((-s, c) for c, s in _QUARTER)]
_CIRCLE = [*_HALF, *((-c, -s) for c, s in _HALF)]
