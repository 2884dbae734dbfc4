"""The street network with the stops of a plan set into it.

Each stop is set at the foot of the perpendicular on the nearest drivable edge of the largest part
of the network from which every place can be reached and left again; edges are cut there. A stop too
far from that part, or any stop where there are no streets, stays off the network.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse
import shapely
from scipy.sparse import csgraph

from pipeline.geo.shapes import Geometries
from pipeline.units import Flags, Floats, Ints

OFF = -1
_LEAST_MIN = 1e-6  # minutes; a piece of no length is still a piece to the graph routines


@dataclass(frozen=True, slots=True)
class Streets:
    """Drivable street edges between junctions, each value of shape (edges,).

    Parameters
    ----------
    nodes : number of junctions; `tail` and `head` are below it.
    minutes : to drive the whole edge.
    forward, backward : may be driven from tail to head, from head to tail.
    lines : shapely lines from tail to head, in metres.
    """

    nodes: int
    tail: Ints
    head: Ints
    minutes: Floats
    forward: Flags
    backward: Flags
    lines: Geometries

    def __len__(self) -> int:
        """Number of edges."""
        return int(self.tail.size)


@dataclass(frozen=True, slots=True)
class Network:
    """A directed graph whose nodes are the junctions and, after them, the stops.

    Parameters
    ----------
    graph : minutes, shape (nodes, nodes).
    node : graph node of each stop, -1 off the network, shape (stops,).
    key : tail * nodes + head of each directed piece, sorted.
    edge, begin, finish : street edge of each piece and where it starts and ends on it, as shares
        of the edge's length.
    """

    graph: scipy.sparse.csr_array
    node: Ints
    key: Ints
    edge: Ints
    begin: Floats
    finish: Floats

    @property
    def size(self) -> int:
        """Number of graph nodes."""
        return int(self.graph.shape[0])


def main_part(streets: Streets) -> Ints:
    """Edges of the largest part that is connected in both directions, most junctions first."""
    if not len(streets):
        return np.empty(0, dtype=np.int64)
    tail = np.concatenate((streets.tail[streets.forward], streets.head[streets.backward]))
    head = np.concatenate((streets.head[streets.forward], streets.tail[streets.backward]))
    ones = np.ones(tail.size, dtype=np.int8)
    shape = (streets.nodes, streets.nodes)
    graph = scipy.sparse.csr_array((ones, (tail, head)), shape=shape)
    _, label = csgraph.connected_components(graph, directed=True, connection="strong")
    largest = int(np.argmax(np.bincount(label)))
    inside = (label[streets.tail] == largest) & (label[streets.head] == largest)
    return np.flatnonzero(inside & (streets.forward | streets.backward)).astype(np.int64)


def snap(streets: Streets, x: Floats, y: Floats, *, limit_m: float) -> tuple[Ints, Floats]:
    """Edge of each place, -1 where none is near, and where on it, as a share of its length."""
    edge = np.full(x.shape, OFF, dtype=np.int64)
    share = np.zeros(x.shape)
    usable = main_part(streets)
    if not usable.size or not x.size:
        return edge, share
    points = np.asarray(shapely.points(x, y), dtype=object)
    tree = shapely.STRtree(streets.lines[usable])
    place, found = tree.query_nearest(points, max_distance=limit_m, all_matches=True)
    # Equally near edges: the lowest number, so that the answer does not hang on the tree's inside.
    order = np.lexsort((found, place))
    place, first = np.unique(place[order], return_index=True)
    edge[place] = usable[found[order][first]]
    lines = streets.lines[edge[place]]
    length = np.maximum(shapely.length(lines), np.finfo(np.float64).tiny)
    share[place] = np.clip(shapely.line_locate_point(lines, points[place]) / length, 0.0, 1.0)
    return edge, share


def build(streets: Streets, edge: Ints, share: Floats) -> Network:
    """The graph with the stops set into the edges that they were snapped to."""
    on = np.flatnonzero(edge != OFF)
    node = np.full(edge.shape, OFF, dtype=np.int64)
    node[on] = streets.nodes + np.arange(on.size)
    count = np.arange(len(streets))
    # Marks along each edge: its tail, the stops on it, its head. Neighbours make the pieces.
    owner = np.concatenate((count, edge[on], count))
    at = np.concatenate((np.zeros(count.size), share[on], np.ones(count.size)))
    mark = np.concatenate((streets.tail, node[on], streets.head))
    kind = np.repeat([0, 1, 2], [count.size, on.size, count.size])
    order = np.lexsort((mark, kind, at, owner))
    owner, at, mark = owner[order], at[order], mark[order]
    joined = owner[:-1] == owner[1:]
    piece = owner[:-1][joined]
    low, high = at[:-1][joined], at[1:][joined]
    tail, head = mark[:-1][joined], mark[1:][joined]
    minutes = np.maximum(streets.minutes[piece] * (high - low), _LEAST_MIN)
    # Stops at one point of a one-way street are reached from one another both ways.
    point = low == high
    ahead, back = streets.forward[piece] | point, streets.backward[piece] | point
    return _graph(
        streets.nodes + on.size,
        node,
        tail=np.concatenate((tail[ahead], head[back])),
        head=np.concatenate((head[ahead], tail[back])),
        minutes=np.concatenate((minutes[ahead], minutes[back])),
        piece=(
            np.concatenate((piece[ahead], piece[back])),
            np.concatenate((low[ahead], high[back])),
            np.concatenate((high[ahead], low[back])),
        ),
    )


def _graph(
    size: int,
    node: Ints,
    *,
    tail: Ints,
    head: Ints,
    minutes: Floats,
    piece: tuple[Ints, Floats, Floats],
) -> Network:
    """The quickest of parallel pieces makes the graph: a sparse array would add them up."""
    key = tail.astype(np.int64) * size + head
    order = np.lexsort((piece[1], piece[0], minutes, key))
    unique, first = np.unique(key[order], return_index=True)
    pick = order[first]
    pick = pick[tail[pick] != head[pick]]
    unique = key[pick]
    graph = scipy.sparse.csr_array((minutes[pick], (tail[pick], head[pick])), shape=(size, size))
    edge, begin, finish = (values[pick] for values in piece)
    return Network(graph, node, unique, edge, begin, finish)


@dataclass(frozen=True, slots=True)
class Lines:
    """The streets' vertices in one array; edge k has the rows from offset k to offset k + 1."""

    vertices: npt.NDArray[np.float64]
    offset: Ints

    @classmethod
    def of(cls, streets: Streets) -> "Lines":
        """The vertices of all edges."""
        counts = shapely.get_num_coordinates(streets.lines)
        offset = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
        return cls(shapely.get_coordinates(streets.lines), offset)

    def part(self, edge: int, begin: float, finish: float) -> npt.NDArray[np.float64]:
        """Vertices of an edge between two shares of its length, in driving order."""
        whole = self.vertices[self.offset[edge] : self.offset[edge + 1]]
        low, high = (begin, finish) if begin <= finish else (finish, begin)
        if (low, high) != (0.0, 1.0):
            steps = np.diff(whole, axis=0)
            along = np.concatenate(([0.0], np.cumsum(np.hypot(steps[:, 0], steps[:, 1]))))
            ends = np.array([low, high]) * along[-1]
            inner = whole[(along > ends[0]) & (along < ends[1])]
            cut = np.column_stack([np.interp(ends, along, whole[:, axis]) for axis in (0, 1)])
            whole = np.vstack((cut[:1], inner, cut[1:]))
        return whole if begin <= finish else whole[::-1]


def driven(network: Network, lines: Lines, nodes: Ints) -> npt.NDArray[np.float64]:
    """Vertices of the way over neighbouring graph nodes, at least two of them."""
    rows = np.searchsorted(network.key, nodes[:-1] * network.size + nodes[1:])
    edge, begin, finish = network.edge[rows], network.begin[rows], network.finish[rows]
    # Stops that are only passed cut no line: pieces that follow on are put together again.
    onward = np.sign(finish - begin)
    turn = (edge[1:] != edge[:-1]) | (begin[1:] != finish[:-1]) | (onward[1:] != onward[:-1])
    first = np.concatenate(([0], np.flatnonzero(turn) + 1))
    last = np.concatenate((first[1:], [rows.size])) - 1
    parts = [
        lines.part(int(edge[a]), float(begin[a]), float(finish[b]))
        for a, b in zip(first.tolist(), last.tolist(), strict=True)
    ]
    return np.vstack([parts[0], *(part[1:] for part in parts[1:])])
