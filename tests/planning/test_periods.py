"""What is done at once, what before the first quarter, and what must wait: laws of the stage."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from pipeline.settings.model import Planning
from pipeline.settings.quarter import Quarter
from tests.planning.small_town import AS_OF, CREWS, Planned, Town, crew

FIRST = date(2027, 1, 1)
HOLIDAYS = (date(2026, 11, 26), date(2026, 12, 25), date(2027, 1, 1), date(2027, 1, 18))
INSTRUMENTS = crew("Instruments", "instrument", machines=("resistance_drill",))


def pressing_town(**planning: object) -> Town:
    """Make-safe, what is due in a month, presumed removals with their tests, and looks."""
    town = Town(trees=200, crews=(*CREWS, INSTRUMENTS),
                planning=Planning.model_validate({"holidays": HOLIDAYS} | planning))  # fmt: skip
    for tree in range(200):
        town.add(tree, "inspect", hours=0.3)
    for tree in range(0, 60, 2):
        town.add(tree, "make_safe", crew_type="ground", hours=1.0, deadline_days=1)
    for tree in range(0, 60, 3):
        town.add(tree, "remove", crew_type="lift", hours=9.0, deadline_days=30)
        town.add(tree, "drill", crew_type="instrument", hours=4.0, deadline_days=14)
    for tree in range(60, 90):
        town.add(tree, "prune_part", crew_type="climb", hours=2.0, deadline_days=30)
    for tree in range(0, 90, 4):
        town.ratings[tree] = {"rating": 3}
    return town


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    return pressing_town().plan(tmp_path_factory.mktemp("pressing"))


def test_make_safe_is_done_on_the_day_of_the_run_by_all_crews(planned: Planned) -> None:
    safe = {key: row for key, row in planned.by_id("queue").items() if "make_safe" in key}
    assert len(safe) == 30
    assert {row["day"] for row in safe.values()} == {AS_OF}
    assert {row["late_days"] for row in safe.values()} == {0}
    assert {row["quarter"] for row in safe.values()} == {"2026Q4"}
    assert {row["crew_id"] for row in safe.values()} == {c.id for c in (*CREWS, INSTRUMENTS)}
    assert {r["crew_id"] for r in planned.table("routes") if r["day"] == AS_OF} == {
        row["crew_id"] for row in safe.values()
    }


def test_make_safe_waits_for_no_weekday_and_goes_on_the_next_day(tmp_path: Path) -> None:
    town = Town(trees=40, crews=(crew("Ground", "ground"),), as_of=date(2026, 11, 28))
    for tree in range(12):
        town.add(tree, "make_safe", crew_type="ground", hours=1.0, deadline_days=1)
    rows = town.plan(tmp_path).by_id("queue").values()
    days = {row["day"] for row in rows}
    # a Saturday and the Sunday after it: 12 h do not fit into one shift of 7.5 h
    assert days == {date(2026, 11, 28), date(2026, 11, 29)}
    assert {row["late_days"] for row in rows} == {0}


def test_make_safe_uses_no_hours_of_the_quarter(tmp_path: Path) -> None:
    crews = (crew("Ground", "ground", hours_per_quarter=7.5),)
    quiet = Town(trees=40, crews=crews)
    for tree in range(40):
        quiet.add(tree, "dig_root_collar", crew_type="ground", hours=1.0)
    pressed = replace(quiet, actions=list(quiet.actions))
    for tree in range(6):
        pressed.add(tree, "make_safe", crew_type="ground", hours=1.0, deadline_days=1)
    plain = {key: row["quarter"] for key, row in quiet.plan(tmp_path / "a").by_id("queue").items()}
    other = pressed.plan(tmp_path / "b").by_id("queue")
    assert {key: row["quarter"] for key, row in other.items() if "make_safe" not in key} == plain


def test_only_what_is_due_before_the_quarter_is_in_the_lead_in(planned: Planned) -> None:
    jobs = {row["job_key"]: row for row in planned.table("jobs")}
    early = [row for row in planned.table("queue") if row["day"] and AS_OF < row["day"] < FIRST]
    assert early
    for row in early:
        assert jobs[row["job_key"]]["deadline_on"] < FIRST
        assert row["quarter"] == "2026Q4"
    worst = min(jobs[row["job_key"]]["rating"] for row in early[:5])
    assert worst == 3  # trees rated high or worse head the lead-in


def test_a_crew_gives_no_more_than_its_share(planned: Planned) -> None:
    days = [row for row in planned.table("routes") if AS_OF < row["day"] < FIRST]
    by_crew = {c.id: sum(row["crew_id"] == c.id for row in days) for c in CREWS}
    # 24 working days from 27 November to 31 December 2026 without the 25th; a quarter of them
    assert max(by_crew.values()) <= 6


def test_without_a_lead_in_what_is_due_comes_late(planned: Planned, tmp_path: Path) -> None:
    without = pressing_town(lead_in_share=0.0).plan(tmp_path)
    days = {row["day"] for row in without.table("queue") if row["day"]}
    assert min(day for day in days if day > AS_OF) > FIRST
    prunes = [row for key, row in without.by_id("queue").items() if "prune" in key]
    assert all(row["late_days"] > 0 for row in prunes)
    late = [sum(row["late_days"] for row in p.table("queue")) for p in (planned, without)]
    assert late[0] < late[1]


@pytest.mark.parametrize("after", [0, 7, 30])
@pytest.mark.parametrize("share", [0.0, 0.25, 1.0])
def test_no_saw_before_its_test(after: int, share: float, tmp_path: Path) -> None:
    town = pressing_town(days_after_test=after, lead_in_share=share)
    planned = town.plan(tmp_path)
    queue = planned.by_id("queue")
    ends: dict[int, date] = {}
    for stop in planned.table("stops"):
        ends[stop["job_key"]] = max(stop["day"], ends.get(stop["job_key"], stop["day"]))
    seen = 0
    for key, cut in queue.items():
        test = queue.get(key.replace("/remove", "/drill"))
        if not key.endswith("/remove") or test is None:
            continue
        seen += 1
        assert Quarter.parse(test["quarter"]) <= Quarter.parse(cut["quarter"])
        if cut["day"]:
            assert cut["day"] >= ends[test["job_key"]] + timedelta(days=after)
    assert seen == 20


def test_tests_that_crowd_out_each_other_hold_no_removal_before_them(tmp_path: Path) -> None:
    town = pressing_town(quarters=2)
    few = crew("Instruments", "instrument", hours_per_quarter=20.0)
    town.crews = (*CREWS, few)
    queue = town.plan(tmp_path).by_id("queue")
    cuts = {key: row for key, row in queue.items() if key.endswith("/remove")}
    tests = {key.replace("/drill", "/remove") for key in queue if key.endswith("/drill")}
    assert 0 < len(tests) < 20
    assert len(cuts) == 20  # no test, and yet a place of its own
    for key in cuts.keys() & tests:
        test, cut = queue[key.replace("/remove", "/drill")], cuts[key]
        assert test["quarter"] <= cut["quarter"]
        if cut["day"]:
            assert cut["day"] >= test["day"] + timedelta(days=7)


def test_a_test_that_nobody_can_do_holds_nothing_up(tmp_path: Path) -> None:
    town = pressing_town()
    town.crews = CREWS
    planned = town.plan(tmp_path)
    left = planned.by_id("unscheduled")
    assert all(key.endswith("/drill") for key in left)
    with_test = sum(r["late_days"] for k, r in planned.by_id("queue").items() if "/remove" in k)
    town.actions = [row for row in town.actions if row["action"] != "drill"]
    plain = town.plan(tmp_path / "plain").by_id("queue")
    assert with_test == sum(r["late_days"] for k, r in plain.items() if "/remove" in k)


def test_nobody_works_on_a_holiday(planned: Planned) -> None:
    assert not {row["day"] for row in planned.table("routes")} & set(HOLIDAYS)


def test_long_jobs_take_working_days_in_a_row(planned: Planned) -> None:
    cuts = {r["job_key"] for r in planned.table("jobs") if r["action"] == "remove"}
    days: dict[int, list[date]] = {}
    for stop in planned.table("stops"):
        if stop["job_key"] in cuts:
            days.setdefault(stop["job_key"], []).append(stop["day"])
    assert days
    for several in days.values():
        first, last = min(several), max(several)
        assert len(several) == 2  # 9 h in shifts of 7.5 h
        between = [first + timedelta(days=k) for k in range(1, (last - first).days)]
        assert all(day.weekday() >= 5 or day in HOLIDAYS for day in between)


def test_days_before_the_run_are_not_planned(tmp_path: Path) -> None:
    town = pressing_town()
    town.as_of = date(2027, 2, 15)
    planned = town.plan(tmp_path)
    days = {row["day"] for row in planned.table("routes")}
    assert min(days) == town.as_of
    assert {row["quarter"] for row in planned.table("queue")} <= {
        "2027Q1", "2027Q2", "2027Q3", "2027Q4",
    }  # fmt: skip
    keys = [(row["day"], row["crew_id"]) for row in planned.table("routes")]
    assert len(keys) == len(set(keys))


def test_two_plans_are_equal_to_the_byte(planned: Planned, tmp_path: Path) -> None:
    again = pressing_town().plan(tmp_path)
    for name in ("jobs", "queue", "unscheduled", "routes", "stops"):
        one, two = (p.store.root / "tables" / "planning" / f"{name}.parquet"
                    for p in (planned, again))  # fmt: skip
        assert one.read_bytes() == two.read_bytes()


def test_late_jobs_take_a_crews_days_from_the_first_on_and_the_rest_is_spread(
    tmp_path: Path,
) -> None:
    # 75 h are ten shifts of 7.5 h; five late jobs of 6 h, one a day, and five that are not due
    town = Town(
        trees=10,
        crews=(crew("Lift", "lift", machines=("aerial_lift",), hours_per_quarter=75.0),),
        planning=Planning(lead_in_share=0.0),
    )
    for tree in range(10):
        due = {"deadline_days": 30} if tree % 2 else {"deadline_days": 400}
        town.add(tree, "prune_part", crew_type="lift", hours=6.0, **due)
    found = town.plan(tmp_path)
    jobs = {row["job_key"]: row for row in found.table("jobs")}
    late: list[date] = []
    other: list[date] = []
    for row in found.table("queue"):
        (late if jobs[row["job_key"]]["deadline_on"] < FIRST else other).append(row["day"])
    # the weekdays from 1 January 2027, a Friday (counted on a calendar)
    assert sorted(late) == [date(2027, 1, 1), *(date(2027, 1, day) for day in range(4, 8))]
    assert len(found.table("routes")) == 10
    assert max(other) > date(2027, 3, 1)


def test_make_safe_goes_to_the_crews_that_cut_and_the_worst_trees_come_first(
    tmp_path: Path,
) -> None:
    town = Town(trees=40, crews=(*CREWS, INSTRUMENTS))
    for tree in range(12):
        town.add(tree, "make_safe", crew_type="ground", hours=0.5, deadline_days=1)
        town.ratings[tree] = {"rating": 2 + tree % 3}
    found = town.plan(tmp_path)
    kinds = {c.id: c.type for c in (*CREWS, INSTRUMENTS)}
    # 12 jobs of half an hour fit well into the three shifts of the crews that cut
    assert {kinds[row["crew_id"]] for row in found.table("queue")} == {"ground", "lift", "climb"}
    jobs = {row["job_key"]: row for row in found.table("jobs")}
    tours: dict[str, list[int]] = {}
    for row in sorted(found.table("stops"), key=lambda r: (r["crew_id"], r["seq"])):
        tours.setdefault(row["crew_id"], []).append(jobs[row["job_key"]]["rating"])
    assert sum(len(set(tour)) > 1 for tour in tours.values()) == 3
    for tour in tours.values():
        assert tour == sorted(tour, reverse=True)
