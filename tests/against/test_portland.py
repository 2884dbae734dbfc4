"""Two street tree lists of Portland, Oregon: a database export of 2016, a volunteers' map of 2010.

Open data of the city. The counts were taken from the files with the standard library's readers.
"""

import csv
import json
import struct
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.ingest import stage
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore
from tests.conftest import ROOT

FOLDER = "data/inventory/portland"
CM_PER_INCH = 2.54  # exact, the international inch of 1959

Rows = list[dict[str, Any]]


@pytest.fixture(scope="module")
def store(shared_file: Callable[[str], Path], tmp_path_factory: pytest.TempPathFactory) -> RunStore:
    shared_file(FOLDER)
    settings = load(ROOT / "config" / "portland.toml", data_dir=shared_file("data"))
    made = RunStore(tmp_path_factory.mktemp("portland"))
    stage.run(settings, made, Library(), Silent())
    return made


@pytest.fixture(scope="module")
def airport(shared_file: Callable[[str], Path]) -> list[dict[str, str]]:
    path = shared_file(f"{FOLDER}/pdx_street_trees.csv")
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def concordia(shared_file: Callable[[str], Path]) -> Rows:
    path = shared_file(f"{FOLDER}/trees_concordia.geo.json")
    found: Rows = json.loads(path.read_text(encoding="utf-8"))["features"]
    return found


def trees(store: RunStore, source: int) -> Rows:
    """Trees of one of the files."""
    whole: Rows = store.read(TABLES["ingest.trees"]).to_pylist()
    return [row for row in whole if row["source_key"] == source]


def test_both_lists_are_whole(store: RunStore) -> None:
    sources = store.read(TABLES["ingest.sources"]).to_pylist()
    assert [(s["rows_in"], s["rows_accepted"]) for s in sources] == [(676, 676), (885, 885)]


def test_places_in_hexadecimal_lie_where_their_bytes_say(
    store: RunStore, airport: list[dict[str, str]]
) -> None:
    """EWKB of a point: byte order, type with the mark of a CRS, the CRS, x, y (OGC 06-103r4)."""
    found = store.query(
        "select tree_id, x_m, y_m from ingest.trees where source_key = 0 order by tree_key"
    ).to_pylist()
    order, kind, srid, lon, lat = struct.unpack("<BIIdd", bytes.fromhex(airport[0]["the_geom"]))
    assert (order, kind, srid) == (1, 0x20000001, 4326)
    assert -122.7 < lon < -122.4
    assert 45.5 < lat < 45.7
    from pyproj import Transformer  # noqa: PLC0415 - the independent reckoning of this test

    x, y = Transformer.from_crs(4326, 32610, always_xy=True).transform(lon, lat)
    assert (found[0]["x_m"], found[0]["y_m"]) == pytest.approx((x, y), abs=0.01)
    assert len(found) == 676


def test_a_note_that_says_null_says_nothing(store: RunStore, airport: Rows) -> None:
    assert sum(row["notes"] == "<Null>" for row in airport) == 58
    assert all(row["notes"] is None for row in trees(store, 0))


def test_103_trees_have_no_address(store: RunStore, airport: Rows) -> None:
    assert sum(not row["address"].strip() for row in airport) == 103
    assert sum(row["address"] is None for row in trees(store, 0)) == 103


def test_the_citys_own_number_is_the_id(store: RunStore, airport: Rows) -> None:
    assert sum(row["cartodb_id"] != row["objectid"] for row in airport) == 292
    assert [row["tree_id"] for row in trees(store, 0)] == [row["objectid"] for row in airport]


def test_conditions_are_read_and_the_dead_stand_dead(store: RunStore, concordia: Rows) -> None:
    told = Counter(row["properties"]["HEALTH"] for row in concordia)
    assert told == {"Good": 574, "Fair": 196, "Poor": 110, "Dead": 5}
    found = trees(store, 1)
    assert Counter(row["condition"] for row in found) == {
        "good": 574, "fair": 196, "poor": 110, "dead": 5,
    }  # fmt: skip
    assert {row["tree_id"] for row in found if row["status"] == "dead"} == {
        row["tree_id"] for row in found if row["condition"] == "dead"
    }
    assert Counter(row["condition"] for row in trees(store, 0)) == {
        "good": 10, "fair": 640, "poor": 26,
    }  # fmt: skip


def test_dead_is_said_once_and_poor_is_no_defect(store: RunStore) -> None:
    """The dead are rated as dead by their status; a second word for it would double the defect."""
    found = store.query("select origin, defect from ingest.defects").to_pylist()
    assert all(row["origin"] == "note" for row in found)
    assert all(row["defect"] != "dead_tree" for row in found)


def test_inches_with_the_noise_of_a_database_are_centimetres(
    store: RunStore, concordia: Rows
) -> None:
    inches = [row["properties"]["DBH"] for row in concordia]
    assert any(abs(one - round(one, 1)) > 1e-9 for one in inches if one)
    told = [row["dbh_cm"] for row in trees(store, 1)]
    expected = [one * CM_PER_INCH if one else None for one in inches]
    assert told == [one if one is None else pytest.approx(one) for one in expected]


def test_a_genus_is_known_as_a_genus(store: RunStore) -> None:
    ash = [row for row in trees(store, 0) if row["species_text"] == "Fraxinus spp."]
    assert len(ash) == 185
    assert {(row["species"], row["genus"]) for row in ash} == {(None, "Fraxinus")}


def test_the_survey_days(store: RunStore) -> None:
    days = Counter(str(row["last_inspected_on"]) for row in trees(store, 1))
    assert days == {"2010-08-21": 855, "2010-09-08": 30}
