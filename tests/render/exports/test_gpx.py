"""GPX of crew-days against the GPX 1.1 schema (Topografix 2004)."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
from lxml import etree

from pipeline.render.context import RenderContext
from pipeline.render.exports.gpx import NAMESPACE, Waypoint, gpx
from pipeline.render.pages import crew_sheet
from tests.render import sheet_world

G = {"g": NAMESPACE}
NASTY = (
    '<script>alert(1)</script> & "quotes"', "\u00c4hre \u0141\u00f3d\u017a \u6a39 \U0001f333",
    "nul \x00 bell \x07 half \ud800", "]]> <!-- -->", "",
)  # fmt: skip


@pytest.fixture(scope="session")
def schema(shared_file: Callable[[str], Path]) -> etree.XMLSchema:
    """The published schema."""
    return etree.XMLSchema(etree.parse(shared_file("data/standards/gpx-1.1/gpx.xsd")))


def document(*, track: bool = True) -> bytes:
    """A document of the worst names there are, at the ends of the ranges too."""
    places = ((-76.9, 43.2), (180.0, -90.0), (-180.0, 90.0), (0.0, 0.0), (179.99999999, 1e-9))
    points = [Waypoint(*at, name, name, name) for at, name in zip(places, NASTY, strict=True)]
    line = np.array([[-76.9, 43.2], [-76.8, 43.25]]) if track else None
    return gpx(NASTY[0], NASTY[1], points, [0, 1, 2, 3, 4, 0], line)


@pytest.mark.published
@pytest.mark.parametrize("track", [True, False])
def test_any_name_gives_a_valid_document(schema: etree.XMLSchema, *, track: bool) -> None:
    schema.assertValid(etree.fromstring(document(track=track)))


def test_names_come_back_as_they_were() -> None:
    found = etree.fromstring(document()).xpath("//g:wpt/g:name", namespaces=G)
    assert [one.text or "" for one in found[:2]] == list(NASTY[:2])
    assert found[2].text == "nul \ufffd bell \ufffd half \ufffd"


def test_no_track_where_none_is_known_and_the_order_stays() -> None:
    root = etree.fromstring(document(track=False))
    assert not root.xpath("//g:trk", namespaces=G)
    assert len(root.xpath("//g:rtept", namespaces=G)) == 6


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with its crew sheets written."""
    made = sheet_world.context(tmp_path_factory.mktemp("run"))
    crew_sheet.write(made)
    return made


@pytest.mark.published
def test_every_crew_day_is_valid_and_in_order(run: RenderContext, schema: etree.XMLSchema) -> None:
    paths = sorted((run.out / "crews").glob("*.gpx"))
    routes = run.table("planning.routes")
    assert len(paths) == routes.num_rows > 0
    for path in paths:
        root = etree.fromstring(path.read_bytes())
        schema.assertValid(root)
        stops = root.xpath("//g:rtept/g:name/text()", namespaces=G)
        assert stops[0] == stops[-1] == "North yard"
        assert [name.split()[0] for name in stops[1:-1]] == [
            str(n) for n in range(1, len(stops) - 1)
        ]
        html = path.with_suffix(".html").read_text(encoding="utf-8")
        assert f'href="{path.name}"' in html


def test_the_track_is_the_way_driven(run: RenderContext) -> None:
    routes = run.table("planning.routes")
    chosen = [k for k, how in enumerate(routes["how"].to_pylist()) if how != "straight_line"]
    assert chosen
    files = sorted((run.out / "crews").glob("*.gpx"))
    by_name = {etree.fromstring(f.read_bytes())[0][0].text: f for f in files}
    for row in chosen:
        one = routes.slice(row, 1).to_pylist()[0]
        root = etree.fromstring(by_name[f"{one['crew_id']} {one['day'].isoformat()}"].read_bytes())
        track = root.xpath("//g:trkpt", namespaces=G)
        line = shapely.from_wkb(one["geometry"])
        assert 2 <= len(track) <= shapely.get_num_coordinates(line)


def test_two_writings_are_equal(run: RenderContext, tmp_path: Path) -> None:
    again = sheet_world.context(tmp_path)
    crew_sheet.write(again)
    for path in sorted((run.out / "crews").glob("*.gpx")):
        assert path.read_bytes() == (again.out / "crews" / path.name).read_bytes()
