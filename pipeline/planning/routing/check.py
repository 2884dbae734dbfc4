"""An answer worked through again, stop by stop: what it costs and what is wrong with it."""

from dataclasses import dataclass

import numpy as np

from pipeline.planning.routing.problem import Answer, Problem, Route
from pipeline.units import Ints


@dataclass(frozen=True, slots=True)
class Checked:
    """What an answer costs, which stops it leaves out, and its faults in words; none is right.

    Parameters
    ----------
    travel : cost of all arcs.
    cost : travel, fixed costs, penalties of windows and the prizes of stops left out.
    """

    travel: int
    cost: int
    left_out: Ints
    faults: tuple[str, ...]


def timed(problem: Problem, route: Route) -> tuple[Ints, Ints, int]:
    """Arrival at, and beginning of service of, each stop, and the return, as early as can be."""
    fleet, stops = problem.fleet, problem.stops
    clock, here = int(fleet.early[route.vehicle]), int(fleet.start[route.vehicle])
    arrive, begin = [], []
    for stop, window in zip(route.stops, route.windows, strict=True):
        there = int(stops.place[stop])
        clock += int(problem.duration[here, there])
        arrive.append(clock)
        clock = max(clock, int(stops.early[window]))
        begin.append(clock)
        clock += int(stops.service[stop])
        here = there
    back = clock + int(problem.duration[here, int(fleet.end[route.vehicle])])
    return np.array(arrive, dtype=np.int64), np.array(begin, dtype=np.int64), back


def check(problem: Problem, answer: Answer) -> Checked:
    """Recompute an answer from the problem alone."""
    stops, fleet = problem.stops, problem.fleet
    seen = np.zeros(len(stops), dtype=np.int64)
    used = np.zeros(len(fleet), dtype=np.int64)
    travel, late, faults = 0, 0, []
    for number, route in enumerate(answer.routes):
        rows = np.array(route.stops, dtype=np.int64)
        np.add.at(seen, rows, 1)
        used[route.vehicle] += 1
        ends = fleet.start[route.vehicle], fleet.end[route.vehicle]
        path = np.concatenate((ends[:1], stops.place[rows], ends[1:]))
        travel += int(problem.cost[path[:-1], path[1:]].sum())
        late += int(stops.penalty[list(route.windows)].sum())
        faults += [f"route {number}: {fault}" for fault in _wrong(problem, route)]
    faults += [f"stop {k} is served {seen[k]} times" for k in np.flatnonzero(seen > 1).tolist()]
    left = np.flatnonzero(seen == 0)
    faults += [f"stop {k} is not served" for k in left[stops.required[left]].tolist()]
    over = np.flatnonzero(used > fleet.number)
    faults += [
        f"{used[k]} vehicles of type {k}, {fleet.number[k]} there are" for k in over.tolist()
    ]
    cost = travel + late + int((used * fleet.fixed).sum()) + int(stops.prize[left].sum())
    return Checked(travel, cost, left, tuple(faults))


def _wrong(problem: Problem, route: Route) -> list[str]:
    stops, fleet = problem.stops, problem.fleet
    found = []
    load = int(stops.demand[list(route.stops)].sum())
    if load > fleet.capacity[route.vehicle]:
        found.append(f"load {load} over {fleet.capacity[route.vehicle]}")
    _, begin, back = timed(problem, route)
    for stop, window, start in zip(route.stops, route.windows, begin.tolist(), strict=True):
        if stops.window_of[window] != stop:
            found.append(f"stop {stop} begins in a window of another")
        elif start > stops.late[window]:
            found.append(f"stop {stop} begins at {start}, {stops.late[window]} is the last")
    if back > fleet.late[route.vehicle]:
        found.append(f"back at {back}, {fleet.late[route.vehicle]} is the last")
    return found
