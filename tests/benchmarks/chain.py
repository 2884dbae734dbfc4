"""How long it takes from the files to every tree's rating where some trees have evidence; no test.

The inventory given is repeated as in `whole_run`. A share of its trees gets made-up evidence: half
of these a fruiting body (a quarter of them by its place alone), three in ten a defect, two in ten
readings at three azimuths. The floor R is DuckDB's own typed read of the inventory, in the same
call; ingest and scoring are run alone in a process that is watched, so planning and pages, which
`whole_run` shows, count neither in time nor in memory.

    python tests/benchmarks/chain.py PART.csv.gz ...
    python tests/benchmarks/chain.py PART.csv.gz ... --evidence 0 --trees 2000000

Prints seconds, multiples of R, peak memory, and the trees that each kind of evidence reached. Asked
of 680,000 trees with 3 % evidence: at most 20 R and 1.5 GB.
"""

import argparse
import json
import statistics
import sys
import tempfile
from pathlib import Path

import duckdb

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from tests.benchmarks.whole_run import CITY, FLOOR, _child, _make, _watched  # noqa: E402 - alone

ASKED_FLOORS = 20
ASKED_MIB = 1_430  # 1.5 GB
# Every tree with evidence has a place among a hundred: bodies, then defects, then readings.
BODIES, DEFECTS = 50, 80

INPUTS = """
[[inputs.sightings]]
files = ["sightings.csv"]
[[inputs.inspections]]
files = ["inspections.csv"]
"""

CHAIN = """
import json, sys, time
from pathlib import Path
from pipeline.ingest import stage as ingest
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.scoring import stage as scoring
from pipeline.settings.load import load
from pipeline.tables.store import RunStore
settings, out = load(Path(sys.argv[1])), Path(sys.argv[2])
store, told = RunStore(out), {}
for stage in (ingest, scoring):
    started = time.perf_counter()
    stage.run(settings, store, Library(), Silent())
    told[stage.__name__.split(".")[1]] = time.perf_counter() - started
told["reached"] = store.query('''
    select (select count(*) from ingest.sightings) as bodies,
           (select count(*) from ingest.defects) as defects,
           (select count(*) from ingest.readings) as readings,
           (select count(*) from scoring.tree_ratings where evidence) as trees
''').to_pylist()[0]
Path(sys.argv[3]).write_text(json.dumps(told), encoding="utf-8")
"""

CHOSEN = """
create table chosen as
select TreeID::varchar as tree_id, Longitude as longitude, Latitude as latitude,
       2.54 * DBH as dbh_cm, (hash(TreeID, 1) % 100)::int as place,
       (hash(TreeID, 2) % 1000)::int as pick
from read_csv(?, header = true) where DBH > 2
order by hash(TreeID) limit ?
"""

SIGHTINGS = f"""
copy (
  select 'F' || tree_id as sighting_id, if(pick % 4 = 0, null, tree_id) as tree_id, longitude,
         latitude, 3 as accuracy_m, date '2026-10-01' - pick % 400 as seen_on,
         [null, 'Ganoderma applanatum', 'Laetiporus sulphureus', 'Armillaria mellea',
          'Kretzschmaria deusta', 'Pholiota squarrosa', 'Ganoderma', 'Fomes fomentarius',
          'Trametes versicolor', null][1 + pick % 10] as name,
         0.9 as name_certainty, 'trained_inspector' as name_by, 'attached' as attachment,
         ['butt', 'stem', 'root_flare', 'branch'][1 + pick % 7 % 4] as position,
         1 + pick % 5 as count, if(pick % 3 = 0, 1 + pick % 9, null) as layers,
         ['shelf', 'hoof', 'gilled_cluster', 'crust'][1 + pick % 4] as form,
         ['brown', 'white', 'yellow', 'black'][1 + pick % 11 % 4] as upper_colour
  from chosen where place < {BODIES} order by tree_id
) to '{{folder}}/sightings.csv' (header, delimiter ',')
"""

INSPECTIONS = f"""
copy (
  select 'I' || tree_id as inspection_id, tree_id, date '2026-09-01' - pick % 400 as inspected_on,
         ['butt', 'stem', 'branch'][1 + pick % 3] as part,
         ['cavity', 'crack', 'dead_branch', 'girth_wound', 'weak_union', 'decay'][1 + pick % 6]
           as defect,
         if(pick % 2 = 0, 0.1 + pick % 5 / 10.0, null) as extent_share, null as reading,
         null as azimuth_deg, null as section_diameter_cm, null as shell_cm
  from chosen where place between {BODIES} and {DEFECTS} - 1
  union all
  select 'I' || tree_id, tree_id, date '2026-09-01' - pick % 400, 'butt', null, null, 'drill',
         azimuth, dbh_cm, round(dbh_cm * (0.1 + (pick + azimuth) % 300 / 1000.0), 1)
  from chosen, (values (0), (120), (240)) as a(azimuth) where place >= {DEFECTS}
  order by all
) to '{{folder}}/inspections.csv' (header, delimiter ',')
"""


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("parts", nargs="+", type=Path, help="CSV files of San Francisco's list")
    parser.add_argument("--trees", type=int, default=680_000)
    parser.add_argument("--evidence", type=float, default=0.03, help="share of trees with some")
    parser.add_argument("--repeat", type=int, default=3, help="runs; the median is shown")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        _measure(given, Path(folder))


def _measure(given: argparse.Namespace, folder: Path) -> None:
    longitude, latitude = _make(given.parts, given.trees, folder / "trees.csv")
    text = CITY.format(columns="san_francisco_trees", longitude=longitude, latitude=latitude)
    if given.evidence > 0:
        _evidence(folder, round(given.evidence * given.trees))
        text += INPUTS
    (folder / "city.toml").write_text(text, encoding="utf-8")
    floor, ingest, scoring, peaks = [], [], [], []
    told: dict[str, object] = {}
    for number in range(given.repeat):
        floor.append(float(_child("-c", FLOOR, str(folder / "trees.csv")).stdout))
        said = folder / f"said{number}.json"
        out = str(folder / f"run{number}")
        peaks.append(_watched("-c", CHAIN, str(folder / "city.toml"), out, str(said)))
        told = json.loads(said.read_text(encoding="utf-8"))
        ingest.append(float(str(told["ingest"])))
        scoring.append(float(str(told["scoring"])))
    r, i, s = (statistics.median(values) for values in (floor, ingest, scoring))
    print(f"{given.trees:,} trees, {given.evidence:.1%} with evidence; reached: {told['reached']}")
    print(f"R                  {r:.3f} s")
    print(f"ingest             {i:.2f} s = {i / r:.1f} R")
    print(f"scoring            {s:.2f} s = {s / r:.1f} R")
    print(f"ingest + scoring   {i + s:.2f} s = {(i + s) / r:.1f} R (asked: {ASKED_FLOORS})")
    print(f"peak               {max(peaks):.0f} MiB (asked: {ASKED_MIB})")


def _evidence(folder: Path, trees: int) -> None:
    """Write sightings and inspections of so many trees; the same trees in every call."""
    with duckdb.connect() as connection:
        connection.execute(CHOSEN, [str(folder / "trees.csv"), trees])
        connection.execute(SIGHTINGS.format(folder=folder))
        connection.execute(INSPECTIONS.format(folder=folder))


if __name__ == "__main__":
    main()
