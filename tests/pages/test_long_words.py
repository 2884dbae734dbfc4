"""A street whose name never ends widens no page, on a phone or on a desk."""

from dataclasses import replace

import pyarrow as pa
import pytest

from pipeline.render.context import RenderContext
from pipeline.render.pages import council_map, crew_sheet, forester_map, index, run_report
from pipeline.tables.catalogue import TABLES
from tests.pages.conftest import DESKTOP, PHONE, Opener
from tests.render import sheet_world

pytestmark = pytest.mark.page
LONG = "Langstrasse" * 455  # about 5,000 letters without a blank


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run in which every street has such a name."""
    made = sheet_world.context(tmp_path_factory.mktemp("long"))
    trees = made.store.read(TABLES["ingest.trees"])
    at = trees.column_names.index("street")
    streets = pa.array([LONG] * trees.num_rows).cast(trees.schema.field("street").type)
    made.store.write(TABLES["ingest.trees"], trees.set_column(at, "street", streets))
    made = replace(made, _tables={})
    for writer in (forester_map, council_map, crew_sheet, run_report, index):
        writer.write(made)
    return made


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_no_page_grows_wider_than_the_screen(
    open_page: Opener, run: RenderContext, size: tuple[int, int]
) -> None:
    sheets = sorted(p for p in (run.out / "crews").glob("*.html") if p.name != "index.html")
    pages = [run.out / "index.html", run.out / "report.html", *sheets[:1]]
    pages += [run.out / "council_map.html", run.out / "forester_map.html"]
    assert sheets
    for path in pages:
        maps = path.name.endswith("_map.html")
        page = open_page(path, size=size, scripts=maps).page
        if path.name == "forester_map.html":
            page.evaluate("soundwood.page.choose(5)")
        # A page without scripts cannot measure itself: its widest elements are asked for instead.
        wide = page.locator("body").bounding_box()
        assert wide is not None
        told = page.locator("h1, h2, p, table, li, .stop, .day").all()[:200]
        boxes = [one.bounding_box() for one in told if one.is_visible()]
        scroll = path.name == "report.html"  # its widest tables scroll inside their own frame
        widest = max(box["x"] + box["width"] for box in boxes if box)
        assert wide["width"] <= size[0], path.name
        assert scroll or widest <= size[0] + 1, path.name
