"""Travel times between all stops of a large made-up street network: seconds and memory.

    python tests/benchmarks/travel_matrix.py --side 202 --stops 3000

A square grid, a quarter of its streets one-way, about 145,000 directed edges. The floor is one bare
call of scipy's shortest paths from a few stops over the same graph, in the same call. Memory is the
peak over what the loaded network and its stops take. Run it alone.
"""

import argparse
import resource
import sys
import time
from pathlib import Path

import numpy as np
import shapely
from scipy.sparse import csgraph

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.planning.network import Streets
from pipeline.planning.travel import Reach, StraightLine, Travel

_SPACING = 100.0
_SOURCES = 64
_KIB = 1024


def city(side: int, seed: int) -> Streets:
    """A grid of `side` x `side` junctions; every speed is its own, every fourth street one-way."""
    draw = np.random.Generator(np.random.PCG64(seed))
    number = np.arange(side * side)
    x, y = number % side * _SPACING, number // side * _SPACING
    east, north = number[number % side < side - 1], number[: side * (side - 1)]
    tail, head = np.concatenate((east, north)), np.concatenate((east + 1, north + side))
    ends = np.stack((np.column_stack((x[tail], y[tail])), np.column_stack((x[head], y[head]))), 1)
    speed = draw.integers(20, 60, tail.size).astype(np.float64)
    return Streets(
        nodes=side * side, tail=tail, head=head, minutes=_SPACING / (speed * 1000.0 / 60.0),
        forward=np.ones(tail.size, dtype=bool), backward=draw.random(tail.size) >= 0.25,
        lines=np.asarray(shapely.linestrings(ends), dtype=object),
    )  # fmt: skip


def main() -> None:
    """Measure one matrix."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--side", type=int, default=202)
    parser.add_argument("--stops", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    streets = city(asked.side, asked.seed)
    draw = np.random.Generator(np.random.PCG64(asked.seed + 1))
    x, y = draw.random((2, asked.stops)) * (asked.side - 1) * _SPACING
    started = time.perf_counter()
    travel = Travel(streets, x, y, straight=StraightLine(1.4, 25.0), reach=Reach(_SPACING))
    built = time.perf_counter() - started
    graph, node = travel._network.graph, travel._network.node
    started = time.perf_counter()
    some = csgraph.dijkstra(graph, indices=node[:_SOURCES])[:, node]
    floor = (time.perf_counter() - started) * asked.stops / _SOURCES
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started, spent = time.perf_counter(), time.process_time()
    times = travel.minutes(np.arange(asked.stops))
    seconds, spent = time.perf_counter() - started, time.process_time() - spent
    peak = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / _KIB
    print(f"edges {graph.nnz}, stops {asked.stops}, set into the streets in {built:.1f} s")
    print(f"floor {floor:.1f} s, matrix {seconds:.1f} s ({spent:.1f} s of the processor)")
    print(f"peak {peak:.0f} MiB over the loaded network, {times.nbytes / _KIB**2:.0f} of them it")
    print(f"largest difference {np.abs(times[:_SOURCES] - some).max():.2g} min from the floor")


if __name__ == "__main__":
    main()
