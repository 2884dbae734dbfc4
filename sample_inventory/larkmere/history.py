"""Decisions that people made, and what the crews brought back in the last two quarters of 2026."""

from larkmere.draws import Draws
from larkmere.sightings import Book
from larkmere.trees import Tree

Row = dict[str, object]
WORK_ROWS = 60


def decisions(book: Book, serious: list[str]) -> list[Row]:
    """Fifteen decisions; nobody has acknowledged a make-safe case yet."""
    conks = [s.tree.tree_id for s in book.rows[len(serious) : 80] if s.tree is not None]
    plan: tuple[tuple[str, str, str, str, str, str], ...] = (
        (serious[7], "acknowledge", "", "2026-10-22", "Bays below are closed", "2026-12-15"),
        (serious[0], "accept", "", "2026-10-26", "Agreed on site", ""),
        (serious[1], "pin", "2027Q1", "2026-10-26", "Road closure is booked", ""),
        (serious[2], "override", "tomography", "2026-10-27", "Hospital asks for a test first", ""),
        (serious[3], "accept", "", "2026-10-27", "Agreed on site", ""),
        (serious[5], "defer", "", "2026-10-28", "Lift cannot reach before the ground is frozen",
         "2027-02-01"),
        (serious[6], "override", "reduce_crown", "2026-10-30", "Residents' meeting of October", ""),
        (conks[3], "override", "retain_monitor", "2026-06-15", "Fenced bed below", ""),
        (conks[7], "accept", "", "2026-08-20", "Agreed at the desk", ""),
        (conks[11], "defer", "", "2026-08-21", "Nest in the crown, licensed advice awaited",
         "2026-12-01"),
        (conks[15], "pin", "2027Q2", "2026-09-02", "Together with the sewer works", ""),
        (conks[19], "override", "low", "2026-09-02", "Target moved: bench taken away", ""),
        (conks[23], "accept", "", "2026-09-03", "Agreed at the desk", ""),
        (conks[27], "override", "habitat_pole", "2026-09-14", "Kept as a pole for bats", ""),
        (conks[31], "pin", "2027Q1", "2026-10-05", "Crane is in the street then", ""),
    )  # fmt: skip
    roles = ("city forester", "senior inspector", "works manager")
    return [
        {"tree_id": tree, "decision": decision, "value": value, "decided_on": date,
         "role": roles[number % len(roles)], "reason": reason, "until": until}
        for number, (tree, decision, value, date, reason, until) in enumerate(plan)
    ]  # fmt: skip


def work_done(trees: list[Tree], book: Book, draws: Draws) -> list[Row]:
    """Sixty rows: pruning, removals, tests and rounds, with what was seen at the cut."""
    free = draws.shuffled([
        t for t in trees if t.status == "standing" and t.dbh_cm > 25 and not t.uses
    ])  # fmt: skip
    conks = draws.shuffled([
        s for s in book.rows[:100]
        if s.tree is not None and "inspection" not in s.tree.uses
        and str(s.values["seen_on"]) < "2026-06-30"
    ])  # fmt: skip
    kinds = ("prune_part",) * 30 + ("remove",) * 8 + ("inspect",) * 12
    rows = [_done(tree, action, draws) for tree, action in zip(free, kinds, strict=False)]
    for number, sighting in enumerate(conks[: WORK_ROWS - len(rows)]):
        tree = sighting.tree
        if tree is None:
            continue
        row = _done(
            tree, ("remove", "sound", "drill", "prune_part", "dig_root_collar")[number % 5], draws
        )
        if row["action"] == "remove":
            row |= {
                "decay_share_seen": draws.between(25, 70) / 100,
                "fungus_seen": sighting.values.get("name", ""),
                "notes": "Stump cut shows rot",
            }
        rows.append(row)
    return sorted(rows, key=lambda row: (str(row["done_on"]), str(row["tree_id"])))


def _done(tree: Tree, action: str, draws: Draws) -> Row:
    tree.uses.add("work")
    usual = {"prune_part": 15, "remove": 60, "inspect": 3, "sound": 5, "drill": 12}
    tenths = usual.get(action, 20) + int(tree.dbh_cm / 10) * draws.between(0, 3)
    return {
        "tree_id": tree.tree_id,
        "done_on": f"2026-{draws.between(7, 10):02d}-{draws.between(1, 28):02d}",
        "action": action,
        "hours": tenths / 10,
    }
