"""What people saw in the seasons of 2025 and 2026: the office's sheet and the phones' points."""

from dataclasses import dataclass, field

from larkmere.draws import Draws
from larkmere.fungi import ALL, BY_NAME, CHARACTERS, FREE_STANDING, Fungus, fits
from larkmere.geometry import Cells, Point, degrees, distance
from larkmere.trees import Tree, nearest_other

# (who, weight, lowest and highest certainty in hundredths, share that gives a name)
_NAMERS = (
    ("trained_inspector", 42, 70, 95), ("public", 26, 25, 70), ("image_model", 18, 30, 85),
    ("specialist", 9, 88, 98), ("laboratory", 5, 99, 100),
)  # fmt: skip
OFFICE_SIGHTINGS = 96
PHONE_SIGHTINGS = 44


@dataclass
class Sighting:
    """One sighting; `phone` says in which file it comes."""

    sighting_id: str
    phone: bool
    values: dict[str, object]
    tree: Tree | None = None
    place: Point | None = None
    notes: list[str] = field(default_factory=list)


class Book:
    """The sightings so far, and the means to add one."""

    def __init__(self, trees: list[Tree], cells: Cells, draws: Draws) -> None:
        """Start empty."""
        self.trees, self.cells, self.draws = trees, cells, draws
        self.rows: list[Sighting] = []

    def add(self, values: dict[str, object], tree: Tree | None, place: Point | None,
            *, phone: bool) -> Sighting:  # fmt: skip
        """Number and keep one sighting; a place is written as longitude and latitude."""
        sighting = Sighting(f"F{len(self.rows) + 1:04d}", phone, dict(values), tree, place)
        if place is not None:
            longitude, latitude = degrees(place)
            sighting.values |= {"longitude": longitude, "latitude": latitude}
        if tree is not None:
            tree.uses.add("sighting")
        self.rows.append(sighting)
        return sighting

    def host(self, fungus: Fungus) -> Tree | None:
        """A tree that the fungus may grow on: the larger and poorer, the likelier."""
        hosts = [t for t in self.trees if fits(fungus, t) and "sighting" not in t.uses]
        if not hosts:
            return None
        worse = {"poor": 5, "fair": 2}
        weights = [int(t.dbh_cm * t.dbh_cm / 50) * worse.get(t.condition, 1) for t in hosts]
        return self.draws.weighted(hosts, weights)

    def near(self, place: Point, metres: float) -> Point:
        """A place scattered about another, `metres` in 68 of 100 cases, never over twice that."""
        while True:
            scatter = metres / 1.515
            found = (
                place[0] + scatter * self.draws.bell(), place[1] + scatter * self.draws.bell(),
            )  # fmt: skip
            if distance(found, place) <= 2 * metres:
                return found


def described(fungus: Fungus, tree: Tree, draws: Draws, *, named: bool | None = None
              ) -> dict[str, object]:  # fmt: skip
    """The values of a sighting of a fungus on a tree: name, certainty, position, looks."""
    position = draws.pick(fungus.positions)
    values: dict[str, object] = {
        "seen_on": _date(fungus, draws),
        "position": position,
        "attachment": "soil_over_root" if position == "soil_over_root" else "attached",
        "count": draws.weighted((1, 2, 3, 5, 8), (45, 25, 15, 10, 5)),
        "width_cm": draws.between(6, 34),
        "observer": f"volunteer-{draws.between(1, 14):02d}",
    }
    if position in {"stem", "wound", "branch_stub", "fork", "branch", "lower_stem"}:
        low, high = (30, 160) if position == "lower_stem" else (150, 600)
        values["height_above_ground_m"] = draws.between(low, high) / 100
    if draws.chance(0.8):
        values |= {"host": tree.species.name, "host_certain": "yes"}
    if fungus.perennial and draws.chance(0.6):
        values["layers"] = draws.between(2, 14)
    values |= _name(fungus, draws, draws.chance(0.82) if named is None else named)
    return values


def _name(fungus: Fungus, draws: Draws, named: bool) -> dict[str, object]:
    looks: dict[str, object] = {key: getattr(fungus, key) for key in CHARACTERS}
    if not named:
        kept = {key: value for key, value in looks.items() if draws.chance(0.8)}
        return {"name_by": "unknown", **kept}
    by, _, low, high = draws.weighted(_NAMERS, [row[1] for row in _NAMERS])
    name = fungus.common if by == "public" and draws.chance(0.5) else fungus.name
    kept = {key: value for key, value in looks.items() if draws.chance(0.25)}
    return {"name": name, "name_by": by, "name_certainty": draws.between(low, high) / 100, **kept}


def _date(fungus: Fungus, draws: Draws) -> str:
    low, high = fungus.months
    year = draws.weighted((2025, 2026), (45, 55))
    month = draws.between(max(3, low), min(10 if year == 2026 else 11, high)) if low < 11 else 11
    return f"{year}-{month:02d}-{draws.between(1, 28):02d}"


def ordinary(book: Book) -> None:
    """The sightings that carry no planted fault, in the office's sheet and from phones."""
    draws = book.draws
    weights = [fungus.weight for fungus in ALL]
    while len(book.rows) < OFFICE_SIGHTINGS + PHONE_SIGHTINGS:
        fungus = draws.weighted(ALL, weights)
        tree = book.host(fungus)
        if tree is None:
            continue
        phone = len(book.rows) >= OFFICE_SIGHTINGS
        values = described(fungus, tree, draws)
        if phone:
            accuracy = draws.weighted((2.0, 2.5, 3.0, 4.0, 6.0), (25, 30, 25, 12, 8))
            values["accuracy_m"] = accuracy
            if draws.chance(0.5):
                values["tree_id"] = tree.tree_id
            book.add(values, tree, book.near(tree.place, 1.2), phone=True)
        else:
            values["tree_id"] = tree.tree_id
            with_point = draws.chance(0.3)
            if with_point:
                values["accuracy_m"] = 5
            place = book.near(tree.place, 1.2) if with_point else None
            book.add(values, tree, place, phone=False)


def seen_on(book: Book, tree: Tree, name: str, **extra: object) -> Sighting:
    """One named sighting of the office on a given tree, for the stories of the inspections."""
    fungus = BY_NAME[name]
    values = described(fungus, tree, book.draws, named=True)
    values |= {"name": name, "tree_id": tree.tree_id, **extra}
    return book.add(values, tree, None, phone=False)


def planted(book: Book) -> dict[str, list[str]]:
    """The sightings with planted faults; returns their ids by fault."""
    return {
        "sighting_nearer_to_another_tree": _conflicts(book, 5),
        "sighting_between_two_trees": _between(book, 6),
        "sighting_accuracy_500_m": _points(book, 4, 500.0),
        "sighting_without_accuracy_or_tree": _points(book, 4, None),
        "sighting_free_standing": _free(book, 8),
        "sighting_soil_over_roots": _over_roots(book, 7),
        "sighting_reported_twice": _twice(book, 4),
        "sighting_without_place": _placeless(book, 2),
        "sighting_unknown_tree": _unknown_tree(book, 2),
    }


def _hosts(book: Book, count: int, low: float, high: float) -> list[tuple[Fungus, Tree, Tree]]:
    """(fungus, host, its nearest neighbour) with the neighbour between low and high metres off."""
    found: list[tuple[Fungus, Tree, Tree]] = []
    while len(found) < count:
        fungus = book.draws.pick(ALL)
        tree = book.host(fungus)
        if tree is None:
            continue
        away, other = nearest_other(tree, book.trees, book.cells)
        if low <= away <= high and other.status == "standing" and not other.uses:
            tree.uses.add("sighting")
            other.uses.add("neighbour")
            found.append((fungus, tree, other))
    return found


def _conflicts(book: Book, count: int) -> list[str]:
    ids = []
    for fungus, tree, other in _hosts(book, count, 9.0, 14.0):
        values = described(fungus, tree, book.draws)
        values |= {"tree_id": other.tree_id, "accuracy_m": 2}
        ids.append(book.add(values, tree, book.near(tree.place, 0.4), phone=True).sighting_id)
    return ids


def _between(book: Book, count: int) -> list[str]:
    ids = []
    for fungus, tree, other in _hosts(book, count, 6.0, 9.0):
        values = described(fungus, tree, book.draws) | {"accuracy_m": 6}
        middle = (
            (tree.place[0] + other.place[0]) / 2, (tree.place[1] + other.place[1]) / 2,
        )  # fmt: skip
        ids.append(book.add(values, tree, middle, phone=True).sighting_id)
    return ids


def _points(book: Book, count: int, accuracy: float | None) -> list[str]:
    ids = []
    for fungus, tree, _ in _hosts(book, count, 6.0, 30.0):
        values = described(fungus, tree, book.draws)
        if accuracy is not None:
            values["accuracy_m"] = accuracy
        place = book.near(tree.place, 40.0 if accuracy else 3.0)
        ids.append(book.add(values, tree, place, phone=True).sighting_id)
    return ids


def _free(book: Book, count: int) -> list[str]:
    ids = []
    standing = [t for t in book.trees if t.status == "standing" and not t.uses]
    for number, tree in enumerate(book.draws.shuffled(standing)[:count]):
        name, where, form, upper, under, surface = FREE_STANDING[number % len(FREE_STANDING)]
        values: dict[str, object] = {
            "seen_on": f"2026-{book.draws.between(7, 10):02d}-{book.draws.between(1, 28):02d}",
            "name": name, "name_by": "trained_inspector", "name_certainty": 0.8,
            "attachment": "free", "position": where, "form": form, "upper_colour": upper,
            "under_colour": under, "under_surface": surface, "tree_id": tree.tree_id,
            "count": book.draws.between(1, 20),
            "observer": f"volunteer-{book.draws.between(1, 14):02d}",
            "notes": "In the mulch ring, no tie to a root found",
        }  # fmt: skip
        ids.append(book.add(values, tree, None, phone=False).sighting_id)
    return ids


def _over_roots(book: Book, count: int) -> list[str]:
    names = ("Laetiporus cincinnatus", "Grifola frondosa", "Bondarzewia berkeleyi",
             "Phaeolus schweinitzii")  # fmt: skip
    ids = []
    for number in range(count):
        name = names[number % len(names)]
        tree = book.host(BY_NAME[name])
        if tree is None:
            msg = f"no host is left for {name}"
            raise LookupError(msg)
        sighting = seen_on(
            book, tree, name, position="soil_over_root", attachment="soil_over_root",
            notes="In the grass above a root, 1 m from the stem",
        )  # fmt: skip
        ids.append(sighting.sighting_id)
    return ids


def _twice(book: Book, count: int) -> list[str]:
    ids = []
    office = [s for s in book.rows[:OFFICE_SIGHTINGS] if "name" in s.values]
    for first in book.draws.shuffled(office)[:count]:
        year, month, day = str(first.values["seen_on"]).split("-")
        again = {k: v for k, v in first.values.items() if k not in {"longitude", "latitude"}}
        again |= {
            "seen_on": f"{year}-{month}-{min(28, int(day) + 2):02d}",
            "observer": "volunteer-15", "name_by": "public", "name_certainty": 0.5,
        }  # fmt: skip
        second = book.add(again, first.tree, first.place, phone=False)
        ids.append(second.sighting_id)
    return ids


def _placeless(book: Book, count: int) -> list[str]:
    ids = []
    for number, (fungus, tree, _) in enumerate(_hosts(book, count, 6.0, 30.0)):
        values = described(fungus, tree, book.draws)
        values["notes"] = (
            "Large shelf on the big tree by the school, stem is split below it",
            "Somewhere along Mere Street",
        )[number % 2]
        ids.append(book.add(values, None, None, phone=False).sighting_id)
    return ids


def _unknown_tree(book: Book, count: int) -> list[str]:
    ids = []
    for number, (fungus, tree, _) in enumerate(_hosts(book, count, 6.0, 30.0)):
        values = described(fungus, tree, book.draws) | {"tree_id": f"LK-9{number:04d}"}
        ids.append(book.add(values, None, None, phone=False).sighting_id)
    return ids
