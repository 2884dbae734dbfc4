"""The ground of a map fits its room: it is simplified, then the least needed goes."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
import shapely

from pipeline.render import ground
from pipeline.render.context import RenderContext
from pipeline.tables.catalogue import TABLES
from tests.render import map_world
from tests.render.test_packing import unpack


def test_everything_of_a_small_town_is_drawn(small_run: RenderContext) -> None:
    drawn = ground.basemap(small_run)
    shapes = sum(
        small_run.table(name).num_rows
        for name in ("ingest.basemap", "ingest.wards", "ingest.streets")
    )
    assert len(drawn.names) == shapes
    assert drawn.left_out == 0
    kinds = set(unpack(drawn.block)["kind"].tolist())
    assert kinds == {ground.MINOR, ground.MAJOR, ground.WATER, ground.PARK, ground.BUILDING,
                     ground.WARD}  # fmt: skip


def test_buildings_go_first_where_room_is_short(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 60)
    corner = np.random.default_rng(5).uniform(0, 40_000, (30_000, 2))
    boxes = shapely.box(corner[:, 0] + 580_000, corner[:, 1] + 4_700_000,
                        corner[:, 0] + 580_012, corner[:, 1] + 4_700_009)  # fmt: skip
    map_world.fill(
        run.store, "ingest.basemap", len(boxes), basemap_key=range(len(boxes)),
        kind=["building"] * len(boxes), geometry=shapely.to_wkb(boxes),
    )  # fmt: skip
    drawn = ground.basemap(run)
    assert drawn.left_out == len(boxes)
    assert drawn.block.size <= 45_000 + 2 * 60
    assert ground.BUILDING not in unpack(drawn.block)["kind"]
    assert len(drawn.names) == run.table("ingest.streets").num_rows + 4


def test_zones_keep_names_and_a_point_becomes_a_small_square(small_run: RenderContext) -> None:
    drawn, told = ground.zones(small_run)
    assert drawn.names == ["Heron School", "Bus stop Chapel Road", "Mill walk"]
    assert told[0] == ["school", "frequent"]
    columns = unpack(drawn.block)
    assert columns["area"].tolist() == [1, 1, 0]
    assert set(columns["kind"].tolist()) == {ground.SURVEYED}


def test_a_zone_that_is_a_building_or_a_street_is_not_drawn_twice(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 30)
    stored = run.store.read(TABLES["ingest.zones"])
    how = pa.array(["street_class", "survey", "map_tag"])
    run.store.write(
        TABLES["ingest.zones"], stored.set_column(stored.schema.get_field_index("how"), "how", how)
    )
    drawn, _ = ground.zones(run)
    assert drawn.names == ["Bus stop Chapel Road", "Mill walk"]
    assert sorted(set(unpack(drawn.block)["kind"].tolist())) == [ground.TAGGED, ground.SURVEYED]


@pytest.mark.parametrize("missing", ["ingest.streets", "ingest.basemap", "ingest.zones"])
def test_a_missing_layer_is_an_empty_layer(tmp_path: Path, missing: str) -> None:
    run = map_world.context(tmp_path, 30)
    run.store.path(TABLES[missing]).unlink()
    there = [n for n in ("ingest.basemap", "ingest.wards", "ingest.streets") if n != missing]
    shapes = sum(run.table(name).num_rows for name in there)
    assert len(ground.basemap(run).names) == shapes > 0
    assert len(ground.zones(run)[0].names) == (0 if missing == "ingest.zones" else 3)
