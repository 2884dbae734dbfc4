"""The layers, opened with geopandas: counts, CRS, places, field descriptions, equal bytes."""

import sqlite3
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from pipeline.errors import RenderError
from pipeline.published.sentences import english
from pipeline.render.context import RenderContext
from pipeline.render.exports import geopackage
from tests.render import sheet_world
from tests.render.map_world import ratings_of

_AID = english().word("caution", "aid")


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with its layers."""
    made = sheet_world.context(tmp_path_factory.mktemp("run"))
    geopackage.write(made)
    return made


def _layer(run: RenderContext, name: str) -> gpd.GeoDataFrame:
    return gpd.read_file(run.out / geopackage.NAME, layer=name)


def test_every_layer_has_every_row_in_longitude_and_latitude(run: RenderContext) -> None:
    names = set(pyogrio.list_layers(run.out / geopackage.NAME)[:, 0])
    assert names == {"trees", "sightings", "zones", "streets", "wards", "routes"}
    for name, table in (("trees", "ingest.trees"), ("zones", "ingest.zones"),
                        ("streets", "ingest.streets"), ("wards", "ingest.wards"),
                        ("routes", "planning.routes")):  # fmt: skip
        layer = _layer(run, name)
        assert len(layer) == run.table(table).num_rows
        assert layer.crs is not None
        assert layer.crs.to_epsg() == 4326


def test_trees_stand_where_geopandas_puts_them(run: RenderContext) -> None:
    trees = run.table("ingest.trees")
    points = gpd.points_from_xy(trees["x_m"].to_numpy(), trees["y_m"].to_numpy())
    expected = gpd.GeoSeries(points, crs=sheet_world.EPSG).to_crs(4326)
    layer = _layer(run, "trees")
    assert layer["tree_id"].tolist() == trees["tree_id"].to_pylist()
    assert np.allclose(layer.geometry.x, expected.x, atol=1e-9)
    assert np.allclose(layer.geometry.y, expected.y, atol=1e-9)


def test_ratings_are_words_and_nothing_private_is_carried(run: RenderContext) -> None:
    layer = _layer(run, "trees")
    words = np.array(["not assessed", "low", "moderate", "high", "extreme"])
    assert layer["rating"].tolist() == words[ratings_of(240)].tolist()
    fields = {c for name in ("trees", "sightings") for c in _layer(run, name).columns}
    assert fields.isdisjoint({"notes", "observer", "address"})


def test_points_are_wellknown_binary() -> None:
    x, y = np.array([1.5, -76.9, 0.0]), np.array([2.25, 43.2, -90.0])
    made = shapely.from_wkb(np.array(geopackage.point_wkb(x, y).to_pylist(), dtype=object))
    assert shapely.equals(made, shapely.points(x, y)).all()


def test_fields_are_described_and_the_caution_is_in_the_file(run: RenderContext) -> None:
    with closing(sqlite3.connect(run.out / geopackage.NAME)) as file:
        told = dict(file.execute("select name, description from gpkg_data_columns"))
        caution = file.execute("select metadata from gpkg_metadata").fetchone()[0]
        scope = file.execute("select reference_scope from gpkg_metadata_reference").fetchone()
        extensions = {row[0] for row in file.execute("select extension_name from gpkg_extensions")}
    assert told["trees.dbh_cm"] == "stem diameter at breast height"
    assert told["routes.drive_min"] == "driving"
    assert _AID in caution
    assert scope == ("geopackage",)
    assert extensions >= {"gpkg_schema", "gpkg_metadata"}


def test_the_bytes_are_equal_on_repeat(run: RenderContext, tmp_path: Path) -> None:
    again = sheet_world.context(tmp_path)
    geopackage.write(again)
    assert (tmp_path / geopackage.NAME).read_bytes() == (run.out / geopackage.NAME).read_bytes()
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_a_place_that_cannot_be_written_is_refused_and_nothing_stays(
    run: RenderContext, tmp_path: Path
) -> None:
    target = tmp_path / geopackage.NAME
    target.mkdir()
    made = RenderContext(run.settings, run.store, run.library, tmp_path, run.sentence)
    with pytest.raises(RenderError) as caught:
        geopackage.write(made)
    assert caught.value.where == str(target)
    assert [path.name for path in tmp_path.iterdir()] == [geopackage.NAME]


def test_sightings_carry_what_they_are_found_to_be(run: RenderContext) -> None:
    layer = _layer(run, "sightings")
    table = run.table("scoring.identifications")
    assert layer["probability_1"].tolist() == pytest.approx(table["probability_1"].to_pylist())
    assert layer["rot_type"].tolist() == table["rot_type"].cast("string").to_pylist()
    assert layer["needs_expert"].astype(bool).tolist() == table["needs_expert"].to_pylist()
    assert layer["fungus"][0] == "Ganoderma applanatum"
    assert layer["next_look"][0] == "bruising"
    with sqlite3.connect(run.out / geopackage.NAME) as file:
        told = dict(file.execute("select column_name, description from gpkg_data_columns "
                                 "where table_name = 'sightings'"))  # fmt: skip
    assert "accepted name" in told["fungus"]
    assert told["probability_rot"]
