"""The index says what needs a person, counts what was read, and links to what is there."""

import re
from dataclasses import replace
from pathlib import Path

import pyarrow as pa
import pytest
from lxml import html

from pipeline.published.table import Library
from pipeline.render import account, attention, map_trees
from pipeline.render.context import RenderContext
from pipeline.render.exports import geopackage, lists, spreadsheet
from pipeline.render.pages import crew_sheet, index, run_report
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore
from pipeline.terms import RatingWord
from tests.render import map_world, sheet_world
from tests.render.map_world import ratings_of, say

WRITERS = (
    crew_sheet.write, lists.write_queue, lists.write_review, lists.write_quarantine,
    spreadsheet.write, geopackage.write, run_report.write, index.write,
)  # fmt: skip


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with every sheet and list written."""
    made = sheet_world.context(tmp_path_factory.mktemp("run"))
    for write in WRITERS:
        write(made)
    return made


def _page(run: RenderContext) -> html.HtmlElement:
    return html.fromstring((run.out / index.NAME).read_bytes())


def test_danger_heads_the_list_and_later_things_wait(run: RenderContext) -> None:
    told = [item.text_content() for item in _page(run).xpath('//ol[@class="now"]/li')]
    assert "root plate is lifting" in told[0]
    assert "trees.csv, line 19: LK-2 · root plate is lifting" in told[0]
    assert len(told) <= index.MOST_SHOWN
    assert all(text.strip().startswith(("Now:", "This week:")) for text in told)


def test_a_make_safe_job_without_a_place_is_told(run: RenderContext) -> None:
    left = sum(row.make_safe for row in account.left_out(run))
    assert left > 0
    assert f"{left} make-safe job" in _page(run).text_content()


def test_every_link_leads_to_a_file(run: RenderContext) -> None:
    links = {str(link) for link in _page(run).xpath("//a/@href")} - {"#main"}
    missing = sorted(link for link in links if not (run.out / link).exists())
    assert missing == ["soundwood.duckdb"]  # written when all stages are done
    assert {"crews/index.html", "queue.xlsx", "report.html", "layers.gpkg"} <= links


def test_the_account_closes_for_each_file(run: RenderContext) -> None:
    rows = _page(run).xpath('//section[@aria-labelledby="read"]//tbody/tr')
    counts = [[int(n.replace(",", "")) for n in row.xpath('td[@class="num"]/text()')]
              for row in rows]  # fmt: skip
    assert counts == [[242, 240, 2], [14, 13, 1]]
    assert all(read == accepted + aside for read, accepted, aside in counts)


def test_not_assessed_is_counted_apart_from_low(run: RenderContext) -> None:
    counts = dict(account.rating_counts(run))
    assert list(counts)[-1] is RatingWord.NOT_ASSESSED
    assert counts[RatingWord.EXTREME] == int((ratings_of(240) == 4).sum())
    apart = _page(run).xpath('//li[@class="apart"]')[0].text_content()
    assert "this is not low" in apart
    assert str(counts[RatingWord.NOT_ASSESSED]) in apart


def test_each_missing_input_is_told_with_what_it_costs(tmp_path: Path) -> None:
    bare = RenderContext(map_world.settings(), RunStore(tmp_path), Library(), tmp_path, say)
    bare.store.epsg = sheet_world.EPSG
    told = {note.what: note.cost for note in account.missing_inputs(bare)}
    assert "Nearly all trees are not assessed" in told["No inspections"]
    assert "straight lines, made 1.4 times" in told["No streets"]
    assert "Nothing is scheduled" in told["No crews"]
    assert "'frequent'" in told["No target zones"]
    assert len(told) == 10
    index.write(bare)
    text = (tmp_path / index.NAME).read_text(encoding="utf-8")
    assert all(what in text for what in told)


def test_what_is_there_is_not_called_missing(run: RenderContext) -> None:
    missing = {note.what for note in account.missing_inputs(run)}
    assert missing.isdisjoint(
        {"No crews", "No streets", "No sightings of fungi", "No ward borders"}
    )


def test_assumptions_are_counted(run: RenderContext) -> None:
    told = " ".join(note.what for note in account.assumptions(run))
    rated = run.table("scoring.tree_ratings")["rated"].to_pylist()
    filled = sum(ok for key, ok in enumerate(rated) if key % 2)
    assert f"{filled} of 240 trees have no height" in told
    assert "48 of 240 trees have no word on wires" in told


@pytest.mark.parametrize("name", [index.NAME, run_report.NAME, "crews/index.html"])
def test_nothing_is_called_safe(run: RenderContext, name: str) -> None:
    text = html.fromstring((run.out / name).read_bytes()).text_content().lower()
    assert re.findall(r"(?<!make )(?<!make-)\bsafe\b", text) == []
    assert "not a verdict" in text or name.startswith("crews/")


def test_the_bytes_are_equal_on_repeat(run: RenderContext, tmp_path: Path) -> None:
    again = sheet_world.context(tmp_path)
    for write in WRITERS:
        write(again)
    files = sorted(p.relative_to(run.out) for p in run.out.rglob("*") if p.is_file())
    assert len(files) > 30
    different = [f for f in files if (run.out / f).read_bytes() != (tmp_path / f).read_bytes()]
    assert different == []


def test_what_needs_a_person_is_counted_as_on_the_forester_page(run: RenderContext) -> None:
    counts = attention.reviews(run, map_trees.pack(run))["counts"]
    later = counts[2] + counts[3]
    told = f"What needs a person: {counts[0]} now, {counts[1]} this week, {later} later."
    assert told in _page(run).text_content()


def test_only_what_is_placed_on_the_day_of_the_run_is_at_once(tmp_path: Path) -> None:
    run = sheet_world.context(tmp_path)
    queue, jobs = run.table("planning.queue"), run.table("planning.jobs")
    safe = jobs["make_safe"].take(queue["job_key"]).to_pylist()
    days = queue["day"].to_pylist()
    today = [run.as_of if ok else day for ok, day in zip(safe, days, strict=True)]
    for told_days in (days, today):
        table = queue.set_column(
            queue.column_names.index("day"), "day", pa.array(told_days, pa.date32())
        )
        run.store.write(TABLES["planning.queue"], table)
        said = account.make_safe_days(replace(run, _tables={}))
        now = sum(ok and day == run.as_of for ok, day in zip(safe, told_days, strict=True))
        assert said.startswith(f"{sum(safe)} make-safe job")
        assert ("at once" in said) == (now > 0)
        assert ("later" in said) == (now < sum(safe))
