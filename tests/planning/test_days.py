"""Days of crews: windows, school times, the fallback, and the check that refuses a day."""

import sys
from datetime import date
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
import shapely

from pipeline.errors import PlanningError
from pipeline.geo import shapes
from pipeline.planning import stage
from pipeline.planning.day_check import refuse_wrong_days, wrong_days
from pipeline.planning.network import Streets
from pipeline.planning.schools import quiet_weeks
from pipeline.planning.travel import Reach, StraightLine, Travel
from pipeline.planning.world import Work, World
from pipeline.settings.model import Planning
from tests.planning.small_town import ORIGIN, Town, crew

CLIMBERS = crew("Climbers", "climb")


def school_town() -> Town:
    """Pruning beside a school, and a removal that is longer than the time between."""
    count = 12
    x = ORIGIN[0] + 300.0 + 20.0 * np.arange(count)
    town = Town(trees=count, places=(x, np.full(count, ORIGIN[1] + 310.0)), crews=(CLIMBERS,))
    for tree in range(count - 1):
        town.add(tree, "prune_part", crew_type="climb", hours=1.5, deadline_days=60)
    town.add(count - 1, "remove", crew_type="climb", hours=6.0, deadline_days=60)
    square = shapely.box(ORIGIN[0] + 300, ORIGIN[1] + 320, ORIGIN[0] + 500, ORIGIN[1] + 400)
    town.zones = [
        {"zone_id": "S", "name": "School", "kind": "school", "how": "survey",
         "open_hours": "Mo-Fr 08:30-14:00", "geometry": shapes.to_wkb(np.array([square]))[0]},
    ]  # fmt: skip
    return town


def test_no_cut_near_a_school_when_children_come_and_go(tmp_path: Path) -> None:
    planned = school_town().plan(tmp_path)
    jobs = {row["job_key"]: row for row in planned.table("jobs")}
    short = [s for s in planned.table("stops") if jobs[s["job_key"]]["action"] == "prune_part"]
    assert len(short) == 11
    for stop in short:
        # half an hour about 8:30 and 14:00: between 9:00 and 13:30, or done by 8:00, or from 14:30
        begin, leave = stop["begin_min"], stop["leave_min"]
        assert leave <= 480 + 1e-6 or begin >= 870 - 1e-6 or (
            begin >= 540 - 1e-6 and leave <= 810 + 1e-6
        )  # fmt: skip
    assert sum(row["wait_min"] for row in planned.table("routes")) > 0
    # six hours cannot be kept out of those times: the sheet says so, the plan does not drop it
    assert {r["job_key"] for r in planned.table("queue")} == set(jobs)


def test_the_nearest_school_counts_and_only_for_what_falls() -> None:
    schools = np.asarray(shapely.points([0.0, 100.0], [0.0, 0.0]), dtype=object)
    x = np.array([10.0, 90.0, 50.0, 1_000.0, 10.0])
    falls = np.array([True, True, True, True, False])
    hours = ["Mo-Fr 08:00-15:00", "Mo-Fr 09:00-15:00"]
    week, weeks = quiet_weeks(x, np.zeros(5), falls, schools, hours, near_m=60.0, margin=30.0)
    assert week.tolist() == [0, 1, 0, -1, -1]
    assert weeks[0][0][0] == (450.0, 510.0)


def test_a_first_day_inside_a_block_is_kept_and_a_deadline_met(tmp_path: Path) -> None:
    town = Town(trees=40, crews=(CLIMBERS,), planning=Planning(lead_in_share=0.0))
    for tree in range(40):
        town.add(tree, "prune_part", crew_type="climb", hours=1.0,
                 deadline_days=43 + tree % 3 if tree < 9 else 80,
                 closed_days="2026-11-25/2027-01-06" if tree % 4 == 3 else None)  # fmt: skip
    planned = town.plan(tmp_path)
    for key, row in planned.by_id("queue").items():
        tree = int(key[2:7])
        if tree % 4 == 3:
            assert row["day"] >= date(2027, 1, 7)
        elif tree < 9:
            # 43 days after 2026-11-25 is 2027-01-07: early in a block that goes on beyond it
            assert row["late_days"] == 0


def test_without_the_library_all_rules_hold_and_the_table_says_so(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    pytest.importorskip("pyvrp")
    searched = school_town().plan(tmp_path / "a")
    assert all(row["searched"] for row in searched.table("routes"))
    monkeypatch.setitem(sys.modules, "pyvrp", None)
    planned = school_town().plan(tmp_path / "b")
    assert not any(row["searched"] for row in planned.table("routes"))
    assert len(planned.table("queue")) == len(searched.table("queue"))


Checked = tuple[Work, World, pa.Table, pa.Table]


@pytest.fixture
def checked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Checked:
    """What the stage checks before it writes."""
    seen: list[Checked] = []
    monkeypatch.setattr(stage, "refuse_wrong_days", lambda *given: seen.append(given))
    school_town().plan(tmp_path)
    return seen[0]


def _changed(table: pa.Table, name: str, values: list[object]) -> pa.Table:
    place = table.schema.get_field_index(name)
    return table.set_column(place, name, pa.array(values, table.schema.field(name).type))


def test_the_check_passes_what_was_planned_and_refuses_each_thing_that_is_off(
    checked: Checked,
) -> None:
    work, world, routes, stops = checked
    assert wrong_days(*checked) == []
    first = {name: stops[name].to_pylist() for name in stops.column_names}
    faults = [
        (routes, _changed(stops, "begin_min", first["arrive_min"]),
         "work begins before it is set up"),
        (routes, _changed(stops, "drive_min", [m + 1 for m in first["drive_min"]]),
         "an arrival does not follow"),
        (routes, _changed(stops, "leave_min", [m + 1 for m in first["leave_min"]]),
         "the hours of a job are not those planned"),
        (_changed(routes, "drive_min", [m + 500 for m in routes["drive_min"].to_pylist()]), stops,
         "it is longer than the shift"),
        (_changed(routes, "day", [date(2026, 11, 22)] * routes.num_rows), stops,
         "it lies before the day of the run"),
        (routes, _changed(stops, "day", [date(2027, 1, 3)] * stops.num_rows),
         "nobody works on that day"),
    ]  # fmt: skip
    for changed_routes, changed_stops, words in faults:
        told = {fault for _, fault in wrong_days(work, world, changed_routes, changed_stops)}
        assert words in told
    with pytest.raises(PlanningError, match="does not follow"):
        refuse_wrong_days(work, world, *faults[1][:2])


def test_a_cut_moved_into_the_times_of_a_school_is_refused(checked: Checked) -> None:
    work, world, routes, stops = checked
    moved = _changed(stops, "begin_min", [840.0] * stops.num_rows)
    moved = _changed(moved, "leave_min", [930.0] * stops.num_rows)
    told = {fault for _, fault in wrong_days(work, world, routes, moved)}
    assert "a cut meets the times of a school" in told


def test_loading_and_emptying_are_part_of_the_shift(tmp_path: Path) -> None:
    one = crew("Climbers", "climb", load_min=20.0, unload_min=40.0)
    town = Town(trees=30, crews=(one,))
    for tree in range(30):
        town.add(tree, "prune_part", crew_type="climb", hours=2.0, deadline_days=90)
    routes = town.plan(tmp_path).table("routes")
    assert {row["start_min"] for row in routes} == {450.0 + 20.0}
    # 7.5 h from 7:30 with a break of 30 minutes end at 15:30; the crew is back 40 minutes before
    assert max(row["end_min"] for row in routes) <= 15.5 * 60 - 40 + 1e-6
    assert max(row["stops"] for row in routes) >= 3


def test_a_depot_off_the_streets_is_reached_by_straight_lines_and_said(tmp_path: Path) -> None:
    town = Town(trees=8, crews=(CLIMBERS,), yard=(-900.0, -900.0))
    for tree in range(8):
        town.add(tree, "prune_part", crew_type="climb", hours=1.0, deadline_days=60)
    planned = town.plan(tmp_path)
    assert len(planned.table("queue")) == 8
    assert {row["how"] for row in planned.table("routes")} == {"mixed"}
    first = [row for row in planned.table("stops") if row["seq"] == 1]
    assert {row["how"] for row in first} == {"straight_line"}


def test_trees_no_street_leads_to_are_planned_and_their_stops_say_so(tmp_path: Path) -> None:
    x = ORIGIN[0] + np.array([100.0, 300.0, 30_100.0, 30_300.0])
    town = Town(trees=4, places=(x, np.full(4, ORIGIN[1] + 210.0)),
                crews=(crew("Lookers", "inspect"),))  # fmt: skip
    for tree in range(4):
        town.add(tree, "inspect", hours=0.5)
    planned = town.plan(tmp_path)
    tree_of = {row["job_key"]: row["tree_key"] for row in planned.table("jobs")}
    how = {tree_of[row["job_key"]]: row["how"] for row in planned.table("stops")}
    assert set(how) == {0, 1, 2, 3}
    assert how[2] == how[3] == "straight_line"
    assert "streets" in {how[0], how[1]}


def test_each_carriageway_of_a_dual_street_is_stopped_at_on_its_own_side() -> None:
    # Two one-way streets 20 m apart, joined at both ends 1 km away: a tree on the other side takes
    # the way round, one ahead on the same side does not. By hand: 1 km is 2 minutes.
    ends = [((0, 0), (1000, 0)), ((1000, 20), (0, 20)), ((1000, 0), (1000, 20)), ((0, 20), (0, 0))]
    streets = Streets(
        nodes=4,
        tail=np.array([0, 2, 1, 3]), head=np.array([1, 3, 2, 0]),
        minutes=np.array([2.0, 2.0, 0.04, 0.04]),
        forward=np.ones(4, dtype=bool), backward=np.zeros(4, dtype=bool),
        lines=np.asarray(shapely.linestrings(ends), dtype=object),
    )  # fmt: skip
    travel = Travel(
        streets, np.array([300.0, 600.0, 300.0]), np.array([-3.0, -3.0, 23.0]),
        straight=StraightLine(1.4, 25.0), reach=Reach(50.0),
    )  # fmt: skip
    minutes = travel.minutes(np.arange(3))
    np.testing.assert_allclose(minutes[0], [0.0, 0.6, 1.4 + 0.04 + 1.4], atol=1e-4)
    np.testing.assert_allclose(minutes[2], [0.6 + 0.04 + 0.6, 0.6 + 0.04 + 1.2, 0.0], atol=1e-4)
