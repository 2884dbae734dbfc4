"""How long it takes to find who is under trees, and in which directions, beside a floor.

The floor is one plain call of the geometry engine's index for the same pairs: STRtree.query with
'dwithin'. Beside it the screening pass of all trees (pairs and a mask of 60 directions), and the
exact arcs of the first trees. Not part of the tests.

    python tests/benchmarks/fall_directions.py --trees 680000 --targets 86500
    python tests/benchmarks/fall_directions.py TREES.parquet ZONES.parquet --trees 100000

Without files a city is made up: streets as lines, houses and grounds along them. With files, the
tables of a finished run (tables/ingest) are read, and repeated side by side up to --trees. Prints
seconds, medians of interleaved runs, and how far the masks are from the exact shares.
"""

import argparse
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np
import pyarrow.parquet as pq
import shapely
import shapely.affinity

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from pipeline.geo.shapes import from_wkb  # noqa: E402 - the script runs alone
from pipeline.published.table import Library  # noqa: E402
from pipeline.scoring.impact.arcs import direction_shares, mask_shares  # noqa: E402
from pipeline.scoring.impact.falling import any_way  # noqa: E402
from pipeline.scoring.impact.outlines import Shapes, outlines  # noqa: E402
from pipeline.scoring.impact.reach import pairs_within, widened  # noqa: E402
from pipeline.scoring.parameters.targets import target_parameters  # noqa: E402
from pipeline.units import Floats  # noqa: E402

SIDE_M, STREET_M, OFF_M = 20_000.0, 90.0, 6.0
HEIGHT_M, SPREAD_M, LEAST_M, MOST_M = 11.0, 4.0, 3.0, 35.0
T = TypeVar("T")


def main() -> None:
    """Measure and print.

    Raises
    ------
    SystemExit
        If both do not find the same pairs.
    """
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", nargs="*", type=Path, help="trees.parquet and zones.parquet")
    parser.add_argument("--trees", type=int, default=680_000)
    parser.add_argument("--targets", type=int, default=86_500)
    parser.add_argument("--exact", type=int, default=100_000, help="trees of the exact pass")
    parser.add_argument("--repeat", type=int, default=5)
    given = parser.parse_args()
    if given.files:
        x, y, reach, shapes = _of_run(*given.files, wanted=given.trees)
    else:
        x, y, reach, shapes = _city(given.trees, given.targets)
    few = slice(0, given.exact)
    floor, own, exact, pairs, error = [], [], [], 0, 0.0
    for _ in range(given.repeat):
        seconds, hits = _timed(
            lambda: shapely.STRtree(shapes).query(
                shapely.points(x, y), predicate="dwithin", distance=reach
            )
        )
        floor.append(seconds)
        pairs = hits.shape[1]
        targets = outlines(shapes)
        seconds, found = _timed(
            lambda: pairs_within(x, y, reach, outlines(shapes), with_masks=True)
        )
        own.append(seconds)
        if len(found.tree) != pairs:
            message = f"{len(found.tree):,} pairs, the plain call finds {pairs:,}"
            raise SystemExit(message)
        near = pairs_within(x[few], y[few], reach[few], targets)
        at, stem = near.tree, np.zeros(len(near.tree))
        seconds, (_, share) = _timed(
            lambda near=near, at=at, stem=stem, targets=targets: direction_shares(  # type: ignore[misc]
                targets, near.zone, (x[at], y[at]), reach[at], stem, falls=any_way(len(at))
            )
        )
        exact.append(seconds / max(len(at), 1))
        masked = mask_shares(found.bits[: len(at)])
        error = float(np.abs(masked - share).mean()) if len(at) else 0.0
    f, o, e = (statistics.median(values) for values in (floor, own, exact))
    print(f"{len(x):,} trees, {len(shapes):,} targets, {pairs:,} pairs")
    print(f"floor, plain STRtree dwithin   {f:6.3f} s")
    print(f"screening, pairs and masks     {o:6.3f} s = {o / f:4.2f} x (asked: at most 1.5)")
    print(f"exact arcs, after the pairs    {1e6 * e:6.2f} us a pair; for all {e * pairs / f:.2f} x")
    print(f"mean error of the masks        {error:.4f} of the circle (asked: at most 0.01)")


def _city(trees: int, targets: int) -> tuple[Floats, Floats, Floats, Shapes]:
    """Trees along a grid of streets; half the targets streets, the rest houses and grounds."""
    random = np.random.default_rng(20261126)
    along = random.uniform(0, SIDE_M, trees)
    street = random.integers(0, int(SIDE_M / STREET_M), trees) * STREET_M
    street = street + random.choice([-OFF_M, OFF_M], trees)
    turned = random.random(trees) < 0.5
    x, y = np.where(turned, street, along), np.where(turned, along, street)
    reach = np.clip(random.normal(HEIGHT_M, SPREAD_M, trees), LEAST_M, MOST_M)
    roads = targets // 2
    at = random.integers(0, int(SIDE_M / STREET_M), roads) * STREET_M
    steps = np.linspace(0.0, STREET_M, 5)
    run = random.uniform(0, SIDE_M, roads)[:, None] + steps
    turned = (random.random(roads) < 0.5)[:, None]
    line = (
        np.where(turned, at[:, None] + 0 * steps, run),
        np.where(turned, run, at[:, None] + 0 * steps),
    )
    count = targets - roads
    middle = random.integers(0, int(SIDE_M / STREET_M), count) * STREET_M + 22.0
    beside = random.uniform(0, SIDE_M, count)
    swapped = random.random(count) < 0.5
    west, south = np.where(swapped, middle, beside), np.where(swapped, beside, middle)
    size = random.uniform(8.0, 30.0, (2, count))
    boxes = shapely.box(west, south, west + size[0], south + size[1])
    shapes = np.concatenate([shapely.linestrings(np.stack(line, axis=-1)), boxes])
    return x, y, reach, np.asarray(shapes, dtype=object)


def _of_run(trees: Path, zones: Path, *, wanted: int) -> tuple[Floats, Floats, Floats, Shapes]:
    """Trees and targets of a run, repeated beside each other until there are enough trees."""
    table = pq.read_table(trees, columns=["x_m", "y_m", "height_m"])
    x, y, height = (table[name].to_numpy() for name in ("x_m", "y_m", "height_m"))
    reach = np.where(np.isnan(height) | (height <= 0), HEIGHT_M, height)
    values = target_parameters(Library()).reach
    shapes = widened(
        from_wkb(pq.read_table(zones, columns=["geometry"])["geometry"].to_numpy()), values=values
    )
    copies = max(1, -(-wanted // max(len(x), 1)))
    wide = float(np.ptp(x)) + 1000.0
    x = np.concatenate([x + n * wide for n in range(copies)])[:wanted]
    y, reach = np.tile(y, copies)[:wanted], np.tile(reach, copies)[:wanted]
    moved = [
        np.asarray(shapely.affinity.translate(one, n * wide), dtype=object)
        for n in range(copies)
        for one in shapes
    ]
    return x, y, reach, np.stack(moved)


def _timed(work: Callable[[], T]) -> tuple[float, T]:
    started = time.perf_counter()
    found = work()
    return time.perf_counter() - started, found


if __name__ == "__main__":
    main()
