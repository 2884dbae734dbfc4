"""The small invented town of map_world with what crews, lists and the report need besides.

Two crews, three crew-days, a job that spans two of them, every hazard at least once, a street and
a row whose text would be a formula in a spreadsheet, rows set aside and faults of each kind.
"""

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.settings.model import Crew, Depot, Planning, RunSettings
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore
from tests.render import map_world
from tests.render.map_world import AS_OF, EPSG, fill, say

FORMULA = '=HYPERLINK("https://example.org","Open")'
DAYS = (date(2027, 1, 4), date(2027, 1, 5))
CREWS = ("Lift North", "Ground")
STOPS = 6  # a crew-day
__all__ = ["AS_OF", "CREWS", "DAYS", "EPSG", "FORMULA", "STOPS", "context"]


def context(folder: Path, trees: int = 240) -> RenderContext:
    """A finished run in `folder`, as sheets and lists see it."""
    made = map_world.context(folder, trees)
    store = made.store
    _trees(store)
    _zones(store)
    _rot(store)
    _jobs(store)
    _account(store)
    return RenderContext(settings(), store, Library(), folder, say)


def settings() -> RunSettings:
    """Settings with two crews and a depot."""
    base = map_world.settings()
    inner = base.settings.model_copy(
        update={
            "depots": (Depot(name="North yard", longitude=-73.961, latitude=42.628),),
            "crews": tuple(
                Crew(id=name, type="lift" if n == 0 else "ground", depot="North yard")
                for n, name in enumerate(CREWS)
            ),
            "planning": Planning(quarters=2),
        }
    )
    return base.model_copy(update={"settings": inner})


def change(store: RunStore, name: str, **columns: list[Any]) -> None:
    """Write a table again with some columns replaced."""
    schema = TABLES[name]
    table = store.read(schema)
    arrays = {
        c.name: pa.array(
            columns[c.name],
            table[c.name].type if not pa.types.is_dictionary(table[c.name].type) else pa.string(),
        )
        if c.name in columns
        else table[c.name]
        for c in schema.columns
    }
    store.write(schema, pa.table(arrays))


def _trees(store: RunStore) -> None:
    trees = store.read(TABLES["ingest.trees"])
    keys = np.arange(trees.num_rows)
    street = trees["street"].cast(pa.string()).to_pylist()
    street[0] = FORMULA
    wires = np.array(["none", "unknown", "low_voltage", "communication", "high_voltage"])[keys % 5]
    change(
        store,
        "ingest.trees",
        street=street,
        wires=wires.tolist(),
        voltage_v=[13_200.0 if w == "high_voltage" else None for w in wires],
        height_m=[None if k % 2 else 14.0 for k in keys.tolist()],
    )
    change(store, "scoring.tree_ratings", height_filled=[bool(k % 2) for k in keys.tolist()])


def _zones(store: RunStore) -> None:
    table = store.read(TABLES["ingest.zones"])
    shapes = shapely.from_wkb(np.asarray(table["geometry"].to_pylist(), dtype=object))
    road = shapely.box(*shapely.total_bounds(shapes)).buffer(400)
    count = table.num_rows
    west, south, east, _ = shapely.total_bounds(shapes)
    railway = shapely.LineString([(west, south), (east, south)])
    fill(store, "ingest.zones", count + 2, zone_key=range(count + 2),
         zone_id=[*table["zone_id"].to_pylist(), "z9", "z10"],
         name=[*table["name"].to_pylist(), "Ring", "Shore line"],
         kind=[*table["kind"].cast(pa.string()).to_pylist(), "street", "railway"],
         how=["survey"] * count + ["street_class", "survey"],
         open_hours=["Mo-Fr 07:30-16:00", *[None] * (count + 1)],
         occupancy=[*table["occupancy"].cast(pa.string()).to_pylist(), "frequent", "rare"],
         vehicles_per_day=[*[None] * count, 6000.0, 16.0],
         source=[*[None] * count, "street_classes: secondary", None],
         geometry=shapely.to_wkb([*shapes, road, railway]))  # fmt: skip


def _rot(store: RunStore) -> None:
    decay = store.read(TABLES["scoring.decay"])
    change(store, "scoring.decay", rot=[n % 4 for n in range(decay.num_rows)])


def _jobs(store: RunStore) -> None:
    jobs = store.read(TABLES["planning.jobs"])
    ratings = store.read(TABLES["scoring.tree_ratings"]).take(jobs["tree_key"])
    actions = ["remove", "prune_part", "reduce_crown", "drill", "make_safe", "inspect"]
    count = jobs.num_rows
    change(
        store,
        "planning.jobs",
        action=[actions[n % len(actions)] for n in range(count)],
        no_climb=ratings["no_climb"].to_pylist(),
        make_safe=ratings["make_safe"].to_pylist(),
        season_code=[("birds_us", "silver_leaf", None)[n % 3] for n in range(count)],
        cost=[410.5 if n % 2 else None for n in range(count)],
        deadline_on=[AS_OF + timedelta(days=40) if n % 4 else None for n in range(count)],
        ward=["Northgate"] * count,
    )
    x, y = jobs["x_m"].to_numpy(), jobs["y_m"].to_numpy()
    crew_days = ((DAYS[0], CREWS[0]), (DAYS[0], CREWS[1]), (DAYS[1], CREWS[0]))
    rows = [np.arange(STOPS) + STOPS * n for n in range(len(crew_days))]
    rows[2][0] = rows[0][-1]  # one job goes on the day after
    lines = [shapely.LineString(np.column_stack((x[r], y[r]))) for r in rows]
    fill(store, "planning.routes", 3, day=[d for d, _ in crew_days],
         crew_id=[c for _, c in crew_days], depot=["North yard"] * 3, stops=[STOPS] * 3,
         start_min=[450.0] * 3, end_min=[889.6] * 3, drive_min=[38.0] * 3, work_min=[372.0] * 3,
         length_m=[12_340.0] * 3, how=["streets", "mixed", "straight_line"],
         geometry=shapely.to_wkb(lines))  # fmt: skip
    total = 3 * STOPS
    arrive = np.tile(460.0 + 70 * np.arange(STOPS), 3)
    fill(store, "planning.stops", total, day=np.repeat([d for d, _ in crew_days], STOPS).tolist(),
         crew_id=[c for _, c in crew_days for _ in range(STOPS)],
         seq=np.tile(np.arange(STOPS) + 1, 3), job_key=np.concatenate(rows), arrive_min=arrive,
         leave_min=arrive + 62.0, how=["streets"] * total)  # fmt: skip
    placed = np.unique(np.concatenate(rows))
    left = np.setdiff1d(np.arange(count), placed)
    day = {int(job): d for r, (d, _) in zip(rows[::-1], crew_days[::-1], strict=True) for job in r}
    fill(store, "planning.queue", placed.size, queue_rank=range(1, placed.size + 1),
         job_key=placed, quarter=["2027Q1"] * placed.size, crew_id=[CREWS[0]] * placed.size,
         day=[day[int(job)] for job in placed],
         late_days=[5 if job % 4 == 0 else 0 for job in placed.tolist()])  # fmt: skip
    fill(store, "planning.unscheduled", left.size, job_key=left,
         reason=[("no_hours_left", "do_not_climb_no_lift")[n % 2] for n in range(left.size)],
         detail=["4 crew-hours needed, 0 left."] * left.size)  # fmt: skip


def _account(store: RunStore) -> None:
    trees = store.read(TABLES["ingest.trees"]).num_rows
    fill(store, "ingest.sources", 2, source_key=range(2), input=["trees", "sightings"],
         file=["trees.csv", "sightings.csv"], rows_in=[trees + 2, 14], rows_accepted=[trees, 13],
         rows_set_aside=[2, 1], encoding=["utf-8", "cp1252"], delimiter=[",", ";"],
         format=["CSV", "CSV"], crs_found=["EPSG:4326, from the columns", None],
         sha256=["ab" * 32, "cd" * 32], bytes=[40_000, 900],
         note=[None, "Encoding detected."])  # fmt: skip
    rows = [
        {"Tree No": "LK-2", "Lat": "", "Notes": "root plate is lifting", "why_reason": None},
        {"Tree No": "LK-1", "Lat": "-33.1", "Notes": FORMULA, "why_reason": "an older reason"},
        {"name": "Meripilus giganteus", "seen_on": "9999-01-01"},
    ]
    fill(store, "ingest.quarantine", 3, quarantine_key=range(3), source_key=[0, 0, 1],
         row=[18, 17, 3], line=[19, 18, None], column=["Lat", "Lat", "seen_on"],
         value=[None, "-33.1", "9999-01-01"], code=["no_place", "outside", "impossible_date"],
         reason=["The row has no place.", "The place lies outside the world of the city.",
                 "The date cannot be."],
         remedy=["Add coordinates and feed it back.", "Mend the place.", "Mend the date."],
         danger=["root plate is lifting", None, None],
         original=[json.dumps(row) for row in rows])  # fmt: skip
    fill(store, "ingest.findings", 5, finding_key=range(5), row=range(1, 6), line=range(2, 7),
         column=["DBH"] * 4 + ["Species"], value=["1000000", "-3", "x", None, "Acre"],
         code=["impossible_dbh"] * 4 + ["unknown_species"], done=["emptied"] * 4 + ["flagged"],
         reason=["No tree has this diameter."] * 4 + ["No such name is known."],
         remedy=["Measure again."] * 5)  # fmt: skip
