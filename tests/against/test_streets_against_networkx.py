"""Shortest ways over the street network against networkx, and lengths against the ellipsoid."""

from collections.abc import Callable
from pathlib import Path

import networkx as nx
import numpy as np
import pyproj
import pytest
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from pipeline.ingest import osm, streets
from pipeline.ingest.streets import RoadClasses, StreetGraph, StreetLines
from pipeline.published.table import Library


def arcs(made: StreetGraph) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """From, to and length of each driving direction of the drivable edges."""
    table = made.edges.filter(made.edges["drivable"])
    a, b, length, there, back = (
        table[name].to_numpy()
        for name in ("from_node", "to_node", "length_m", "forward", "backward")
    )
    return (
        np.concatenate([a[there], b[back]]),
        np.concatenate([b[there], a[back]]),
        np.concatenate([length[there], length[back]]),
    )


def agree(made: StreetGraph, sources: list[int]) -> None:
    """Distances by scipy over our tables equal those of networkx on the same arcs."""
    a, b, length = arcs(made)
    size = made.nodes.num_rows
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(range(size))
    graph.add_weighted_edges_from(zip(a.tolist(), b.tolist(), length.tolist(), strict=True))
    order = np.lexsort((length, b, a))  # of parallel arcs the shortest counts
    a, b, length = a[order], b[order], length[order]
    first = np.ones(len(a), dtype=bool)
    first[1:] = (a[1:] != a[:-1]) | (b[1:] != b[:-1])
    links = coo_matrix((length[first], (a[first], b[first])), shape=(size, size)).tocsr()
    found = dijkstra(links, indices=sources)
    for source, mine in zip(sources, found, strict=True):
        theirs = nx.single_source_dijkstra_path_length(graph, source)
        expected = np.full(size, np.inf)
        expected[list(theirs)] = list(theirs.values())
        np.testing.assert_allclose(mine, expected, atol=1e-6)


def test_a_grid_with_one_ways_has_the_ways_that_networkx_finds() -> None:
    """The shapes are drawn as long streets; networkx builds the same town block by block."""
    classes = RoadClasses.of(Library().table("street_classes"))
    size, step = 7, 100.0
    rows = [shapely.LineString([(step * i, step * j) for i in range(size)]) for j in range(size)]
    columns = [shapely.LineString([(step * i, step * j) for j in range(size)]) for i in range(size)]
    shapes = np.array(rows + columns, dtype=object)
    many = len(shapes)
    oneway = np.arange(many) % 3 == 1
    none = np.full(many, None, dtype=object)
    lines = StreetLines(
        shapes, np.array([str(i) for i in range(many)], dtype=object), none,
        np.full(many, classes.names.index("residential")), np.ones(many, bool), ~oneway,
        np.ones(many, bool), np.full(many, np.nan), np.full(many, np.nan),
        np.ones(many, bool),
    )  # fmt: skip
    made = streets.graph(lines, classes)
    assert made.nodes.num_rows == size * size
    graph = nx.DiGraph()
    for j in range(size):
        for i in range(size - 1):
            graph.add_edge((i, j), (i + 1, j), weight=step)
            if not oneway[j]:
                graph.add_edge((i + 1, j), (i, j), weight=step)
            graph.add_edge((j, i), (j, i + 1), weight=step)
            if not oneway[size + j]:
                graph.add_edge((j, i + 1), (j, i), weight=step)
    a, b, length = arcs(made)
    links = coo_matrix((length, (a, b)), shape=(size * size,) * 2).tocsr()
    mine = dijkstra(links)
    x, y = made.nodes["x_m"].to_numpy(), made.nodes["y_m"].to_numpy()
    names = [(round(e / step), round(n / step)) for e, n in zip(x, y, strict=True)]
    theirs = dict(nx.all_pairs_dijkstra_path_length(graph))
    expected = [[theirs[one].get(other, np.inf) for other in names] for one in names]
    np.testing.assert_allclose(mine, expected)


def test_the_streets_of_a_real_city(shared_file: Callable[[str], Path]) -> None:
    classes = RoadClasses.of(Library().table("street_classes"))
    extract = osm.read_map(
        shared_file("data/zones/helsinki-osm/Helsinki.osm.pbf"),
        osm.Targets.of(Library().table("osm_targets")), classes,
        where="extract", epsg=3879, take=("streets",),
    )  # fmt: skip
    made = streets.graph(extract.lines, classes, snap_m=0.0)
    agree(made, [0, made.nodes.num_rows // 2, made.nodes.num_rows - 1])
    # Lengths on the grid against the ellipsoid (pyproj.Geod): its scale is within 2 in 10,000.
    shapes = shapely.from_wkb(made.edges["geometry"].to_numpy(zero_copy_only=False))
    back = pyproj.Transformer.from_crs(3879, 4326, always_xy=True)
    geod = pyproj.Geod(ellps="WGS84")
    told = made.edges["length_m"].to_numpy()
    for edge in range(0, len(shapes), 97):
        lon, lat = back.transform(*shapely.get_coordinates(shapes[edge]).T)
        assert told[edge] == pytest.approx(geod.line_length(lon, lat), rel=2e-4, abs=1e-3)
