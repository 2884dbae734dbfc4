"""Zones that are wrong: mended or refused field by field, said, and never the end of a run."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from pipeline.geo.shapes import from_wkb
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.scoring import stage as scoring
from pipeline.settings.load import load
from pipeline.tables.catalogue import TABLES
from tests.ingest.little_city import AS_OF, LAT, LON, LittleCity, inventory

INPUTS = (
    '[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.zones]]\nfiles=["z.geojson"]\n'
    '[[inputs.inspections]]\nfiles=["i.csv"]\n'
)
LOOKED = "tree_id,inspected_on,defect,part\n" + "\n".join(
    f"T{100 + n},2026-09-01,crack,stem" for n in range(30)
)
# About 200 m to a side, around the trees.
WEST, EAST, SOUTH, NORTH = LON + 0.010, LON + 0.0135, LAT - 0.0004, LAT + 0.001
SQUARE = [(WEST, SOUTH), (EAST, SOUTH), (EAST, NORTH), (WEST, NORTH), (WEST, SOUTH)]
BOWTIE = [(WEST, SOUTH), (EAST, NORTH), (EAST, SOUTH), (WEST, NORTH), (WEST, SOUTH)]


def _zone(ring: Sequence[Sequence[float]], **properties: object) -> dict[str, Any]:
    told = {"kind": "park", "persons_per_h": 4, **properties}
    return {"type": "Feature", "properties": told,
            "geometry": {"type": "Polygon", "coordinates": [ring]}}  # fmt: skip


def _run(folder: Path, *zones: dict[str, Any]) -> LittleCity:
    """Ingest and score; every rating is there and finite."""
    folder.mkdir(exist_ok=True)
    city = LittleCity(folder)
    collection = {"type": "FeatureCollection", "features": list(zones)}
    files = {"trees.csv": inventory(), "z.geojson": json.dumps(collection), "i.csv": LOOKED}
    city.ingest(files, inputs=INPUTS)
    settings = load(folder / "city.toml", data_dir=folder, as_of=AS_OF)
    scoring.run(settings, city.store, Library(), Silent())
    harm = city.store.read(TABLES["scoring.tree_ratings"])["harm_per_year"].to_numpy()
    assert np.isfinite(harm).all()
    return city


def _harm(city: LittleCity) -> list[float]:
    table = city.store.read(TABLES["scoring.tree_ratings"])
    return list(map(float, table["harm_per_year"].to_pylist()))


def test_a_zone_that_crosses_itself_is_mended_and_said(tmp_path: Path) -> None:
    city = _run(tmp_path, _zone(BOWTIE))
    assert city.codes("findings")["geometry_invalid"] == 1
    (zone,) = city.rows("zones")
    assert shapely.is_valid(from_wkb(np.array([zone["geometry"]], dtype=object)))[0]


def test_zones_that_lie_over_one_another_are_said_and_harm_once(tmp_path: Path) -> None:
    once = _run(tmp_path / "once", _zone(SQUARE))
    twice = _run(tmp_path / "twice", _zone(SQUARE), _zone(SQUARE))
    assert twice.codes("findings")["zone_told_twice"] == 1
    assert max(_harm(once)) > 0
    assert _harm(twice) == pytest.approx(_harm(once), rel=1e-9)


def test_an_outline_of_a_hundred_thousand_corners_is_the_place_it_is(tmp_path: Path) -> None:
    plain = shapely.Polygon(SQUARE)
    fine = shapely.segmentize(plain, plain.length / 100_000)
    ring = shapely.get_coordinates(fine).tolist()
    assert len(ring) > 100_000
    few, many = _run(tmp_path / "few", _zone(SQUARE)), _run(tmp_path / "many", _zone(ring))
    assert _harm(many) == pytest.approx(_harm(few), rel=1e-6)


def test_thirty_hours_a_day_and_terms_that_end_before_they_begin_never_empty_a_place(
    tmp_path: Path,
) -> None:
    wrong = _run(
        tmp_path / "wrong",
        _zone(SQUARE, hours_per_day=30, days_per_week=9, terms="2026-12-18..2026-09-07"),
    )
    found = wrong.codes("findings")
    for code in (
        "hours_per_day_impossible", "days_per_week_impossible", "terms_end_before_they_begin",
    ):  # fmt: skip
        assert found[code] == 1
    for row in wrong.rows("findings"):
        assert row["reason"]
        assert row["remedy"]
    # What is refused leaves the place as one that is in use all the time.
    assert _harm(wrong) == pytest.approx(_harm(_run(tmp_path / "plain", _zone(SQUARE))), rel=1e-12)
