"""Rounds of inspection of a town with no evidence at all."""

from datetime import date
from pathlib import Path

import pytest

from tests.scoring.small_world import rows, score
from tests.scoring.test_stage import world


def _tree(number: int, **more: object) -> dict[str, object]:
    return {"tree_id": f"t{number}", "x_m": 20.0 + 40 * number, "y_m": 3.0, **more}


def test_a_town_without_evidence_gets_rounds_by_ward_and_street(tmp_path: Path) -> None:
    old = date(2012, 1, 1)
    town = [
        _tree(0, street="Mill Street", ward="North"),
        _tree(1, street="Mill Street", ward="North", last_inspected_on=old),
        _tree(2, street="Mill Street", ward="South"),
        _tree(3),  # no street: a square of the town
        _tree(4, x_m=9000.0),  # another square
        _tree(5, status="stump", street="Mill Street", ward="North"),
        _tree(6, street="Mill Street", ward="North", last_inspected_on=date(2026, 11, 1)),
    ]
    store = score(tmp_path, world(trees=town))
    found = {(r["ward"], r["street"], round(r["x_m"])): r for r in rows(store, "inspection_rounds")}
    assert {key: row["trees"] for key, row in found.items()} == {
        ("North", "Mill Street", 40): 2, ("South", "Mill Street", 100): 1,
        (None, None, 140): 1, (None, None, 9000): 1,
    }  # fmt: skip
    north = found["North", "Mill Street", 40]
    assert (north["never"], north["overdue"], north["due"]) == (1, 1, 0)
    # A look takes 12 minutes (table of hours).
    assert north["hours"] == pytest.approx(0.4)
    assert north["earliest_due_on"] < date(2026, 11, 15)


def test_rounds_hold_every_look_that_is_to_be_made_and_the_most_worth_first(
    tmp_path: Path,
) -> None:
    town = [_tree(n, street=f"Street {n % 3}", dbh_cm=20.0 + 10 * n) for n in range(9)]
    store = score(tmp_path, world(trees=town))
    looks = [
        r for r in rows(store, "candidate_actions") if r["chosen"] and r["action"] == "inspect"
    ]
    found = rows(store, "inspection_rounds")
    assert sum(r["trees"] for r in found) == len(looks) == 9
    worth = [r["harm_per_year"] / r["hours"] for r in found]
    assert worth == sorted(worth, reverse=True)


def test_no_tree_is_no_round(tmp_path: Path) -> None:
    store = score(tmp_path, world(trees=[_tree(0, status="stump")]))
    assert rows(store, "inspection_rounds") == []
