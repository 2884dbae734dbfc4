"""Travel times and the lines driven: shortest paths on streets, straight lines where none leads."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csgraph

from pipeline.planning.network import (
    OFF,
    Network,
    Streets,
    build,
    piece_line,
    piece_of,
    snap,
)
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

_CHUNK = 64  # sources at once: bounds the memory to chunk x nodes
_M_PER_KM = 1000.0


@dataclass(frozen=True, slots=True)
class StraightLine:
    """How travel is estimated where no street leads."""

    factor: float
    speed_km_h: float

    def minutes(self, metres: Floats) -> Floats:
        """Minutes to drive straight distances; same shape."""
        return metres * self.minutes_of(1.0)

    def minutes_of(self, metres: float) -> float:
        """Minutes to drive one straight distance."""
        return metres * self.factor / (self.speed_km_h * _M_PER_KM) * MINUTES_PER_HOUR


@dataclass(frozen=True, slots=True)
class Legs:
    """Legs driven, each value of shape (legs,); `lines` holds coordinates, one array a leg."""

    minutes: Floats
    metres: Floats
    on_streets: Flags
    lines: tuple[npt.NDArray[np.float64], ...]


class Travel:
    """Travel between places, which are numbered from 0 in the order given."""

    def __init__(
        self,
        streets: Streets,
        x: Floats,
        y: Floats,
        *,
        straight: StraightLine,
        snap_limit_m: float,
    ) -> None:
        """Set the places into the network; `x` and `y` are metres, shape (places,)."""
        self._streets = streets
        self.x, self.y = x, y
        self._straight = straight
        edge, share = snap(streets, x, y, limit_m=snap_limit_m)
        self._network: Network = build(streets, edge, share)

    @property
    def on_network(self) -> Flags:
        """Which places were set into the network, shape (places,)."""
        return np.asarray(self._network.node != OFF)

    def minutes(self, places: Ints) -> Floats:
        """Travel minutes between some places, shape (places, places)."""
        gap_x = self.x[places][:, None] - self.x[places][None, :]
        gap_y = self.y[places][:, None] - self.y[places][None, :]
        times = self._straight.minutes(np.hypot(gap_x, gap_y))
        node = self._network.node[places]
        on = np.flatnonzero(node != OFF)
        for start in range(0, on.size, _CHUNK):
            rows = on[start : start + _CHUNK]
            found = np.atleast_2d(
                csgraph.dijkstra(self._network.graph, directed=True, indices=node[rows])
            )[:, node[on]]
            # inf: the way there exists by construction of the network; kept straight if not.
            times[np.ix_(rows, on)] = np.where(np.isfinite(found), found, times[np.ix_(rows, on)])
        np.fill_diagonal(times, 0.0)
        return times

    def legs(self, origin: Ints, target: Ints) -> Legs:
        """Minutes, metres and line of each leg from a place to another; both of shape (legs,)."""
        start = np.column_stack((self.x[origin], self.y[origin]))
        end = np.column_stack((self.x[target], self.y[target]))
        straight = np.hypot(*(end - start).T)
        minutes = self._straight.minutes(straight)
        metres = straight * self._straight.factor
        lines = [np.array(pair) for pair in zip(start, end, strict=True)]
        node = self._network.node
        on = (node[origin] != OFF) & (node[target] != OFF)
        used = np.flatnonzero(on)
        sources = np.unique(node[origin[used]])
        for first in range(0, sources.size, _CHUNK):
            chunk = sources[first : first + _CHUNK]
            mine = used[np.isin(node[origin[used]], chunk)]
            self._drive(chunk, mine, (origin, target), (minutes, metres, on, lines))
        return Legs(minutes, metres, on, tuple(lines))

    def _drive(
        self,
        sources: Ints,
        legs: Ints,
        ends: tuple[Ints, Ints],
        into: tuple[Floats, Floats, Flags, list[npt.NDArray[np.float64]]],
    ) -> None:
        """Fill in the legs that start from a chunk of graph nodes."""
        minutes, metres, on, lines = into
        node = self._network.node
        found, before = csgraph.dijkstra(
            self._network.graph, directed=True, indices=sources, return_predecessors=True
        )
        found, before = np.atleast_2d(found), np.atleast_2d(before)
        for leg in legs.tolist():
            begin, end = int(node[ends[0][leg]]), int(node[ends[1][leg]])
            row = int(np.searchsorted(sources, begin))
            if not np.isfinite(found[row, end]):
                on[leg] = False
                continue
            line = self._line(before[row], begin, end)
            minutes[leg] = found[row, end]
            metres[leg] = np.hypot(*np.diff(line, axis=0).T).sum()
            lines[leg] = line

    def _line(self, before: Ints, begin: int, end: int) -> npt.NDArray[np.float64]:
        path = [end]
        while path[-1] != begin:
            path.append(int(before[path[-1]]))
        nodes = np.array(path[::-1], dtype=np.int64)
        if nodes.size == 1:
            point = self._place_of(begin)
            return np.vstack((point, point))
        rows = piece_of(self._network, nodes[:-1], nodes[1:])
        parts = [piece_line(self._streets, self._network, int(row)) for row in rows]
        return np.vstack([parts[0], *(part[1:] for part in parts[1:])])

    def _place_of(self, node: int) -> npt.NDArray[np.float64]:
        place = int(np.flatnonzero(self._network.node == node)[0])
        return np.array([[self.x[place], self.y[place]]])
