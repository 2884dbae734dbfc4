"""Packed arrays unpack to what went in, and are small."""

import base64
import json
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from pipeline.geo import crs
from pipeline.render import map_trees, packing
from tests.render import map_world


def unpack(block: packing.Block) -> dict[str, Any]:
    """What a browser reads out of a block of columns."""
    head, coded = block.text.split("\n", 1)
    data = zlib.decompress(base64.b64decode(coded), -15)
    made: dict[str, Any] = {}
    at = 0
    for name, kind, width, size in json.loads(head)["columns"]:
        planes = np.frombuffer(data[at : at + width * size], np.uint8).reshape(width, size)
        made[name] = np.ascontiguousarray(planes.T).view(f"<{kind}{width}").ravel()
        at += width * size
    assert at == len(data)
    return made


def unzigzag(values: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    wide = values.astype(np.int64)
    return (wide >> 1) ^ -(wide & 1)


def test_columns_come_back() -> None:
    named: dict[str, packing.Array] = {
        "small": np.array([0, 1, 255], np.uint32),
        "middle": np.array([0, 256, 65_535], np.uint32),
        "large": np.array([70_000, 1, 4_000_000_000], np.uint32),
        "signed": np.array([-5, 0, 2_000_000_000], np.int32),
        "none": np.zeros(0, np.uint16),
    }
    found = unpack(packing.columns(named))
    for name, values in named.items():
        np.testing.assert_array_equal(found[name], values)


def test_places_come_back_within_two_centimetres() -> None:
    draw = np.random.default_rng(3)
    longitude, latitude = draw.uniform(-73.99, -73.90, 4000), draw.uniform(42.60, 42.66, 4000)
    cells = packing.into_cells(longitude, latitude)
    ends = cells.table[:, 2]
    of = np.searchsorted(ends, np.arange(4000), side="right")
    scale = 2.0**packing.CELL_ZOOM
    x = (cells.table[of, 0] + cells.offset_x / 65_536) / scale
    y = (cells.table[of, 1] + cells.offset_y / 65_536) / scale
    # against EPSG:3857 by pyproj: the square map is it, scaled to 0..1
    east, north = crs.transform(longitude, latitude, source=4326, target=3857)
    girth = 2 * np.pi * 6_378_137.0
    np.testing.assert_allclose(x * girth, (east + girth / 2)[cells.order], atol=0.025)
    np.testing.assert_allclose(y * girth, (girth / 2 - north)[cells.order], atol=0.025)


def test_trees_without_a_place_are_left_out_and_none_is_lost() -> None:
    longitude = np.array([1.0, np.nan, 1.1, 1.2])
    cells = packing.into_cells(longitude, np.array([50.0, 50.0, np.nan, 50.0]))
    assert sorted(cells.order.tolist()) == [0, 3]


def test_no_trees_make_no_cells() -> None:
    cells = packing.into_cells(np.zeros(0), np.zeros(0))
    assert cells.table.shape == (0, 3)


@given(st.lists(st.integers(0, 999_999), min_size=1, max_size=50))
def test_numbered_ids_come_back(numbers: list[int]) -> None:
    ids = [f"LM-{n:06d}" for n in numbers]
    told, found = packing.identities(pa.array(ids))
    written = [told["prefix"] + str(n).zfill(told["width"]) for n in found.tolist()]
    assert [told["odd"].get(str(i), text) for i, text in enumerate(written)] == ids


@given(st.lists(st.text(max_size=8).filter(lambda t: "\n" not in t), min_size=1, max_size=40))
def test_any_ids_come_back(ids: list[str]) -> None:
    told, found = packing.identities(pa.array(ids))
    if "text" in told:
        assert told["text"].split("\n") == ids
    else:
        written = [told["prefix"] + str(n).zfill(told["width"]) for n in found.tolist()]
        assert [told["odd"].get(str(i), text) for i, text in enumerate(written)] == ids


def test_repeated_ids_are_told_apart_by_row() -> None:
    told, found = packing.identities(pa.array(["7", "8", "8~2", "9"]))
    assert told == {"prefix": "", "width": 0, "odd": {"2": "8~2"}}
    assert found.tolist()[:2] == [7, 8]


def test_shapes_come_back_within_their_step() -> None:
    area = shapely.Polygon([(10, 50), (10.01, 50), (10.01, 50.01), (10, 50.01)],
                           [[(10.004, 50.004), (10.006, 50.004), (10.006, 50.006)]])  # fmt: skip
    line = shapely.LineString([(10, 50), (10.02, 50.005)])
    shapes = np.array([line, area], dtype=object)
    block = packing.shapes(shapes, np.array([0, 4], np.uint8), tolerance=1e-7)
    found = unpack(block)
    assert found["length"].tolist() == [2, 5, 4]
    assert found["area"].tolist() == [0, 1, 1]
    assert found["kind"].tolist() == [0, 4, 4]
    assert np.cumsum(unzigzag(found["owner"])).tolist() == [0, 1, 1]
    step, low = block.head["step"], block.head["low"]
    x = (np.cumsum(unzigzag(found["dx"])) + low[0]) * step
    east, _ = packing.world(np.array([10.0, 10.02]), np.array([50.0, 50.005]))
    np.testing.assert_allclose(x[:2], east, atol=1e-7)


@pytest.mark.slow
def test_a_tree_costs_at_most_sixteen_bytes(tmp_path: Path) -> None:
    # the goal of the first version: 16 bytes a tree, texts apart
    packed = map_trees.pack(map_world.context(tmp_path, 50_000))
    assert packed.order.size == 50_000
    assert packed.block.size / 50_000 <= 16
