"""What the inspectors of Larkmere found: about 500 visits, one row a finding."""

from collections.abc import Iterable

from larkmere.draws import Draws
from larkmere.fungi import BY_NAME, fits
from larkmere.geometry import distance, from_line
from larkmere.places import all_zones
from larkmere.sightings import Book, seen_on
from larkmere.trees import Tree

Row = dict[str, object]
ROUTINE = 225
MINOR = 95
OLD_WOUNDS = 100


class Visits:
    """The visits so far, and the means to add one."""

    def __init__(self, draws: Draws) -> None:
        """Start empty."""
        self.draws = draws
        self.rows: list[Row] = []
        self.count = 0

    def add(self, tree: Tree, date: str, findings: Iterable[Row]) -> str:
        """One visit with its findings, each a row."""
        self.count += 1
        visit = f"I{self.count:04d}"
        for finding in findings:
            self.rows.append(
                {"inspection_id": visit, "tree_id": tree.tree_id, "inspected_on": date, **finding}
            )
        tree.uses.add("inspection")
        tree.inspected_on = max(tree.inspected_on, date)
        return visit

    def date(self) -> str:
        """A working day of 2025 or 2026, before the sample's today."""
        year = self.draws.weighted((2025, 2026), (40, 60))
        return f"{year}-{self.draws.between(3, 10):02d}-{self.draws.between(1, 28):02d}"


def routine(visits: Visits, trees: list[Tree]) -> None:
    """Visits that found nothing, and visits that found small things."""
    draws = visits.draws
    big = [t for t in trees if t.status == "standing" and t.dbh_cm > 20 and not t.uses]
    chosen = draws.shuffled(big)[: ROUTINE + MINOR]
    for tree in chosen[:ROUTINE]:
        visits.add(tree, visits.date(), [{"defect": "none_seen", "time_frame_years": 3}])
    for tree in chosen[ROUTINE:]:
        visits.add(tree, visits.date(), [_minor(draws, tree) for _ in range(draws.between(1, 2))])


def _minor(draws: Draws, tree: Tree) -> Row:
    share = draws.between(5, 25) / 100
    options: tuple[Row, ...] = (
        {"defect": "dead_branch", "part": "branch", "part_diameter_cm": draws.between(3, 8)},
        {"defect": "crown_dieback", "part": "branch", "extent_share": share},
        {"defect": "girth_wound", "part": "stem", "extent_share": share},
        {"defect": "weak_union", "part": "stem", "part_diameter_cm": int(tree.dbh_cm * 0.5)},
        {"defect": "girdling_root", "part": "roots", "extent_share": share},
        {"defect": "lean", "part": "stem", "lean_deg": draws.between(4, 11),
         "side_deg": 15 * draws.below(24)},
        {"defect": "root_damage", "part": "roots", "extent_share": share},
        {"defect": "canker", "part": "stem", "extent_share": share},
    )  # fmt: skip
    return {**draws.pick(options), "time_frame_years": 3}


def old_wounds(visits: Visits, trees: list[Tree]) -> None:
    """Old pruning wounds with a little decay, and small closed-over cavities, on plain trees.

    Most signs of decay that inspectors of street trees write down are of this kind (common
    practice, no source); a town whose every sign is a dangerous fungus would be like no town.
    """
    draws = visits.draws
    plain = [t for t in trees if t.status == "standing" and 20 < t.dbh_cm < 70 and not t.uses]
    for tree in draws.shuffled(plain)[:OLD_WOUNDS]:
        share = draws.between(3, 14) / 100
        options: tuple[Row, ...] = (
            {"defect": "decay", "part": "branch", "extent_share": share,
             "part_diameter_cm": draws.between(8, 18)},
            {"defect": "decay", "part": "stem", "extent_share": share},
            {"defect": "cavity", "part": "branch", "extent_share": share,
             "part_diameter_cm": draws.between(8, 18)},
        )  # fmt: skip
        visits.add(tree, visits.date(), [{**draws.pick(options), "time_frame_years": 3}])


def follow_ups(visits: Visits, book: Book) -> None:
    """Looks inside trees that carry a conk: sounding, drill, tomogram, cavity."""
    draws = visits.draws
    seen = {s.tree.tree_id: s.tree for s in book.rows if s.tree is not None}
    hosts = draws.shuffled(
        [t for t in seen.values() if t.dbh_cm >= 30 and "neighbour" not in t.uses]
    )
    for number, tree in enumerate(hosts[:58]):
        rows = (_sounding, _drill, _tomogram, _cavity)[number % 4](draws, tree)
        visits.add(tree, f"2026-{draws.between(9, 10):02d}-{draws.between(1, 28):02d}", rows)


def _sounding(draws: Draws, tree: Tree) -> list[Row]:
    share = draws.between(3, 20) / 100
    result = draws.weighted(("sound", "doubtful", "hollow"), (55, 30, 15))
    row: Row = {"defect": "decay", "part": "butt", "extent_share": share}
    row["part_diameter_cm"] = round(tree.dbh_cm * 1.2, 1)
    return [row, {"part": "butt", "reading": "sounding", "reading_result": result}]


def _drill(draws: Draws, tree: Tree) -> list[Row]:
    radius = tree.dbh_cm / 2
    thin = draws.between(38, 85)
    rows: list[Row] = [{"defect": "decay", "part": "stem", "extent_share": 0.1}]
    for azimuth in (0, 90, 180, 270)[: draws.between(3, 4)]:
        shell = round(radius * min(100, thin + draws.between(0, 22)) / 100, 1)
        rows.append(_shell(tree, azimuth, shell))
    return rows


def _shell(tree: Tree, azimuth: int, shell: float) -> Row:
    return {
        "part": "stem", "reading": "drill", "azimuth_deg": azimuth,
        "section_diameter_cm": tree.dbh_cm, "shell_cm": shell,
    }  # fmt: skip


def _tomogram(draws: Draws, tree: Tree) -> list[Row]:
    share = draws.between(4, 34) / 100
    return [
        {"defect": "decay", "part": "butt", "extent_share": 0.15},
        {"part": "butt", "reading": "tomogram", "decayed_share": share,
         "section_diameter_cm": round(tree.dbh_cm * 1.15, 1)},
    ]  # fmt: skip


def _cavity(draws: Draws, tree: Tree) -> list[Row]:
    hollow = round(tree.dbh_cm * draws.between(25, 52) / 100, 1)
    return [
        {"defect": "cavity", "part": "stem", "extent_share": 0.12,
         "section_diameter_cm": tree.dbh_cm, "hollow_diameter_cm": hollow,
         "shell_cm": round((tree.dbh_cm - hollow) / 2, 1),
         "opening_cm": draws.between(5, 5 + int(tree.dbh_cm * 0.25)),
         "side_deg": 15 * draws.below(24)},
        {"part": "stem", "reading": "probe", "azimuth_deg": 90,
         "section_diameter_cm": tree.dbh_cm, "shell_cm": round((tree.dbh_cm - hollow) / 2, 1)},
    ]  # fmt: skip


def _beside(trees: list[Tree], zone_name: str, reach: float, least_dbh: float) -> list[Tree]:
    """Sound unused trees beside a zone, the nearest first."""
    zone = next(zone for zone in all_zones() if zone.name == zone_name)
    found = []
    for tree in trees:
        fit = tree.status == "standing" and not tree.uses and tree.dbh_cm >= least_dbh
        if fit and distance(tree.place, zone.line[0]) < 400:
            line = zone.line if len(zone.line) > 1 else [*zone.line, *zone.line]
            away = from_line(tree.place, line)
            if away <= min(reach, 1.1 * tree.height_m):
                found.append((away, tree.tree_id, tree))
    return [tree for _, _, tree in sorted(found, key=lambda row: row[:2])]


def _one_beside(trees: list[Tree], zone_name: str, reach: float, least_dbh: float) -> Tree:
    found = _beside(trees, zone_name, reach, least_dbh)
    if not found:
        msg = f"no tree of {least_dbh} cm stands within {reach} m of {zone_name}"
        raise LookupError(msg)
    return found[0]


def make_safe_stories(visits: Visits, trees: list[Tree]) -> dict[str, list[str]]:
    """Three trees whose failure has begun; returns their ids by story."""
    path = _one_beside(trees, "School path", 12, 45)
    visits.add(path, "2026-11-12", [
        {"defect": "split", "part": "stem", "part_diameter_cm": path.dbh_cm, "with_decay": "yes",
         "notes": "Stem split at the fork, opens when the wind blows, right over the school path"},
        {"defect": "crack", "part": "stem", "extent_share": 0.5, "with_decay": "yes",
         "with_crack": "yes", "part_diameter_cm": path.dbh_cm},
    ])  # fmt: skip
    plate = _one_beside(trees, "Hospital forecourt", 18, 45)
    visits.add(plate, "2026-11-13", [
        {"defect": "lean", "part": "roots", "lean_deg": 17, "side_deg": 16, "soil_moved": "yes",
         "roots_broken": "yes", "with_crack": "yes",
         "notes": "Root plate lifting on the street side, soil cracked, lean has grown"},
        {"defect": "root_damage", "part": "roots", "extent_share": 0.55, "roots_broken": "yes"},
    ])  # fmt: skip
    branch = _one_beside(trees, "Market Square", 9, 35)
    visits.add(branch, "2026-11-13", [
        {"defect": "hanging_branch", "part": "branch", "part_diameter_cm": 24,
         "notes": "Broken limb hangs in the crown above the stalls"},
    ])  # fmt: skip
    return {
        "split_over_school_path": [path.tree_id],
        "root_plate_heaving": [plate.tree_id],
        "hanging_branch_over_market": [branch.tree_id],
    }


_SERIOUS_BESIDE = (
    "Guild Street School", "Northfield School", "Larkmere Hospital", "Willow House",
    "Fountain Square", "Acorn Nursery", "Hospital car park", "Granary car park", "Stop 10",
    "École du Val", "Lark Nursery", "Southmoor School", "Market Square", "Hospital forecourt",
    "Heron Park playground", "Guild Street School",
)  # fmt: skip
_SERIOUS_FUNGI = (
    "Kretzschmaria deusta", "Ganoderma sessile", "Laetiporus sulphureus", "Ganoderma applanatum",
    "Armillaria mellea", "Inonotus hispidus", "Grifola frondosa", "Phaeolus schweinitzii",
)  # fmt: skip


def _with_fungus(trees: list[Tree], zone_name: str, start: int) -> tuple[Tree, str]:
    """The nearest tree beside a zone that one of the serious fungi fits, and that fungus.

    Raises
    ------
    LookupError
        If no tree beside the zone is a host of any of them.
    """
    names = [*_SERIOUS_FUNGI[start:], *_SERIOUS_FUNGI[:start]]
    for tree in _beside(trees, zone_name, 22, 30):
        for name in names:
            if fits(BY_NAME[name], tree):
                return tree, name
    msg = f"no host of a serious fungus stands beside {zone_name}"
    raise LookupError(msg)


def serious_stories(visits: Visits, book: Book) -> list[str]:
    """Trees with conks and far decay beside busy places: the ones that should rate high."""
    ids = []
    for number, zone_name in enumerate(_SERIOUS_BESIDE):
        tree, fungus = _with_fungus(book.trees, zone_name, number % len(_SERIOUS_FUNGI))
        seen_on(book, tree, fungus, name_by="specialist", name_certainty=0.95,
                seen_on="2026-09-14", notes="Seen on the autumn round")  # fmt: skip
        visits.add(tree, "2026-10-20", _SERIOUS[number % len(_SERIOUS)](visits.draws, tree))
        ids.append(tree.tree_id)
    return ids


def _thin_shell(draws: Draws, tree: Tree) -> list[Row]:
    thin = tree.dbh_cm / 2 * 0.24
    rows: list[Row] = [
        {"defect": "decay", "part": "butt", "extent_share": 0.3, "with_decay": "yes"}
    ]
    return rows + [
        _shell(tree, azimuth, round(thin + 0.1 * draws.below(15), 1))
        for azimuth in (0, 90, 180, 270)
    ]


def _rotten_roots(draws: Draws, tree: Tree) -> list[Row]:
    return [
        {"defect": "root_damage", "part": "roots", "extent_share": 0.48, "with_decay": "yes",
            "part_diameter_cm": tree.dbh_cm},
        {"defect": "decay", "part": "roots", "extent_share": 0.45,
         "notes": f"Root collar dug out, {draws.between(3, 5)} main roots rotten"},
    ]  # fmt: skip


def _cracked(draws: Draws, tree: Tree) -> list[Row]:
    return [
        {"defect": "crack", "part": "stem", "with_decay": "yes", "extent_share": 0.3,
         "part_diameter_cm": tree.dbh_cm, "touches_soil": "yes",
         "side_deg": 15 * draws.below(24)},
        {"part": "butt", "reading": "sounding", "reading_result": "hollow"},
    ]  # fmt: skip


def _bad_union(draws: Draws, tree: Tree) -> list[Row]:
    return [
        {"defect": "weak_union", "part": "stem", "with_decay": "yes",
         "part_diameter_cm": draws.between(28, 40)},
        {"part": "stem", "reading": "tomogram", "decayed_share": 0.58,
         "section_diameter_cm": tree.dbh_cm},
    ]  # fmt: skip


_SERIOUS = (_thin_shell, _rotten_roots, _cracked, _bad_union)


def dead_trees(visits: Visits, trees: list[Tree]) -> None:
    """Visits to some of the standing dead."""
    for tree in [t for t in trees if t.status == "dead"][:9]:
        visits.add(tree, visits.date(), [
            {"defect": "dead_tree", "part": "stem", "extent_share": 1.0, "dead_since": "2025",
             "part_diameter_cm": tree.dbh_cm},
        ])  # fmt: skip
