"""Open inventories of other towns, each through a small column map: the counts of their files.

The counts were taken from the files by whoever collected them, apart from this program. Where one
rests on another reading of the file than ours, the test says so.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest

from pipeline.errors import InputError
from pipeline.ingest import stage
from pipeline.ingest.column_map import ColumnMap
from pipeline.ingest.columns import Mapped, apply
from pipeline.ingest.readers import read_input
from pipeline.ingest.siting import NoPlaceError
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.settings.model import InputFile
from pipeline.tables.store import RunStore

CM_PER_INCH = 2.54
CANADA = "inventory/canada-species-dbh"
CATALOGUE = [
    f"inventory/san-francisco/Street_Tree_List_2026-05-21_part{part}.csv.gz" for part in range(1, 5)
]


@dataclass(frozen=True)
class Town:
    """A town whose files were read."""

    store: RunStore

    def rows(self, query: str) -> list[dict[str, Any]]:
        """Answer of a query."""
        found: list[dict[str, Any]] = self.store.query(query).to_pylist()
        return found

    def counts(self, query: str) -> dict[Any, int]:
        """Answer of a query for a name and a number."""
        return {first: int(second) for first, second in (row.values() for row in self.rows(query))}

    def column(self, name: str) -> dict[str, Any]:
        """The account of a canonical column."""
        (row,) = self.rows(f"select * from ingest.columns where used_for = '{name}'")
        return row


@dataclass(frozen=True)
class Reader:
    """Reads files of the open data beside the project."""

    data: Path
    folder: Path

    def town(self, *files: str, columns: str, more: str = "") -> Town:
        """Run the ingest stage over trees of these files with this map, or one of the project."""
        name = columns
        if "\n" in columns:
            name = "map.toml"
            (self.folder / name).write_text(f'kind = "trees"\n{columns}', encoding="utf-8")
        settings = self.folder / "town.toml"
        listed = ", ".join(f'"{file}"' for file in files)
        settings.write_text(
            f'[city]\nname = "Town"\n[[inputs.trees]]\nfiles = [{listed}]\n'
            f'columns = "{name}"\n{more}',
            encoding="utf-8",
        )
        store = RunStore(self.folder / "run")
        stage.run(load(settings, data_dir=self.data), store, Library(), Silent())
        return Town(store)

    def unplaced(self, file: str, columns: str) -> Town:
        """A town without any place: its account is written before it is refused."""
        with pytest.raises(NoPlaceError):
            self.town(file, columns=columns)
        return Town(RunStore(self.folder / "run"))

    def mapped(self, file: str, columns: dict[str, object]) -> Mapped:
        """The canonical columns of one file."""
        (raw,) = read_input(
            InputFile(files=(file,)), kind="trees", data_dir=self.data, source_key_start=0
        )
        made = ColumnMap.from_toml({"kind": "trees", "columns": columns}, where="map")
        return apply(raw, made, "trees")


@pytest.fixture
def reader(shared_file: Callable[[str], Path], tmp_path: Path) -> Reader:
    return Reader(shared_file("data/inventory").parent, tmp_path)


def test_oakland_whose_trees_lie_on_one_point_is_refused(reader: Reader) -> None:
    file = "inventory/oakland/oakland_street_trees.csv"
    columns = '[columns]\ntree_id = "objectid"\nlongitude = "longitude"\nlatitude = "latitude"\n'
    with pytest.raises(InputError) as caught:
        reader.town(file, columns=columns)
    assert caught.value.found.startswith("38,598 of 38,598 rows on one point")
    assert caught.value.found.endswith("and 15 without a place")
    mapped = reader.mapped(file, {"species": "genus"})
    assert len(mapped) == 38_613
    text = mapped.original("species")
    assert pc.sum(pc.equal(text, "NaN")).as_py() == 1_888
    assert mapped.text("species").null_count == 1_888 + pc.sum(pc.equal(text, "")).as_py()


@pytest.mark.parametrize("file", ["Arbres Montrouge nettoye 28.09.2018.gpx", "arbres.geojson"])
def test_montrouge_as_waypoints_and_as_features(reader: Reader, file: str) -> None:
    town = reader.town(f"inventory/montrouge/{file}", columns='[columns]\nnotes = "type"\n')
    kinds = town.counts("select notes, count(*) from ingest.trees group by notes")
    assert kinds == {"I": 4_108, "A": 1_687}
    assert sum(kinds.values()) == 5_795
    # Nothing but a place is known of these trees, and nothing is made up.
    (known,) = town.rows(
        "select count(species) as species, count(height_m) as height, "
        "count(*) filter (dbh_how = 'measured') as dbh from ingest.trees"
    )
    assert set(known.values()) == {0}


def test_valdivia_has_girths_in_metres(reader: Reader) -> None:
    town = reader.town(
        "inventory/valdivia-osm/osm-ntree_valdivia.csv",
        columns="""
[columns]
tree_id = "@id"
longitude = "X"
latitude = "Y"
species = "species"
dbh_cm = { column = "circumference", unit = "m", measure = "girth" }
height_m = "height"
crown_width_m = "diameter_crown"
""",
    )
    (source,) = town.rows("select rows_in, rows_accepted from ingest.sources")
    assert source == {"rows_in": 4_253, "rows_accepted": 4_253}
    assert town.column("species")["filled"] == 1_819
    assert town.column("height_m")["filled"] == 51
    # The stoutest girth of the file is 0.88 m; as centimetres it would be a stem of 3 mm.
    girth = town.column("dbh_cm")
    assert girth["filled"] == 50
    assert girth["most"] == pytest.approx(88.0 / np.pi)


SAINT_QUENTIN = """
[columns]
longitude = "longitude"
latitude = "latitude"
species = "fk_nomtech"
height_m = "haut_tot"
dbh_cm = { column = "tronc_diam", unit = "cm", measure = "girth" }
status = { column = "fk_arb_etat", codes = { "EN PLACE" = "standing", "SUPPRIMÉ" = "removed", \
"Essouché" = "removed", "REMPLACÉ" = "removed", "ABATTU" = "stump", "Non essouché" = "stump" } }
"""


def test_saint_quentin_keeps_what_no_longer_stands_apart(reader: Reader) -> None:
    file = "inventory/saint-quentin/Data_Arbre.csv"
    town = reader.town(file, columns=SAINT_QUENTIN.replace("\\\n", ""))
    written = town.counts("select written, cells from ingest.words where used_for = 'status'")
    assert written == {
        "EN PLACE": 6_645, "SUPPRIMÉ": 394, "Essouché": 165, "REMPLACÉ": 137, "ABATTU": 41,
        "Non essouché": 27,
    }  # fmt: skip
    status = town.counts("select status, count(*) from ingest.trees group by status")
    assert status["standing"] == 6_645
    assert sum(status.values()) - status["standing"] == 764
    (found,) = town.rows(
        "select count(*) filter (species_text <> upper(species_text)) as small, "
        "count(*) filter (shares_place > 1) as shared from ingest.trees"
    )
    assert found == {"small": 1_994, "shared": 117}
    # No canonical column takes the height of the trunk: read here under that of the tree.
    whole, trunk = (
        reader.mapped(file, {"height_m": name}).number("height_m")
        for name in ("haut_tot", "haut_tronc")
    )
    assert int((trunk >= whole).sum()) == 7


def test_halifax_has_codes_and_classes(reader: Reader) -> None:
    ends = ", ".join(f'"{n}" = [{10 * n - 10}, {10 * n}]' for n in range(1, 10))
    town = reader.unplaced(
        f"{CANADA}/Halifax.xlsx",
        f"""
[missing]
values = ["", "UNO"]
[columns]
species = "Botanical Name"
dbh_cm = {{ column = "DBH", classes = {{ {ends} }} }}
""",
    )
    assert town.rows("select rows_in from ingest.sources") == [{"rows_in": 62_667}]
    species = town.column("species")
    assert species["said_missing"] == 5_573
    # One blank stands in 470 cells; the 28 that were counted as blank hold the letters NA.
    assert species["cells"] - species["filled"] == 470
    mapped = reader.mapped(f"{CANADA}/Halifax.xlsx", {"species": "Botanical Name", "dbh_cm": "DBH"})
    assert pc.sum(pc.equal(mapped.original("species"), "NA")).as_py() == 28
    # Numbers that are no class of the map: zeros, and 14 above the ninth class. They were once
    # counted as 12; read with another library the file has 8 tens and six others from 11 to 37.
    size = mapped.original("dbh_cm").cast(pa.float64()).to_numpy()
    assert sorted(size[size > 9].tolist()) == [10.0] * 8 + [11.0, 12.0, 13.0, 14.0, 15.0, 37.0]
    odd = town.counts("select code, cells from ingest.faults where code like 'dbh%'")
    assert odd == {"dbh_cm_class_unknown": 14 + int((size == 0).sum())}


def test_longueuil_has_cells_of_one_blank(reader: Reader) -> None:
    columns = """
[columns]
species = { column = "Botanical Name", split = " - ", take = 0 }
dbh_cm = { column = "DBH", unit = "cm" }
"""
    town = reader.unplaced(f"{CANADA}/Longueuil.xlsx", columns)
    species, size = town.column("species"), town.column("dbh_cm")
    assert species["cells"] == 59_402
    assert species["cells"] - species["filled"] == 7_080
    assert size["cells"] - size["filled"] == 10_109
    mapped = reader.mapped(f"{CANADA}/Longueuil.xlsx", {"dbh_cm": "DBH"})
    assert int((mapped.number("dbh_cm") > 300).sum()) == 5
    # One of them, 9,700, is no stem: it is emptied and told.
    (fault,) = town.rows(
        "select done, examples from ingest.faults where code = 'dbh_cm_impossible'"
    )
    assert fault == {"done": "emptied", "examples": "row 5297 (9700)"}


def test_moncton_has_vacant_sites_and_zeros(reader: Reader) -> None:
    columns = """
[columns]
status = { column = "Botanical Name", codes = { Vac = "vacant" }, otherwise = "standing" }
dbh_cm = { column = "DBH", unit = "cm" }
"""
    town = reader.unplaced(f"{CANADA}/Moncton.xlsx", columns)
    words = town.counts("select written, cells from ingest.words where meaning = 'vacant'")
    assert words == {"Vac": 430}
    assert town.column("dbh_cm")["zeros"] == 1_104


def test_vancouver_measures_in_inches(reader: Reader) -> None:
    columns = '[columns]\nspecies = "Botanical Name"\ndbh_cm = { column = "DBH", unit = "in" }\n'
    file = f"{CANADA}/Vancouver.csv.gz"
    size = reader.unplaced(file, columns).column("dbh_cm")
    assert size["cells"] == size["filled"] == 152_342
    assert size["zeros"] == 86
    assert size["most"] == pytest.approx(305 * CM_PER_INCH)
    mapped = reader.mapped(file, {"dbh_cm": {"column": "DBH", "unit": "in"}})
    assert int((mapped.number("dbh_cm") > 100 * CM_PER_INCH).sum()) == 10


def test_san_francisco_posts_removals_of_trees_of_its_list(reader: Reader) -> None:
    # A posting is an order of the city about a tree: a decision, not work that was done. The
    # file names nobody, so the map says in which role its rows were decided.
    (reader.folder / "postings.toml").write_text(
        """
kind = "decisions"
[columns]
tree_id = "treeid"
decided_on = "actiondate"
reason = "actiontype"
[constants]
decision = "override"
value = "remove"
role = "city forester"
""",
        encoding="utf-8",
    )
    more = (
        '[[inputs.decisions]]\nfiles = ["inventory/san-francisco-removals/tree_data.csv"]\n'
        'columns = "postings.toml"\n'
    )
    town = reader.town(*CATALOGUE, columns="san_francisco_trees", more=more)
    posted = town.counts("select reason, count(*) from ingest.decisions group by reason")
    # Of 5,206 postings (1,243, 2,439 and 1,524 by notice) 45 name trees that are not on the list:
    # they bear on none and come back to who wrote them.
    assert posted == {"Posted 24hr": 1_229, "Posted 15 Day": 2_418, "Posted 30 Day": 1_514}
    aside = town.counts("select code, count(*) from ingest.quarantine group by code")
    assert aside == {"tree_unknown": 45}
    (joined,) = town.rows(
        "select count(*) as rows, count(*) filter (tree_key >= 0) as found, "
        "count(*) - count(distinct tree_id) as again from ingest.decisions"
    )
    assert joined == {"rows": 5_161, "found": 5_161, "again": 96}
