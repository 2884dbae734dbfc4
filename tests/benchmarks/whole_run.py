"""How long a whole run takes beside a floor measured in the same run; not part of the tests.

The inventory given is repeated, shifted to the east, until it has the wanted number of trees. The
floor R is DuckDB's own typed read of that file with rejects kept, into a table: no pipeline that
reads the file with care can be faster.

    python tests/benchmarks/whole_run.py PART.csv.gz ... --columns san_francisco_trees \
        --trees 680000 --trees 5000000

Prints seconds, multiples of R, peak memory, and bytes of the map page a tree. Memory is what
all processes of a run hold together, pages that they share counted twice, looked at every 50 ms;
Linux only.
"""

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import duckdb

ROOT = Path(__file__).resolve().parent.parent.parent
SHIFT_DEG = 0.15
MIB = 1024 * 1024
LOOK_S = 0.05

FLOOR = """
import sys, time, duckdb
started = time.perf_counter()
with duckdb.connect() as c:
    c.execute("create table t as select * from read_csv(?, header=true, store_rejects=true, "
              "types={'TreeID': 'BIGINT', 'DBH': 'DOUBLE', 'Latitude': 'DOUBLE', "
              "'Longitude': 'DOUBLE'})", [sys.argv[1]])
print(time.perf_counter() - started)
"""

CITY = """
as_of = 2026-11-15
quarter = "2027Q1"
data = "."
[city]
name = "Benchmark"
[[inputs.trees]]
files = ["trees.csv"]
columns = "{columns}"
[[depots]]
name = "Yard"
longitude = {longitude}
latitude = {latitude}
[[crews]]
id = "Inspectors"
type = "inspect"
depot = "Yard"
"""


def main() -> None:
    """Measure each size and print its line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("parts", nargs="+", type=Path, help="CSV files of one inventory")
    parser.add_argument("--columns", default="san_francisco_trees", help="column map")
    parser.add_argument("--trees", action="append", type=int, help="sizes; default 680000")
    parser.add_argument("--repeat", type=int, default=3, help="runs of each; the median is shown")
    given = parser.parse_args()
    print(
        f"{'trees':>9} {'R s':>6} {'ingest+scoring':>20} {'whole run':>20} {'peak MiB':>9} B/tree"
    )
    seconds = []
    for size in given.trees or [680_000]:
        with tempfile.TemporaryDirectory() as folder:
            seconds.append((size, _measure(given, size, Path(folder))))
    if len(seconds) > 1:
        (small, first), (large, last) = seconds[0], seconds[-1]
        print(f"growth: {large / small:.2f} x the trees take {last / first:.2f} x the time")


def _measure(given: argparse.Namespace, size: int, folder: Path) -> float:
    longitude, latitude = _make(given.parts, size, folder / "trees.csv")
    settings = folder / "city.toml"
    settings.write_text(
        CITY.format(columns=given.columns, longitude=longitude, latitude=latitude),
        encoding="utf-8",
    )
    floor, whole, stages, peak = [], [], [], 0.0
    out, timings = folder, dict[str, float]()
    for number in range(given.repeat):
        floor.append(float(_child("-c", FLOOR, str(folder / "trees.csv")).stdout))
        out = folder / f"run{number}"
        started = time.perf_counter()
        peak = max(peak, _watched("-m", "pipeline", "run", str(settings), "--out", str(out)))
        whole.append(time.perf_counter() - started)
        timings = json.loads((out / "timings.json").read_text(encoding="utf-8"))["seconds"]
        stages.append(timings["ingest"] + timings["scoring"])
    page = (out / "forester_map.html").stat().st_size
    r, s, w = (statistics.median(values) for values in (floor, stages, whole))
    print(
        f"{size:>9,} {r:>6.3f} {s:>9.2f} s = {s / r:>5.1f} R {w:>9.2f} s = {w / r:>5.1f} R "
        f"{peak:>9.0f} {page / size:.1f}  {json.dumps(timings)}"
    )
    return float(w)


def _make(parts: list[Path], size: int, target: Path) -> tuple[float, float]:
    """Write the repeated inventory; return the middle of the first copy."""
    with duckdb.connect() as connection:
        names = [str(part) for part in parts]
        connection.execute("create table t as select * from read_csv(?, header=true)", [names])
        count, longitude, latitude = connection.execute(
            "select count(*), median(Longitude), median(Latitude) from t"
        ).fetchone() or (0, 0.0, 0.0)
        copies = -(-size // count)
        connection.execute(
            f"""
            copy (
              select t.* replace (
                TreeID + n * 10000000 as TreeID, round(Longitude + n * {SHIFT_DEG}, 6) as Longitude
              )
              from range({copies}) r(n), t order by n, TreeID limit {size}
            ) to '{target}' (header, delimiter ',')
            """
        )
    return longitude, latitude


def _watched(*arguments: str) -> float:
    """Run to the end; return the most memory [MiB] that the process and its children held.

    Raises
    ------
    subprocess.CalledProcessError
        If the run fails.
    """
    environment = _environment()
    peak = 0.0
    with subprocess.Popen(
        [sys.executable, *arguments], env=environment, cwd=ROOT, stdout=subprocess.DEVNULL
    ) as process:
        while process.poll() is None:
            peak = max(peak, _held(process.pid))
            time.sleep(LOOK_S)
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, process.args)
    return peak


def _environment() -> dict[str, str]:
    """Our own, but modules are kept compiled, as those of an installed program are."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPATH": str(ROOT)}


def _held(pid: int) -> float:
    folder = Path("/proc") / str(pid)
    try:
        pages = int((folder / "statm").read_text(encoding="ascii").split()[1])
        children = (folder / "task" / str(pid) / "children").read_text(encoding="ascii")
    except OSError:  # it has just ended
        return 0.0
    own = pages * resource.getpagesize() / MIB
    return own + sum(_held(int(child)) for child in children.split())


def _child(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments],
        check=True,
        capture_output=True,
        text=True,
        env=_environment(),
        cwd=ROOT,
    )


if __name__ == "__main__":
    main()
