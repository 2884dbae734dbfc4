"""Wards, the ground map and shapes with faults."""

import numpy as np
import pytest
import shapely

from pipeline.errors import InputError
from pipeline.ingest import places
from pipeline.ingest.quarantine import Done
from pipeline.tables import catalogue_places as catalogue
from pipeline.tables.store import conform
from tests.ingest.geo_files import EPSG, file_of

SQUARE = "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))"


def test_wards_mend_flag_and_set_aside_and_lose_no_row() -> None:
    bowtie = "POLYGON ((20 0, 30 10, 30 0, 20 10, 20 0))"
    mapped = file_of(
        "wards", [SQUARE, bowtie, None, "POLYGON EMPTY", "POINT (1 1)", SQUARE],
        {"name": ["Old Town", "Bow", "Gone", "Void", "Dot", None]},
    )  # fmt: skip
    part = places.wards(mapped, epsg=EPSG, crs=None)
    assert {f.code: f.rows.tolist() for f in part.findings} == {
        "geometry_missing": [2], "geometry_empty": [3], "geometry_invalid": [1],
        "geometry_kind": [4], "ward_without_name": [5],
    }  # fmt: skip
    made = conform(catalogue.WARDS, places.keyed(catalogue.WARDS, [part.table, part.table]))
    assert made["name"].to_pylist() == ["Old Town", "Bow", "ward 6"] * 2
    aside = {r for f in part.findings if f.done is Done.SET_ASIDE for r in f.rows.tolist()}
    assert len(aside) + part.table.num_rows == len(mapped)
    # Two triangles of the crossed square: 2 * (10 * 5 / 2), plane geometry.
    assert shapely.from_wkb(part.table["geometry"].to_pylist()[1]).area == pytest.approx(50)


def test_a_file_without_crs_or_geometry_is_refused_with_what_to_do() -> None:
    with pytest.raises(InputError) as fault:
        places.wards(file_of("wards", [SQUARE], crs=None), epsg=EPSG, crs=None)
    assert fault.value.where == "wards.geojson"
    assert "EPSG" in fault.value.remedy
    with pytest.raises(InputError) as fault:
        places.wards(file_of("wards", None, {"name": ["x"]}), epsg=EPSG, crs=None)
    assert "no geometry" in fault.value.found


def test_metric_coordinates_called_degrees_are_set_aside() -> None:
    mapped = file_of("wards", ["POLYGON ((500 0, 510 0, 510 10, 500 0))"], crs="EPSG:4326")
    part = places.wards(mapped, epsg=EPSG, crs=None)
    assert [f.code for f in part.findings] == ["geometry_outside_crs"]
    assert part.table.num_rows == 0


def test_shapes_come_from_text_or_from_longitude_and_latitude() -> None:
    texts = file_of(
        "zones", None, {"wkt": ["POINT (25497000 6672000)", "no shape", None]}, crs=None
    )
    shaped = places.shapes_of(texts, epsg=EPSG, crs=f"EPSG:{EPSG}")
    assert [f.code for f in shaped.findings] == ["geometry_unreadable", "geometry_missing"]
    assert shaped.findings[0].values == ("no shape",)
    points = file_of("zones", None, {"longitude": [25.0, None], "latitude": [60.0, 60.0]}, crs=None)
    shaped = places.shapes_of(points, epsg=EPSG, crs=None)
    # The central meridian of the grid is 25 degrees east with easting 25,500,000 (EPSG registry).
    assert shaped.shapes[0].x == pytest.approx(25_500_000, abs=1e-3)
    assert shaped.shapes[1] is None


def test_basemap_needs_a_kind() -> None:
    part = places.basemap(
        file_of("basemap", [SQUARE, SQUARE], {"kind": ["water", None], "name": [None, "x"]}),
        epsg=EPSG, crs=None,
    )  # fmt: skip
    made = conform(catalogue.BASEMAP, places.keyed(catalogue.BASEMAP, [part.table]))
    assert made["kind"].to_pylist() == ["water"]
    assert part.findings[0].column == "KIND"


def test_a_point_on_a_shared_border_takes_the_lowest_key() -> None:
    two = np.array([shapely.box(10, 0, 20, 10), shapely.box(0, 0, 10, 10)], dtype=object)
    x, y = np.array([10.0, 5.0, 15.0, 99.0]), np.array([5.0, 5.0, 5.0, 5.0])
    assert places.polygon_of_point(x, y, two).tolist() == [0, 1, 0, -1]
    assert places.polygon_of_point(x, y, two[::-1]).tolist() == [0, 0, 1, -1]
    assert places.polygon_of_point(x, y, two[:0]).tolist() == [-1] * 4


def test_no_file_gives_an_empty_table() -> None:
    assert conform(catalogue.WARDS, places.keyed(catalogue.WARDS, [])).num_rows == 0


def test_a_spike_of_a_polygon_is_cut_off() -> None:
    spiked = "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 5, -5 5, 0 5, 0 0))"
    part = places.wards(file_of("wards", [spiked], {"name": ["W"]}), epsg=EPSG, crs=None)
    shape = shapely.from_wkb(part.table["geometry"].to_pylist()[0])
    assert shape.area == pytest.approx(100)
    assert shape.geom_type in {"Polygon", "MultiPolygon"}
    assert [f.code for f in part.findings] == ["geometry_invalid"]
