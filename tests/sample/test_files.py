"""The committed files are what the script writes, small, consistent and without persons."""

import csv
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.tables.inputs import INPUTS

if TYPE_CHECKING:
    from tests.sample.conftest import Town

WRITTEN = (
    "trees.csv", "trees_ward5.csv", "sightings.csv", "sightings_phone.geojson", "inspections.csv",
    "zones.geojson", "streets.geojson", "wards.geojson", "basemap.geojson", "decisions.csv",
    "work_done.csv", "planted_faults.csv",
)  # fmt: skip
CONFIG = Path(__file__).resolve().parents[2] / "config" / "columns"


@pytest.mark.slow
def test_the_script_writes_the_committed_files_to_the_byte(folder: Path, tmp_path: Path) -> None:
    script = folder / "make_larkmere.py"
    subprocess.run([sys.executable, script, "--out", tmp_path], check=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(WRITTEN)
    for name in WRITTEN:
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes(), name


def test_the_files_stay_small(folder: Path) -> None:
    sizes = [(folder / name).stat().st_size for name in WRITTEN]
    assert max(sizes) < 2_500_000
    assert sum(sizes) < 4_000_000


def test_the_ward_five_file_is_latin_1_and_no_utf_8(folder: Path) -> None:
    raw = (folder / "trees_ward5.csv").read_bytes()
    with pytest.raises(UnicodeDecodeError):
        raw.decode("utf-8")
    assert "Érable Street" in raw.decode("latin-1")
    assert raw.split(b"\n", 1)[0].count(b";") == 12


@pytest.mark.parametrize("name", ["larkmere_trees", "larkmere_trees_ward5", "larkmere_streets"])
def test_column_maps_name_headers_that_are_there(town: "Town", folder: Path, name: str) -> None:
    mapping = tomllib.loads((CONFIG / f"{name}.toml").read_text(encoding="utf-8"))
    headers = {
        "larkmere_trees": set(town.trees[0]),
        "larkmere_trees_ward5": set(town.west[0]),
        "larkmere_streets": set(re.findall(r'"(\w+)":', _first_feature(folder))),
    }[name]
    kind = INPUTS[mapping["kind"]]
    canonical = {column.name: column for column in kind.columns}
    for target, source in mapping["columns"].items():
        assert target in canonical
        assert (source if isinstance(source, str) else source["column"]) in headers
        if not isinstance(source, str) and "codes" in source:
            assert set(source["codes"].values()) <= set(canonical[target].allowed)
    assert set(mapping.get("constants", {})) <= set(canonical)


def _first_feature(folder: Path) -> str:
    return (folder / "streets.geojson").read_text(encoding="utf-8").splitlines()[1]


def _values(folder: Path, town: "Town", kind: str) -> list[dict[str, Any]]:
    if kind == "sightings":
        return list(town.sightings.values())
    with (folder / f"{kind}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("kind", ["sightings", "inspections", "decisions", "work_done"])
def test_unmapped_files_use_canonical_columns_and_words(
    folder: Path, town: "Town", kind: str
) -> None:
    columns = {column.name: column for column in INPUTS[kind].columns}
    for row in _values(folder, town, kind):
        assert set(row) - {"phone"} <= set(columns)
        for name, value in row.items():
            if value != "" and name != "phone" and columns[name].allowed:
                assert value in columns[name].allowed, (name, value)


def test_zone_words_are_canonical(maps: dict[str, Any]) -> None:
    allowed = {column.name: column.allowed for column in INPUTS["zones"].columns}
    zones = maps["zones"]
    assert set(zones["kind"]) <= set(allowed["kind"])
    assert set(zones["occupancy"].dropna()) <= set(allowed["occupancy"])
    assert set(maps["basemap"]["kind"]) == {"water", "park", "building"}


def test_nothing_personal(folder: Path, town: "Town") -> None:
    observers = {str(row["observer"]) for row in town.sightings.values()}
    assert all(re.fullmatch(r"volunteer-\d\d", observer) for observer in observers)
    decisions = _values(folder, town, "decisions")
    assert {row["role"] for row in decisions} == {
        "city forester", "senior inspector", "works manager",
    }  # fmt: skip
    for name in WRITTEN:
        encoding = "latin-1" if name == "trees_ward5.csv" else "utf-8"
        text = (folder / name).read_text(encoding=encoding)
        assert not re.search(r"\w@\w+\.\w", text), f"{name} holds a mail address"
        assert not re.search(r"\b\d{3}[- ]\d{3}[- ]\d{4}\b", text), f"{name} holds a phone number"


def test_ids_of_other_files_are_trees_of_the_inventory(folder: Path, town: "Town") -> None:
    known = {row["Tree No"] for row in town.trees} | {row["Arbre"] for row in town.west}
    stray = set(town.fault_ids("sighting_unknown_tree"))
    for row in town.sightings.values():
        if row["tree_id"] and row["sighting_id"] not in stray:
            assert row["tree_id"] in known
    for kind in ("decisions", "work_done"):
        assert {row["tree_id"] for row in _values(folder, town, kind)} <= known
    stray = set(town.fault_ids("inspection_unknown_tree"))
    visited = {r["tree_id"] for r in town.inspections if r["inspection_id"] not in stray}
    assert visited <= known
