"""A routing problem and its answer as plain arrays in whole numbers.

Places are rows of two square matrices: `cost` is what an arc adds to the objective, `duration` the
time that it takes. Times of all kinds share one unit and one zero. A stop is served at most once,
by one vehicle, and begins within one of its windows; a window bounds the beginning, not the end.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Flags, Ints


@dataclass(frozen=True, slots=True)
class Stops:
    """What may be visited.

    Parameters
    ----------
    place : row of the matrices, shape (stops,).
    service : time at the stop, shape (stops,).
    demand : of the vehicle's capacity, shape (stops,).
    prize : what leaving an optional stop out costs, shape (stops,).
    required : must be served, shape (stops,).
    window_of : stop that each window belongs to, ascending; each stop has at least one, shape
        (windows,).
    early, late : first and last moment at which service may begin, shape (windows,).
    penalty : what beginning in a window costs, at most the stop's prize, shape (windows,).
    """

    place: Ints
    service: Ints
    demand: Ints
    prize: Ints
    required: Flags
    window_of: Ints
    early: Ints
    late: Ints
    penalty: Ints

    def __len__(self) -> int:
        """Number of stops."""
        return int(self.place.size)


@dataclass(frozen=True, slots=True)
class Fleet:
    """Vehicles by type, each value of shape (types,).

    Parameters
    ----------
    start, end : places.
    number : vehicles of the type.
    capacity : for the demands.
    early, late : earliest departure and latest return.
    fixed : cost of each vehicle that is used.
    """

    start: Ints
    end: Ints
    number: Ints
    capacity: Ints
    early: Ints
    late: Ints
    fixed: Ints

    def __len__(self) -> int:
        """Number of types."""
        return int(self.start.size)


@dataclass(frozen=True, slots=True)
class Problem:
    """The whole problem; both matrices have shape (places, places) and zeros in the diagonal."""

    cost: Ints
    duration: Ints
    stops: Stops
    fleet: Fleet

    def windows(self, stop: int) -> Ints:
        """Rows of the windows of a stop."""
        first, last = np.searchsorted(self.stops.window_of, [stop, stop + 1])
        return np.arange(first, last)


@dataclass(frozen=True, slots=True)
class Route:
    """One vehicle: its type, its stops in order, and the window that each of them begins in."""

    vehicle: int
    stops: tuple[int, ...]
    windows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """Routes that hold at least one stop, by type and then by first stop.

    Parameters
    ----------
    how : 'library' or 'insertion'.
    rounds : iterations of the search.
    """

    routes: tuple[Route, ...]
    how: str
    rounds: int


def in_order(routes: list[Route]) -> tuple[Route, ...]:
    """Routes in the order of an answer, empty ones left out."""
    return tuple(sorted((r for r in routes if r.stops), key=lambda r: (r.vehicle, r.stops[0])))
