"""Travel times and the lines driven: shortest paths on streets, straight lines where none leads."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csgraph

from pipeline.planning.network import OFF, Lines, Streets, build, driven, snap
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

_CHUNK = 64  # sources at once: bounds the memory to chunk x nodes
_M_PER_KM = 1000.0
_NEAR_MIN = 1e-4  # a way as long as the limit, to the rounding of its sum, is within it


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
class Reach:
    """How places are set into the network and how far travel is looked for.

    Parameters
    ----------
    snap_limit_m : a place farther from the usable streets stays off them.
    hubs : the first so many places are depots; travel from and to them is always exact.
    near_min : ways between other places are looked for up to so many minutes; a longer one counts
        as the way over the best hub, which is a way that can be driven.
    """

    snap_limit_m: float
    hubs: int = 0
    near_min: float = np.inf


@dataclass(frozen=True, slots=True)
class Legs:
    """Legs driven, each value of shape (legs,); `lines` holds coordinates, one array a leg."""

    minutes: Floats
    metres: Floats
    on_streets: Flags
    lines: list[npt.NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class _Paths:
    """Minutes and steps of the shortest paths of some graph nodes, shape (sources, nodes)."""

    source: Ints
    minutes: Floats
    step: Ints

    def nodes(self, source: int, end: int) -> Ints:
        """Graph nodes from a source to an end."""
        step = self.step[int(np.searchsorted(self.source, source))]
        path = [end]
        while path[-1] != source:
            path.append(int(step[path[-1]]))
        return np.array(path[::-1], dtype=np.int64)


class Travel:
    """Travel between places, which are numbered from 0 in the order given."""

    def __init__(
        self, streets: Streets, x: Floats, y: Floats, *, straight: StraightLine, reach: Reach
    ) -> None:
        """Set the places into the network; `x` and `y` are metres, shape (places,)."""
        self.x, self.y = x, y
        self._lines = Lines.of(streets)
        self._straight = straight
        edge, share = snap(streets, x, y, limit_m=reach.snap_limit_m)
        self._network = build(streets, edge, share)
        self._back = self._network.graph.T.tocsr()
        hubs = np.unique(self._network.node[: reach.hubs])
        self._hubs = hubs[hubs != OFF]
        self._near = reach.near_min + _NEAR_MIN if self._hubs.size else np.inf
        self._out = self._paths(self._hubs)
        self._home = self._paths(self._hubs, back=True)

    @property
    def on_network(self) -> Flags:
        """Which places were set into the network, shape (places,)."""
        return np.asarray(self._network.node != OFF)

    def minutes(self, places: Ints) -> Floats:
        """Travel minutes between some places, shape (places, places)."""
        times = np.empty((places.size, places.size))
        node = self._network.node[places]
        x, y = self.x[places], self.y[places]
        on = np.flatnonzero(node != OFF)
        for start in range(0, places.size, _CHUNK):
            rows = np.arange(start, min(start + _CHUNK, places.size))
            apart = np.hypot(x[rows][:, None] - x, y[rows][:, None] - y)
            times[rows] = self._straight.minutes(apart)
            rows = rows[node[rows] != OFF]
            if not rows.size:
                continue
            found = np.atleast_2d(
                csgraph.dijkstra(self._network.graph, indices=node[rows], limit=self._near)
            )[:, node[on]]
            times[np.ix_(rows, on)] = np.minimum(found, self._over_hubs(node[rows], node[on]))
        np.fill_diagonal(times, 0.0)
        return times

    def legs(self, origin: Ints, target: Ints) -> Legs:
        """Minutes, metres and line of each leg from a place to another; both of shape (legs,)."""
        start = np.column_stack((self.x[origin], self.y[origin]))
        end = np.column_stack((self.x[target], self.y[target]))
        straight = np.hypot(*(end - start).T)
        begin, finish = self._network.node[origin], self._network.node[target]
        on = (begin != OFF) & (finish != OFF)
        made = Legs(
            minutes=self._straight.minutes(straight),
            metres=straight * self._straight.factor,
            on_streets=on,
            lines=[np.array(pair) for pair in zip(start, end, strict=True)],
        )
        out, home = np.isin(begin, self._hubs), np.isin(finish, self._hubs)
        self._drive(np.flatnonzero(on & out), begin, finish, (self._out, made))
        self._drive(np.flatnonzero(on & home & ~out), finish, begin, (self._home, made), back=True)
        between = np.flatnonzero(on & ~out & ~home)
        for limit in (self._near, np.inf):
            sources = np.unique(begin[between])
            left = [between[:0]]
            for first in range(0, sources.size, _CHUNK):
                chunk = sources[first : first + _CHUNK]
                mine = between[np.isin(begin[between], chunk)]
                paths = self._paths(chunk, limit=limit)
                left.append(self._drive(mine, begin, finish, (paths, made)))
            between = np.concatenate(left)
        return made

    def _paths(self, sources: Ints, *, limit: float = np.inf, back: bool = False) -> _Paths:
        """Shortest paths from sorted graph nodes, or to them over the graph turned round."""
        graph = self._back if back else self._network.graph
        if not sources.size:
            return _Paths(sources, np.empty((0, 0)), np.empty((0, 0), dtype=np.int64))
        found, step = csgraph.dijkstra(
            graph, indices=sources, limit=limit, return_predecessors=True
        )
        return _Paths(sources, np.atleast_2d(found), np.atleast_2d(step))

    def _over_hubs(self, begin: Ints, finish: Ints) -> Floats:
        """Minutes from nodes to nodes over the best hub, infinite without one."""
        best = np.full((begin.size, finish.size), np.inf)
        for hub in range(self._hubs.size):
            home, out = self._home.minutes[hub][begin], self._out.minutes[hub][finish]
            best = np.minimum(best, home[:, None] + out[None, :])
        return best

    def _drive(
        self,
        legs: Ints,
        source: Ints,
        end: Ints,
        given: tuple[_Paths, Legs],
        *,
        back: bool = False,
    ) -> Ints:
        """Fill in legs by paths; returns those whose end lies beyond the limit."""
        paths, into = given
        row = np.searchsorted(paths.source, source[legs])
        minutes = paths.minutes[row, end[legs]] if legs.size else np.empty(0)
        reached = np.isfinite(minutes)
        for leg, took in zip(legs[reached].tolist(), minutes[reached].tolist(), strict=True):
            nodes = paths.nodes(int(source[leg]), int(end[leg]))
            nodes = nodes[::-1] if back else nodes
            line = driven(self._network, self._lines, nodes) if nodes.size > 1 else None
            line = into.lines[leg][[0, 0]] if line is None else line
            into.minutes[leg] = took
            into.metres[leg] = np.hypot(*np.diff(line, axis=0).T).sum()
            into.lines[leg] = line
        return legs[~reached]
