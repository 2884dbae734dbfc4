"""Real open inventories, whole, from raw files to maps and queue; skipped where absent.

San Francisco: DataSF street tree list of May 2026 (ODC PDDL). Graz: tree register of September
2013 (CC BY 3.0 AT). Helsinki: an OpenStreetMap extract of the centre (ODbL 1.0). Portland and
Saint-Germain-en-Laye: open data of the city and the commune. The counts were taken from the files
themselves.
"""

import csv
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore
from tests.conftest import ROOT


@pytest.fixture(scope="module")
def run(
    shared_file: Callable[[str], Path], tmp_path_factory: pytest.TempPathFactory
) -> Callable[[str, str], Path]:
    """A finished run of a city, made once."""
    done: dict[str, Path] = {}

    def make(city: str, needs: str) -> Path:
        data = shared_file("data")
        shared_file(f"data/{needs}")
        if city not in done:
            out = tmp_path_factory.mktemp(city) / "run"
            answer = subprocess.run(
                [sys.executable, "-W", "error", "-m", "pipeline", "run", f"config/{city}.toml",
                 "--data", str(data), "--out", str(out)],
                cwd=ROOT, capture_output=True, text=True, check=False,
            )  # fmt: skip
            assert answer.returncode == 0, answer.stderr
            done[city] = out
        return done[city]

    return make


CITIES = [
    pytest.param("san_francisco", "inventory/san-francisco", 195_297, id="San Francisco"),
    pytest.param("graz", "inventory/graz", 17_535, id="Graz"),
    pytest.param("helsinki", "zones/helsinki-osm", 649, id="Helsinki"),
    pytest.param("saint_germain", "inventory/saint-germain-en-laye", 468, id="Saint-Germain"),
    pytest.param("portland", "inventory/portland", 676 + 885, id="Portland"),
]


@pytest.mark.slow
@pytest.mark.parametrize(("city", "needs", "trees"), CITIES)
def test_a_city_runs_to_maps_and_queue(
    run: Callable[[str, str], Path], city: str, needs: str, trees: int
) -> None:
    folder = run(city, needs)
    store = RunStore(folder)
    assert store.read(TABLES["ingest.trees"]).num_rows == trees
    assert store.read(TABLES["scoring.tree_ratings"]).num_rows == trees
    for name in ("index.html", "forester_map.html", "council_map.html", "queue.xlsx",
                 "layers.gpkg", "report.html"):  # fmt: skip
        assert (folder / name).stat().st_size > 1000
    assert store.read(TABLES["planning.queue"]).num_rows > 0, (
        "an inspection plan, not an empty queue"
    )
    for page in folder.glob("*.html"):
        # inside scripts the words are data or Leaflet's own text; the page tests count requests
        text = re.sub(r"<script.*?</script>", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
        assert not re.search(r"""(?:src|href)=["']https?://""", text), page.name


@pytest.mark.slow
def test_a_city_that_nobody_inspected_is_not_assessed(run: Callable[[str, str], Path]) -> None:
    store = RunStore(run("san_francisco", "inventory/san-francisco"))
    (row,) = store.query(
        """
        select count(*) filter (rated and rating = 0) as not_assessed,
               count(*) filter (rated) as rated,
               count(*) filter (rating > 0 and tree_key in (
                   select tree_key from scoring.sighting_trees where probability >= 0.2
               )) as doubtful,
               count(*) filter (rating > 0 and last_looked_on is not null) as looked_at,
               (select count(*) from scoring.sighting_trees where attached) as attached
        from scoring.tree_ratings
        """
    ).to_pylist()
    assert row["rated"] > 190_000
    # No sighting is surely of a listed tree; what may be speaks of a few, by its share.
    assert row["attached"] == row["looked_at"] == 0
    assert row["not_assessed"] + row["doubtful"] == row["rated"]
    assert row["doubtful"] < 10


@pytest.mark.slow
def test_a_city_of_which_only_trees_and_streets_are_known_expects_few_deaths(
    run: Callable[[str, str], Path],
) -> None:
    # The authority of Great Britain gives at most 1 in 10 million a tree and year beside busy
    # places (HSE 2007). Here people are known on the centre lines of streets alone and half of the
    # trees reach none, so the run lies far below; it says so, and is not taken for a low risk.
    folder = run("san_francisco", "inventory/san-francisco")
    with (folder / "plausibility.csv").open(encoding="utf-8", newline="") as file:
        (row,) = [one for one in csv.DictReader(file) if one["quantity"] == "expected_deaths"]
    assert 0 < float(row["found"]) < 195_139 * 1e-7 / 830_000 * 1e6
    assert row["verdict"] == "not compared"
    assert "at least this" in row["how"]
    assert "trees of which nothing was seen" in row["driven_by"]


@pytest.mark.slow
def test_streets_in_pieces_are_said_and_routes_fall_back(
    run: Callable[[str, str], Path],
) -> None:
    store = RunStore(run("san_francisco", "inventory/san-francisco"))
    (streets,) = store.query("select note from ingest.sources where input = 'streets'").to_pylist()
    assert "unknown" in streets["note"]
    hows = store.query("select distinct how from planning.routes").to_pylist()
    assert {row["how"] for row in hows} & {"straight_line", "mixed"}


@pytest.mark.slow
def test_routes_of_helsinki_follow_its_streets(run: Callable[[str, str], Path]) -> None:
    store = RunStore(run("helsinki", "zones/helsinki-osm"))
    rows = store.query("select how, count(*) as n from planning.stops group by how").to_pylist()
    legs = {row["how"]: row["n"] for row in rows}
    assert legs["streets"] > 4 * legs.get("straight_line", 0)
