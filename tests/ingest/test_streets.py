"""The street network: junctions, directions, islands, and lines with faults."""

from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
import pyarrow as pa
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from pipeline.ingest import streets
from pipeline.ingest.column_map import ColumnMap
from pipeline.ingest.columns import apply
from pipeline.ingest.quarantine import Done
from pipeline.ingest.readers import read_input
from pipeline.ingest.streets import RoadClasses, StreetGraph
from pipeline.published.table import Library
from pipeline.settings.model import InputFile
from pipeline.tables import catalogue_places as catalogue
from pipeline.tables.store import conform
from tests.ingest.geo_files import EPSG, Columns, file_of


@pytest.fixture(scope="module", name="classes")
def _classes() -> RoadClasses:
    return RoadClasses.of(Library().table("street_classes"))


def network(
    classes: RoadClasses,
    *shapes: str,
    snap_m: float = 0.5,
    columns: Columns | None = None,
    told: Columns | None = None,
) -> StreetGraph:
    """The network of a small file, checked against the declarations."""
    mapped = file_of("streets", shapes, columns, told=told)
    part = streets.lines_of(mapped, classes, epsg=EPSG, crs=None)
    made = streets.graph(part.lines, classes, snap_m=snap_m)
    return StreetGraph(
        conform(catalogue.STREET_NODES, made.nodes), conform(catalogue.STREETS, made.edges)
    )


def test_lines_are_cut_where_they_share_a_vertex_and_not_where_they_cross(
    classes: RoadClasses,
) -> None:
    made = network(
        classes,
        "LINESTRING (0 0, 50 0, 100 0)",
        "LINESTRING (50 -50, 50 0, 50 50)",  # shares a vertex with the first
        "LINESTRING (20 -50, 20 50)",  # crosses it: a bridge
    )
    assert made.edges.num_rows == 5
    assert made.nodes.num_rows == 7
    assert sorted(made.edges["length_m"].to_pylist()) == [50, 50, 50, 50, 100]
    assert sorted(made.nodes["island"].to_pylist()) == [0, 0, 0, 0, 0, 1, 1]
    for edge in made.edges.to_pylist():
        line = shapely.from_wkb(edge["geometry"])
        node = made.nodes.slice(edge["from_node"], 1).to_pylist()[0]
        assert line.coords[0] == (node["x_m"], node["y_m"])


def test_ends_within_half_a_metre_meet_and_those_beyond_do_not(classes: RoadClasses) -> None:
    near = network(classes, "LINESTRING (0 0, 10 0)", "LINESTRING (10.4 0, 20 0)")
    assert (near.nodes.num_rows, near.edges.num_rows) == (3, 2)
    far = network(classes, "LINESTRING (0 0, 10 0)", "LINESTRING (10.6 0, 20 0)")
    assert far.nodes.num_rows == 4
    exact = network(classes, "LINESTRING (0 0, 10 0)", "LINESTRING (10.4 0, 20 0)", snap_m=0)
    assert exact.nodes.num_rows == 4


def test_an_end_near_a_middle_vertex_cuts_that_line(classes: RoadClasses) -> None:
    made = network(classes, "LINESTRING (0 0, 50 0.3, 100 0)", "LINESTRING (50 0, 50 50)")
    assert (made.nodes.num_rows, made.edges.num_rows) == (4, 3)
    assert set(made.nodes["island"].to_pylist()) == {0}


def test_a_ring_and_a_doubled_vertex_stay_whole(classes: RoadClasses) -> None:
    made = network(
        classes, "LINESTRING (0 0, 9 0, 9 9, 0 0)", "LINESTRING (50 0, 60 0, 60 0, 70 0)"
    )
    assert made.edges.num_rows == 2
    loop = made.edges.filter(pa.compute.equal(made.edges["from_node"], made.edges["to_node"]))
    assert loop["length_m"].to_pylist() == [pytest.approx(18 + 9 * 2**0.5)]


def test_one_way_words(classes: RoadClasses) -> None:
    words = ["yes", "no", "-1", "1", "True", None, "reverse", "perhaps"]
    shapes = [f"LINESTRING ({10 * i} 0, {10 * i} 5)" for i in range(len(words))]
    mapped = file_of("streets", shapes, {"oneway": words})
    part = streets.lines_of(mapped, classes, epsg=EPSG, crs=None)
    assert part.lines.forward.tolist() == [True, True, False, True, True, True, False, True]
    assert part.lines.backward.tolist() == [False, True, True, False, False, True, True, True]
    odd = next(f for f in part.findings if f.code == "oneway_unknown")
    assert (odd.rows.tolist(), odd.values, odd.column) == ([7], ("perhaps",), "ONEWAY")


def test_speed_is_the_lines_own_or_that_of_its_class(classes: RoadClasses) -> None:
    # 30 mph = 48.28032 km/h, the international mile of 1609.344 m (1959)
    found = streets.speed_km_h(pa.array(["30 mph", "50", "40 km/h", "FI:urban", None, "walk"]))
    np.testing.assert_allclose(found, [48.28032, 50, 40, np.nan, np.nan, np.nan])
    made = network(
        classes, *[f"LINESTRING (0 {i}0, 9 {i}0)" for i in range(3)],
        columns={
            "speed_km_h": [None, None, 900.0],
            "class": ["primary", "residential", "motorway"],
        },
        told={"speed_km_h": ["30 mph", None, "900"]},
    )  # fmt: skip
    by_class = dict(zip(classes.names, classes.speed_km_h, strict=True))
    assert made.edges["speed_km_h"].to_pylist() == pytest.approx(
        [48.28032, by_class["residential"], by_class["motorway"]]
    )


def test_faulty_lines_are_set_aside_and_unknown_classes_said(classes: RoadClasses) -> None:
    mapped = file_of(
        "streets",
        ["LINESTRING (0 0, 0 0)", "POINT (1 1)", None, "MULTILINESTRING ((0 0, 1 0), (5 5, 5 9))",
         "LINESTRING (3 3, 4 4)"],
        {"class": ["residential", "residential", "residential", "boulevard", "residential"]},
    )  # fmt: skip
    part = streets.lines_of(mapped, classes, epsg=EPSG, crs=None)
    aside = {f.code: f.rows.tolist() for f in part.findings if f.done is Done.SET_ASIDE}
    assert aside == {"line_without_length": [0], "geometry_kind": [1], "geometry_missing": [2]}
    assert part.lines.street_id.tolist() == ["street-4", "street-4", "street-5"]
    unknown = next(f for f in part.findings if f.code == "street_class_unknown")
    assert unknown.values == ("boulevard",)
    assert classes.names[part.lines.class_row[0]] == "unknown"
    assert part.note is None


def test_a_file_without_classes_says_so_once(classes: RoadClasses) -> None:
    part = streets.lines_of(
        file_of("streets", ["LINESTRING (0 0, 9 0)"]), classes, epsg=EPSG, crs=None
    )
    assert part.note is not None
    assert part.findings == ()


def test_paths_do_not_join_islands_for_vehicles(classes: RoadClasses) -> None:
    made = network(
        classes, "LINESTRING (0 0, 9 0)", "LINESTRING (9 0, 20 0)", "LINESTRING (20 0, 30 0)",
        columns={"class": ["residential", "footway", "residential"]},
    )  # fmt: skip
    assert sorted(made.nodes["island"].to_pylist()) == [0, 0, 1, 1]
    assert made.edges["drivable"].to_pylist() == [True, False, True]


def test_no_streets_are_no_error(classes: RoadClasses) -> None:
    made = streets.graph(streets.StreetLines.joined([]), classes)
    assert conform(catalogue.STREETS, made.edges).num_rows == 0
    assert conform(catalogue.STREET_NODES, made.nodes).num_rows == 0


def test_a_real_street_file_in_pieces(
    classes: RoadClasses, shared_file: Callable[[str], Path]
) -> None:
    """Counts measured on the open street file of San Francisco (ODC PDDL)."""
    path = shared_file("data/zones/san-francisco/sf_streets_repaired.geojson")
    raw = read_input(
        InputFile(files=(path.name,)), kind="streets", data_dir=path.parent, source_key_start=0
    )[0]
    column_map = ColumnMap.of_headers(raw.data.column_names, kind="streets", where=path.name)
    part = streets.lines_of(apply(raw, column_map, "streets"), classes, epsg=32610, crs=None)
    aside = {f.code: f.count for f in part.findings}
    assert aside == {"line_without_length": 5}
    assert len(set(part.lines.street_id)) == 6011 - 5
    assert part.note is not None
    made = streets.graph(part.lines, classes)
    islands = conform(catalogue.STREET_NODES, made.nodes)["island"].to_numpy()
    assert islands.max() > 100  # in pieces, as its publisher left it
    length = made.edges["length_m"].to_numpy()
    assert length.sum() == pytest.approx(shapely.length(part.lines.shapes).sum(), rel=1e-6)


LINES = st.lists(
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4)), min_size=2, max_size=5).filter(
        lambda line: len(set(line)) > 1
    ),
    min_size=1,
    max_size=6,
)


@given(LINES, st.randoms(use_true_random=False))
def test_cutting_keeps_every_metre_and_order_does_not_matter(
    lines: list[list[tuple[int, int]]], random: Random
) -> None:
    classes = RoadClasses.of(Library().table("street_classes"))
    shapes = [shapely.LineString([(10 * x, 10 * y) for x, y in line]) for line in lines]
    texts = [shape.wkt for shape in shapes]
    made = network(classes, *texts)
    total = sum(shape.length for shape in shapes)
    assert sum(made.edges["length_m"].to_pylist()) == pytest.approx(total)
    random.shuffle(texts)
    again = network(classes, *texts)
    assert again.nodes.num_rows == made.nodes.num_rows
    assert sorted(again.edges["length_m"].to_pylist()) == pytest.approx(
        sorted(made.edges["length_m"].to_pylist())
    )
    sizes = np.bincount(made.nodes["island"].to_numpy())
    assert (np.diff(sizes) <= 0).all()
    assert sizes.tolist() == np.bincount(again.nodes["island"].to_numpy()).tolist()
