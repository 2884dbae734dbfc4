"""One door to the two ways of answering a routing problem."""

from pipeline.planning.routing import insertion, library
from pipeline.planning.routing.check import check
from pipeline.planning.routing.library import Effort
from pipeline.planning.routing.problem import Answer, Problem


def solve(problem: Problem, effort: Effort) -> Answer:
    """The library's answer where it keeps all rules and costs less, else that of insertion.

    Insertion alone answers where the library is not installed, and where there is nothing to
    search in: one stop, or no vehicle.
    """
    plain = insertion.insert(problem)
    found = library.library()
    if found is None or len(problem.stops) < 2 or not problem.fleet.number.any():  # noqa: PLR2004
        return plain
    first = check(problem, plain)
    asked = library.ask(found, problem, effort, begin=None if first.faults else plain)
    if asked is None:
        return plain
    second = check(problem, asked)
    if second.faults or (not first.faults and first.cost < second.cost):
        return plain
    return asked
