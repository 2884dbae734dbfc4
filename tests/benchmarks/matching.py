"""How long it takes to find the candidate trees of sightings, beside a floor of the same run.

The floor is one SQL statement of DuckDB: sightings joined to trees by cells and distance, with the
weight of each pair. The trees are drawn at random along streets of a made-up city, so that there
are as many trees about a sighting as in a real one. Not part of the tests.

    python tests/benchmarks/matching.py --trees 680000 --sightings 100000

Prints seconds, medians of interleaved runs: the floor, the candidates of ingest, and the joint
posterior of scoring over tree and fungus.
"""

import argparse
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import duckdb
import numpy as np
import pyarrow as pa

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from pipeline.ingest.matching import ACCURACY_PER_SIGMA, Candidates, candidates  # noqa: E402 - the script runs alone
from pipeline.published.table import Library  # noqa: E402
from pipeline.scoring.identification.evidence import Evidence  # noqa: E402
from pipeline.scoring.identification.trees import CandidateTrees, HostTold, batches  # noqa: E402
from pipeline.scoring.parameters.identification import identification_parameters  # noqa: E402
from pipeline.scoring.parameters.which_tree import which_tree_parameters  # noqa: E402
from pipeline.units import Floats  # noqa: E402

CAP_M, INVENTORY_M, CELL_M = 60.0, 3.0, 48.0
SIDE_M, STREET_M, OFF_M = 20_000.0, 90.0, 6.0
T = TypeVar("T")
SQL = f"""
with t as (select tree, x, y, floor(x / {CELL_M})::int cx, floor(y / {CELL_M})::int cy from trees),
s as (select *, least({CAP_M}, 3 * sqrt(accuracy ** 2 + {INVENTORY_M} ** 2)) reach,
      (accuracy ** 2 + {INVENTORY_M} ** 2) / {ACCURACY_PER_SIGMA**2} variance from sightings),
b as (select *, floor((x - reach) / {CELL_M})::int west, floor((x + reach) / {CELL_M})::int east,
      floor((y - reach) / {CELL_M})::int south, floor((y + reach) / {CELL_M})::int north from s),
c as (select b.*, cx, cy from b, unnest(range(west, east + 1)) i(cx),
      unnest(range(south, north + 1)) j(cy))
select sighting, tree, sqrt((t.x - c.x) ** 2 + (t.y - c.y) ** 2) distance,
       exp(-((t.x - c.x) ** 2 + (t.y - c.y) ** 2) / 2 / variance) / variance weight
from c join t using (cx, cy)
where (t.x - c.x) ** 2 + (t.y - c.y) ** 2 <= reach ** 2
"""


def main() -> None:
    """Measure and print.

    Raises
    ------
    SystemExit
        If both do not find the same pairs.
    """
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trees", type=int, default=680_000)
    parser.add_argument("--sightings", type=int, default=100_000)
    parser.add_argument("--repeat", type=int, default=5)
    given = parser.parse_args()
    trees, places, accuracy = _city(given.trees, given.sightings)
    floor, own, joint, pairs = [], [], [], 0
    posterior = _posterior(len(places), len(trees))
    for _ in range(given.repeat):
        seconds, pairs = _floor(trees, places, accuracy)
        floor.append(seconds)
        seconds, found = _timed(lambda: _candidates(trees, places, accuracy))
        own.append(seconds)
        listed = int((found.tree >= 0).sum())
        if listed != pairs:
            message = f"{listed:,} pairs, DuckDB finds {pairs:,}"
            raise SystemExit(message)
        seconds, _ = _timed(lambda found=found: posterior(found))  # type: ignore[misc]
        joint.append(seconds)
    f, o, j = (statistics.median(values) for values in (floor, own, joint))
    print(f"{given.sightings:,} sightings, {given.trees:,} trees, {pairs:,} pairs")
    print(f"floor, DuckDB cell join        {f:6.3f} s")
    print(
        f"candidates of ingest           {o:6.3f} s = {o / f:4.2f} x the floor (asked: at most 2)"
    )
    print(f"joint posterior of scoring     {j:6.3f} s = {j / f:4.2f} x the floor")


def _city(trees: int, sightings: int) -> tuple[Floats, Floats, Floats]:
    """Trees along a grid of streets; sightings near some of them, with an error of 3 to 80 m."""
    random = np.random.default_rng(20261125)
    along = random.uniform(0, SIDE_M, trees)
    street = random.integers(0, int(SIDE_M / STREET_M), trees) * STREET_M
    street = street + random.choice([-OFF_M, OFF_M], trees)
    turned = random.random(trees) < 0.5
    places = np.column_stack([np.where(turned, street, along), np.where(turned, along, street)])
    accuracy = random.choice([3.0, 5.0, 10.0, 15.0, 30.0, 80.0], sightings)
    seen = places[random.integers(0, trees, sightings)]
    seen = seen + random.normal(size=seen.shape) * accuracy[:, None] / ACCURACY_PER_SIGMA
    return places, seen, accuracy


def _floor(trees: Floats, places: Floats, accuracy: Floats) -> tuple[float, int]:
    kept = accuracy <= CAP_M
    with duckdb.connect() as connection:
        connection.register("given_trees", pa.table(
            {"tree": np.arange(len(trees)), "x": trees[:, 0], "y": trees[:, 1]}
        ))  # fmt: skip
        connection.register("given_sightings", pa.table({
            "sighting": np.flatnonzero(kept), "x": places[kept, 0], "y": places[kept, 1],
            "accuracy": accuracy[kept],
        }))  # fmt: skip
        connection.execute("create table trees as select * from given_trees")
        connection.execute("create table sightings as select * from given_sightings")
        seconds, found = _timed(lambda: connection.sql(SQL).to_arrow_table())
    return seconds, found.num_rows


def _candidates(trees: Floats, places: Floats, accuracy: Floats) -> Candidates:
    return candidates(places, accuracy, trees, cap_m=CAP_M, inventory_error_m=INVENTORY_M,
                      unlisted_per_listed=1.0)  # fmt: skip


def _posterior(sightings: int, trees: int) -> Callable[[Candidates], int]:
    """The joint posterior with each sighting another evidence: names and hosts at random."""
    random = np.random.default_rng(7)
    library = Library()
    ident = identification_parameters(library)
    which = which_tree_parameters(
        library, attach_at=0.9, cap_m=CAP_M, inventory_error_m=INVENTORY_M
    )
    key, hosts = ident.key, random.integers(-1, len(ident.genera), trees)
    evidence = Evidence(
        seen=np.zeros((sightings, key.vocabulary.size), np.bool_),
        region=np.zeros(sightings, np.int64),
        name=random.integers(-1, len(key.taxon_id), sightings),
        meanings=np.eye(len(key.taxon_id)),
        name_by=random.integers(0, len(key.names.name_by), sightings),
        certainty=np.full(sightings, np.nan),
    )
    told = HostTold(random.integers(-1, len(ident.genera), sightings),
                    np.zeros(sightings, np.bool_))  # fmt: skip

    def measure(found: Candidates) -> int:
        host = np.where(found.tree >= 0, hosts[found.tree], -1)
        rows = CandidateTrees(
            sighting=found.sighting, tree=found.tree, weight=found.weight,
            named=np.zeros(len(host), np.bool_), host=host,
            agrees=(host >= 0) & (host == told.host[found.sighting]),
        )  # fmt: skip
        parts = batches(evidence, told, rows, key, which.errors, trees=trees)
        return sum(len(probability) for *_, probability in parts)

    return measure


def _timed(work: Callable[[], T]) -> tuple[float, T]:
    started = time.perf_counter()
    found = work()
    return time.perf_counter() - started, found


if __name__ == "__main__":
    main()
