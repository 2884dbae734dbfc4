"""Water, parks, wards, buildings and target zones of Larkmere."""

from dataclasses import dataclass, field

from larkmere.draws import Draws
from larkmere.geometry import (
    Cells,
    Line,
    Point,
    along_line,
    box,
    distance,
    from_line,
    inside,
    line_length,
    offset,
    ring_of,
)
from larkmere.streets import COURT, RING, Block

RIVER_HALF_WIDTH_M = 13.0
RIVER: Line = [
    (-650 + shift, -1500 + 300 * step)
    for step, shift in enumerate((-30, 5, 25, 10, -20, -10, 12, 26, 8, -15, -35))
]
LAKE = ring_of(
    (770, 440),
    (185, 145),
    (1.0, 1.04, 0.98, 0.93, 1.0, 1.06, 1.1, 1.02, 0.95, 0.97, 1.03, 1.05,
     1.0, 0.92, 0.95, 1.02, 1.08, 1.04, 0.99, 0.96, 1.0, 1.05, 1.02, 0.97),
)  # fmt: skip
PARK = box(625, -535, 985, -150)
GREEN = box(465, -100, 580, 40)
CEMETERY = box(230, 1060, 430, 1260)
MARKET = box(-98, -48, -12, 48)
DEPOTS: tuple[tuple[str, Point], ...] = (
    ("North yard", (-135, 1240)),
    ("Harbour yard", (1235, 150)),
)
WARDS: tuple[tuple[str, Line], ...] = (
    ("Old Town", box(-500, -470, 500, 470)),
    ("Northfield", [(-500, 470), (500, 470), (1650, 1550), (-1650, 1550), (-500, 470)]),
    ("Lakeside", [(500, -470), (1650, -1550), (1650, 1550), (500, 470), (500, -470)]),
    ("Southmoor", [(-1650, -1550), (1650, -1550), (500, -470), (-500, -470), (-1650, -1550)]),
    ("Val-Étang", [(-1650, -1550), (-500, -470), (-500, 470), (-1650, 1550), (-1650, -1550)]),
)


def ward_of(place: Point) -> int:
    """Number of the ward, 1 to 5; 0 outside all of them."""
    for number, (_, ring) in enumerate(WARDS, start=1):
        if inside(place, ring):
            return number
    return 0


def river_bank() -> Line:
    """The ring round the river's water."""
    east = [(u + RIVER_HALF_WIDTH_M, v) for u, v in RIVER]
    west = [(u - RIVER_HALF_WIDTH_M, v) for u, v in reversed(RIVER)]
    return [*east, *west, east[0]]


def in_water(place: Point, margin: float) -> bool:
    """True in the river or the lake, or nearer to their banks than the margin [m]."""
    if from_line(place, RIVER) < RIVER_HALF_WIDTH_M + margin:
        return True
    return inside(place, LAKE) or from_line(place, LAKE) < margin


@dataclass(frozen=True)
class Zone:
    """One target zone as the city drew it."""

    zone_id: str
    name: str
    kind: str
    shape: str  # Polygon, LineString or Point
    line: Line
    facts: dict[str, object] = field(default_factory=dict)


_SCHOOL = {
    "occupancy": "frequent", "persons_per_h": 60,
    "open_hours": "Mo-Fr 07:30-16:00", "months": "9-6",
}  # fmt: skip
_NURSERY = {"occupancy": "frequent", "persons_per_h": 18, "open_hours": "Mo-Fr 07:00-18:00"}
_PLAY = {"occupancy": "frequent", "persons_per_h": 9, "open_hours": "Mo-Su 08:00-20:00",
         "months": "4-10"}  # fmt: skip
_BUS = {"occupancy": "frequent", "persons_per_h": 14, "open_hours": "Mo-Sa 06:00-22:00"}
_PATH = {"occupancy": "occasional", "persons_per_h": 12, "open_hours": "Mo-Su 06:00-22:00"}

_POLYGONS: tuple[tuple[str, str, Line, dict[str, object]], ...] = (
    ("Guild Street School", "school", box(232, 192, 318, 278), _SCHOOL),
    ("Northfield School", "school", box(20, 580, 130, 720), _SCHOOL),
    ("Southmoor School", "school", box(-255, -725, -175, -580), _SCHOOL),
    ("École du Val", "school", box(-962, -140, -822, -20), _SCHOOL),
    ("Lark Nursery", "kindergarten", box(-318, 88, -262, 132), _NURSERY),
    ("Acorn Nursery", "kindergarten", box(-260, 580, -200, 630), _NURSERY),
    ("Pebble Nursery", "kindergarten", box(700, -100, 760, -50), _NURSERY),
    ("Larkmere Hospital", "hospital", box(20, -250, 98, -192),
     {"occupancy": "constant", "persons_per_h": 95, "open_hours": "24/7"}),
    ("Hospital forecourt", "hospital", box(12, -280, 98, -255),
     {"occupancy": "constant", "persons_per_h": 70, "open_hours": "24/7"}),
    ("Willow House", "care_home", box(130, 315, 200, 380), {"occupancy": "constant"}),
    ("Bankside House", "care_home", box(-930, 280, -860, 330), {"occupancy": "constant"}),
    ("Market Square", "market", MARKET,
     {"occupancy": "frequent", "persons_per_h": 260, "open_hours": "Tu,Fr,Sa 07:00-15:00"}),
    ("Fountain Square", "square", box(12, 72, 98, 168),
     {"occupancy": "frequent", "persons_per_h": 90, "open_hours": "Mo-Su 07:00-23:00"}),
    ("Old Wall Square", "square", box(-428, -388, -342, -302),
     {"occupancy": "occasional", "persons_per_h": 20}),
    ("Heron Park", "park", PARK, {"occupancy": "occasional", "persons_per_h": 40}),
    ("Osier Green", "park", GREEN, {"occupancy": "occasional", "persons_per_h": 10}),
    ("Heron Park playground", "playground", box(660, -260, 710, -215), _PLAY),
    ("Osier Green playground", "playground", box(480, -30, 515, 10), _PLAY),
    ("Alder Road playground", "playground", box(320, 585, 365, 620), _PLAY),
    ("Reed Road playground", "playground", box(300, -720, 340, -680), _PLAY),
    ("Aire du Pré Vert", "playground", box(-900, 425, -860, 455), _PLAY),
    ("Wall playground", "playground", box(-420, 310, -380, 345), _PLAY),
    ("Heron Park ball field", "sports", box(850, -500, 960, -410),
     {"occupancy": "occasional", "persons_per_h": 15, "months": "4-10"}),
    ("Northfield courts", "sports", box(150, 585, 210, 640),
     {"occupancy": "occasional", "persons_per_h": 8, "months": "4-10"}),
    ("Station car park", "car_park", box(20, -905, 110, -868), {"occupancy": "frequent"}),
    ("Hospital car park", "car_park", box(12, -170, 98, -75), {"occupancy": "constant"}),
    ("Lake car park", "car_park", box(610, 215, 680, 255), {"occupancy": "occasional"}),
    ("Granary car park", "car_park", box(-320, -170, -240, -75), {"occupancy": "frequent"}),
    ("Hill cemetery", "cemetery", CEMETERY, {"occupancy": "rare", "persons_per_h": 1}),
)  # fmt: skip

_LINES: tuple[tuple[str, str, Line, dict[str, object]], ...] = (
    ("Heron Park west path", "path", [(650, -530), (655, -400), (700, -300), (690, -160)], _PATH),
    ("Heron Park middle path", "path", [(630, -340), (760, -350), (880, -300), (980, -310)], _PATH),
    ("Heron Park east path", "path", [(800, -530), (790, -400), (830, -280), (900, -155)], _PATH),
    ("Lake path", "path", [(560, 300), (545, 440), (570, 560), (660, 630), (800, 640)], _PATH),
    ("River path south", "path", [(-618, -560), (-600, -400), (-595, -300)], _PATH),
    ("River path middle", "path", [(-620, -280), (-640, -100), (-625, 50)], _PATH),
    ("River path north", "path", [(-618, 80), (-612, 240), (-600, 390)], _PATH),
    ("School path", "path", [(130, 650), (220, 655), (298, 660)],
     {"occupancy": "frequent", "persons_per_h": 45, "open_hours": "Mo-Fr 07:30-16:00",
      "months": "9-6"}),
    ("Larkmere branch line", "railway", [(-1600, -960), (-600, -900), (200, -915), (1600, -1010)],
     {"occupancy": "occasional", "vehicles_per_day": 16, "speed_km_h": 60}),
    ("Mere Street bridge", "bridge", [(-672, 60), (-618, 60)],
     {"occupancy": "frequent", "vehicles_per_day": 7500, "speed_km_h": 50}),
    ("Côte Street bridge", "bridge", [(-655, -290), (-610, -290)],
     {"occupancy": "occasional", "vehicles_per_day": 600, "speed_km_h": 30}),
    ("Pré Vert bridge", "bridge", [(-655, 400), (-605, 400)],
     {"occupancy": "occasional", "vehicles_per_day": 600, "speed_km_h": 30}),
)  # fmt: skip

_STOPS: tuple[Point, ...] = (
    (8, 360), (8, 120), (-8, -120), (8, -330), (-8, 640), (8, 860), (-8, -620), (8, -860),
    (-300, 68), (-520, 68), (-780, 68), (-1120, 52), (300, 52), (520, 68), (760, 52), (1080, 68),
    (448, -240), (-102, 240), (592, -330),
)  # fmt: skip


def all_zones() -> list[Zone]:
    """The target zones, numbered in the order of the tables above."""
    rows: list[tuple[str, str, str, Line, dict[str, object]]] = []
    rows += [(name, kind, "Polygon", ring, facts) for name, kind, ring, facts in _POLYGONS]
    rows += [(name, kind, "LineString", line, facts) for name, kind, line, facts in _LINES]
    rows += [(f"Stop {n}", "bus_stop", "Point", [p], _BUS) for n, p in enumerate(_STOPS, start=1)]
    return [Zone(f"Z{number:03d}", *row) for number, row in enumerate(rows, start=1)]


@dataclass(frozen=True)
class Building:
    """A rectangle beside a street; `reach_m` is half its diagonal."""

    centre: Point
    ring: Line
    reach_m: float


_NO_HOUSES = ("park", "playground", "market", "square", "sports", "car_park", "cemetery")


def _free(centre: Point, reach: float, blocks: list[Block], closed: list[Zone]) -> bool:
    if in_water(centre, reach + 8) or any(inside(centre, zone.line) for zone in closed):
        return False
    if any(from_line(centre, zone.line) < reach + 3 for zone in closed):
        return False
    return all(from_line(centre, block.line) > reach + 7.5 for block in blocks)


def all_buildings(blocks: list[Block], draws: Draws) -> list[Building]:
    """Houses in rows along the streets, clear of streets, water, squares and one another."""
    closed = [zone for zone in all_zones() if zone.shape != "Point" and zone.kind in _NO_HOUSES]
    taken = Cells(40)
    found: list[Building] = []
    for block in blocks:
        if block.street.kind is RING:
            continue
        step = 38.0 if block.street.kind is COURT else 58.0
        for side in (1, -1):
            at = 22.0
            while at < line_length(block.line) - 15:
                width, depth = draws.between(9, 15) + 0.0, draws.between(8, 12) + 0.0
                building = _building(block.line, at, side, (width, depth))
                at += step + draws.between(0, 6)
                near = taken.near(building.centre, building.reach_m + 11)
                clear = next(near, None) is None
                if clear and _free(building.centre, building.reach_m, blocks, closed):
                    taken.add(building.centre, len(found))
                    found.append(building)
    return found


def _building(line: Line, at: float, side: int, size: Point) -> Building:
    width, depth = size
    start = along_line(line, at, 0)
    end = along_line(line, at + 1, 0)
    corners = [
        offset(start, end, across, side * back)
        for across, back in (
            (-width / 2, 12.0),
            (width / 2, 12.0),
            (width / 2, 12.0 + depth),
            (-width / 2, 12.0 + depth),
        )
    ]
    centre = offset(start, end, 0.0, side * (12.0 + depth / 2))
    return Building(centre, [*corners, corners[0]], distance(corners[0], corners[2]) / 2)
