"""A town for the planning tests: a grid of streets, trees beside them, and what scoring chose."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from pipeline.geo import crs, shapes
from pipeline.planning import stage
from pipeline.planning.network import Streets
from pipeline.progress import Silent
from pipeline.published.locate import config_dir
from pipeline.published.table import Library
from pipeline.settings.model import City, Crew, Depot, InputFile, Inputs, Planning, RunSettings
from pipeline.settings.model import Settings as CitySettings
from pipeline.settings.quarter import Quarter
from pipeline.tables.catalogue import TABLES
from pipeline.tables.schema import Kind, TableSchema
from pipeline.tables.store import RunStore, empty

EPSG = 32618
ORIGIN = (345_000.0, 4_785_000.0)
AS_OF = date(2026, 11, 25)
SEED = 20_261_125

_PLAIN: dict[Kind, Any] = {
    Kind.TEXT: "", Kind.LABEL: "", Kind.INT8: 0, Kind.INT16: 0, Kind.INT32: 0, Kind.INT64: 0,
    Kind.FLOAT: 1.0, Kind.BOOL: False, Kind.DATE: AS_OF, Kind.WKB: b"",
}  # fmt: skip


def rows(table: TableSchema, count: int, columns: Mapping[str, Sequence[Any]]) -> pa.Table:
    """A table of `count` rows: the columns given, the others empty or their plainest value."""
    arrays = []
    for column in table.columns:
        values = columns.get(column.name)
        if values is None:
            plain = column.allowed[0] if column.allowed else _PLAIN[column.kind]
            if column.kind is not Kind.FLOAT and column.low is not None and not column.allowed:
                plain = max(int(column.low), 0)
            values = [None if column.nullable else plain] * count
        arrays.append(pa.array(values, column.arrow_type))
    return pa.table(arrays, schema=table.arrow_schema)


def grid(side: int = 6, spacing: float = 200.0) -> Streets:
    """`side` x `side` junctions; every second east-west street is one-way, east only."""
    number = np.arange(side * side)
    x, y = ORIGIN[0] + number % side * spacing, ORIGIN[1] + number // side * spacing
    east = number[number % side < side - 1]
    north = number[: side * (side - 1)]
    tail = np.concatenate((east, north))
    head = np.concatenate((east + 1, north + side))
    one_way = np.zeros(tail.size, dtype=bool)
    one_way[: east.size] = (east // side) % 2 == 1
    ends = np.stack((np.column_stack((x[tail], y[tail])), np.column_stack((x[head], y[head]))), 1)
    return Streets(
        nodes=side * side,
        tail=tail,
        head=head,
        minutes=np.full(tail.size, spacing / (30_000 / 60)),
        forward=np.ones(tail.size, dtype=bool),
        backward=~one_way,
        lines=np.asarray(shapely.linestrings(ends), dtype=object),
    )


def crew(name: str, kind: str, **more: object) -> Crew:
    """A crew of the yard."""
    return Crew.model_validate(
        {"id": name, "type": kind, "depot": "Yard", "hourly_rate": 100.0} | more
    )


CREWS = (
    crew("Lift", "lift", machines=("aerial_lift", "chipper")),
    crew("Climbers", "climb", machines=("chipper",)),
    crew("Ground", "ground", shift_start=time(7, 0)),
    crew("Lookers A", "inspect"),
    crew("Lookers B", "inspect", days=("Mo", "We", "Fr")),
)


@dataclass
class Town:
    """What the stage reads, row by row; change it before `plan`."""

    trees: int = 60
    actions: list[dict[str, Any]] = field(default_factory=list)
    ratings: dict[int, dict[str, Any]] = field(default_factory=dict)
    decisions: list[dict[str, Any]] = field(default_factory=list)
    work_done: list[dict[str, Any]] = field(default_factory=list)
    zones: list[dict[str, Any]] = field(default_factory=list)
    wards: dict[int, str] = field(default_factory=dict)
    streets: bool = True
    crews: tuple[Crew, ...] = CREWS
    planning: Planning = field(default_factory=Planning)
    places: tuple[np.ndarray, np.ndarray] | None = None
    reverse_ids: bool = False
    as_of: date = AS_OF
    yard: tuple[float, float] = (10.0, 10.0)  # metres from the corner of the streets
    sentences: Path | None = None

    def add(self, tree: int, action: str, **more: object) -> None:
        """A chosen action."""
        self.actions.append(
            {
                "tree_key": tree, "action": action, "chosen": True, "hours": 1.0,
                "crew_type": "inspect", "machine": "none", "residual_harm_per_year": 0.0,
            } | more
        )  # fmt: skip

    def _number(self, tree: int) -> int:
        return self.trees - 1 - tree if self.reverse_ids else tree

    def plan(self, folder: Path) -> "Planned":
        """Write the tables, run the stage and read what it wrote."""
        store = RunStore(folder)
        store.epsg = EPSG
        self._write(store)
        stage.run(self._settings(folder), store, Library(), Silent())
        return Planned(store)

    def _write(self, store: RunStore) -> None:
        x, y = self.places or scattered(self.trees)
        put(store, "ingest.trees", [
            {"tree_key": k, "tree_id": f"T-{self._number(k):05d}", "x_m": float(x[k]),
             "y_m": float(y[k]), "shares_place": 1, "row": k + 1,
             "ward": self.wards.get(k, "North")} for k in range(self.trees)
        ])  # fmt: skip
        put(store, "scoring.tree_ratings", [
            {"tree_key": k, "rating": 2, "harm_per_year": 1e-4 * (1 + k % 7), "no_climb": False,
             "inspection_due_on": date(2027, 2, 1), "best_action": "none",
             "program_action": "none"} | self.ratings.get(k, {}) for k in range(self.trees)
        ])  # fmt: skip
        put(store, "scoring.candidate_actions", self.actions)
        put(store, "ingest.decisions", [
            {"decision_key": k, "tree_key": -1, "decided_on": AS_OF} | row
            for k, row in enumerate(self.decisions)
        ])  # fmt: skip
        put(store, "ingest.work_done", [
            {"work_key": k, "tree_key": -1} | row for k, row in enumerate(self.work_done)
        ])  # fmt: skip
        put(store, "ingest.zones", [{"zone_key": k} | row for k, row in enumerate(self.zones)])
        if self.streets:
            write_streets(store, grid())

    def _settings(self, folder: Path) -> RunSettings:
        yard_x, yard_y = (np.array([ORIGIN[k] + self.yard[k]]) for k in (0, 1))
        lon, lat = crs.to_longitude_latitude(yard_x, yard_y, epsg=EPSG)
        return RunSettings(
            settings=CitySettings(
                city=City(name="Small town"),
                inputs=Inputs(trees=(InputFile(files=("trees.csv",)),)),
                depots=(Depot(name="Yard", longitude=float(lon[0]), latitude=float(lat[0])),),
                crews=self.crews,
                planning=self.planning,
            ),
            settings_path=folder / "town.toml",
            data_dir=folder,
            as_of=self.as_of,
            first_quarter=Quarter(2027, 1),
            overrides_dir=None,
            column_maps_dir=config_dir() / "columns",
            rules_dir=config_dir() / "rules",
            sentences_path=self.sentences,
        )


@dataclass(frozen=True)
class Planned:
    """What the stage wrote."""

    store: RunStore

    def table(self, name: str) -> list[dict[str, Any]]:
        """Rows of a planning table."""
        return list(self.store.read(TABLES[f"planning.{name}"]).to_pylist())

    def by_id(self, name: str) -> dict[str, dict[str, Any]]:
        """Rows of queue or unscheduled by job id; a job occurs once or this fails."""
        ids = {row["job_key"]: row["job_id"] for row in self.table("jobs")}
        found = self.table(name)
        made = {ids[row["job_key"]]: row for row in found}
        assert len(made) == len(found)
        return made


def put(store: RunStore, name: str, given: Sequence[Mapping[str, Any]]) -> None:
    """Write rows, filling what they leave open."""
    table = TABLES[name]
    names = {key for row in given for key in row}
    data = rows(table, len(given), {key: [row.get(key) for row in given] for key in names})
    store.write(table, data if given else empty(table))


def write_streets(store: RunStore, streets: Streets) -> None:
    """The tables of a street network, drivable throughout."""
    side = int(np.sqrt(streets.nodes))
    count = len(streets)
    length = shapely.length(streets.lines)
    nodes, edges = TABLES["ingest.street_nodes"], TABLES["ingest.streets"]
    number = np.arange(streets.nodes)
    store.write(nodes, rows(nodes, streets.nodes, {
        "node_key": number.tolist(), "x_m": (ORIGIN[0] + number % side * 200.0).tolist(),
        "y_m": (ORIGIN[1] + number // side * 200.0).tolist(), "island": [0] * streets.nodes,
    }))  # fmt: skip
    store.write(edges, rows(edges, count, {
        "street_key": list(range(count)), "street_class": ["residential"] * count,
        "from_node": streets.tail.tolist(), "to_node": streets.head.tolist(),
        "length_m": length.tolist(), "speed_km_h": (length / streets.minutes * 0.06).tolist(),
        "forward": streets.forward.tolist(), "backward": streets.backward.tolist(),
        "drivable": [True] * count, "geometry": shapes.to_wkb(streets.lines).tolist(),
    }))  # fmt: skip


def scattered(count: int, *, seed: int = SEED) -> tuple[np.ndarray, np.ndarray]:
    """Places within the grid, metres."""
    draw = np.random.Generator(np.random.PCG64(seed)).integers(0, 10_000, size=(2, count))
    return ORIGIN[0] + draw[0] / 10.0, ORIGIN[1] + draw[1] / 10.0
