"""The problem told to PyVRP (Wouda, Lan & Kool 2024) and its answer read back.

A stop with several windows is told as one client for each, of which at most one may be served.
The library stops after a number of iterations, so that two runs are equal; a time serves only to
measure it.
"""

import time
import warnings
from dataclasses import dataclass
from types import ModuleType
from typing import TYPE_CHECKING

import numpy as np

from pipeline.planning.routing.problem import Answer, Problem, Route, in_order

if TYPE_CHECKING:
    from pyvrp import ClientGroup, ProblemData, Solution

# Shares of the effort where every stop must be served; they bear on how soon, not on what is right.
_LONGEST_MEMORY, _ROUNDS_OF_MEMORY = 300, 200  # of the search: the library's own, and by rounds
_PROBE, _TRY = 0.1, 0.25
_SPARE = 3
_FAR_WORSE = 1.1


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search: iterations, or processor seconds where measured; the search's seed."""

    rounds: int = 1000
    seconds: float | None = None
    seed: int = 1


def library() -> ModuleType | None:
    """The routing library, or nothing where it is not installed."""
    try:
        import pyvrp  # noqa: PLC0415 - a plan is made without it too
    except ImportError:
        return None
    return pyvrp


def ask(
    pyvrp: ModuleType, problem: Problem, effort: Effort, *, begin: Answer | None = None
) -> Answer | None:
    """The best answer found, or nothing where none that keeps all rules was found.

    Parameters
    ----------
    begin : an answer that keeps all rules, to begin with where every stop may be left out.
    """
    search = _Search(pyvrp, _data(pyvrp, problem), effort)
    if problem.stops.required.any():
        search.with_few_vehicles()
    else:
        search.go(search.data, search.left, None if begin is None else search.told(begin))
    best = search.best
    if best is None or not best.is_feasible():
        return None
    window_of = problem.stops.window_of
    routes = []
    for one in best.routes():
        windows = tuple(int(visit.idx) for visit in one if visit.is_client())
        stops = tuple(int(window_of[window]) for window in windows)
        routes.append(Route(int(one.vehicle_type()), stops, windows))
    return Answer(in_order(routes), "library", search.rounds)


class _Search:
    """Searches one after the other that share one effort."""

    def __init__(self, pyvrp: ModuleType, data: "ProblemData", effort: Effort) -> None:
        self.pyvrp, self.data, self.effort = pyvrp, data, effort
        # A short search cannot afford to accept what a long one leaves behind again.
        memory = min(max(effort.rounds // _ROUNDS_OF_MEMORY, 1), _LONGEST_MEMORY)
        memory = _LONGEST_MEMORY if effort.seconds is not None else memory
        local = pyvrp.IteratedLocalSearchParams(history_length=memory)
        self.params = pyvrp.SolveParams(ils=local)
        self.rounds = 0
        self.began = time.process_time()
        self.best: Solution | None = None

    @property
    def left(self) -> float:
        """Share of the effort that is not spent."""
        if self.effort.seconds is None:
            return 1.0 - self.rounds / self.effort.rounds
        return 1.0 - (time.process_time() - self.began) / self.effort.seconds

    def go(self, data: "ProblemData", share: float, begin: "Solution | None" = None) -> "Solution":
        """The best answer to `data` after a share of the effort."""
        stop = _Stop(self.effort, share)
        with warnings.catch_warnings():
            # Told where no allowed answer was found; that is seen in the answer itself.
            warnings.simplefilter("ignore", self.pyvrp.exceptions.PenaltyBoundWarning)
            found = self.pyvrp.solve(
                data,
                stop,
                seed=self.effort.seed,
                collect_stats=False,
                params=self.params,
                initial_solution=begin,
            )
        self.rounds += int(found.num_iterations)
        if data is self.data and found.best.is_feasible():
            better = self.best is None or found.best.distance_cost() < self.best.distance_cost()
            self.best = found.best if better else self.best
        best: Solution = found.best
        return best

    def with_few_vehicles(self) -> None:
        """Search where every stop must be served and vehicles may be scarce.

        A search that is short of vehicles from the start does not get out of its first mistakes.
        So it begins with spare vehicles at no price. Where that needs no more than there are, it
        goes on from there; else it begins again without them, and only where that finds nothing,
        or far worse, the answer with spare vehicles is cut down and mended.
        """
        types = self.data.vehicle_types()
        spare = [one.replace(num_available=one.num_available + _SPARE + one.num_available // 3)
                 for one in types]  # fmt: skip
        freed = self.data.replace(vehicle_types=spare)
        loose = self.go(freed, _PROBE)
        begin = self._cut(loose)
        if not begin.is_complete():
            tried = self.go(self.data, _TRY)
            if tried.is_feasible() and tried.distance_cost() < _FAR_WORSE * loose.distance_cost():
                begin = tried
            else:
                begin = self._cut(self.go(freed, self.left / 2, loose))
        self.go(self.data, self.left, begin)

    def told(self, answer: Answer) -> "Solution":
        """An answer as the library's own."""
        routes = [self.pyvrp.Route(self.data, list(r.windows), r.vehicle) for r in answer.routes]
        made: Solution = self.pyvrp.Solution(self.data, routes)
        return made

    def _cut(self, loose: "Solution") -> "Solution":
        """The fullest routes of an answer with spare vehicles, as many as there are vehicles."""
        left = [one.num_available for one in self.data.vehicle_types()]
        kept = []
        for route in sorted(loose.routes(), key=lambda one: -one.num_clients()):
            kind = route.vehicle_type()
            if left[kind] > 0:
                left[kind] -= 1
                visits = [visit.idx for visit in route if visit.is_client()]
                kept.append(self.pyvrp.Route(self.data, visits, kind))
        made: Solution = self.pyvrp.Solution(self.data, kept)
        return made


class _Stop:
    """Ends a search after a share of the rounds, or of the processor's seconds where measured."""

    def __init__(self, effort: Effort, share: float) -> None:
        self.rounds = max(round(effort.rounds * share), 1)
        self.end = None
        if effort.seconds is not None:
            self.end = time.process_time() + effort.seconds * share

    def __call__(self, _best: float) -> bool:
        if self.end is not None:
            return time.process_time() >= self.end
        self.rounds -= 1
        return self.rounds < 0


def _data(pyvrp: ModuleType, problem: Problem) -> "ProblemData":
    """The library's problem: clients are the windows in their order."""
    stops, fleet = problem.stops, problem.fleet
    copies = np.bincount(stops.window_of, minlength=len(stops))
    groups: list[ClientGroup] = []
    group = np.full(len(stops), -1, dtype=np.int64)
    for stop in np.flatnonzero(copies > 1).tolist():
        group[stop] = len(groups)
        groups.append(
            pyvrp.ClientGroup(problem.windows(stop).tolist(), required=bool(stops.required[stop]))
        )
    clients = []
    worth = stops.prize[stops.window_of] - stops.penalty
    for stop, early, late, prize in zip(
        stops.window_of.tolist(), stops.early.tolist(), stops.late.tolist(), worth.tolist(),
        strict=True,
    ):  # fmt: skip
        alone = group[stop] < 0
        clients.append(
            pyvrp.Client(
                int(stops.place[stop]), [int(stops.demand[stop])],
                service_duration=int(stops.service[stop]), tw_early=early, tw_late=late,
                prize=prize, required=bool(stops.required[stop]) and alone,
                group=None if alone else int(group[stop]),
            )
        )  # fmt: skip
    depots = np.unique(np.concatenate((fleet.start, fleet.end)))
    start, end = np.searchsorted(depots, fleet.start), np.searchsorted(depots, fleet.end)
    vehicles = [
        pyvrp.VehicleType(
            int(fleet.number[k]), [int(fleet.capacity[k])], int(start[k]), int(end[k]),
            int(fleet.fixed[k]), int(fleet.early[k]), int(fleet.late[k]),
        )
        for k in range(len(fleet))
    ]  # fmt: skip
    made: ProblemData = pyvrp.ProblemData(
        [pyvrp.Location(0, 0) for _ in range(problem.cost.shape[0])],
        clients, [pyvrp.Depot(int(place)) for place in depots], vehicles,
        [problem.cost], [problem.duration], groups,
    )  # fmt: skip
    return made
