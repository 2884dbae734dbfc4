"""A page for each tree with evidence or rated above low: complete, quiet, whole or not at all."""

import hashlib
import re
from collections.abc import Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import openpyxl
import pyarrow.compute as pc
import pytest

from pipeline.errors import RenderError
from pipeline.published.table import Library
from pipeline.render import tree_names
from pipeline.render.context import RenderContext
from pipeline.render.explain import explain
from pipeline.render.pages import tree_pages
from pipeline.render.wording import review_sentence, sentence
from pipeline.settings.load import load
from pipeline.tables.store import RunStore
from pipeline.terms import RatingWord
from tests.conftest import LarkmereRun


class _Text(HTMLParser):
    """Text as a reader sees it, and what the page asks a browser to fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        self.links: list[str] = []
        self.fetched: list[tuple[str, str | None]] = []
        self.ids: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if tag == "a" and name == "href":
                self.links.append(value or "")
            elif name in {"src", "srcset", "href", "data", "poster", "action"}:
                self.fetched.append((tag, value))

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    @property
    def said(self) -> str:
        return " ".join(" ".join(self.text).split())


def _read(path: Path) -> _Text:
    reader = _Text()
    reader.feed(path.read_text(encoding="utf-8"))
    return reader


def _town(larkmere: LarkmereRun, out: Path, **output: object) -> RenderContext:
    folder = larkmere.first
    settings = load(folder / "inputs" / "settings.toml", data_dir=folder, as_of=date(2026, 11, 15))
    told = settings.settings
    if output:
        changed = told.model_copy(update={"output": told.output.model_copy(update=output)})
        settings = settings.model_copy(update={"settings": changed})
    return RenderContext(settings, RunStore(folder), Library(), out, sentence, review_sentence)


@pytest.fixture(scope="module")
def town(larkmere: LarkmereRun, tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """The sample town's run, its pages written elsewhere."""
    return _town(larkmere, tmp_path_factory.mktemp("pages"), tree_pages=10_000)


@pytest.fixture(scope="module")
def folder(town: RenderContext) -> Path:
    """The written pages."""
    tree_pages.write(town)
    return town.out / "trees"


@pytest.fixture(scope="module")
def told(town: RenderContext) -> dict[str, dict[str, Any]]:
    """What explain tells of each tenth tree that has a page, by its file."""
    rows = tree_names.paged(town)
    keys, names = rows["tree_key"].to_pylist()[::10], rows["page"].to_pylist()[::10]
    return dict(zip(names, explain(town, keys)["trees"], strict=True))


def test_trees_with_evidence_or_rated_above_low_have_a_page(
    town: RenderContext, folder: Path
) -> None:
    ratings = town.table("scoring.tree_ratings").to_pylist()
    ids = town.table("ingest.trees")["tree_id"].to_pylist()
    wanted = {
        ids[row["tree_key"]] for row in ratings if row["evidence"] or row["rating"] > RatingWord.LOW
    }
    rows = tree_names.paged(town)
    assert set(rows["tree_id"].to_pylist()) == wanted
    found = {path.name for path in folder.iterdir()}
    assert found == {f"{stem}.html" for stem in rows["page"].to_pylist()} | {"index.html"}


def test_a_page_holds_the_whole_thread(folder: Path, told: dict[str, dict[str, Any]]) -> None:
    for stem, tree in told.items():
        page = _read(folder / f"{stem}.html")
        assert tree["tree_id"] in page.said
        for knot in tree["knots"]:
            if knot["statements"]:
                assert knot["title"] in page.said
            elif knot["missing"]:
                assert " ".join(knot["missing"].split()) in page.said
            for one in knot["statements"]:
                assert " ".join(one["sentence"].split()) in page.said
                if one["source"]:
                    assert " ".join(one["source"]["citation"].split()) in page.said
                if one["note"]:
                    assert " ".join(one["note"].split()) in page.said
        for job in tree["work"]:
            assert " ".join(job["sentence"].split()) in page.said
        assert ("Do not climb, and do not stand under the crown." in page.said) == tree[
            "no_climb"
        ] or tree["no_climb"]
        assert "may still fail" in page.said


def test_a_page_asks_for_nothing_and_its_links_lead_somewhere(
    folder: Path, town: RenderContext
) -> None:
    pages = sorted(folder.glob("*.html"))
    ids = set(town.table("ingest.trees")["tree_id"].to_pylist())
    for path in [*pages[::20], folder / "index.html"]:
        page = _read(path)
        assert page.fetched == []
        assert "script" not in page.tags
        assert "url(" not in path.read_text(encoding="utf-8")
        for link in page.links:
            if link.startswith("#"):
                assert link[1:] in [*page.ids, "main"]
            elif "#tree=" in link:
                assert unquote(link.partition("#tree=")[2]) in ids
            elif not link.startswith("../"):
                assert (folder / unquote(link)).is_file()


def test_no_page_says_that_a_tree_is_safe(folder: Path) -> None:
    for path in sorted(folder.glob("*.html"))[::10]:
        said = _read(path).said.lower().replace("make safe", "").replace("make-safe", "")
        assert not re.search(r"\b(safe|safely|harmless|no danger|no risk)\b", said)


def _hashes(folder: Path) -> Iterator[tuple[str, str]]:
    for path in sorted(folder.iterdir()):
        yield path.name, hashlib.sha256(path.read_bytes()).hexdigest()


def test_two_runs_are_equal_to_the_byte(
    larkmere: LarkmereRun, tmp_path: Path, folder: Path
) -> None:
    tree_pages.write(_town(larkmere, tmp_path, tree_pages=10_000))
    assert list(_hashes(tmp_path / "trees")) == list(_hashes(folder))


def test_a_fault_leaves_the_pages_that_were_there(
    larkmere: LarkmereRun, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    context = _town(larkmere, tmp_path, tree_pages=3)
    tree_pages.write(context)
    before = list(_hashes(tmp_path / "trees"))

    def full(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(tree_pages, "_index", full)
    with pytest.raises(RenderError, match="No space left"):
        tree_pages.write(context)
    assert list(_hashes(tmp_path / "trees")) == before
    assert [path.name for path in tmp_path.iterdir()] == ["trees"]


def test_a_city_may_have_fewer_pages_and_the_list_says_so(
    larkmere: LarkmereRun, tmp_path: Path
) -> None:
    few = _town(larkmere, tmp_path, tree_pages=5)
    tree_pages.write(few)
    rows = tree_names.paged(few)
    assert rows.num_rows == 5
    every = _town(larkmere, tmp_path, tree_pages=10_000)
    assert rows["tree_key"].to_pylist() == tree_names.paged(every)["tree_key"].to_pylist()[:5]
    left = tree_names.count_wanted(few) - 5
    assert f"{left:,} more of these are left out" in _read(tmp_path / "trees" / "index.html").said
    none = _town(larkmere, tmp_path / "none", tree_pages=0)
    tree_pages.write(none)
    assert [path.name for path in (tmp_path / "none" / "trees").iterdir()] == ["index.html"]


def test_names_of_files_are_plain_and_differ_in_more_than_capitals() -> None:
    hostile = [
        "A1", "a1", "../../etc/passwd", "con", "CON.txt", "index", "7 b/\u00c4", "\u6a39-1", "",
        None, "x" * 300, "a\nb", "<script>", "..", "-rf", "a__3", 'q"', "\u202e1", "A1 ", "NUL",
    ]  # fmt: skip
    names = tree_names.page_names(range(len(hostile)), hostile)
    assert names[0] == "A1"
    assert len({name.casefold() for name in names}) == len(names)
    for name in names:
        # The names that POSIX calls portable, short, and none that Windows keeps for itself.
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,79}", name), name
        assert name.casefold() not in {"con", "nul", "prn", "aux", "index", "com1"}


def test_the_map_and_the_workbook_link_to_the_pages(larkmere: LarkmereRun) -> None:
    book = openpyxl.load_workbook(larkmere.first / "queue.xlsx")
    links = [
        str(cell.hyperlink.target).replace("\\", "/")  # as office programs write a path
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.hyperlink
    ]
    assert links
    for link in links:
        assert (larkmere.first / link).is_file()
    index = _read(larkmere.first / "index.html")
    assert "trees/index.html" in index.links


def test_the_drawing_is_of_the_part_that_decides(
    town: RenderContext, told: dict[str, dict[str, Any]]
) -> None:
    parts = ("roots", "butt", "stem", "branch")
    ratings = town.table("scoring.tree_ratings")
    drawn = 0
    for tree in told.values():
        row = ratings.filter(pc.equal(ratings["tree_key"], tree["tree_key"])).to_pylist()[0]
        decayed = {
            p["part"] for p in tree["decay"] if p["values"]["decayed_share"]["value"] is not None
        }
        worst = None if row["worst_part"] is None else parts[row["worst_part"]]
        if worst in decayed:
            assert tree["drawing"]["part"] == worst
            drawn += 1
        elif not decayed:
            assert tree["drawing"]["part"] is None
    assert drawn
