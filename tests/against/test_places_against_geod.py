"""Areas and lengths in the run's metric CRS against the ellipsoid (pyproj.Geod)."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import Geod

from pipeline.ingest import places
from pipeline.ingest.column_map import ColumnMap
from pipeline.ingest.columns import apply
from pipeline.ingest.readers import read_input
from pipeline.settings.model import InputFile
from tests.ingest.geo_files import file_of

GEOD = Geod(ellps="WGS84")


@pytest.mark.parametrize(
    ("epsg", "longitude", "latitude"),
    # Grids with a scale of 1 (GK25), 0.9996 (UTM, near and far from its meridian).
    [(3879, 24.94, 60.17), (32618, -76.9, 43.2), (32610, -122.45, 37.77), (32733, 12.1, -33.9)],
)
def test_a_block_has_the_area_and_length_of_the_ellipsoid(
    epsg: int, longitude: float, latitude: float
) -> None:
    block = shapely.box(longitude, latitude, longitude + 0.004, latitude + 0.003)
    line = shapely.LineString([(longitude, latitude), (longitude + 0.004, latitude + 0.003)])
    mapped = file_of("zones", [block.wkt, line.wkt], crs="EPSG:4326")
    made = places.shapes_of(mapped, epsg=epsg, crs=None).shapes
    area, _ = GEOD.geometry_area_perimeter(block)
    # A transverse Mercator grid is within 0.04 % of length at its meridian, more at its edges.
    assert made[0].area == pytest.approx(abs(area), rel=2e-3)
    assert made[1].length == pytest.approx(GEOD.geometry_length(line), rel=1e-3)


def test_districts_of_a_real_city(shared_file: Callable[[str], Path]) -> None:
    path = shared_file("data/zones/san-francisco/supervisor_districts.geojson")
    spec = InputFile(files=(path.name,))
    raw = read_input(spec, kind="wards", data_dir=path.parent, source_key_start=0)[0]
    column_map = ColumnMap.of_headers(raw.data.column_names, kind="wards", where=path.name)
    part = places.wards(apply(raw, column_map, "wards"), epsg=32610, crs=None)
    assert part.table.num_rows == 11
    made = shapely.from_wkb(part.table["geometry"].to_numpy())
    told = [abs(GEOD.geometry_area_perimeter(shape)[0]) for shape in np.asarray(raw.geometry)]
    np.testing.assert_allclose(shapely.area(made), told, rtol=1e-3)


def test_a_street_file_in_pieces_is_read_whole(shared_file: Callable[[str], Path]) -> None:
    """6,011 lines, five of them without length; their lengths add up as on the ellipsoid."""
    path = shared_file("data/zones/san-francisco/sf_streets_repaired.geojson")
    spec = InputFile(files=(path.name,))
    raw = read_input(spec, kind="streets", data_dir=path.parent, source_key_start=0)[0]
    column_map = ColumnMap.of_headers(raw.data.column_names, kind="streets", where=path.name)
    mapped = apply(raw, column_map, "streets")
    shaped = places.shapes_of(mapped, epsg=32610, crs=None, need=1)
    assert len(shaped.shapes) == 6011
    told = sum(GEOD.geometry_length(shape) for shape in np.asarray(raw.geometry))
    assert shapely.length(shaped.shapes).sum() == pytest.approx(told, rel=1e-3)
