"""Decisions of people beside what the program says, and what speaks against them since."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.tables import inputs
from tests.scoring.small_world import Rows, rows, score
from tests.scoring.test_stage import SIGHTING, actions, codes, one, told, world

DECIDED = date(2026, 9, 15)
BEFORE, SINCE = date(2026, 9, 1), date(2026, 10, 1)
ACCEPT = {"tree_key": 0, "decision": "accept", "decided_on": DECIDED, "role": "city forester",
          "reason": "Seen on site."}  # fmt: skip
CRACK = {"tree_key": 0, "defect": "crack", "part": "stem", "inspection_key": 0}


def _overtaken(folder: Path, **tables: Rows) -> bool:
    looks: dict[str, Rows] = {"inspections": [{"tree_key": 0, "inspected_on": BEFORE}]}
    store = score(folder, world(decisions=[ACCEPT], **{**looks, **tables}))
    assert one(store)["decision"] == "accept"
    found = "decision_contradicted" in codes(store)
    assert ("decision_newer_evidence" in told(store)) is found
    return found


def test_a_new_body_speaks_against_a_decision(tmp_path: Path) -> None:
    assert _overtaken(tmp_path, sightings=[{**SIGHTING, "seen_on": SINCE}])


def test_a_second_look_at_the_same_body_does_not(tmp_path: Path) -> None:
    again = [{**SIGHTING, "seen_on": day, "sighting_id": "S1"} for day in (BEFORE, SINCE)]
    assert not _overtaken(tmp_path / "same", sightings=again)
    more = [{**one, "count": count} for one, count in zip(again, (2, 9), strict=True)]
    assert _overtaken(tmp_path / "more", sightings=more)
    fewer = [{**one, "count": count} for one, count in zip(again, (9, 2), strict=True)]
    assert not _overtaken(tmp_path / "fewer", sightings=fewer)


@pytest.mark.parametrize(
    ("since", "overtaken"),
    [
        ({"with_decay": True}, True),
        ({}, False),  # the same crack, seen again
    ],
    ids=["worse", "the same"],
)
def test_only_a_worse_word_speaks_against_a_decision(
    tmp_path: Path, since: dict[str, Any], overtaken: bool
) -> None:
    looks = [{"tree_key": 0, "inspected_on": day} for day in (BEFORE, SINCE)]
    seen = [
        {**CRACK, "seen_on": BEFORE, "latest": False},
        {**CRACK, "seen_on": SINCE, "inspection_key": 1, **since},
    ]
    # What was known before is known by the first look, which the second repeats.
    decided = {**ACCEPT, "decided_on": BEFORE if overtaken else SINCE}
    store = score(tmp_path, world(decisions=[decided], inspections=looks, defects=seen))
    assert ("decision_contradicted" in codes(store)) is overtaken


def test_a_better_look_since_speaks_for_the_decision(tmp_path: Path) -> None:
    clean = [{"tree_key": 0, "defect": "none_seen", "seen_on": SINCE}]
    later = [{"tree_key": 0, "inspected_on": SINCE}]
    assert not _overtaken(tmp_path, inspections=later, defects=clean)


def test_a_thick_wall_measured_since_speaks_for_it_and_a_thin_one_against(tmp_path: Path) -> None:
    """t/R of 0.3 is the published limit (mattheck_1994): 13 cm of 20 is over it, 3 cm far under."""

    def found(folder: str, shell: float) -> bool:
        reading = {"tree_key": 0, "part": "stem", "section_diameter_cm": 40.0, "shell_cm": shell,
                   "measured_on": SINCE}  # fmt: skip
        decay = {"tree_key": 0, "defect": "decay", "part": "stem", "seen_on": BEFORE}
        return _overtaken(tmp_path / folder, readings=[reading], defects=[decay])

    assert not found("thick", 13.0)
    assert found("thin", 3.0)


@pytest.mark.parametrize("kind", inputs.DECISIONS)
def test_every_kind_is_told_with_role_reason_and_end(tmp_path: Path, kind: str) -> None:
    value = {"override": "retain_monitor", "pin": "2027Q2"}.get(kind)
    made = {**ACCEPT, "decision": kind, "value": value, "until": date(2027, 6, 30)}
    store = score(tmp_path, world(decisions=[made], sightings=[{**SIGHTING, "seen_on": BEFORE}]))
    assert told(store)["decision_stands"] == {
        "decision": kind, "value": value, "decided_on": "2026-09-15", "role": "city forester",
        "reason": "Seen on site.", "until": "2027-06-30",
    }  # fmt: skip
    assert ("action_program_would" in told(store)) is (kind != "acknowledge")


def test_several_kinds_are_told_side_by_side(tmp_path: Path) -> None:
    both = [{**ACCEPT, "decision": kind, "value": value}
            for kind, value in (("override", "high"), ("pin", "2027Q3"))]  # fmt: skip
    store = score(tmp_path, world(decisions=both))
    kinds = [row["values"] for row in rows(store, "facts") if row["statement"] == "decision_stands"]
    assert len(kinds) == 2


def test_the_action_follows_the_rating_that_a_person_gave(tmp_path: Path) -> None:
    seen: dict[str, Rows] = {"sightings": [{**SIGHTING, "taxon_id": "ganoderma_applanatum",
                                            "position": "butt",
                           "seen_on": BEFORE}]}  # fmt: skip
    rated = {**ACCEPT, "decision": "override", "value": "low"}
    program = score(tmp_path / "program", world(**seen))
    lower = score(tmp_path / "lower", world(**seen, decisions=[rated]))
    assert one(program)["rating"] > 1
    assert one(lower)["rating"] == 1
    # At a low rating nothing of a living tree is cut; what the program would do stays told.
    assert one(lower)["best_action"] in {"retain_monitor", "dig_root_collar"}
    assert one(lower)["program_action"] == one(program)["best_action"]
    extreme = score(tmp_path / "extreme", world(**seen, decisions=[{**rated, "value": "extreme"}]))
    # An extreme rating is made safe first, whoever gave it.
    assert actions(extreme)["make_safe"]["chosen"]
    assert one(extreme)["make_safe"]


def test_a_person_who_rates_higher_is_not_answered_by_what_the_program_sees(tmp_path: Path) -> None:
    """What an action leaves is raised by as many words as the person's rating lies higher."""
    dead: dict[str, Rows] = {"defects": [{"tree_key": 0, "defect": "crack", "part": "stem"}],
            "inspections": [{"tree_key": 0}]}  # fmt: skip
    alone = score(tmp_path / "alone", world(**dead))
    high = score(
        tmp_path / "high",
        world(**dead, decisions=[{**ACCEPT, "decision": "override", "value": "extreme"}]),
    )
    before, after = actions(alone)["reduce_crown"], actions(high)["reduce_crown"]
    assert after["residual_rating"] > before["residual_rating"]
    assert actions(high)["remove"]["residual_rating"] == 1
