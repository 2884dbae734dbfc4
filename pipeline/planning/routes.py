"""The order of a crew's stops in a day: nearest neighbour, then moves until none helps. Pure.

Times may differ by direction, since one-way streets do. Index 0 is the depot; a tour starts and
ends there. Equal moves are settled by position, so the same times give the same tour.
"""

import numpy as np

from pipeline.units import Floats, Ints

_DEPOT = 0
_LONGEST_SEGMENT = 3
_GAIN = 1e-6  # minutes; less is rounding


def tour_minutes(times: Floats, tour: Ints) -> float:
    """Travel of a tour given as stops without the depot; `times` has shape (stops+1, stops+1)."""
    closed = np.concatenate(([_DEPOT], tour, [_DEPOT]))
    return float(times[closed[:-1], closed[1:]].sum())


def order_stops(times: Floats, *, first: int = 0) -> Ints:
    """A short tour over all stops.

    Parameters
    ----------
    times : travel minutes, shape (stops+1, stops+1), row and column 0 the depot.
    first : this many stops, 1 to `first`, come before the others.

    Returns
    -------
    The stops 1..n in driving order, shape (stops,).
    """
    stops = times.shape[0] - 1
    if stops <= 1:
        return np.arange(1, stops + 1, dtype=np.int64)
    head = _nearest(times, np.arange(1, first + 1), _DEPOT)
    start = int(head[-1]) if head.size else _DEPOT
    tail = _nearest(times, np.arange(first + 1, stops + 1), start)
    head = _improve(times, head, _DEPOT, int(tail[0]) if tail.size else _DEPOT)
    start = int(head[-1]) if head.size else _DEPOT
    tail = _improve(times, tail, start, _DEPOT)
    return np.concatenate((head, tail))


def improve_tour(times: Floats, tour: Ints, *, first: int = 0) -> Ints:
    """A tour no longer than the one given, the first `first` stops staying first."""
    head, tail = tour[:first], tour[first:]
    head = _improve(times, head, _DEPOT, int(tail[0]) if tail.size else _DEPOT)
    start = int(head[-1]) if head.size else _DEPOT
    return np.concatenate((head, _improve(times, tail, start, _DEPOT)))


def _nearest(times: Floats, stops: Ints, start: int) -> Ints:
    left = stops.astype(np.int64)
    found = np.empty(left.size, dtype=np.int64)
    here = start
    for place in range(found.size):
        best = int(np.argmin(times[here, left]))
        here = int(left[best])
        found[place] = here
        left = np.delete(left, best)
    return found


def _improve(times: Floats, tour: Ints, start: int, end: int) -> Ints:
    """Best reversal or shift of a segment, again and again, until none saves time."""
    path = np.concatenate(([start], tour, [end]))
    if tour.size < 2:  # noqa: PLR2004 - one stop has one order
        return tour
    while True:
        reversal = _best_reversal(times, path)
        shift = _best_shift(times, path)
        if min(reversal[0], shift[0]) > -_GAIN:
            return path[1:-1]
        path = _reversed(path, reversal) if reversal[0] <= shift[0] else _shifted(path, shift)


def _best_reversal(times: Floats, path: Ints) -> tuple[float, int, int]:
    """Change of time, first and last place of the best segment to turn round."""
    forward = np.concatenate(([0.0], np.cumsum(times[path[:-1], path[1:]])))
    backward = np.concatenate(([0.0], np.cumsum(times[path[1:], path[:-1]])))
    inner = np.arange(1, path.size - 1)
    first, last = inner[:, None], inner[None, :]
    old = forward[last + 1] - forward[first - 1]
    new = (
        times[path[first - 1], path[last]]
        + (backward[last] - backward[first])
        + times[path[first], path[last + 1]]
    )
    change = np.where(last > first, new - old, np.inf)
    at = int(np.argmin(change))
    row, column = divmod(at, inner.size)
    return float(change[row, column]), row + 1, column + 1


def _reversed(path: Ints, move: tuple[float, int, int]) -> Ints:
    _, first, last = move
    return np.concatenate((path[:first], path[first : last + 1][::-1], path[last + 1 :]))


def _best_shift(times: Floats, path: Ints) -> tuple[float, int, int, int]:
    """Change of time, first place, length and new place of the best segment to move on."""
    best = (np.inf, 0, 0, 0)
    for length in range(1, min(_LONGEST_SEGMENT, path.size - 3) + 1):
        first = np.arange(1, path.size - length)[:, None]
        last = first + length - 1
        gap = np.arange(path.size - 1)[None, :]  # between path[gap] and path[gap + 1]
        freed = (
            times[path[first - 1], path[last + 1]]
            - times[path[first - 1], path[first]]
            - times[path[last], path[last + 1]]
        )
        added = (
            times[path[gap], path[first]]
            + times[path[last], path[gap + 1]]
            - times[path[gap], path[gap + 1]]
        )
        outside = (gap < first - 1) | (gap > last)
        change = np.where(outside, freed + added, np.inf)
        at = int(np.argmin(change))
        row, column = divmod(at, change.shape[1])
        if change[row, column] < best[0] - _GAIN:
            best = (float(change[row, column]), row + 1, length, column)
    return best


def _shifted(path: Ints, move: tuple[float, int, int, int]) -> Ints:
    _, first, length, gap = move
    segment = path[first : first + length]
    rest = np.concatenate((path[:first], path[first + length :]))
    at = gap + 1 if gap < first else gap + 1 - length
    return np.concatenate((rest[:at], segment, rest[at:]))
