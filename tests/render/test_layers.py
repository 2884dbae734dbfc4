"""Places and shapes in degrees agree with pyproj and geopandas."""

import geopandas as gpd
import numpy as np
import pytest

from pipeline.render.context import RenderContext
from tests.render import map_world


def test_trees_in_degrees_against_geopandas(small_run: RenderContext) -> None:
    table = small_run.table("ingest.trees")
    points = gpd.GeoSeries.from_xy(
        table["x_m"].to_pylist(), table["y_m"].to_pylist(), crs=map_world.EPSG
    ).to_crs(4326)
    longitude, latitude = small_run.layers.trees
    np.testing.assert_allclose(longitude, points.x, atol=1e-9)
    np.testing.assert_allclose(latitude, points.y, atol=1e-9)


def test_shapes_in_degrees_against_geopandas(small_run: RenderContext) -> None:
    stored = small_run.table("ingest.basemap")["geometry"].to_pylist()
    told = gpd.GeoSeries.from_wkb(stored, crs=map_world.EPSG).to_crs(4326)
    made = gpd.GeoSeries(small_run.layers.shapes("ingest.basemap"), crs=4326)
    assert made.geom_equals_exact(told, tolerance=1e-9).all()


def test_a_frame_keeps_rows_columns_and_crs(small_run: RenderContext) -> None:
    frame = small_run.layers.frame("ingest.trees")
    assert len(frame) == 240
    assert frame.crs == "EPSG:4326"
    assert frame.geometry.x.iloc[5] == pytest.approx(small_run.layers.trees[0][5])
    assert small_run.layers.frame("ingest.wards").geom_type.eq("Polygon").all()


def test_a_missing_place_stays_missing(small_run: RenderContext) -> None:
    longitude, latitude = small_run.layers.to_degrees(
        np.array([np.nan, 585_000.0]), np.array([4_720_000.0, 4_720_000.0])
    )
    assert np.isnan(longitude[0])
    assert np.isfinite(latitude[1])


def test_a_table_that_no_stage_wrote_is_empty(small_run: RenderContext) -> None:
    assert small_run.table("planning.routes").num_rows == 0
    assert small_run.layers.frame("planning.routes").empty
