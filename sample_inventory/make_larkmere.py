"""Write the files of Larkmere, an invented town, for the demonstration and the tests.

Usage: python sample_inventory/make_larkmere.py [--out DIR]

Every choice comes from the integers of one seeded generator (see larkmere/draws.py), so that the
files are the same to the byte wherever and whenever they are written.
"""

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from larkmere import (
    beholders,
    faults,
    files,
    history,
    inspections,
    places,
    sightings,
    streets,
    trees,
)
from larkmere.draws import Draws

SIGHTING_COLUMNS = (
    "sighting_id", "tree_id", "longitude", "latitude", "accuracy_m", "seen_on", "name",
    "name_certainty", "name_by", "host", "host_certain", "attachment", "position",
    "height_above_ground_m", "count", "layers", "width_cm", "form", "upper_colour",
    "under_colour", "upper_texture", "under_surface", "flesh", "arrangement", "observer", "notes",
)  # fmt: skip
INSPECTION_COLUMNS = (
    "inspection_id", "tree_id", "inspected_on", "part", "defect", "extent_share",
    "part_diameter_cm", "side_deg", "lean_deg", "with_decay", "with_crack", "touches_soil",
    "soil_moved", "roots_broken", "reading", "reading_result", "azimuth_deg",
    "section_diameter_cm", "shell_cm", "hollow_diameter_cm", "opening_cm", "decayed_share",
    "dead_since", "time_frame_years", "notes",
)  # fmt: skip
DECISION_COLUMNS = ("tree_id", "decision", "value", "decided_on", "role", "reason", "until")
WORK_COLUMNS = ("tree_id", "done_on", "action", "hours", "decay_share_seen", "fungus_seen", "notes")
# What ingest should do with each planted sighting, and why it was planted.
SIGHTING_FAULTS = {
    "sighting_nearer_to_another_tree": (
        "review",
        "the point lies on another tree than the one named",
    ),
    "sighting_between_two_trees": ("review", "half-way between two trees, accuracy 6 m"),
    "sighting_accuracy_500_m": ("review", "too coarse to name a tree"),
    "sighting_without_accuracy_or_tree": ("review", "a point of unknown accuracy and no tree id"),
    "sighting_free_standing": (
        "accepted_as_is",
        "mushrooms of mulch and turf: no evidence of decay",
    ),
    "sighting_soil_over_roots": ("accepted_as_is", "root evidence of lower weight: dig and look"),
    "sighting_reported_twice": ("accepted_as_is", "the same conk two days later by somebody else"),
    "sighting_seen_again": (
        "accepted_as_is",
        "the same fungus a year later, described by somebody who does not name it",
    ),
    "sighting_without_place": (
        "set_aside",
        "no tree id and no point; the first one speaks of a split",
    ),
    "sighting_unknown_tree": ("review", "names a tree that the inventory lacks, and has no point"),
}


@dataclass
class Town:
    """All that is known of Larkmere before it is written."""

    blocks: list[streets.Block]
    buildings: list[places.Building]
    trees: list[trees.Tree]
    book: sightings.Book
    visits: inspections.Visits
    decisions: list[history.Row]
    work: list[history.Row]
    register: faults.Register


def build() -> Town:
    """Build the town; the order of the steps is part of the seed."""
    blocks = streets.all_blocks()
    buildings = places.all_buildings(blocks, Draws(1))
    stand = trees.number_trees(trees.all_trees(blocks, buildings, Draws(2)))
    book = sightings.Book(stand, trees.neighbours(stand), Draws(3))
    visits = inspections.Visits(Draws(4))
    stories = inspections.make_safe_stories(visits, stand)
    serious = inspections.serious_stories(visits, book)
    stories_told = len(book.rows)
    sightings.ordinary(book)
    beholders.as_people_see(book, Draws(7), since=stories_told)
    planted = sightings.planted(book)
    inspections.follow_ups(visits, book)
    inspections.dead_trees(visits, stand)
    inspections.routine(visits, stand)
    decided = history.decisions(book, serious)
    work = history.work_done(stand, book, Draws(5))
    planted["sighting_seen_again"] = beholders.seen_again(book, Draws(8), since=stories_told)
    visits.draws = Draws(9)  # what comes late draws for itself, so that nothing before it moves
    inspections.old_wounds(visits, stand)
    register = _register(book, stories, planted, visits)
    return Town(blocks, buildings, stand, book, visits, decided, work, register)


def _register(
    book: sightings.Book,
    stories: dict[str, list[str]],
    planted: dict[str, list[str]],
    visits: inspections.Visits,
) -> faults.Register:
    register = faults.Register()
    for story, ids in stories.items():
        what = ("review", "failure has begun: must be on the make-safe list")
        register.add(story, ("inspections", "inspections.csv"), ids, what)
    phones = {sighting.sighting_id for sighting in book.rows if sighting.phone}
    for fault, ids in planted.items():
        file = "sightings_phone.geojson" if ids[0] in phones else "sightings.csv"
        register.add(fault, ("sightings", file), ids, SIGHTING_FAULTS[fault])
    for number, row in enumerate(visits.rows[-2:]):
        visits.rows.append({**row, "inspection_id": f"I900{number}", "tree_id": f"LK-8000{number}"})
    what = ("set_aside", "speaks of a tree that the inventory lacks")
    register.add(
        "inspection_unknown_tree", ("inspections", "inspections.csv"), ["I9000", "I9001"], what
    )
    return register


def write(town: Town, out: Path) -> None:
    """Write every file of the town into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    _write_trees(town, out)
    _write_sightings(town, out)
    for name, columns, rows in (
        ("inspections.csv", INSPECTION_COLUMNS, town.visits.rows),
        ("decisions.csv", DECISION_COLUMNS, town.decisions),
        ("work_done.csv", WORK_COLUMNS, town.work),
        ("planted_faults.csv", faults.COLUMNS, town.register.rows),
    ):
        files.write_csv(out / name, columns, rows)
    _write_maps(town, out)


def _write_trees(town: Town, out: Path) -> None:
    rows = {tree.tree_id: files.tree_row(tree) for tree in town.trees if tree.ward != 5}
    planter = faults.Planter(town.trees, rows, town.register, Draws(6))
    faults.plant(planter)
    listed = [*rows.values(), *planter.extra]
    files.write_csv(out / "trees.csv", files.TREE_HEADERS, listed)
    for fault, expected, note in (
        ("id_exact_duplicate", "set_aside", "the same row once more, at the end of the file"),
        (
            "id_repeated_elsewhere",
            "flagged",
            "the id of a tree further up, at another place; both are kept",
        ),
        ("id_missing", "flagged", "no id; one is made up"),
    ):
        at = [f"#{n}" for n, row in enumerate(listed, start=1) if row.get("fault") == fault]
        planter.note(fault, at, expected, note)
    west = [files.west_row(tree) for tree in town.trees if tree.ward == 5]
    files.write_csv(
        out / "trees_ward5.csv", files.WEST_HEADERS, west, delimiter=";", encoding="latin-1"
    )
    _note_states(town)


def _note_states(town: Town) -> None:
    where = ("trees", "trees_ward5.csv")
    ids = [tree.tree_id for tree in town.trees if tree.ward == 5]
    what = ("accepted_as_is", "Latin-1, semicolons, decimal commas, girth in cm: the whole file")
    town.register.add("file_latin1_semicolons_girth", where, ids, what)
    for status in ("stump", "vacant", "removed", "dead", "habitat_pole"):
        for file, west in (("trees.csv", False), ("trees_ward5.csv", True)):
            ids = [t.tree_id for t in town.trees if t.status == status and (t.ward == 5) == west]
            what = ("accepted_as_is", "a state, not a fault")
            if ids:
                town.register.add(f"status_{status}", ("trees", file), ids, what)


def _write_sightings(town: Town, out: Path) -> None:
    office = [{"sighting_id": s.sighting_id, **s.values} for s in town.book.rows if not s.phone]
    files.write_csv(out / "sightings.csv", SIGHTING_COLUMNS, office)
    features = []
    for sighting in town.book.rows:
        if sighting.phone:
            known: dict[str, object] = {"sighting_id": sighting.sighting_id, **sighting.values}
            place = (float(str(known.pop("longitude"))), float(str(known.pop("latitude"))))
            ordered = {name: known.get(name) for name in _phone_columns()}
            features.append(files.point_feature(place, ordered))
    files.write_geojson(out / "sightings_phone.geojson", features)


def _phone_columns() -> Sequence[str]:
    return [name for name in SIGHTING_COLUMNS if name not in {"longitude", "latitude"}]


def _write_maps(town: Town, out: Path) -> None:
    files.write_geojson(
        out / "streets.geojson",
        [files.feature("LineString", block.line, _street_facts(block)) for block in town.blocks],
    )
    files.write_geojson(
        out / "wards.geojson",
        [files.feature("Polygon", ring, {"name": name}) for name, ring in places.WARDS],
    )
    columns = (
        "occupancy",
        "persons_per_h",
        "open_hours",
        "months",
        "vehicles_per_day",
        "speed_km_h",
    )
    zones = []
    for zone in places.all_zones():
        facts: dict[str, object] = {"zone_id": zone.zone_id, "name": zone.name, "kind": zone.kind}
        facts |= {name: zone.facts.get(name) for name in columns}
        zones.append(files.feature(zone.shape, zone.line, facts))
    files.write_geojson(out / "zones.geojson", zones)
    drawn: list[tuple[str, str, list[tuple[float, float]]]] = [
        ("water", "Lark River", places.river_bank()), ("water", "The Mere", places.LAKE),
        ("park", "Heron Park", places.PARK), ("park", "Osier Green", places.GREEN),
        ("park", "Hill Cemetery", places.CEMETERY),
        *(("building", "", building.ring) for building in town.buildings),
    ]  # fmt: skip
    files.write_geojson(
        out / "basemap.geojson",
        [
            files.feature("Polygon", ring, {"kind": kind, "name": name})
            for kind, name, ring in drawn
        ],
    )


def _street_facts(block: streets.Block) -> Mapping[str, object]:
    street = block.street
    return {
        "street_id": block.street_id,
        "name": street.name,
        "highway": street.kind.highway,
        "oneway": street.oneway,
        "maxspeed": str(street.kind.speed_km_h),
        "vehicles_per_day": street.kind.vehicles_per_day,
    }


def main() -> None:
    """Read the one option and write the town."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--out", type=Path, default=Path(__file__).resolve().parent)
    write(build(), parser.parse_args().out)


if __name__ == "__main__":
    main()
