"""The files of the invented town, read once by the standard library alone."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest

FOLDER = Path(__file__).resolve().parents[2] / "sample_inventory"
METRIC = "EPSG:32618"

Row = dict[str, str]


def read_rows(path: Path, *, delimiter: str = ",", encoding: str = "utf-8") -> list[Row]:
    """The rows of a delimited file as texts."""
    with path.open(encoding=encoding, newline="") as file:
        return list(csv.DictReader(file, delimiter=delimiter))


def number(text: str) -> float | None:
    """The number of a text with a decimal point or comma; None where it holds none."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return None


@dataclass(frozen=True)
class Town:
    """The sample as read.

    Parameters
    ----------
    trees, west : rows of trees.csv and trees_ward5.csv.
    sightings : rows of both sighting files by id, texts and values mixed.
    faults : rows of planted_faults.csv.
    """

    trees: list[Row]
    west: list[Row]
    sightings: dict[str, dict[str, Any]]
    inspections: list[Row]
    faults: list[Row]

    def fault_ids(self, fault: str, file: str = "") -> list[str]:
        """The row ids listed for a fault, in one file or in all."""
        return [
            row_id
            for row in self.faults
            if row["fault"] == fault and file in {"", row["file"]}
            for row_id in row["row_ids"].split("|")
        ]

    def rows_of(self, fault: str) -> list[Row]:
        """The rows of trees.csv that a fault lists, by id or by number."""
        by_id = {row["Tree No"]: row for row in reversed(self.trees)}
        return [
            self.trees[int(row_id[1:]) - 1] if row_id.startswith("#") else by_id[row_id]
            for row_id in self.fault_ids(fault, "trees.csv")
        ]


def _phone_rows() -> dict[str, dict[str, Any]]:
    features = json.loads((FOLDER / "sightings_phone.geojson").read_bytes())["features"]
    rows = {}
    for feature in features:
        longitude, latitude = feature["geometry"]["coordinates"]
        values = {name: "" if v is None else v for name, v in feature["properties"].items()}
        place = {"longitude": longitude, "latitude": latitude, "phone": True}
        rows[values["sighting_id"]] = values | place
    return rows


@pytest.fixture(scope="session")
def town() -> Town:
    """The whole sample."""
    office = {row["sighting_id"]: {**row} for row in read_rows(FOLDER / "sightings.csv")}
    return Town(
        trees=read_rows(FOLDER / "trees.csv"),
        west=read_rows(FOLDER / "trees_ward5.csv", delimiter=";", encoding="latin-1"),
        sightings={**office, **_phone_rows()},
        inspections=read_rows(FOLDER / "inspections.csv"),
        faults=read_rows(FOLDER / "planted_faults.csv"),
    )


@pytest.fixture(scope="session")
def placed(town: Town) -> gpd.GeoDataFrame:
    """Trees with a place inside the town, in metres: id, species, dbh_cm, height_m, state, ward."""
    bad = set()
    for fault in ("lonlat_swapped", "outside_town", "at_zero_zero", "no_place", "no_place_danger"):
        bad |= set(town.fault_ids(fault))
    records = [_main_record(row) for row in town.trees if row["Tree No"] not in bad]
    records += [_west_record(row) for row in town.west]
    place = gpd.points_from_xy([r["x"] for r in records], [r["y"] for r in records])
    return gpd.GeoDataFrame(records, geometry=place, crs="EPSG:4326").to_crs(METRIC)


def _main_record(row: Row) -> dict[str, Any]:
    inches, feet = number(row["DBH (in)"]), number(row["Height (ft)"])
    usable = inches is not None and 0 < inches < 100
    return {
        "id": row["Tree No"], "species": row["Species"], "street": row["Street"],
        "dbh_cm": inches * 2.54 if inches is not None and usable else None,
        "height_m": None if feet is None else feet * 0.3048,
        "state": row["State"], "ward": row["Ward"],
        "x": number(row["Lon"]), "y": number(row["Lat"]),
    }  # fmt: skip


def _west_record(row: Row) -> dict[str, Any]:
    girth = number(row["Girth cm"])
    return {
        "id": row["Arbre"], "species": row["Espèce"], "street": row["Rue"],
        "dbh_cm": None if girth is None else girth / 3.14159265,
        "height_m": number(row["Height m"]), "state": row["Status"], "ward": "Val-Étang",
        "x": number(row["Longitude"]), "y": number(row["Latitude"]),
    }  # fmt: skip


def layer(name: str) -> gpd.GeoDataFrame:
    """One of the town's maps, in metres."""
    return gpd.read_file(FOLDER / name).to_crs(METRIC)


@pytest.fixture(scope="session")
def folder() -> Path:
    """The folder of the sample."""
    return FOLDER


@pytest.fixture(scope="session")
def maps() -> dict[str, gpd.GeoDataFrame]:
    """The town's maps in metres, by file stem."""
    return {name: layer(f"{name}.geojson") for name in ("streets", "wards", "zones", "basemap")}
