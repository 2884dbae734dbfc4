"""Jobs and what people decided about them, through the stage."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.errors import PlanningError
from tests.planning.small_town import AS_OF, Town


@pytest.fixture
def town() -> Town:
    made = Town(trees=8)
    made.add(0, "inspect", hours=0.5)
    made.add(1, "prune_part", hours=2.0, crew_type="climb", machine="chipper", deadline_days=90)
    made.add(2, "remove", hours=6.0, crew_type="climb", deadline_days=30)
    return made


def _job(town: Town, folder: Path, job_id: str) -> dict[str, object]:
    return {row["job_id"]: row for row in town.plan(folder).table("jobs")}[job_id]


def test_deadlines_come_from_the_rule_or_from_the_cycle(town: Town, tmp_path: Path) -> None:
    found = {row["job_id"]: row["deadline_on"] for row in town.plan(tmp_path).table("jobs")}
    assert found == {
        "T-00000/inspect": date(2027, 2, 1),
        "T-00001/prune_part": date(2027, 2, 23),  # 90 days after 25 November 2026, by calendar
        "T-00002/remove": date(2026, 12, 25),
    }


def test_harm_removed_is_never_negative_and_a_look_is_worth_what_it_leads_to(
    town: Town, tmp_path: Path
) -> None:
    town.actions[1]["residual_harm_per_year"] = 5e-5
    town.actions[2]["residual_harm_per_year"] = 1.0
    # A look is worth what it and the work after it are expected to remove, not all the harm that
    # it is about: scoring leaves the share of config/rules/actions.csv, here 0.7 of it.
    town.actions[0]["residual_harm_per_year"] = 0.7e-4
    found = {row["job_id"]: row["harm_removed"] for row in town.plan(tmp_path).table("jobs")}
    assert found["T-00000/inspect"] == pytest.approx(0.3e-4)
    assert found["T-00001/prune_part"] == pytest.approx(1.5e-4)
    assert found["T-00002/remove"] == 0.0


def test_work_brought_back_since_the_last_look_is_no_job(town: Town, tmp_path: Path) -> None:
    town.ratings = {
        1: {"last_looked_on": date(2026, 6, 1)},
        2: {"last_looked_on": date(2026, 7, 1)},
        3: {"last_looked_on": date(2026, 7, 1)},
    }
    town.add(3, "prune_part", crew_type="climb")
    town.add(4, "reduce_crown", crew_type="climb")
    town.work_done = [
        {"tree_key": 1, "done_on": date(2026, 7, 1), "action": "prune_part"},
        {"tree_key": 2, "done_on": date(2026, 7, 1), "action": "remove"},  # the day of the look
        {"tree_key": 3, "done_on": date(2026, 8, 1), "action": "remove"},  # another action
        {"job_id": "T-00004/reduce_crown", "done_on": date(2026, 8, 1), "action": "reduce_crown"},
        {"tree_key": 0, "done_on": date(2026, 8, 1), "action": "inspect"},  # returns by the cycle
    ]
    ids = {row["job_id"] for row in town.plan(tmp_path).table("jobs")}
    assert ids == {"T-00000/inspect", "T-00002/remove", "T-00003/prune_part"}


def test_an_action_at_a_desk_is_no_job(town: Town, tmp_path: Path) -> None:
    town.add(5, "move_target", crew_type="none")
    assert "T-00005/move_target" not in {r["job_id"] for r in town.plan(tmp_path).table("jobs")}


def test_a_pin_moves_a_job_to_its_quarter(town: Town, tmp_path: Path) -> None:
    town.decisions = [{"tree_key": 2, "decision": "pin", "value": "2027Q3"}]
    planned = town.plan(tmp_path)
    assert planned.by_id("queue")["T-00002/remove"]["quarter"] == "2027Q3"


def test_the_last_decision_stands_and_one_that_has_ended_does_not(
    town: Town, tmp_path: Path
) -> None:
    town.decisions = [
        {"tree_key": 2, "decision": "pin", "value": "2027Q3"},
        {"tree_key": 2, "decision": "defer", "until": date(2027, 5, 1)},
        {"tree_key": 1, "decision": "defer", "until": date(2026, 11, 1)},
    ]
    planned = town.plan(tmp_path)
    assert planned.by_id("queue")["T-00002/remove"]["quarter"] == "2027Q2"
    assert planned.by_id("queue")["T-00001/prune_part"]["quarter"] == "2027Q1"


def test_put_off_or_pinned_beyond_the_plan_is_left_out_with_the_date(
    town: Town, tmp_path: Path
) -> None:
    town.decisions = [
        {"tree_key": 1, "decision": "defer", "until": date(2030, 1, 1)},
        {"job_id": "T-00002/remove", "decision": "pin", "value": "2031Q2"},
        {"tree_key": 0, "decision": "defer"},
    ]
    left = town.plan(tmp_path).by_id("unscheduled")
    assert {row["reason"] for row in left.values()} == {"deferred"}
    assert "2030-01-01" in left["T-00001/prune_part"]["detail"]
    assert "2031Q2" in left["T-00002/remove"]["detail"]
    assert "all of 2027Q1 to 2027Q4" in left["T-00000/inspect"]["detail"]


def test_making_safe_is_never_put_off(town: Town, tmp_path: Path) -> None:
    town.add(6, "make_safe", crew_type="ground", deadline_days=1)
    town.decisions = [{"tree_key": 6, "decision": "defer", "until": date(2030, 1, 1)}]
    queue = town.plan(tmp_path).by_id("queue")
    assert queue["T-00006/make_safe"]["queue_rank"] == 1
    assert queue["T-00006/make_safe"]["day"] == AS_OF


def test_a_closed_window_waits_and_one_that_is_lifted_does_not(town: Town, tmp_path: Path) -> None:
    for number in (1, 2):
        town.actions[number] |= {"closed_days": "2026-11-01/2027-07-31", "season_code": "nesting"}
    town.actions[2]["overridden_by"] = "imminent"
    queue = town.plan(tmp_path).by_id("queue")
    assert queue["T-00001/prune_part"]["quarter"] == "2027Q3"
    # due before the first quarter: the lead-in takes it
    assert queue["T-00002/remove"]["quarter"] == "2026Q4"


@pytest.mark.parametrize(
    ("closed", "first", "last"),
    [
        # open from the middle of the first quarter on, and up to the middle of it
        ("2026-11-01/2027-02-14", date(2027, 2, 15), date(2027, 3, 31)),
        ("2026-11-01/2026-12-31 2027-01-20/2027-12-31", date(2027, 1, 1), date(2027, 1, 19)),
    ],
)
def test_part_of_a_quarter_is_used(
    town: Town, tmp_path: Path, closed: str, first: date, last: date
) -> None:
    town.actions[1]["closed_days"] = closed
    row = town.plan(tmp_path).by_id("queue")["T-00001/prune_part"]
    assert first <= row["day"] <= last


def test_a_window_beyond_the_plan_is_a_reason(town: Town, tmp_path: Path) -> None:
    town.actions[1]["closed_days"] = "2026-11-01/2029-02-28"
    left = town.plan(tmp_path).by_id("unscheduled")["T-00001/prune_part"]
    assert left["reason"] == "out_of_season"
    assert "2029-03-01" in left["detail"]


def test_a_pin_to_no_quarter_is_refused_with_its_row(town: Town, tmp_path: Path) -> None:
    town.decisions = [
        {"tree_key": 2, "tree_id": "T-00002", "decision": "pin", "value": "next spring"}
    ]
    with pytest.raises(PlanningError) as fault:
        town.plan(tmp_path)
    assert "T-00002" in fault.value.where
    assert "next spring" in fault.value.found
    assert str(AS_OF) in fault.value.where


def test_cost_is_hours_by_the_rate_of_the_crew(town: Town, tmp_path: Path) -> None:
    assert _job(town, tmp_path, "T-00002/remove")["cost"] == 600.0
