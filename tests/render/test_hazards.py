"""What is dangerous about a stop is said in words, and no distance to wires is ever printed."""

import re
from datetime import date
from pathlib import Path

import pyarrow as pa
import pytest
import shapely

from pipeline.published.sentences import english
from pipeline.published.table import Library
from pipeline.render import work_rows
from pipeline.render.context import RenderContext
from pipeline.render.hazards import (
    CUTTING,
    MARKS,
    Hazard,
    Hazards,
    coordinates,
    expected_decay,
    stop_conditions,
    within,
)
from pipeline.tables.catalogue import TABLES
from tests.render import sheet_world
from tests.render.sheet_world import change


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run whose stops show every hazard."""
    return sheet_world.context(tmp_path_factory.mktemp("run"))


def _found(run: RenderContext) -> tuple[list[dict[str, object]], list[list[Hazard]]]:
    stops = run.table("planning.stops")
    jobs = work_rows.by_key(run, stops["job_key"]).append_column("day", stops["day"])
    return jobs.to_pylist(), Hazards(run).of(jobs)


def _marks(hazards: list[Hazard]) -> list[str]:
    return [hazard.mark for hazard in hazards]


def test_no_climb_and_make_safe_stand_first(run: RenderContext) -> None:
    rows, found = _found(run)
    assert any(row["no_climb"] for row in rows)
    for row, hazards in zip(rows, found, strict=True):
        marks = _marks(hazards)
        assert ("no_climb" in marks) == row["no_climb"]
        assert ("make_safe" in marks) == row["make_safe"]
        if row["make_safe"]:
            assert marks[:2] == ["make_safe", "no_climb"]


def test_brown_soft_and_unknown_rot_are_brittle_and_white_rot_is_not(run: RenderContext) -> None:
    decay = {row["tree_key"]: row["rot"] for row in run.table("scoring.decay").to_pylist()}
    rows, found = _found(run)
    seen = set()
    for row, hazards in zip(rows, found, strict=True):
        rot = decay[row["tree_key"]]
        told = [h for h in hazards if h.mark == "brittle"]
        assert bool(told) == (rot != 1)
        if told:
            seen.add(rot)
            assert ("may" in told[0].head) == (rot == 0)
    assert seen == {0, 2, 3}


def test_wires_send_to_the_utility_and_print_no_distance(run: RenderContext) -> None:
    rows, found = _found(run)
    kinds = set()
    for row, hazards in zip(rows, found, strict=True):
        told = [h for h in hazards if h.mark == "wires"]
        electric = row["wires"] in {"low_voltage", "high_voltage"}
        cutting_unknown = row["wires"] == "unknown" and row["action"] in CUTTING
        if electric or cutting_unknown:
            kinds.add(row["wires"])
            assert "Call the utility" in told[0].text
            assert "Qualified line-clearance crew only" in told[0].text
        if row["wires"] in {"unknown", "low_voltage"} and told:
            assert "voltage unknown" in told[0].text
        if row["wires"] == "none":
            assert told == []
        assert not any(re.search(r"\d\s*(m|ft|feet|metres)\b", h.text) for h in told)
    assert kinds == {"unknown", "low_voltage", "high_voltage"}


def test_schools_tell_their_hours_and_roads_their_traffic(run: RenderContext) -> None:
    _, found = _found(run)
    texts = {h.mark: h.text for hazards in found for h in hazards}
    assert "Heron School. Open Mo-Fr 07:30-16:00." in texts["school"]
    assert "6,000 vehicles a day, by the class of the road" in texts["traffic"]


def test_cutting_beside_a_railway_asks_the_railway_first(run: RenderContext) -> None:
    rows, found = _found(run)
    line = shapely.from_wkb(run.table("ingest.zones")["geometry"].to_pylist()[-1])
    near = run.library.table("crew_hazards").number("value", rule="railway_near")
    stops = run.table("planning.jobs").take(run.table("planning.stops")["job_key"])
    points = shapely.points(coordinates(stops))
    expected = [
        bool(distance <= near) and row["action"] in CUTTING
        for row, distance in zip(rows, shapely.distance(points, line), strict=True)
    ]
    assert ["railway" in _marks(hazards) for hazards in found] == expected
    assert 0 < sum(expected) < len(rows)


def test_near_is_as_near_as_the_table_says(run: RenderContext, tmp_path: Path) -> None:
    del run
    made = sheet_world.context(tmp_path / "run")
    overrides = tmp_path / "overrides"
    overrides.mkdir()
    header = "rule,value,unit,low,high,basis,source,locator,note\n"
    for traffic_from, expected in (("6000", True), ("6001", False)):
        (overrides / "crew_hazards.csv").write_text(
            header + f"traffic_from,{traffic_from},vehicles/day,,,elicited,project_elicited,,\n",
            encoding="utf-8",
        )
        made.library = type(made.library)(overrides=overrides)
        _, found = _found(made)
        assert any("traffic" in _marks(h) for h in found) == expected


@pytest.mark.parametrize(
    ("rule", "mark"),
    [("school_near", "school"), ("traffic_near", "traffic"), ("railway_near", "railway")],
)
def test_far_things_are_named_only_if_the_table_says_so(
    tmp_path: Path, rule: str, mark: str
) -> None:
    made = sheet_world.context(tmp_path / "run")
    jobs = made.store.read(TABLES["planning.jobs"])
    far = [x + 5_000.0 for x in jobs["x_m"].to_pylist()]
    change(made.store, "planning.jobs", x_m=far)
    overrides = tmp_path / "overrides"
    overrides.mkdir()
    (overrides / "crew_hazards.csv").write_text(
        "rule,value,unit,low,high,basis,source,locator,note\n"
        f"{rule},9000,m,,,elicited,project_elicited,,\n",
        encoding="utf-8",
    )
    for library, expected in ((Library(), False), (Library(overrides=overrides), True)):
        fresh = RenderContext(made.settings, made.store, library, made.out, made.sentence)
        _, found = _found(fresh)
        assert any(mark in _marks(hazards) for hazards in found) == expected


def test_closed_windows_hold_on_their_days_only(run: RenderContext) -> None:
    rows, found = _found(run)
    for row, hazards in zip(rows, found, strict=True):
        marks = _marks(hazards)
        cutting = row["action"] in CUTTING
        # config/rules/restrictions.csv: silver leaf is closed from November to March.
        assert ("window" in marks) == (cutting and row["season_code"] == "silver_leaf")
        assert ("nest" in marks) == (cutting and row["season_code"] == "birds_us")


@pytest.mark.parametrize(
    ("day", "first", "last", "held"),
    [
        (date(2027, 4, 15), "04-15", "07-15", True),
        (date(2027, 7, 15), "04-15", "07-15", True),
        (date(2027, 7, 16), "04-15", "07-15", False),
        (date(2027, 1, 4), "11-01", "03-31", True),
        (date(2027, 10, 31), "11-01", "03-31", False),
        (date(2027, 5, 1), "", "", False),
    ],
)
def test_a_yearly_window_may_cross_the_new_year(
    day: date, first: str, last: str, *, held: bool
) -> None:
    assert within(day, first, last) is held


def test_every_hazard_has_its_drawing(run: RenderContext) -> None:
    _, found = _found(run)
    assert {h.mark for hazards in found for h in hazards} <= set(MARKS)


def test_stop_conditions_follow_the_work() -> None:
    looking = stop_conditions("inspect", [], english(), decay_told=True)
    told = stop_conditions("remove", [Hazard("brittle", "", "")], english(), decay_told=True)
    brittle = stop_conditions("remove", [Hazard("brittle", "", "")], english(), decay_told=False)
    plain = stop_conditions("remove", [], english(), decay_told=False)
    assert all(any("nest" in one for one in words) for words in (told, brittle, plain))
    assert "there is more decay than this card says" in told
    assert "there is more decay than this card says" not in brittle
    assert len(brittle) == len(plain) + 1
    assert not any("decay" in one for one in looking)


def test_measured_decay_is_told_with_its_range(run: RenderContext) -> None:
    decay = run.table("scoring.decay").to_pylist()[0]
    text = expected_decay(run)[decay["tree_key"]]
    share, low = round(100 * decay["decayed_share"]), round(100 * decay["decayed_share_low"])
    assert text.startswith(f"butt: about {share}% of the diameter ({low}% to ")


def test_no_stops_no_hazards(run: RenderContext) -> None:
    jobs = work_rows.by_key(run, pa.chunked_array([pa.array([], pa.int64())]))
    jobs = jobs.append_column("day", pa.array([], pa.date32()))
    assert Hazards(run).of(jobs) == []
