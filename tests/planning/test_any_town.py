"""Odd towns drawn at random: short shifts, odd breaks, pools of unlike crews, a school, no streets.

The stage times every day again before it writes, so a plan that comes back has passed.
"""

import sys
from datetime import date, time
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipeline.geo import shapes
from pipeline.settings.model import Crew, Planning
from tests.planning.small_town import ORIGIN, Town, crew

BREAKS = (None, time(12, 0), time(10, 15), time(9, 0))
WEEK = ("Mo", "Tu", "We", "Th", "Fr", "Sa")
HOURS = ("Mo-Fr 08:30-14:00", "Mo-Sa 07:00-12:10", "24/7")
KINDS = (("C1", "climb"), ("C2", "climb"), ("L", "lift"), ("I1", "inspect"), ("I2", "inspect"),
         ("M", "instrument"), ("G", "ground"))  # fmt: skip


def _crew(draw: np.random.Generator, name: str, kind: str) -> Crew:
    days = draw.choice(WEEK, size=int(draw.integers(1, 6)), replace=False)
    return crew(
        name, kind,
        shift_start=time(int(draw.integers(5, 10)), int(draw.integers(0, 60))),
        hours_per_day=float(draw.choice([3.0, 5.5, 7.5, 9.0])),
        break_start=BREAKS[int(draw.integers(0, 4))],
        break_min=float(draw.choice([0.0, 15.0, 45.0])),
        load_min=float(draw.choice([0.0, 20.0])),
        unload_min=float(draw.choice([0.0, 30.0])),
        hours_per_quarter=(None, 40.0, 13.0, 100.0)[int(draw.integers(0, 4))],
        days=tuple(str(day) for day in days),
    )  # fmt: skip


def any_town(seed: int) -> Town:
    """A town of up to 50 trees."""
    draw = np.random.Generator(np.random.PCG64(seed))
    trees = int(draw.integers(5, 50))
    town = Town(
        trees=trees,
        crews=tuple(_crew(draw, *kind) for kind in KINDS),
        streets=bool(draw.random() < 0.8),
        planning=Planning(
            quarters=2, holidays=(date(2026, 12, 25), date(2027, 1, 1)),
            block_days=int(draw.choice([1, 3, 10])),
            lead_in_share=float(draw.choice([0.0, 0.25, 1.0])),
            stop_setup_min=float(draw.choice([0.0, 5.0, 12.0])),
        ),
    )  # fmt: skip
    for tree in range(trees):
        kind, due = draw.random(), int(draw.integers(1, 120))
        shut = f"2026-12-20/2027-01-{due % 28 + 1:02d}"
        if kind < 0.1:
            town.add(tree, "make_safe", crew_type="ground", hours=0.7, deadline_days=1)
        if kind < 0.5:
            town.add(tree, "inspect", hours=0.3, deadline_days=due if due % 2 else None)
        if 0.3 < kind < 0.7:
            town.add(tree, "prune_part", crew_type="climb", hours=float(draw.uniform(0.5, 5.0)),
                     deadline_days=due,
                     closed_days=shut if due % 3 == 0 else None)  # fmt: skip
        if kind > 0.8:
            town.add(tree, "remove", crew_type="lift", hours=float(draw.uniform(2.0, 16.0)),
                     deadline_days=due)  # fmt: skip
        if kind > 0.9:
            town.add(tree, "drill", crew_type="instrument", deadline_days=14)
    square = shapely.box(ORIGIN[0] + 300, ORIGIN[1] + 320, ORIGIN[0] + 700, ORIGIN[1] + 700)
    town.zones = [
        {"zone_id": "S", "name": "S", "kind": "school", "how": "survey",
         "open_hours": str(draw.choice(HOURS)), "geometry": shapes.to_wkb(np.array([square]))[0]},
    ]  # fmt: skip
    return town


@pytest.mark.slow
@pytest.mark.parametrize("library", [True, False])
@pytest.mark.parametrize("seed", range(6))
def test_every_day_of_any_town_keeps_the_rules(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, library: bool
) -> None:
    if library:
        pytest.importorskip("pyvrp")
    else:
        monkeypatch.setitem(sys.modules, "pyvrp", None)
    planned = any_town(seed).plan(tmp_path)
    placed = [row["job_key"] for name in ("queue", "unscheduled") for row in planned.table(name)]
    assert sorted(placed) == [row["job_key"] for row in planned.table("jobs")]
    assert planned.table("routes")
