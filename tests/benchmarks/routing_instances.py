"""Published routing instances through this project's routing: name, cost, best known, gap.

    python tests/benchmarks/routing_instances.py FILE ... --seconds 30

Seconds are those of the processor, one core, so that other work on the machine takes none away.
Reads VRPLIB and Solomon text itself. `best_known.csv` in the folder above a file gives the best
known cost, the number of vehicles that it uses, to which the fleet is limited, and how the set
rounds distances. Cost and feasibility are worked out again from the file's own coordinates. A gap
below -0.01 % means a wrong objective: the script then ends with an error, as it does where a rule
is broken. Run it alone.
"""

import argparse
import csv
import re
import sys
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.planning.routing import library
from pipeline.planning.routing.problem import Answer, Fleet, Problem, Stops
from pipeline.planning.routing.solve import solve
from pipeline.units import Floats, Ints

_WRONG_BELOW = -0.0001
_FINE = 10_000  # parts of a unit that an unrounded distance is told in
_NO_END = 10**7


@dataclass(frozen=True)
class Instance:
    """An instance as its file gives it; the first node is the depot; all of shape (nodes,)."""

    name: str
    capacity: int
    x: Floats
    y: Floats
    demand: Ints
    ready: Floats
    due: Floats
    service: Floats


@dataclass(frozen=True)
class Convention:
    """How a set rounds: what a unit is cut into, and the rounding of distances and of times.

    `true` gives distances in the set's own unit, as the best known cost counts them.
    """

    parts: int
    cost: Callable[[Floats], Ints]
    time: Callable[[Floats], Ints]
    true: Callable[[Floats], Floats]


def _convention(words: str) -> Convention:
    """The convention that `best_known.csv` names."""
    if "nearest" in words:
        return Convention(1, _nearest, _nearest, np.rint)
    if "truncated" in words:
        return Convention(10, _down, _down, lambda d: np.floor(d * 10 + 1e-9) / 10)
    if "double" in words or "Euclidean" in words:
        # Times are rounded up: what fits in whole parts then fits in full precision too.
        return Convention(_FINE, _nearest, _up, lambda d: d)
    sys.exit(f"unknown distance convention: {words!r}")


def _nearest(values: Floats) -> Ints:
    return np.rint(values).astype(np.int64)


def _down(values: Floats) -> Ints:
    return np.floor(values + 1e-9).astype(np.int64)


def _up(values: Floats) -> Ints:
    return np.ceil(values - 1e-9).astype(np.int64)


def read(path: Path) -> Instance:
    """An instance from VRPLIB or Solomon text."""
    text = path.read_text(encoding="utf-8")
    return _vrplib(text) if "NODE_COORD_SECTION" in text else _solomon(text)


def _solomon(text: str) -> Instance:
    rows = [line.split() for line in text.splitlines()]
    numbers = [[float(cell) for cell in row] for row in rows if row and _is_number(row[0])]
    capacity = next(int(row[1]) for row in numbers if len(row) == 2)
    table = np.array([row for row in numbers if len(row) == 7])
    _, x, y, demand, ready, due, service = table.T
    name = next(row[0] for row in rows if row)
    return Instance(name, capacity, x, y, demand.astype(np.int64), ready, due, service)


def _is_number(word: str) -> bool:
    return re.fullmatch(r"-?\d+(\.\d+)?", word) is not None


def _vrplib(text: str) -> Instance:
    head: dict[str, str] = {}
    sections: dict[str, list[list[float]]] = defaultdict(list)
    section = ""
    for line in (line.strip() for line in text.splitlines()):
        if not line or line == "EOF":
            continue
        if ":" in line and not section:
            key, value = line.split(":", 1)
            head[key.strip()] = value.strip()
        elif line.endswith("_SECTION"):
            section = line
        else:
            sections[section].append([float(cell) for cell in line.split()])
    if head["EDGE_WEIGHT_TYPE"] != "EUC_2D":
        sys.exit(f"{head['NAME']}: distances of type {head['EDGE_WEIGHT_TYPE']}")
    places = np.array(sections["NODE_COORD_SECTION"])
    if int(sections["DEPOT_SECTION"][0][0]) != int(places[0, 0]):
        sys.exit(f"{head['NAME']}: the depot is not the first node")
    count = len(places)
    demand = np.array(sections["DEMAND_SECTION"])[:, 1].astype(np.int64)
    spans = np.array(sections.get("TIME_WINDOW_SECTION", [[0, 0, _NO_END]] * count))
    service = np.full(count, float(head.get("SERVICE_TIME", 0)))
    if "SERVICE_TIME_SECTION" in sections:
        service = np.array(sections["SERVICE_TIME_SECTION"])[:, 1]
    service[0] = 0.0
    return Instance(head["NAME"], int(head["CAPACITY"]), places[:, 1], places[:, 2], demand,
                    spans[:, 1], spans[:, 2], service)  # fmt: skip


def problem_of(given: Instance, vehicles: int, rule: Convention) -> Problem:
    """The instance in whole numbers; the fleet is limited to `vehicles`."""
    apart = _apart(given) * rule.parts
    inner = np.arange(1, given.x.size)
    stops = Stops(
        place=inner,
        service=_up(given.service[1:] * rule.parts),
        demand=given.demand[1:],
        prize=np.zeros(inner.size, dtype=np.int64),
        required=np.ones(inner.size, dtype=bool),
        window_of=inner - 1,
        early=_up(given.ready[1:] * rule.parts),
        late=_down(given.due[1:] * rule.parts),
        penalty=np.zeros(inner.size, dtype=np.int64),
    )
    fleet = Fleet(
        start=np.array([0]), end=np.array([0]), number=np.array([vehicles]),
        capacity=np.array([given.capacity]), early=_up(given.ready[:1] * rule.parts),
        late=_down(given.due[:1] * rule.parts), fixed=np.array([0]),
    )  # fmt: skip
    return Problem(rule.cost(apart), rule.time(apart), stops, fleet)


def _apart(given: Instance) -> Floats:
    return np.hypot(given.x[:, None] - given.x, given.y[:, None] - given.y)


def worked_out(given: Instance, vehicles: int, rule: Convention, answer: Answer) -> float:
    """The cost by the file's own coordinates and the set's convention, every rule looked at."""
    apart = rule.true(_apart(given))
    seen: list[int] = []
    total = 0.0
    for route in answer.routes:
        nodes = [stop + 1 for stop in route.stops]
        seen += nodes
        clock, here = float(given.ready[0]), 0
        for node in [*nodes, 0]:
            total += apart[here, node]
            clock = max(clock + given.service[here] + apart[here, node], float(given.ready[node]))
            if clock > given.due[node] + 1e-6:
                sys.exit(f"{given.name}: node {node} at {clock}, late")
            here = node
        if given.demand[nodes].sum() > given.capacity:
            sys.exit(f"{given.name}: a vehicle is overloaded")
    if sorted(seen) != list(range(1, given.x.size)):
        sys.exit(f"{given.name}: not every customer is visited once")
    if len(answer.routes) > vehicles:
        sys.exit(f"{given.name}: {len(answer.routes)} vehicles, {vehicles} allowed")
    return total


def best_known(path: Path) -> dict[str, str]:
    """The row of `best_known.csv` that speaks of a file."""
    table = path.resolve().parent.parent / "best_known.csv"
    if not table.exists():
        sys.exit(f"{path}: no {table.name} in the folder above it")
    with table.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if Path(row["file"]) == Path(path.resolve().parent.name) / path.name:
                return row
    sys.exit(f"{path}: {table} has no row for it")


def run(path: Path, effort: library.Effort) -> tuple[str, float, float, str]:
    """Name, cost, best known cost and way of answering of one file."""
    known = best_known(path)
    given, rule = read(path), _convention(known["distance_convention"])
    vehicles = int(known["vehicles"])
    answer = solve(problem_of(given, vehicles, rule), effort)
    cost = worked_out(given, vehicles, rule, answer)
    return given.name, cost, float(known["cost"]), f"{answer.how}, {answer.rounds} rounds"


def main() -> None:
    """Solve the files named, one after the other."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    gaps: dict[str, list[float]] = defaultdict(list)
    for path in asked.files:
        name, cost, best, how = run(path, library.Effort(seconds=asked.seconds, seed=asked.seed))
        gap = cost / best - 1.0
        gaps[path.resolve().parent.name].append(gap)
        print(f"{name}: cost {cost:.4f}, best known {best:.4f}, gap {gap:.3%} ({how})", flush=True)
    for folder, found in gaps.items():
        print(f"{folder}: mean gap {np.mean(found):.3%} over {len(found)}")
    if min(gap for found in gaps.values() for gap in found) < _WRONG_BELOW:
        sys.exit("a gap below -0.01 %: the objective is wrong")


if __name__ == "__main__":
    main()
