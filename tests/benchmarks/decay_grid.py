"""How fast grids of decay are made, beside numpy's multiply-add on as many cells; not a test.

Rows are parts of trees drawn at random, each with its prior; 3 in 100 have a fruiting body that may
be of three classes, and 3 in 100 a reading. The floor is one `a * b + c` over the same cells, in
the same blocks and the same precision, measured between the runs: nobody who touches every cell can
do with less.

    python tests/benchmarks/decay_grid.py
    python tests/benchmarks/decay_grid.py --rows 2000000 --repeat 5 --evidence 0

Prints rows a second of the prior's grids, of grids that each meet a likelihood (multiply and
normalise), of all with the evidence, and of the evidence alone, with multiples of the floor; and
the peak memory of a process that does nothing else.
"""

import argparse
import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from pipeline.published.table import Library  # noqa: E402 - the script runs alone
from pipeline.scoring.decay import grid as grids  # noqa: E402
from pipeline.scoring.decay.instruments import Instrument, Readings  # noqa: E402
from pipeline.scoring.decay.prior import CONDITIONS, HOSTS, bodies, nothing_decayed, priors  # noqa: E402
from pipeline.scoring.decay.update import (  # noqa: E402
    DecayLaw,
    FungusRows,
    PartRows,
    multiply,
    no_fungus,
    no_readings,
    posteriors,
)
from pipeline.scoring.parameters.decay import decay_parameters  # noqa: E402
from pipeline.terms import Part  # noqa: E402

BLOCK = 4096
KIB_PER_MIB = 1024
ASKED_ROWS_PER_S = 500_000
ASKED_FLOORS = 3


def main() -> None:
    """Draw the parts, measure, and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=680_000)
    parser.add_argument(
        "--evidence", type=float, default=0.03, help="share with body, with reading"
    )
    parser.add_argument("--repeat", type=int, default=3, help="the median is shown")
    parser.add_argument("--memory", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    law = decay_parameters(Library()).law
    parts, fungus, readings = _drawn(given.rows, given.evidence, law)
    if given.memory:
        _all(parts, fungus, readings, law)
        print(json.dumps(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KIB_PER_MIB))
        return
    work = {
        "floor, a * b + c": lambda: _floor(given.rows, law),
        "prior, grids": lambda: _all(parts, no_fungus(), no_readings(), law),
        "prior times a likelihood, normalised": lambda: _multiplied(parts, law),
        "with mean and serious share": lambda: _multiplied(parts, law, told=True),
        "all, with the evidence": lambda: _all(parts, fungus, readings, law),
    }
    took: dict[str, list[float]] = {name: [] for name in work}
    for _ in range(given.repeat):
        for name, one in work.items():
            took[name].append(_seconds(one))
    middle = {name: statistics.median(times) for name, times in took.items()}
    floor = next(iter(middle.values()))
    print(f"{given.rows:,} rows of {law.grid.cells + 1} cells, single precision")
    for name, seconds in middle.items():
        print(
            f"{name:<40} {seconds:7.3f} s {given.rows / seconds / 1e6:7.2f} M rows/s"
            f" {seconds / floor:6.2f} floors"
        )
    told = np.union1d(fungus.row, readings.row).size
    more = middle["all, with the evidence"] - middle["prior, grids"]
    if told:
        print(f"{told:,} rows of evidence: {told / more:,.0f} rows/s")
    print(f"asked: {ASKED_ROWS_PER_S:,} rows/s, or at most {ASKED_FLOORS} floors")
    argv = [sys.executable, __file__, "--memory", "--rows", str(given.rows)]
    peak = subprocess.run(
        [*argv, "--evidence", str(given.evidence)], check=True, capture_output=True
    )
    print(f"peak memory {json.loads(peak.stdout):.0f} MiB")


def _seconds(one: Callable[[], object]) -> float:
    start = time.perf_counter()
    one()
    return time.perf_counter() - start


def _drawn(rows: int, evidence: float, law: DecayLaw) -> tuple[PartRows, FungusRows, Readings]:
    rng = np.random.default_rng(20260601)
    parts = PartRows(
        rng.integers(0, len(Part), rows).astype(np.int8),
        rng.lognormal(3.6, 0.5, rows) + 3.0,
        rng.integers(0, len(CONDITIONS), rows),
        rng.integers(0, len(HOSTS), rows),
    )
    told = np.sort(rng.choice(rows, int(evidence * rows), replace=False))
    kinds = np.where((parts.part[told] == Part.ROOTS)[:, None], law.roots.kinds, law.spread.kinds)
    layers = rng.integers(1, 12, told.size).astype(np.float64)
    layers[rng.random(told.size) < 0.7] = np.nan
    fungus = FungusRows(
        np.repeat(told, 3),
        np.repeat(told, 3),
        (rng.random((told.size, 3)) * kinds).astype(np.int64).ravel(),
        rng.integers(0, 3, 3 * told.size),
        np.full(3 * told.size, 0.3),
        np.repeat(layers, 3),
    )
    read = rng.choice(rows, int(evidence * rows))
    drilled = rng.random(read.size) < 0.5
    readings = Readings(
        read,
        np.where(drilled, Instrument.DRILL, Instrument.VISUAL).astype(np.int8),
        np.where(drilled, parts.diameter_cm[read] / 2, 1.0) * rng.random(read.size),
        parts.diameter_cm[read],
        np.full(read.size, np.nan),
        np.zeros(read.size, dtype=np.int64),
    )
    return parts, fungus, readings


def _floor(rows: int, law: DecayLaw) -> None:
    shape = (BLOCK, law.grid.cells + 1)
    a, b = np.full(shape, 0.5, np.float32), np.full(shape, 2.0, np.float32)
    c = np.full(shape, 0.1, np.float32)
    for _ in range(0, rows, BLOCK):
        _ = a * b + c


def _multiplied(parts: PartRows, law: DecayLaw, *, told: bool = False) -> None:
    given_decay = bodies(law.grid, law.prior).astype(np.float32)
    likelihood = np.linspace(1, 0.1, law.grid.cells + 1, dtype=np.float32)[None, :]
    none = nothing_decayed(
        parts.part.astype(np.int64), parts.diameter_cm, parts.condition, law.prior
    )
    for start in range(0, len(parts), BLOCK):
        rows = slice(start, start + BLOCK)
        masses = multiply(priors(none[rows], parts.host[rows], given_decay), likelihood)
        if told:
            grids.means(masses, law.grid)
            grids.mass_above(masses, law.grid, law.grid.serious_above)


def _all(parts: PartRows, fungus: FungusRows, readings: Readings, law: DecayLaw) -> None:
    for _ in posteriors(parts, fungus, readings, law, rows_at_once=BLOCK):
        pass


if __name__ == "__main__":
    main()
