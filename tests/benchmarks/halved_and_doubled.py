"""How many trees change their rating when a number that people judged is halved or doubled.

Not part of the tests. Every row with the basis 'elicited' of the tables below is halved and doubled
alone, a city is rated again each time, and the rows that move most ratings are printed. A share is
doubled to 1 at most. A tree that is only newly assessed, or no more, because its round of
inspection changed, is not counted. Words and matrices are no numbers, and a number that moves harm
alone (as in consequence_harm or storm_presence) changes no rating: such rows are left out.

    python tests/benchmarks/halved_and_doubled.py RUN config/larkmere.toml --most 10

RUN is a finished run of the same city: its tables of ingest are read.
"""

import argparse
import shutil
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from pipeline.errors import PipelineError  # noqa: E402 - the script runs alone
from pipeline.progress import Silent  # noqa: E402
from pipeline.published.table import Library  # noqa: E402
from pipeline.scoring import stage  # noqa: E402
from pipeline.settings.load import load  # noqa: E402
from pipeline.settings.model import RunSettings  # noqa: E402
from pipeline.tables.store import RunStore  # noqa: E402
from pipeline.units import Words  # noqa: E402
from tests.scoring.changed import Change, changed_library  # noqa: E402

# Table and the columns that mean one number; all of a row's columns move together.
TABLES: dict[str, tuple[str, ...]] = {
    "wind_load": ("value",),
    "fragility": ("value",),
    "branch_rate": ("value",),
    "decay_spread": ("rate_cm_per_year",),
    "decay_prior": ("value",),
    "weak_zone": ("value",),
    "thin_shell": ("value",),
    "anchorage": ("value",),
    "failure_probability_words": ("from_per_year", "from_3_years", "median_from_per_year"),
    "occupancy_limits": ("number_from",),
    "part_defaults": ("value",),
    "movement": ("value",),
    "targets": ("stay_min",),
    "assumed_targets": ("direction_share",),
    "fall_directions": ("resultant",),
    "name_certainty": ("certainty_cap_share",),
}
SHARES = ("certainty_cap_share", "direction_share", "resultant")
NOT_NUMBERS = ("grid_from", "grid_to", "grid_step", "grid_rarest")  # fineness, not judgement


def main() -> None:
    """Rate, count, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("run", type=Path, help="a finished run of the city")
    parser.add_argument("city", type=Path, help="its settings")
    parser.add_argument("--most", type=int, default=10, help="rows to print")
    parser.add_argument("--only", nargs="*", default=list(TABLES), help="tables to try")
    given = parser.parse_args()
    settings = load(given.city)
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(given.run / "tables" / "ingest", Path(folder) / "tables" / "ingest")
        store = RunStore(Path(folder))
        base = _ratings(settings, store, ())
        found = []
        for name in given.only:
            for number, row in enumerate(Library().table(name).rows):
                if row["basis"] == "elicited" and row.get("quantity") not in NOT_NUMBERS:
                    found.append(_tried(settings, store, base, name, number))
    told = [line for line in found if line]
    told.sort(key=lambda line: (-max(line[1], line[3]), -line[1] - line[3], line[0]))
    print(f"{(base > 0).sum():,} rated trees with a word, {len(told)} numbers tried")
    print("| number | halved: up | down | doubled: up | down |\n|---|---|---|---|---|")
    for label, _, half, _, double in told[: given.most]:
        print(f"| {label} | {half} | {double} |")


Line = tuple[str, int, str, int, str]


def _tried(
    settings: RunSettings, store: RunStore, base: Words, name: str, number: int
) -> Line | None:
    """Label of a row, and how many trees change when it is halved and when it is doubled."""
    row = Library().table(name).rows[number]
    columns = [column for column in TABLES[name] if row[column] and float(row[column]) != 0]
    if not columns:
        return None
    before = list(row).index(columns[0])
    keys = [text for text in list(row.values())[:before] if text and not _is_number(text)]
    label = f"{name}: {', '.join(keys)} = {row[columns[0]]}"
    said: list[tuple[int, str]] = []
    for factor in (0.5, 2.0):
        changes = [
            (name, number, column, f"{_changed(row, column, factor):.9g}") for column in columns
        ]
        try:
            now = _ratings(settings, store, changes)
        except PipelineError as fault:
            print(f"{label} x {factor:g} is refused: {fault.found}", file=sys.stderr)
            said.append((0, "refused | refused"))
            continue
        both = (now > 0) & (base > 0)
        up, down = int((both & (now > base)).sum()), int((both & (now < base)).sum())
        said.append((up + down, f"{up} | {down}"))
    print(f"{label}: {said}", file=sys.stderr, flush=True)
    return (label, *said[0], *said[1])


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).isdigit()


def _changed(row: Mapping[str, str], column: str, factor: float) -> float:
    value = float(row[column]) * factor
    share = column in SHARES or row.get("unit", "").startswith("share")  # never over 1
    return min(value, 1.0) if share else value


def _ratings(settings: RunSettings, store: RunStore, changes: list[Change] | tuple[()]) -> Words:
    """Rating word of every tree, with some cells changed."""
    stage.run(settings, store, changed_library(*changes), Silent())
    (found,) = [store.query("select rating from scoring.tree_ratings order by tree_key")["rating"]]
    return np.asarray(found.to_numpy())


if __name__ == "__main__":
    main()
