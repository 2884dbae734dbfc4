"""The whole stage on a small town: laws of a plan."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipeline.settings.model import Crew, Planning
from tests.planning.small_town import AS_OF, CREWS, Planned, Town, crew, scattered

TREES = 300


def busy_town(*, streets: bool = True, crews: tuple[Crew, ...] = CREWS) -> Town:
    """More work than a quarter holds for some crews."""
    town = Town(trees=TREES, streets=streets, crews=crews)
    for tree in range(TREES):
        town.add(tree, "inspect", hours=0.3)
    for tree in range(0, TREES, 3):
        town.add(tree, "prune_part", crew_type="climb", machine="chipper", hours=3.0,
                 deadline_days=20 + tree)  # fmt: skip
    for tree in range(0, TREES, 30):
        town.add(tree, "remove", crew_type="lift", hours=14.0, deadline_days=60)
    for tree in (3, 7, 11):
        town.add(tree, "make_safe", crew_type="ground", hours=0.5, deadline_days=1)
    town.ratings = {tree: {"no_climb": True} for tree in range(0, TREES, 6)}
    return town


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    return busy_town().plan(tmp_path_factory.mktemp("busy"))


def _everything_once(planned: Planned) -> None:
    queued = [row["job_key"] for row in planned.table("queue")]
    left = [row["job_key"] for row in planned.table("unscheduled")]
    assert sorted(queued + left) == [row["job_key"] for row in planned.table("jobs")]


def test_every_job_is_queued_or_left_out_exactly_once(planned: Planned) -> None:
    _everything_once(planned)
    assert len(planned.table("queue")) > TREES


def test_make_safe_heads_the_list_the_first_day_and_its_tour(planned: Planned) -> None:
    jobs = {row["job_key"]: row for row in planned.table("jobs")}
    queue = planned.table("queue")
    assert [jobs[row["job_key"]]["make_safe"] for row in queue[:4]] == [True, True, True, False]
    assert {row["day"] for row in queue[:3]} == {date(2026, 11, 25)}
    first_day = [row for row in planned.table("stops") if row["day"] == AS_OF]
    assert all(jobs[row["job_key"]]["make_safe"] for row in first_day)
    assert len({row["crew_id"] for row in first_day}) == 3


def test_shifts_are_kept_and_clocks_add_up(planned: Planned) -> None:
    crews = {one.id: one for one in CREWS}
    stops = planned.table("stops")
    for route in planned.table("routes"):
        one = crews[route["crew_id"]]
        start = one.shift_start.hour * 60 + one.shift_start.minute
        assert route["start_min"] == start
        pause = route["break_min"]
        assert route["end_min"] <= start + one.hours_per_day * 60 + pause + 1e-6
        assert route["day"].strftime("%a")[:2] in one.days
        mine = [s for s in stops if (s["day"], s["crew_id"]) == (route["day"], route["crew_id"])]
        assert len(mine) == route["stops"]
        assert [stop["seq"] for stop in mine] == list(range(1, len(mine) + 1))
        clock = start
        for stop in mine:
            driven = clock + stop["drive_min"]
            assert min(abs(stop["arrive_min"] - driven - late) for late in (0, pause)) < 1e-6
            assert stop["arrive_min"] <= stop["begin_min"] < stop["leave_min"]
            clock = stop["leave_min"]
        assert route["end_min"] == pytest.approx(
            route["start_min"] + route["drive_min"] + route["work_min"] + route["wait_min"] + pause
        )


def test_nobody_works_in_the_break(planned: Planned) -> None:
    routes = {(r["day"], r["crew_id"]): r for r in planned.table("routes")}
    breaks = {key: r["break_start_min"] for key, r in routes.items() if r["break_min"]}
    assert breaks
    assert set(breaks.values()) == {12 * 60.0}
    for stop in planned.table("stops"):
        if (stop["day"], stop["crew_id"]) in breaks:
            # nothing begins in it, and what it interrupts is longer by it
            assert not 12 * 60 <= stop["begin_min"] < 12 * 60 + 30
            assert not 12 * 60 < stop["leave_min"] < 12 * 60 + 30


def test_the_work_of_every_job_of_the_first_quarter_is_done(planned: Planned) -> None:
    jobs = {row["job_key"]: row for row in planned.table("jobs")}
    first = {row["job_key"]: row for row in planned.table("queue") if row["day"] is not None}
    minutes: dict[int, float] = dict.fromkeys(first, 0.0)
    visits: dict[int, list[tuple[date, str]]] = {key: [] for key in first}
    for stop in planned.table("stops"):
        minutes[stop["job_key"]] += stop["leave_min"] - stop["arrive_min"]
        visits[stop["job_key"]].append((stop["day"], stop["crew_id"]))
    for key, spent in minutes.items():
        # at least the work; at most five minutes of set-up a visit and breaks of 30 on top
        assert spent >= jobs[key]["hours"] * 60 - 1e-6
        assert spent <= jobs[key]["hours"] * 60 + (5 + 30) * len(visits[key]) + 1e-6
        assert min(visits[key])[0] == first[key]["day"]
        assert {name for _, name in visits[key]} == {first[key]["crew_id"]}


def test_a_job_longer_than_a_shift_takes_days_in_a_row(planned: Planned) -> None:
    removals = {r["job_key"] for r in planned.table("jobs") if r["action"] == "remove"}
    lift_days = sorted({r["day"] for r in planned.table("routes") if r["crew_id"] == "Lift"})
    spans: dict[int, list[date]] = {}
    for stop in planned.table("stops"):
        if stop["job_key"] in removals:
            spans.setdefault(stop["job_key"], []).append(stop["day"])
    assert spans
    for days in spans.values():
        # 14 h of work in shifts of 7.5 h
        assert len(days) == 2
        assert lift_days.index(days[1]) == lift_days.index(days[0]) + 1


def test_nobody_climbs_where_nobody_must(planned: Planned) -> None:
    jobs = {row["job_key"]: row for row in planned.table("jobs")}
    by_crew = {row["job_key"]: row["crew_id"] for row in planned.table("queue")}
    forbidden = [key for key in by_crew if jobs[key]["no_climb"]]
    assert forbidden
    assert all(by_crew[key] != "Climbers" for key in forbidden)


def test_no_crew_is_given_more_than_its_hours(planned: Planned) -> None:
    jobs = {row["job_key"]: row for row in planned.table("jobs")}
    used: dict[tuple[str, str], float] = {}
    for row in planned.table("queue"):
        key = (row["quarter"], row["crew_id"])
        used[key] = used.get(key, 0.0) + jobs[row["job_key"]]["hours"]
    # a quarter has at most 66 weekdays of 7.5 h
    assert max(used.values()) <= 66 * 7.5


def test_late_days_are_counted_from_the_deadline(planned: Planned) -> None:
    jobs = {row["job_key"]: row for row in planned.table("jobs")}
    rows = [row for row in planned.table("queue") if row["day"] is not None]
    for row in rows:
        deadline = jobs[row["job_key"]]["deadline_on"]
        assert row["late_days"] == max((row["day"] - deadline).days, 0)


def test_lines_start_and_end_at_the_depot_and_are_as_long_as_told(planned: Planned) -> None:
    for route in planned.table("routes"):
        line = shapely.from_wkb(route["geometry"])
        assert route["how"] == "streets"
        assert line.length == pytest.approx(route["length_m"], abs=0.01)
        assert line.coords[0] == pytest.approx(line.coords[-1])


def test_no_streets_means_straight_lines_and_says_so(tmp_path: Path) -> None:
    planned = busy_town(streets=False).plan(tmp_path)
    assert {row["how"] for row in planned.table("routes")} == {"straight_line"}
    assert {row["how"] for row in planned.table("stops")} == {"straight_line"}
    _everything_once(planned)


def test_a_tree_off_the_network_makes_a_mixed_route(tmp_path: Path) -> None:
    x, y = scattered(3)
    x[2] += 5_000.0
    town = Town(trees=3, places=(x, y), crews=(crew("Lookers", "inspect"),))
    for tree in range(3):
        town.add(tree, "inspect")
    planned = town.plan(tmp_path)
    assert {row["how"] for row in planned.table("routes")} == {"mixed"}
    assert {row["how"] for row in planned.table("stops")} == {"streets", "straight_line"}


def test_no_crew_leaves_everything_out_with_the_reason(tmp_path: Path) -> None:
    planned = busy_town(crews=()).plan(tmp_path)
    assert not planned.table("queue")
    assert {row["reason"] for row in planned.table("unscheduled")} == {"no_crew_of_type"}
    assert not planned.table("routes")
    assert not planned.table("stops")
    _everything_once(planned)


def test_no_hours_leave_everything_out_with_numbers(tmp_path: Path) -> None:
    crews = tuple(one.model_copy(update={"hours_per_quarter": 0.0}) for one in CREWS)
    planned = busy_town(crews=crews).plan(tmp_path)
    assert not planned.table("queue")
    left = planned.table("unscheduled")
    assert {row["reason"] for row in left} == {"no_hours_left"}
    assert all("the 0 h of" in row["detail"] for row in left)
    _everything_once(planned)


def test_each_hindrance_has_its_reason(tmp_path: Path) -> None:
    town = Town(trees=4, crews=(crew("Climbers", "climb"), crew("Lookers", "inspect")))
    town.ratings = {0: {"no_climb": True}}
    town.add(0, "prune_part", crew_type="climb")
    town.add(1, "remove", crew_type="climb", machine="crane")
    town.add(2, "tomography", crew_type="instrument")
    town.add(3, "remove", crew_type="climb", hours=60.0)
    found = {key: row["reason"] for key, row in town.plan(tmp_path).by_id("unscheduled").items()}
    assert found == {
        "T-00000/prune_part": "do_not_climb_no_lift",
        "T-00001/remove": "no_machine",
        "T-00002/tomography": "no_crew_of_type",
        "T-00003/remove": "longer_than_shift",
    }


def test_more_hours_never_queue_fewer_inspections(tmp_path: Path) -> None:
    removed = []
    for number, hours in enumerate((5.0, 20.0, 60.0, 200.0)):
        town = Town(trees=TREES, planning=Planning(quarters=2),
                    crews=(crew("Lookers", "inspect", hours_per_quarter=hours),))  # fmt: skip
        for tree in range(TREES):
            town.add(tree, "inspect", hours=0.3)
        planned = town.plan(tmp_path / str(number))
        harm = {row["job_key"]: row["harm_removed"] for row in planned.table("jobs")}
        removed.append(sum(harm[row["job_key"]] for row in planned.table("queue")))
    assert removed == sorted(removed)
    assert removed[0] > 0
    assert removed[-1] > removed[0]


def test_the_order_of_the_trees_changes_nothing(planned: Planned, tmp_path: Path) -> None:
    town = busy_town()
    turned = TREES - 1 - np.arange(TREES)
    x, y = scattered(TREES)
    moved = replace(town, places=(x[turned], y[turned]), reverse_ids=True)
    moved.actions = [row | {"tree_key": TREES - 1 - row["tree_key"]} for row in town.actions]
    moved.ratings = {
        k: {"harm_per_year": 1e-4 * (1 + (TREES - 1 - k) % 7)} | town.ratings.get(TREES - 1 - k, {})
        for k in range(TREES)
    }
    again = moved.plan(tmp_path)
    wanted = {key: _placed(row) for key, row in planned.by_id("queue").items()}
    assert {key: _placed(row) for key, row in again.by_id("queue").items()} == wanted


def _placed(row: dict[str, object]) -> tuple[object, ...]:
    return (row["quarter"], row["crew_id"], row["day"], row["queue_rank"])


def test_two_plans_are_equal_to_the_byte(planned: Planned, tmp_path: Path) -> None:
    again = busy_town().plan(tmp_path)
    for name in ("jobs", "queue", "unscheduled", "routes", "stops"):
        one, two = (p.store.root / "tables" / "planning" / f"{name}.parquet"
                    for p in (planned, again))  # fmt: skip
        assert one.read_bytes() == two.read_bytes()


def test_later_quarters_share_the_town_among_the_crews(tmp_path: Path) -> None:
    crews = tuple(crew(name, "inspect", hours_per_quarter=30.0) for name in ("East", "West"))
    town = Town(trees=TREES, crews=crews)
    for tree in range(TREES):
        town.add(tree, "inspect", hours=0.5)
    later = [row for row in town.plan(tmp_path).table("queue") if row["quarter"] == "2027Q2"]
    counts = {name: sum(row["crew_id"] == name for row in later) for name in ("East", "West")}
    assert counts["East"] == pytest.approx(counts["West"], abs=1)
    assert all(row["day"] is None for row in later)


def test_no_job_at_all_gives_empty_tables(tmp_path: Path) -> None:
    planned = Town(trees=3).plan(tmp_path)
    for name in ("jobs", "queue", "unscheduled", "routes", "stops"):
        assert planned.table(name) == []
