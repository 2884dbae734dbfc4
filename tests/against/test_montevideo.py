"""The census of Montevideo: no coordinates, dates where numbers should be, headers inside.

The counts are those measured on the files by whoever collected them; where a count rests on another
reading of the files, the plain reading with the csv module below says so.
"""

import csv
import gzip
import json
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli.main import app
from pipeline.errors import RunError
from pipeline.ingest import stage
from pipeline.ingest.siting import NoPlaceError
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.run import execute
from pipeline.settings.load import load
from pipeline.settings.model import RunSettings
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore

pytestmark = pytest.mark.slow
CITY = Path(__file__).resolve().parents[2] / "config" / "montevideo.toml"
ROWS, INSIDE, END_MARKS = 211_511, 15, 18
TREES = ROWS - INSIDE - END_MARKS


@dataclass(frozen=True)
class Told:
    """The account of the census, and what it ended with."""

    settings: RunSettings
    store: RunStore
    fault: NoPlaceError

    def one(self, query: str) -> int:
        """The single number of a query."""
        return int(next(iter(self.store.query(query).to_pylist()[0].values())))

    def column(self, name: str, what: str) -> int:
        """A count of one canonical column over all files."""
        return self.one(f"select sum({what}) from ingest.columns where used_for = '{name}'")

    def faults(self, code: str) -> int:
        """Cells or rows with one kind of fault over all files."""
        return self.one(f"select sum(cells) from ingest.faults where code = '{code}'")


@pytest.fixture(scope="module")
def told(shared_file: Callable[[str], Path], tmp_path_factory: pytest.TempPathFactory) -> Told:
    data = shared_file("data/inventory/montevideo").parents[1]
    settings = load(CITY, data_dir=data)
    store = RunStore(tmp_path_factory.mktemp("montevideo"))
    with pytest.raises(NoPlaceError) as caught:
        stage.run(settings, store, Library(), Silent())
    return Told(settings, store, caught.value)


@pytest.fixture(scope="module")
def plain(shared_file: Callable[[str], Path]) -> list[dict[str, str]]:
    """All rows as the csv module reads them, under headers in lower case."""
    rows: list[dict[str, str]] = []
    for path in sorted(shared_file("data/inventory/montevideo").glob("archivo_comunal*")):
        raw = path.read_bytes()
        text = (gzip.decompress(raw) if path.suffix == ".gz" else raw).decode("utf-8")
        header, *body = csv.reader(text.splitlines())
        names = [name.strip().lower() for name in header]
        rows += [dict(zip(names, row, strict=True)) for row in body]
    return rows


def test_rows_in_are_rows_set_aside(told: Told) -> None:
    query = "select sum({}) from ingest.sources"
    assert told.one(query.format("rows_in")) == ROWS
    assert told.one(query.format("rows_accepted")) == 0
    assert told.one(query.format("rows_set_aside")) == ROWS
    assert told.one("select count(*) from ingest.quarantine") == ROWS
    assert told.one("select count(*) from ingest.trees") == 0
    assert told.one("select count(*) from ingest.sources") == 18
    codes = told.store.query("select code, count(*) as n from ingest.quarantine group by code")
    assert {row["code"]: row["n"] for row in codes.to_pylist()} == {
        "place_missing": TREES, "header_repeated": INSIDE, "row_empty": END_MARKS,
    }  # fmt: skip


def test_three_spellings_of_the_header_are_read_as_one(told: Told) -> None:
    headers = told.store.query(
        "select source_key, list(distinct header order by header) as h from ingest.columns "
        "where not starts_with(header, 'column ') group by source_key"
    ).to_pylist()
    assert len({tuple(row["h"]) for row in headers}) == 3
    for name in ("tree_id", "species", "dbh_cm", "height_m", "crown_width_m", "address"):
        assert told.column(name, "cells") == ROWS - INSIDE
    # two stray columns of file 8
    assert told.one("select count(*) from ingest.columns where starts_with(header, 'column ')") == 2


def test_numbers_that_a_sheet_took_for_dates(told: Told, plain: list[dict[str, str]]) -> None:
    assert told.column("height_m", "mended") == 13_194
    assert told.column("crown_width_m", "mended") == 5_411
    heights = [row["altura"] for row in plain if row["altura"].count("/") == 2]
    assert len(heights) == 13_194
    assert sum(not cell.endswith("/10") for cell in heights) == 80  # the month and year ones


def test_dates_stay_empty_where_the_map_does_not_say_how_they_came_about(
    told: Told, tmp_path: Path
) -> None:
    text = (told.settings.column_maps_dir / "montevideo_trees.toml").read_text(encoding="utf-8")
    careful = tmp_path / "careful.toml"
    careful.write_text(text.replace(", spreadsheet_year = 2010", ""), encoding="utf-8")
    city = tmp_path / "city.toml"
    files = '"inventory/montevideo/archivo_comunal14.csv.gz"'
    city.write_text(
        f'[city]\nname = "One"\n[[inputs.trees]]\nfiles = [{files}]\ncolumns = "careful.toml"\n',
        encoding="utf-8",
    )
    store = RunStore(tmp_path / "run")
    with pytest.raises(NoPlaceError):
        stage.run(load(city, data_dir=told.settings.data_dir), store, Library(), Silent())
    key = "(select source_key from ingest.sources where file like '%comunal14%')"
    mended = told.one(
        f"select mended from ingest.columns where used_for = 'height_m' and source_key = {key}"
    )
    (row,) = store.query(
        "select cells, done, examples, reason from ingest.faults "
        "where code = 'height_m_spreadsheet_date'"
    ).to_pylist()
    assert row["cells"] == mended > 100
    assert row["done"] == "emptied"
    assert "most likely 2.5" in row["reason"]
    assert row["examples"].startswith("line ")


def test_girth_codes_and_blanks(told: Told, plain: list[dict[str, str]]) -> None:
    assert told.column("dbh_cm", "zeros") == 4_645
    girths = [float(row["cap"]) for row in plain if row["cap"].isdecimal()]
    assert sum(girth > 500 for girth in girths) == 133
    assert max(girths) == 38_600
    # diameters over 15 m are emptied, the other 118 wide ones stay: a person judges them
    assert told.faults("dbh_cm_impossible") == sum(girth > 1500 * 3.14159265 for girth in girths)
    words = told.store.query(
        "select written, meaning, sum(cells) as n from ingest.words where used_for = 'status' "
        "group by all"
    ).to_pylist()
    by_code = {row["written"]: (row["meaning"], row["n"]) for row in words}
    assert by_code["5"] == ("dead", 2_120)
    assert by_code["6"][0] == by_code["7"][0] == "stump"
    assert by_code["6"][1] + by_code["7"][1] == 1_200
    assert told.column("address", "cells - filled") == 23_086
    assert told.column("crown_width_m", "zeros") == 1_610
    assert told.column("crown_width_m", "cells - filled") == 62_701
    width = told.one("select sum(cells - filled) from ingest.columns where header = 'Ancho Vereda'")
    assert width == 206_808


def test_crowns_over_twice_the_height(plain: list[dict[str, str]]) -> None:
    def plain_number(cell: str) -> bool:
        return cell.replace(".", "", 1).isdecimal()

    pairs = [
        (float(row["altura"]), float(row["diametro copa"]))
        for row in plain
        if plain_number(row["altura"]) and plain_number(row["diametro copa"])
    ]
    # 13 of them have a height of 0, which counts as missing
    assert sum(2 * height < crown for height, crown in pairs) == 310
    assert sum(0 < 2 * height < crown for height, crown in pairs) == 297
    assert max(height for height, _ in pairs) == 997


def test_species_that_are_blank(told: Told, plain: list[dict[str, str]]) -> None:
    # 8,002 rows seem to have none if the one file that writes 'Científico' is read as without it:
    # its 7,973 rows and 29 others. Read by any spelling, the blank ones are headers and end marks.
    names = Counter(row["nombre científico"].strip() for row in plain)
    (other,) = told.store.query(
        "select s.rows_in from ingest.columns c join ingest.sources s using (source_key) "
        "where c.header = 'Nombre Científico'"
    ).to_pylist()
    assert other["rows_in"] == 7_973
    blank_there = 2
    assert other["rows_in"] + names[""] - blank_there == 8_002
    assert told.column("species", "cells - filled") == END_MARKS
    assert told.column("species", "said_missing") == names["Seco"] + names["Dudas"] == 2_278


def test_numbers_of_trees_that_repeat(told: Told, plain: list[dict[str, str]]) -> None:
    ids = Counter(row["arbol"].strip() for row in plain)
    again = {name: count - 1 for name, count in ids.items() if count > 1}
    assert sum(again.values()) == 46
    # 30 of the 46 are the end marks and the headers
    assert told.faults("id_repeated") == 46 - again["fin"] - again["Arbol"] == 16


def test_the_refusal_says_what_would_make_it_usable(told: Told) -> None:
    assert "211,496 rows and no column that tells a place" in told.fault.found
    assert told.fault.expected.startswith("a place for each tree")
    assert "211,478 rows name a street" in told.fault.remedy
    assert "with an address or door number" in told.fault.remedy


def test_a_row_set_aside_is_whole_and_says_where_it_stands(told: Told) -> None:
    (row,) = told.store.query(
        "select * from ingest.quarantine where source_key = 0 and row = 1"
    ).to_pylist()
    assert row["line"] == 2
    assert row["about"] == "tree 1833, 18 DE JULIO AVENIDA"
    original = json.loads(row["original"])
    assert original["Nombre científico"] == "Enterolobium contortisiliquum"
    assert len(original) == 23


def test_a_run_keeps_its_account_and_goes_no_further(told: Told, tmp_path: Path) -> None:
    done = execute(told.settings, out=tmp_path / "run")
    assert isinstance(done.stopped, NoPlaceError)
    manifest = json.loads((done.folder / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["stages"] == ["ingest"]
    lists = sorted(path.name for path in (done.folder / "quarantine").iterdir())
    assert len(lists) == 18
    with (done.folder / "quarantine.csv").open(encoding="utf-8-sig", newline="") as file:
        assert sum(1 for _ in csv.reader(file)) == ROWS + 1
    assert not RunStore(done.folder).has(TABLES["scoring.tree_ratings"])
    with pytest.raises(RunError, match="without a tree that has a place"):
        execute(told.settings, stages=("scoring",), base=done.folder, out=tmp_path / "again")


def test_what_check_prints(told: Told) -> None:
    done = CliRunner().invoke(app, ["check", str(CITY), "--data", str(told.settings.data_dir)])
    assert isinstance(done.exception, NoPlaceError)
    said = done.output
    assert "18 files together, whose headers are written 3 ways" in said
    assert "13,194 of them mended" in said
    assert "7 = stump (653)" in said
    assert "15 x header_repeated" in said
    assert "Nothing was written." in said
