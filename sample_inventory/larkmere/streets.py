"""The streets of Larkmere: a grid core, a ring road, radials, loops and cul-de-sacs."""

import itertools
from dataclasses import dataclass

from larkmere.geometry import Line, Point, distance, line_length, ring_of

_STUB_M = 15.0


@dataclass(frozen=True)
class Kind:
    """What streets of one class have in common; `spacing_m` is the mean distance of its trees."""

    highway: str
    speed_km_h: int
    vehicles_per_day: int
    tree_offset_m: float
    spacing_m: float
    treed_share: float


RING = Kind("primary", 60, 11000, 6.0, 11.5, 0.55)
RADIAL = Kind("secondary", 50, 7500, 5.5, 10.5, 0.62)
COLLECTOR = Kind("tertiary", 40, 2600, 5.0, 10.0, 0.66)
HOME = Kind("residential", 30, 600, 4.5, 9.5, 0.70)
COURT = Kind("residential", 20, 120, 4.2, 9.5, 0.55)


@dataclass(frozen=True)
class Street:
    """One street as it was drawn, before it was cut at its junctions."""

    name: str
    kind: Kind
    line: Line
    oneway: str = "no"


@dataclass(frozen=True)
class Block:
    """One piece of a street between two junctions."""

    street_id: str
    street: Street
    line: Line


def _across(name: str, kind: Kind, v: float, span: Point, oneway: str = "no") -> Street:
    return Street(name, kind, [(span[0], v), (span[1], v)], oneway)


def _up(name: str, kind: Kind, u: float, span: Point, oneway: str = "no") -> Street:
    return Street(name, kind, [(u, span[0]), (u, span[1])], oneway)


def _core() -> list[Street]:
    up, wide = (-400.0, 400.0), (-440.0, 440.0)
    return [
        _up("Weir Street", HOME, -440, up),
        _up("Cooper Street", HOME, -330, up, "yes"),
        _up("Chandler Street", HOME, -220, up, "-1"),
        _up("Market Street", COLLECTOR, -110, up),
        _up("Main Street", RADIAL, 0, (-1450, 1450)),
        _up("Foundry Street", HOME, 110, up, "yes"),
        _up("Tannery Street", HOME, 220, up, "-1"),
        _up("Orchard Street", HOME, 330, up),
        _up("Lakeview Avenue", COLLECTOR, 440, up),
        _across("South Wall Street", COLLECTOR, -400, wide),
        _across("Canal Street", HOME, -290, wide),
        _across("Granary Street", HOME, -180, wide, "yes"),
        _across("Bell Street", HOME, -60, wide, "-1"),
        _across("Mere Street", RADIAL, 60, (-1450, 1500)),
        _across("Guild Street", HOME, 180, wide),
        _across("Linden Street", HOME, 290, wide),
        _across("North Wall Street", COLLECTOR, 400, wide),
    ]


def _outer() -> list[Street]:
    return [
        Street("Ring Road", RING, ring_of((0, 0), (1180, 1000), [1.0] * 24)),
        _across("Alder Road", COLLECTOR, 560, (-560, 560)),
        _across("Rowan Road", HOME, 740, (-520, 520)),
        _up("Kestrel Lane", HOME, -300, (400, 740)),
        _up("Plover Lane", HOME, 300, (400, 740)),
        _across("Sedge Road", COLLECTOR, -560, (-540, 600)),
        _across("Reed Road", HOME, -740, (-500, 520)),
        _up("Wren Lane", HOME, -280, (-740, -400)),
        _up("Curlew Lane", HOME, 260, (-740, -400)),
        _up("Érable Street", COLLECTOR, -800, (-560, 560)),
        _up("Chêne Street", HOME, -980, (-420, 420)),
        _across("Frêne Lane", HOME, 260, (-980, -800)),
        _across("Forêt Drive", HOME, -160, (-980, -800)),
        _across("Côte Street", HOME, -290, (-980, -440)),
        _across("Pré Vert Road", HOME, 400, (-980, -440)),
        _up("Heron Avenue", COLLECTOR, 600, (-560, 200)),
        _up("Bittern Street", HOME, 800, (-120, 200)),
        _across("Osier Street", HOME, -120, (440, 1100)),
        _across("Shore Drive", HOME, 200, (440, 1160)),
        Street("Northgate Hill", COLLECTOR, [(-440, 400), (-848, 719)]),
        Street("Millrace Way", COLLECTOR, [(-440, -400), (-848, -719)]),
        Street("Park Way", COLLECTOR, [(440, -400), (600, -560), (846, -717)]),
    ]


_COURTS: tuple[tuple[str, Point, Point], ...] = (
    ("Sorrel Court", (-450, 560), (-450, 690)),
    ("Tansy Court", (-150, 560), (-150, 690)),
    ("Yarrow Court", (150, 560), (150, 690)),
    ("Clover Court", (450, 560), (450, 680)),
    ("Dunlin Court", (-400, 740), (-400, 850)),
    ("Siskin Court", (-200, 740), (-200, 900)),
    ("Linnet Court", (120, 740), (120, 910)),
    ("Dipper Court", (400, 740), (400, 850)),
    ("Bramble Court", (-430, -560), (-430, -690)),
    ("Gorse Court", (-120, -560), (-120, -690)),
    ("Heather Court", (120, -560), (120, -690)),
    ("Juniper Court", (400, -560), (400, -690)),
    ("Teasel Court", (-380, -740), (-380, -840)),
    ("Thistle Court", (-150, -740), (-150, -830)),
    ("Vetch Court", (180, -740), (180, -830)),
    ("Mélèze Court", (-980, 340), (-1060, 340)),
    ("Noyer Court", (-980, 170), (-1110, 170)),
    ("Bouleau Court", (-980, -90), (-1110, -90)),
    ("Tilleul Court", (-980, -360), (-1050, -360)),
    ("Cygne Court", (-800, 480), (-930, 480)),
    ("Rivière Court", (-800, -400), (-700, -400)),
    ("Gull Court", (0, 1150), (180, 1150)),
    ("Tern Court", (0, 1300), (-190, 1300)),
    ("Quarry Court", (0, -1150), (190, -1150)),
    ("Kiln Court", (0, -1300), (-180, -1300)),
    ("Meadow Court", (1320, 60), (1320, 230)),
    ("Pasture Court", (1320, 60), (1320, -110)),
    ("Teal Court", (800, -30), (920, -30)),
)


def _crossing(a: tuple[Point, Point], b: tuple[Point, Point]) -> Point | None:
    """Where two straight pieces meet, rounded to decimetres; None where they do not."""
    (x1, y1), (x2, y2) = a
    (x3, y3), (x4, y4) = b
    across = (x2 - x1) * (y4 - y3) - (y2 - y1) * (x4 - x3)
    if across == 0:
        return None
    s = ((x3 - x1) * (y4 - y3) - (y3 - y1) * (x4 - x3)) / across
    t = ((x3 - x1) * (y2 - y1) - (y3 - y1) * (x2 - x1)) / across
    if not (-1e-9 <= s <= 1 + 1e-9 and -1e-9 <= t <= 1 + 1e-9):
        return None
    return round(x1 + s * (x2 - x1), 1), round(y1 + s * (y2 - y1), 1)


def _pieces(line: Line) -> list[tuple[Point, Point]]:
    return list(itertools.pairwise(line))


def _noded(street: Street, others: list[Street]) -> tuple[Line, set[Point]]:
    """The street's line with a corner at each junction, and the junctions."""
    junctions: set[Point] = set()
    line: Line = []
    for start, end in _pieces(street.line):
        found = {start, end}
        for other in others:
            for piece in _pieces(other.line):
                place = _crossing((start, end), piece)
                if place is not None:
                    found.add(place)
                    junctions.add(place)
        ordered = sorted(found, key=lambda place: distance(start, place))
        line.extend(place for place in ordered if not line or distance(line[-1], place) > 0.2)
    return line, junctions


def _cut(line: Line, junctions: set[Point]) -> list[Line]:
    """The line cut at its junctions."""
    pieces: list[Line] = [[line[0]]]
    for place in line[1:]:
        pieces[-1].append(place)
        if place in junctions:
            pieces.append([place])
    return [piece for piece in pieces if len(piece) > 1]


def _rounded(street: Street) -> Street:
    line = [(round(u, 1), round(v, 1)) for u, v in street.line]
    return Street(street.name, street.kind, line, street.oneway)


def all_streets() -> list[Street]:
    """Every street as drawn."""
    courts = [Street(name, COURT, [start, end]) for name, start, end in _COURTS]
    return [_rounded(street) for street in [*_core(), *_outer(), *courts]]


def all_blocks() -> list[Block]:
    """Every street cut at its junctions; stubs that overshoot the ring road are left out."""
    streets = all_streets()
    blocks: list[Block] = []
    for street in streets:
        line, junctions = _noded(street, [other for other in streets if other is not street])
        for piece in _cut(line, junctions):
            if line_length(piece) >= _STUB_M:
                blocks.append(Block(f"S{len(blocks) + 1:04d}", street, piece))
    return blocks
