"""How long 680,000 remarks take to read, beside a floor measured in the same run; no test.

The floor R is DuckDB's read of the same CSV column into a table. Remarks repeat in inventories,
which are written from pick lists and habits: by default one remark in fifty is unlike all others.

    python tests/benchmarks/notes.py --remarks 680000 --different 13600

Prints seconds, their multiple of R, and findings. Asked: at most 1 R.
"""

import argparse
import csv
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import pyarrow as pa

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from pipeline.ingest.notes import NoteReader  # noqa: E402 - the script runs alone
from pipeline.published.table import Library  # noqa: E402

SEED = 20261125
ROUNDS = 5
BLAND = (
    "Watering bag fitted", "Grate tight on the flare", "Two stems from 2 m", "next to house {n}",
    "lower limbs raised for trucks", "pruned {n}", "sidewalk lifted {n} cm", "stake loose",
    "Baumscheibe {n} m", "gepflanzt {n}", "Haubanage à vérifier {n}", "junto al portal {n}",
)  # fmt: skip
TELLING = (
    "cavity at base, {n} cm", "no decay seen in {n}", "possible Ganoderma on root flare, tag {n}",
    "dead branch over path {n}", "Stammfäule bis {n} cm", "Brandkrustenpilz am Stammfuß, Seite {n}",
    "keine Risse oder Höhlungen, {n}", "champignon au collet, {n} cm", "pas de cavité, {n}",
    "ramas secas, alcorque {n}", "posible pudrición, {n}", "crack in main fork {n}",
)  # fmt: skip


SYLLABLES = ("lark", "mere", "el", "wood", "stein", "ville", "bach", "ton", "ro", "sa", "mon", "ti")


def remarks(count: int, different: int) -> list[str]:
    """Invented remarks, a third of them telling; the same for the same numbers."""
    draw = random.Random(SEED)  # noqa: S311 - invented texts
    texts = []
    for number in range(different):
        place = "".join(draw.choice(SYLLABLES) for _ in range(3))
        said = draw.choice(TELLING if draw.random() < 1 / 3 else BLAND).format(n=number)
        beside = draw.choice(("", f", {place} {number}", f", {draw.choice(BLAND)} ({place})"))
        texts.append(said + beside.format(n=place))
    return [draw.choice(texts) for _ in range(count)]


def floor(path: Path) -> pa.ChunkedArray:
    """The column as DuckDB reads it."""
    with duckdb.connect() as connection:
        connection.sql(
            "create table t as select * from read_csv(?, header=true, store_rejects=true, "
            "columns={'notes': 'VARCHAR'})", params=[str(path)],
        )  # fmt: skip
        return connection.sql("select notes from t").to_arrow_table()["notes"]


def seconds(run: Callable[[], object]) -> float:
    """Median of some runs."""
    taken = []
    for _ in range(ROUNDS):
        started = time.perf_counter()
        run()
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--remarks", type=int, default=680_000)
    parser.add_argument("--different", type=int, default=13_600)
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "notes.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(["notes"])
            writer.writerows([text] for text in remarks(told.remarks, told.different))
        least = seconds(lambda: floor(path))
        column = floor(path)
    library = Library()
    taken = seconds(lambda: NoteReader(library).read(column))
    found = NoteReader(library).read(column)
    print(
        f"{told.remarks:,} remarks, {found.different:,} different: floor R {least:.3f} s, "
        f"read {taken:.3f} s = {taken / least:.2f} R, {found.table.num_rows:,} findings"
    )


if __name__ == "__main__":
    main()
