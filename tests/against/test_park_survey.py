"""A survey of park fungi whose lines end in carriage returns alone, as old machines wrote them.

The counts are those measured on the file by whoever collected it.
"""

import hashlib
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from pipeline.ingest.column_map import ColumnMap
from pipeline.ingest.columns import apply
from pipeline.ingest.readers import RawTable, read_input
from pipeline.settings.model import InputFile
from tests.ingest.little_city import LittleCity, inventory

NAME = "pcrn_fungi_inventory_ALL.csv"
MAP = {
    "kind": "sightings",
    "missing": {"values": ["", "No ID"]},
    "columns": {
        "name": "Genus", "seen_on": {"column": "Start_Date", "dates": ["%m/%d/%y"]}, "host": "Host",
    },
}  # fmt: skip


@pytest.fixture(scope="module")
def path(shared_file: Callable[[str], Path]) -> Path:
    return shared_file("data/fungi/ncrn-parks") / NAME


@pytest.fixture(scope="module")
def survey(path: Path) -> RawTable:
    spec = InputFile(files=(NAME,))
    (raw,) = read_input(spec, kind="sightings", data_dir=path.parent, source_key_start=0)
    return raw


def test_the_lines_end_in_carriage_returns_only(path: Path) -> None:
    data = path.read_bytes()
    assert data.count(b"\n") == 0
    assert data.count(b"\r") == 842 + 1  # the header has one too


def test_every_line_is_a_row(survey: RawTable, path: Path) -> None:
    assert len(survey) == 842
    assert survey.rejects == ()
    assert survey.data.column_names[:7] == [
        "Unit_Code", "Foray_Name", "Protocol_Name", "Start_Date", "Genus", "Species", "Host",
    ]  # fmt: skip
    lines = survey.lines(np.arange(842))
    assert lines is not None
    assert lines.tolist() == list(range(2, 844))
    assert survey.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert survey.data["Species"].to_pylist()[-1] == "frondosa"


def test_what_the_rows_say(survey: RawTable) -> None:
    genus = Counter(survey.data["Genus"].to_pylist())
    assert genus["No ID"] == 106
    assert genus[""] == 9
    host = Counter(survey.data["Host"].to_pylist())
    assert sum(number for word, number in host.items() if word.startswith("Live ")) == 20


def test_years_of_two_digits_are_read_as_the_map_says(survey: RawTable) -> None:
    column_map = ColumnMap.from_toml(MAP, where="map of the test")
    mapped = apply(survey, column_map, "sightings")
    days = mapped.dates("seen_on")
    assert days.null_count == 0
    assert {day.year for day in days.to_pylist()} == {2005, 2006}
    assert mapped.text("name").null_count == 106 + 9


def test_sightings_without_a_place_are_set_aside_and_counted(path: Path, tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(
        'kind = "sightings"\n[missing]\nvalues = ["", "No ID"]\n[columns]\nname = "Genus"\n'
        'seen_on = { column = "Start_Date", dates = ["%m/%d/%y"] }\nhost = "Host"\n',
        encoding="utf-8",
    )
    city = LittleCity(tmp_path).ingest(
        {"trees.csv": inventory(), "survey.csv": path.read_bytes()},
        inputs='[[inputs.trees]]\nfiles = ["trees.csv"]\n'
        '[[inputs.sightings]]\nfiles = ["survey.csv"]\ncolumns = "map.toml"\n',
    )
    (source,) = [row for row in city.rows("sources") if row["input"] == "sightings"]
    assert source["rows_in"] == 842
    assert source["rows_accepted"] == 0
    lines = [row["line"] for row in city.rows("quarantine")]
    assert sorted(lines, key=str) == sorted(range(2, 844), key=str)
