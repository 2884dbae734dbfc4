"""How large a list of jobs is planned in what time: gap, seconds, late trees, greedy's figures.

    python tests/benchmarks/selection_size.py --jobs 50000 --seed 1
    python tests/benchmarks/selection_size.py --jobs 5000 --seed 1 --weeks 13 --quarters 3

The floor is the greedy plan of the same list, measured in the same call. Run it alone.
"""

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.planning.selection.choose import select
from pipeline.planning.selection.instance import in_order
from pipeline.planning.selection.search import Effort, fallback, table_of
from tests.planning.made_up import instance


def main() -> None:
    """Measure one list."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=50_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--weeks", type=int, default=0)
    parser.add_argument("--quarters", type=int, default=4)
    asked = parser.parse_args()
    given = instance(asked.jobs, asked.seed, weeks=asked.weeks, quarters=asked.quarters)
    rating = np.random.Generator(np.random.PCG64(asked.seed)).integers(0, 5, asked.jobs)
    started = time.perf_counter()
    fallback(table_of(replace(given, demand=in_order(given.demand)[0])))
    floor = time.perf_counter() - started
    started = time.perf_counter()
    found = select(given, rating, Effort())
    seconds = time.perf_counter() - started
    print(f"jobs {asked.jobs}, columns {len(found.table.columns)}, {found.how}")
    print(f"seconds {seconds:.1f}, greedy alone {floor:.1f}")
    print(f"gap of harm avoided {found.gap:.4%}, by prices alone")
    print(f"late days {found.score.late:.0f}, no plan below {found.least_late:.0f}")
    for name, one in (("plan", found.score), ("greedy", found.greedy), ("habit", found.habit)):
        share = one.harm / found.score.harm
        print(
            f"{name}: late jobs {one.late_jobs}, late days {one.late:.0f}, harm avoided {share:.4f}"
        )


if __name__ == "__main__":
    main()
