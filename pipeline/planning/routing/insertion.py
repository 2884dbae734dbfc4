"""An answer without the routing library: cheapest insertion, then stops moved while that helps.

Stops are taken by what they are worth for their time. Each goes where it costs least among all gaps
of all routes in which every window after it is still kept (Solomon 1987, insertion with a push
forward that is bounded by the latest moment of every stop). Afterwards each stop is taken out and
put back where it costs least, and what was left out is tried again, until nothing changes.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.planning.routing.problem import Answer, Problem, Route, in_order
from pipeline.units import Flags, Ints

_PASSES = 20  # of moving; later ones change next to nothing
_FAR = np.iinfo(np.int64).max // 4


@dataclass(slots=True)
class _Tour:
    """One vehicle while its stops are chosen.

    Parameters
    ----------
    origin, leave : place before each gap and the earliest moment to leave it, shape (gaps,).
    target, latest : place after each gap and the latest arrival there, shape (gaps,).
    """

    vehicle: int
    stops: list[int] = field(default_factory=list)
    windows: list[int] = field(default_factory=list)
    load: int = 0
    origin: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    leave: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    target: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    latest: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))


@dataclass(frozen=True, slots=True)
class _Gaps:
    """All gaps of all tours in one row, shape (gaps,) but for `start`; never changed in place.

    Parameters
    ----------
    origin, leave, target, latest : as of each tour.
    owner, start : tour of each gap, and first gap of each tour.
    room : load that the tour still takes.
    extra : cost of using the tour at all, less the arc that an insertion saves.
    """

    origin: Ints
    leave: Ints
    target: Ints
    latest: Ints
    owner: Ints
    start: Ints
    room: Ints
    extra: Ints


def insert(problem: Problem) -> Answer:
    """Routes that keep all rules; a required stop that fits nowhere stays out: `check` tells."""
    return _Insertion(problem).run()


class _Insertion:
    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        stops = problem.stops
        self.first = np.searchsorted(stops.window_of, np.arange(len(stops) + 1))
        types = np.repeat(
            np.arange(len(problem.fleet)), np.minimum(problem.fleet.number, len(stops))
        )
        self.tours = [_Tour(k) for k in types.tolist()]
        for tour in self.tours:
            self._retime(tour)
        self.gaps = self._flattened()

    def run(self) -> Answer:
        stops = self.problem.stops
        worth = np.where(stops.required, _FAR, stops.prize) / np.maximum(stops.service, 1)
        last = np.maximum.reduceat(stops.late, self.first[:-1]) if len(stops) else stops.prize
        order = np.lexsort((np.arange(len(stops)), last, -worth)).tolist()
        out = [stop for stop in order if not self._put(stop)]
        passes = 0
        for _ in range(_PASSES):
            passes += 1
            changed = self._move(order)
            left = [stop for stop in out if not self._put(stop)]
            changed |= len(left) < len(out)
            out = left
            if not changed:
                break
        routes = [Route(t.vehicle, tuple(t.stops), tuple(t.windows)) for t in self.tours]
        return Answer(in_order(routes), "insertion", passes)

    def _move(self, order: list[int]) -> bool:
        """Each stop once out of its tour and back where it costs least; whether one moved."""
        moved = False
        home = {stop: number for number, tour in enumerate(self.tours) for stop in tour.stops}
        for stop in order:
            if stop not in home:
                continue
            tour = self.tours[home[stop]]
            at = tour.stops.index(stop)
            as_it_was = replace(tour, stops=[*tour.stops], windows=[*tour.windows])
            gaps = self.gaps
            saved = self._take(home[stop], at)
            found = self._best(stop)
            if found is None or found[0] >= saved:
                self.tours[home[stop]], self.gaps = as_it_was, gaps
            else:
                self._place(found[1], found[2], stop, found[3])
                home[stop], moved = found[1], True
        return moved

    def _put(self, stop: int) -> bool:
        found = self._best(stop)
        stops = self.problem.stops
        if found is None or (found[0] > stops.prize[stop] and not stops.required[stop]):
            return False
        self._place(*found[1:3], stop, found[3])
        return True

    def _best(self, stop: int) -> tuple[int, int, int, int] | None:
        """Added cost, tour, gap and window of the cheapest gap that holds a stop."""
        stops, cost, duration = self.problem.stops, self.problem.cost, self.problem.duration
        place, service, gaps = int(stops.place[stop]), int(stops.service[stop]), self.gaps
        added = cost[gaps.origin, place] + cost[place, gaps.target] + gaps.extra
        arrive = gaps.leave + duration[gaps.origin, place]
        room: Flags = gaps.room >= stops.demand[stop]
        best: tuple[int, int, int, int] | None = None
        for window in range(int(self.first[stop]), int(self.first[stop + 1])):
            begin = np.maximum(arrive, stops.early[window])
            fits = room & (begin <= stops.late[window])
            fits &= begin + service + duration[place, gaps.target] <= gaps.latest
            if not fits.any():
                continue
            gap = int(np.argmin(np.where(fits, added, _FAR)))
            total = int(added[gap] + stops.penalty[window])
            if best is None or total < best[0]:
                tour = int(gaps.owner[gap])
                best = (total, tour, gap - int(gaps.start[tour]), window)
        return best

    def _place(self, number: int, gap: int, stop: int, window: int) -> None:
        tour = self.tours[number]
        tour.stops.insert(gap, stop)
        tour.windows.insert(gap, window)
        tour.load += int(self.problem.stops.demand[stop])
        self._retime(tour)
        self.gaps = self._flattened()

    def _take(self, number: int, at: int) -> int:
        """Take a stop out; what that saves."""
        tour, cost = self.tours[number], self.problem.cost
        stop = tour.stops.pop(at)
        window = tour.windows.pop(at)
        tour.load -= int(self.problem.stops.demand[stop])
        place = int(self.problem.stops.place[stop])
        before = cost[tour.origin[at], place] + cost[place, tour.target[at + 1]]
        self._retime(tour)
        self.gaps = self._flattened()
        gap = int(self.gaps.start[number]) + at
        return int(before + self.gaps.extra[gap] + self.problem.stops.penalty[window])

    def _retime(self, tour: _Tour) -> None:
        """Earliest and latest moments along a tour."""
        stops, fleet, duration = self.problem.stops, self.problem.fleet, self.problem.duration
        at, windows = np.array(tour.stops, np.int64), np.array(tour.windows, np.int64)
        path = np.empty(at.size + 2, np.int64)
        path[0], path[-1] = fleet.start[tour.vehicle], fleet.end[tour.vehicle]
        path[1:-1] = stops.place[at]
        way = duration[path[:-1], path[1:]].tolist()
        service = stops.service[at].tolist()
        clock = int(fleet.early[tour.vehicle])
        leave = [clock]
        for there, begin, spent in zip(way, stops.early[windows].tolist(), service, strict=False):
            clock = max(clock + there, begin) + spent
            leave.append(clock)
        clock = int(fleet.late[tour.vehicle])
        latest = [clock]
        late = stops.late[windows].tolist()
        for k in range(at.size - 1, -1, -1):
            clock = min(clock - way[k + 1] - service[k], late[k])
            latest.append(clock)
        tour.origin, tour.target = path[:-1], path[1:]
        tour.leave = np.array(leave, dtype=np.int64)
        tour.latest = np.array(latest[::-1], dtype=np.int64)

    def _flattened(self) -> _Gaps:
        fleet, tours = self.problem.fleet, self.tours
        none = [np.empty(0, dtype=np.int64)]
        origin = np.concatenate([t.origin for t in tours] or none)
        target = np.concatenate([t.target for t in tours] or none)
        sizes = np.array([t.origin.size for t in tours], dtype=np.int64)
        owner = np.repeat(np.arange(sizes.size), sizes)
        kind = np.array([t.vehicle for t in tours], dtype=np.int64)
        load = np.array([t.load for t in tours], dtype=np.int64)
        opened = np.where(sizes == 1, fleet.fixed[kind], 0)
        # A new vehicle pays its fixed cost and has no arc to save.
        saved = np.where((sizes == 1)[owner], 0, self.problem.cost[origin, target])
        return _Gaps(
            origin=origin,
            leave=np.concatenate([t.leave for t in tours] or none),
            target=target,
            latest=np.concatenate([t.latest for t in tours] or none),
            owner=owner,
            start=np.cumsum(sizes) - sizes,
            room=(fleet.capacity[kind] - load)[owner],
            extra=opened[owner] - saved,
        )
