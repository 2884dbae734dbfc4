"""The trees of Larkmere as they truly stand; the faults of the files come later."""

from dataclasses import dataclass, field

from larkmere.draws import Draws
from larkmere.geometry import (
    Cells,
    Line,
    Point,
    along_line,
    distance,
    from_line,
    inside,
    line_length,
)
from larkmere.places import (
    CEMETERY,
    GREEN,
    MARKET,
    PARK,
    RIVER,
    Building,
    all_zones,
    in_water,
    ward_of,
)
from larkmere.species import ALL, Species
from larkmere.streets import RADIAL, RING, Block

# (permille of trees, diameter in cm): many small, a long tail of old ones.
_DIAMETERS = (
    (0, 2.5), (40, 5.0), (100, 9.0), (250, 18.0), (500, 30.0), (750, 46.0), (900, 59.0),
    (970, 80.0), (995, 105.0), (1000, 125.0),
)  # fmt: skip
# Above this diameter growth is slow: the tail is drawn in.
_GIANT_CM = 115.0
_CONDITION_WEIGHTS = (46, 40, 14)
_TREE_CLEARANCE_M = 5.0
_MUST_HAVE_NO_TREES = ("sports", "playground", "car_park", "hospital")


@dataclass
class Tree:
    """One tree or planting site; `uses` names the other files that speak of it."""

    tree_id: str
    place: Point
    species: Species
    dbh_cm: float
    height_m: float
    condition: str
    status: str
    planted: int | None
    street: str
    ward: int
    wires: str
    inspected_on: str
    setting: str  # street, park or bank
    notes: str = ""
    uses: set[str] = field(default_factory=set)


def all_trees(blocks: list[Block], buildings: list[Building], draws: Draws) -> list[Tree]:
    """Trees in rows along the streets, then those of the parks and the river bank."""
    ground = _Ground(blocks, buildings)
    trees: list[Tree] = []
    for block in blocks:
        for side in (1, -1):
            _plant_row(block, side, ground, draws, trees)
    for ring, wanted, name in (
        (PARK, 560, "Heron Park"), (GREEN, 55, "Osier Green"), (CEMETERY, 120, "Hill Cemetery"),
        (MARKET, 12, "Market Square"),
    ):  # fmt: skip
        _scatter(ring, wanted, name, (ground, draws, trees))
    _plant_bank(ground, draws, trees)
    return trees


class _Ground:
    """Where a tree may stand."""

    def __init__(self, blocks: list[Block], buildings: list[Building]) -> None:
        self.blocks = blocks
        self.closed = [zone.line for zone in all_zones() if zone.kind in _MUST_HAVE_NO_TREES]
        self.houses = Cells(60)
        self.reach = [building.reach_m for building in buildings]
        for number, building in enumerate(buildings):
            self.houses.add(building.centre, number)
        self.trees = Cells(60)

    def free(self, place: Point, own: Block | None) -> bool:
        if next(self.trees.near(place, _TREE_CLEARANCE_M), None) is not None:
            return False
        if any(away < self.reach[n] + 1.5 for away, n in self.houses.near(place, 30)):
            return False
        if in_water(place, 2.5) or any(inside(place, ring) for ring in self.closed):
            return False
        least = 3.9 if own is None else 7.5
        return all(from_line(place, b.line) >= least for b in self.blocks if b is not own)


def _plant_row(block: Block, side: int, ground: _Ground, draws: Draws, trees: list[Tree]) -> None:
    kind = block.street.kind
    usual = draws.weighted(ALL, [species.weight for species in ALL])
    at, end = 11.0, line_length(block.line) - 9.0
    while at < end:
        place = along_line(block.line, at, side * (kind.tree_offset_m + draws.bell() * 0.25))
        at += 0.925 * kind.spacing_m + min(3.0, max(-1.5, draws.bell()))
        if draws.chance(kind.treed_share) and ground.free(place, block):
            mixed = draws.chance(0.55)
            species = draws.weighted(ALL, [s.weight for s in ALL]) if mixed else usual
            busy = kind in (RING, RADIAL)
            wires = _wires(draws, 0.5 if side == 1 and not busy else 0.08)
            _add(place, species, (block.street.name, "street", wires), (ground, draws, trees))


def _wires(draws: Draws, share: float) -> str:
    if not draws.chance(share):
        return draws.weighted(("none", ""), (9, 1))
    return draws.weighted(("communication", "low_voltage", "high_voltage"), (45, 40, 15))


def _scatter(ring: Line, wanted: int, name: str, world: tuple[_Ground, Draws, list[Tree]]) -> None:
    ground, draws, _ = world
    (west, south), (east, north) = ring[0], ring[2]
    found = 0
    while found < wanted:
        place = (
            west + 2 + draws.below(10 * int(east - west - 4)) / 10,
            south + 2 + draws.below(10 * int(north - south - 4)) / 10,
        )
        wanted -= 1 if draws.chance(0.02) else 0
        if ground.free(place, None):
            species = draws.weighted(ALL, [s.park_weight for s in ALL])
            _add(place, species, (name, "park", "none"), world)
            found += 1


def _plant_bank(ground: _Ground, draws: Draws, trees: list[Tree]) -> None:
    willows = [s for s in ALL if s.genus in {"Salix", "Populus", "Betula", "Acer", "Fraxinus"}]
    weights = [s.park_weight for s in willows]
    at = 900.0
    while at < line_length(RIVER) - 900:
        for side in (1, -1):
            place = along_line(RIVER, at, side * (18.5 + abs(draws.bell())))
            if draws.chance(0.6) and ground.free(place, None):
                species = draws.weighted(willows, weights)
                _add(place, species, ("River bank", "bank", "none"), (ground, draws, trees))
        at += 13.0


def _add(
    place: Point,
    species: Species,
    where: tuple[str, str, str],
    world: tuple[_Ground, Draws, list[Tree]],
) -> None:
    ground, draws, trees = world
    street, setting, wires = where
    old_park = 1.15 if setting == "park" else 1.0
    dbh = draws.quantile(_DIAMETERS) * species.size * old_park
    dbh *= max(0.6, 1 + 0.12 * draws.bell())
    dbh = dbh if dbh < _GIANT_CM else _GIANT_CM + (dbh - _GIANT_CM) / 4
    dbh = round(max(2.5, dbh), 1)
    height = _height(dbh, species, draws)
    age = int(dbh / (species.growth_cm * max(0.6, 1 + 0.15 * draws.bell()))) + 3
    planted = 2026 - age if draws.chance(0.75 if age < 35 else 0.15) else None
    status, condition = _state(dbh, draws)
    trees.append(
        Tree(
            "", place, species, dbh, height, condition, status, planted, street, ward_of(place),
            wires, _inspected(draws), setting, _note(draws) if status == "standing" else "",
        )
    )  # fmt: skip
    ground.trees.add(place, len(trees))


_MIDDLE_TALLEST_M = 22.0


def _height(dbh: float, species: Species, draws: Draws) -> float:
    # The middle of 12,022 broadleaf trees of cities (Urban Tree Database, McPherson and others
    # 2016, fitted by this project), taller or shorter by the kind. A town whose trees were taller
    # at one girth than trees of towns are would fail in winds that towns survive.
    curve = 1.3 + 20.3 * (dbh / 100) ** 0.73 * (species.tallest_m / _MIDDLE_TALLEST_M) ** 0.5
    spread = max(0.6, 1 + 0.2 * draws.bell())
    return round(min(species.tallest_m * 1.1, max(1.8, curve * spread)), 1)


def _state(dbh: float, draws: Draws) -> tuple[str, str]:
    status = draws.weighted(
        ("standing", "stump", "vacant", "removed", "dead", "habitat_pole"),
        (968, 10, 10, 5, 5, 4 if dbh > 40 else 0),
    )
    if status == "dead":
        return status, "dead"
    worse = 10 if dbh > 60 else 0
    good, fair, poor = _CONDITION_WEIGHTS
    return status, draws.weighted(
        ("good", "fair", "poor", ""), (good - worse, fair, poor + worse, 5)
    )


def _inspected(draws: Draws) -> str:
    """Most trees within the last five years; a fifth longer ago or never."""
    if draws.chance(0.12):
        return ""
    year = draws.weighted(
        (2026, 2025, 2024, 2023, 2022, 2021, 2019, 2017), (9, 20, 19, 17, 13, 6, 3, 1)
    )
    return f"{year}-{draws.between(3, 10):02d}-{draws.between(1, 28):02d}"


_NOTES = (
    "Lower limbs raised for trucks", "Sidewalk lifted 3 cm", "Bark scrape from a mower",
    "Small dead twigs in the top", "Two stems from 2 m", "Grate tight on the flare",
    "Bird house", "Old cable in the fork", "Mulch piled on the stem", "Co-dominant leaders",
    "Pruning wound closed", "Leaf scorch in August", "Watering bag fitted", "Epicormic shoots",
)  # fmt: skip


def _note(draws: Draws) -> str:
    return draws.pick(_NOTES) if draws.chance(0.13) else ""


def number_trees(trees: list[Tree]) -> list[Tree]:
    """Give the ids: one run of numbers in wards 1 to 4, another in ward 5."""
    main = [tree for tree in trees if tree.ward != 5]
    west = [tree for tree in trees if tree.ward == 5]
    for number, tree in enumerate(main, start=1):
        tree.tree_id = f"LK-{number:05d}"
    for number, tree in enumerate(west, start=1):
        tree.tree_id = f"V5-{number:04d}"
    return [*main, *west]


def neighbours(trees: list[Tree]) -> Cells:
    """The trees by place, for questions of who stands near."""
    cells = Cells(60)
    for number, tree in enumerate(trees):
        cells.add(tree.place, number)
    return cells


def nearest_other(tree: Tree, trees: list[Tree], cells: Cells) -> tuple[float, Tree]:
    """The nearest other tree within 60 m and its distance; the tree itself at 60 where none is."""
    found = [(away, n) for away, n in cells.near(tree.place, 60) if trees[n] is not tree]
    if not found:
        return 60.0, tree
    away, number = min(found)
    return away, trees[number]


def around(place: Point, trees: list[Tree], radius: float) -> list[Tree]:
    """Standing trees within a radius of a place, the nearest first."""
    near = [(distance(place, tree.place), tree.tree_id, tree) for tree in trees]
    return [t for away, _, t in sorted(near, key=lambda row: row[:2]) if away <= radius]
