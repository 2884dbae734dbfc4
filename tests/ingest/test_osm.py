"""What an OpenStreetMap extract gives: a small invented one, and the real one where it is there."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipeline.errors import InputError
from pipeline.ingest import osm, osm_trees, stage, streets, zones
from pipeline.ingest.osm import MapExtract, Targets
from pipeline.ingest.places import keyed
from pipeline.ingest.quarantine import Done, accepted_mask
from pipeline.ingest.streets import RoadClasses
from pipeline.progress import Silent
from pipeline.published.locate import config_dir
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.tables import catalogue_places as catalogue
from pipeline.tables.store import RunStore, conform

EPSG = 3879
TARGETS = Targets.of(Library().table("osm_targets"))
CLASSES = RoadClasses.of(Library().table("street_classes"))


def node(number: int, x: int, y: int, **tags: str) -> str:
    """A node, x and y in units of 0.0001 degrees from a point near Helsinki."""
    inner = "".join(f'<tag k="{k.replace("__", ":")}" v="{v}"/>' for k, v in tags.items())
    return (
        f'<node id="{number}" version="1" lat="{60 + y / 1e4}" lon="{25 + x / 1e4}">{inner}</node>'
    )


def way(number: int, nodes: list[int], **tags: str) -> str:
    """A way over nodes."""
    refs = "".join(f'<nd ref="{one}"/>' for one in nodes)
    inner = "".join(f'<tag k="{k}" v="{v}"/>' for k, v in tags.items())
    return f'<way id="{number}" version="1">{refs}{inner}</way>'


WORLD = [
    *(node(i, 10 * i, 0) for i in range(1, 6)),
    node(11, 10, 10), node(12, 20, 10), node(13, 20, 20), node(14, 10, 20),
    node(21, 5, 5, natural="tree", species="Quercus robur", height="12 m",
         circumference="1.5", diameter_crown="8", description="leans &quot;a bit&quot;, old"),
    node(22, 6, 5, natural="tree", genus="Betula", species="Pendula", circumference="30 cm"),
    node(23, 7, 5, natural="tree", circumference="4000"),
    node(24, 8, 5, highway="bus_stop", name="Square"),
    node(25, 9, 5, building="entrance"),
    way(101, [1, 2, 3], highway="residential", name="Main", oneway="yes", maxspeed="20 mph"),
    way(102, [3, 4, 99, 5], highway="footway"),
    way(103, [2, 12, 13], highway="primary", tunnel="yes"),
    way(104, [11, 12, 13, 14, 11], highway="residential", junction="roundabout"),
    way(105, [11, 12, 13, 14, 11], building="yes", amenity="school", name="School",
        opening_hours="when open"),
    way(106, [11, 12, 13, 14, 11], leisure="park"),
    way(107, [11, 98, 13, 14, 11], leisure="park"),
    way(108, [1, 11], highway="escape"),
    way(109, [1, 11], highway="service", access="private"),
    way(110, [11, 12, 13, 14, 11], highway="pedestrian", area="yes"),
    way(111, [11, 12, 13, 14, 11], natural="wood"),
]  # fmt: skip


@pytest.fixture(scope="module", name="file")
def _file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("osm") / "world.osm"
    path.write_text(f'<osm version="0.6">{"".join(WORLD)}</osm>', encoding="utf-8")
    return path


@pytest.fixture(scope="module", name="extract")
def _extract(file: Path) -> MapExtract:
    return osm.read_map(file, TARGETS, CLASSES, where="world.osm", epsg=EPSG)


def test_trees_have_canonical_names_units_and_nothing_guessed(file: Path) -> None:
    table, findings = osm_trees.read_trees(file, where="world.osm")
    first, second, third = table.to_pylist()
    assert first["tree_id"] == "node/21"
    assert (first["longitude"], first["latitude"]) == (
        pytest.approx(25.0005),
        pytest.approx(60.0005),
    )
    # Girth over pi: 150 cm -> 47.746 cm
    assert first["dbh_cm"] == pytest.approx(47.746, abs=1e-3)
    assert (first["height_m"], first["crown_width_m"]) == (12, 8)
    assert first["notes"] == 'leans "a bit", old'
    assert second["species"] == "Betula pendula"
    assert second["dbh_cm"] == pytest.approx(9.549, abs=1e-3)
    assert (third["species"], third["dbh_cm"]) == (None, None)
    assert [(f.code, f.rows.tolist(), f.values) for f in findings] == [
        ("circumference_impossible", [2], ("4000",))
    ]


def test_streets_carry_class_direction_speed_and_their_cut_ways(extract: MapExtract) -> None:
    lines = {one: at for at, one in enumerate(extract.lines.street_id)}
    main = lines["way/101"]
    assert extract.lines.name[main] == "Main"
    assert (extract.lines.forward[main], extract.lines.backward[main]) == (True, False)
    assert extract.lines.speed_km_h[main] == pytest.approx(32.18688)  # 20 international miles
    assert not extract.lines.backward[lines["way/104"]]  # a roundabout is one-way
    assert not extract.lines.drivable[lines["way/109"]]
    assert "way/102" in lines  # cut, its first two nodes are kept
    assert "way/110" not in lines  # a square is an area
    shown = zones.of_lines(extract.lines, CLASSES)["zone_id"].to_pylist()
    assert "street:way/103" not in shown  # nobody under a tree in a tunnel
    graph = streets.graph(extract.lines, CLASSES, snap_m=0.0)
    assert conform(catalogue.STREETS, graph.edges).num_rows > len(lines)


def test_zones_follow_the_tag_table(extract: MapExtract) -> None:
    made = conform(catalogue.ZONES, keyed(catalogue.ZONES, [extract.zones])).to_pylist()
    found = {row["zone_id"]: row for row in made}
    assert set(found) == {"node/24", "way/105", "way/105:building", "way/106", "way/110"}
    school = found["way/105"]
    row = Library().table("osm_targets").row(key="amenity", value="school")
    assert (school["kind"], school["occupancy"], school["open_hours"]) == (
        row["kind"], row["occupancy"], row["use_hours"],
    )  # fmt: skip
    assert found["way/105:building"]["static"]
    assert found["way/105:building"]["how"] == "building"
    assert found["node/24"]["name"] == "Square"
    assert found["way/106"]["source"] == "osm_targets: leisure=park"


def test_the_account_closes_and_says_what_the_extract_lacks(extract: MapExtract) -> None:
    ids = np.array(extract.objects["osm_id"].to_pylist())
    said = {f.code: ids[f.rows].tolist() for f in extract.findings}
    assert said == {
        "object_outside_extract": ["way/107"],
        "way_cut_by_extract": ["way/102"],
        "highway_unknown": ["way/108"],
        "open_hours_unreadable": ["way/105"],
    }
    used = set(extract.lines.street_id) | {
        one.removesuffix(":building") for one in extract.zones["zone_id"].to_pylist()
    }
    keep = accepted_mask(len(ids), extract.findings)
    assert set(ids[keep]) - used == {"way/111"}  # a wood is only drawn
    aside = sum(f.count for f in extract.findings if f.done is Done.SET_ASIDE)
    assert keep.sum() + aside == len(ids)


def test_the_ground_map_shows_parks_and_buildings(extract: MapExtract) -> None:
    made = conform(catalogue.BASEMAP, keyed(catalogue.BASEMAP, [extract.basemap]))
    assert made["kind"].to_pylist() == ["building", "park", "park"]


def test_only_what_is_asked_for_is_taken(file: Path) -> None:
    extract = osm.read_map(file, TARGETS, CLASSES, where="w", epsg=EPSG, take=("streets",))
    assert (extract.zones.num_rows, extract.basemap.num_rows) == (0, 0)
    assert len(extract.lines) > 0


def test_a_file_that_is_no_extract_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "wrong.osm.pbf"
    path.write_bytes(b"this is no extract")
    with pytest.raises(InputError) as fault:
        osm_trees.read_trees(path, where="wrong.osm.pbf")
    assert fault.value.where == "wrong.osm.pbf"
    with pytest.raises(InputError):
        osm.read_map(path, TARGETS, CLASSES, where="wrong.osm.pbf", epsg=EPSG)


def test_a_real_extract(shared_file: Callable[[str], Path]) -> None:
    """Counts of the extract of central Helsinki (OpenStreetMap contributors, ODbL 1.0)."""
    path = shared_file("data/zones/helsinki-osm/Helsinki.osm.pbf")
    table, _ = osm_trees.read_trees(path, where="Helsinki")
    assert table.num_rows == 649
    assert table.num_rows - table["species"].null_count >= 2
    assert len(set(table["tree_id"].to_pylist())) == 649
    extract = osm.read_map(path, TARGETS, CLASSES, where="Helsinki", epsg=EPSG)
    pairs = zip(
        extract.objects["osm_id"].to_pylist(), extract.objects["tags"].to_pylist(), strict=True
    )
    ways = [one for one, tags in pairs if one.startswith("way/") and '"highway":' in tags]
    assert len(ways) == 2650
    zone_table = conform(
        catalogue.ZONES,
        keyed(catalogue.ZONES, [extract.zones, zones.of_lines(extract.lines, CLASSES)]),
    )
    assert set(zone_table["how"].unique().to_pylist()) == {"map_tag", "building", "street_class"}
    basemap = conform(catalogue.BASEMAP, keyed(catalogue.BASEMAP, [extract.basemap]))
    assert basemap["kind"].to_pylist().count("building") >= 400
    assert shapely.is_valid(shapely.from_wkb(basemap["geometry"].to_pylist())).all()
    graph = streets.graph(extract.lines, CLASSES, snap_m=0.0)
    nodes = conform(catalogue.STREET_NODES, graph.nodes)
    drivable = graph.edges.filter(graph.edges["drivable"])
    island = nodes["island"].to_numpy()[drivable["from_node"].to_numpy()]
    assert (island == 0).mean() > 0.9  # the centre hangs together for a lorry


def test_the_settings_of_the_real_extract_run(
    shared_file: Callable[[str], Path], tmp_path: Path
) -> None:
    """The extract alone makes an inventory, zones and a network; every file's account closes."""
    data = shared_file("data/zones/helsinki-osm/Helsinki.osm.pbf").parents[2]
    settings = load(config_dir() / "helsinki.toml", data_dir=data)
    store = RunStore(tmp_path)
    stage.run(settings, store, Library(), Silent())
    assert store.query("select count(*) n from ingest.trees")["n"].to_pylist() == [649]
    account = store.query(
        "select rows_in, rows_accepted + rows_set_aside n from ingest.sources order by source_key"
    )
    assert account["rows_in"].to_pylist() == account["n"].to_pylist()
    assert account["rows_in"].to_pylist()[0] == 649
    kinds = store.query("select distinct how from ingest.zones order by how")["how"].to_pylist()
    assert kinds == ["building", "map_tag", "street_class"]
    near = store.query("select count(*) n from ingest.streets where drivable")["n"].to_pylist()[0]
    assert near > 500
