"""The council page shows public trees only, says what it leaves out, and needs no map."""

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from lxml import html as markup

from pipeline.published.sentences import english
from pipeline.render import account, privacy, public_work
from pipeline.render.context import RenderContext
from pipeline.render.pages import council_map, forester_map, index
from pipeline.render.public_work import PublicJob
from pipeline.tables import inputs
from pipeline.tables.catalogue import TABLES
from pipeline.tables.catalogue_planning import UNSCHEDULED
from tests.render import map_world


@pytest.fixture(scope="module")
def text(small_run: RenderContext) -> str:
    return council_map.html(small_run)


def test_the_table_lists_the_public_high_and_extreme_trees_worst_first(
    small_run: RenderContext, text: str
) -> None:
    told = small_run.store.query(
        "select t.tree_id, r.rating from ingest.trees t join scoring.tree_ratings r "
        "using (tree_key) where r.rated and r.rating >= 3 and t.owner = 'public' "
        "order by r.rating desc, r.harm_per_year desc, tree_key"
    )
    page = markup.fromstring(text)
    assert page.xpath("//tbody/tr/th/text()[1]") == told["tree_id"].to_pylist()


def test_nothing_private_is_on_the_page(small_run: RenderContext, text: str) -> None:
    private = small_run.store.query("select tree_id from ingest.trees where owner <> 'public'")
    assert private.num_rows > 0
    assert not [tree for tree in private["tree_id"].to_pylist() if tree in text]
    for words in ("note of the file", "12 Private Way", "observer-one", "private remark"):
        assert words not in text


def test_the_first_sentence_counts_as_the_tables_do(small_run: RenderContext, text: str) -> None:
    counts = small_run.store.query(
        "select count(*) trees, "
        "count(*) filter (rating > 0 and inspection_due_on >= date '2026-11-25') seen, "
        "count(*) filter (rating > 0 and inspection_due_on is null) otherwise, "
        "count(*) filter (rating = 0) nobody, "
        "count(*) filter (rating = 4) extreme, count(*) filter (rating = 3) high "
        "from ingest.trees join scoring.tree_ratings using (tree_key) "
        "where owner = 'public' and rated"
    ).to_pylist()[0]
    first = markup.fromstring(text).xpath("//p[@class='first']/text()")[0]
    assert [int(n) for n in re.findall(r"\d+", first.replace(",", ""))] == [
        counts["trees"], counts["seen"], counts["otherwise"], counts["nobody"],
        counts["extreme"], counts["high"],
    ]  # fmt: skip
    assert counts["trees"] == counts["seen"] + counts["otherwise"] + counts["nobody"]
    assert counts["otherwise"] > 0
    assert f"{counts['nobody']} public trees are not assessed" in text


def test_index_and_forester_page_count_as_the_council_page_does(
    small_run: RenderContext, tmp_path: Path
) -> None:
    seen = account.looked_at(small_run)
    assert seen.not_assessed == account.rating_counts(small_run)[-1][1]
    total = int(np.sum(small_run.table("scoring.tree_ratings")["rated"].to_numpy()))
    assert seen.inspected + seen.otherwise + seen.not_assessed == total
    assert seen.words in forester_map.html(small_run).replace("&#39;", "'")
    index.write(replace(small_run, out=tmp_path))
    told = markup.fromstring((tmp_path / index.NAME).read_bytes()).text_content()
    assert f"{seen.words}." in told
    only_public = account.looked_at(small_run, np.zeros(240, np.bool_))
    assert (only_public.inspected, only_public.otherwise, only_public.not_assessed) == (0, 0, 0)


def test_a_city_whose_file_names_no_owner_says_so_with_the_count(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 60)
    trees = run.store.read(TABLES["ingest.trees"])
    at = trees.column_names.index("owner")
    unknown = pa.array(["unknown"] * 60).cast(trees.schema.field("owner").type)
    run.store.write(TABLES["ingest.trees"], trees.set_column(at, "owner", unknown))
    text = council_map.html(replace(run, _tables={}))
    rated = int(np.sum(run.table("scoring.tree_ratings")["rated"].to_numpy()))
    assert f"The file does not say who owns its {rated} trees; none is shown here." in text
    assert "0 public trees" not in text
    assert "trees are rated extreme or high whose owner is not on record" in text


def test_work_planned_and_left_adds_up(small_run: RenderContext, text: str) -> None:
    rows = markup.fromstring(text).xpath("//tbody/tr")
    planned = small_run.store.query(
        "select count(*) n from planning.queue join planning.jobs using (job_key) "
        "join ingest.trees using (tree_key) join scoring.tree_ratings r using (tree_key) "
        "where r.rating >= 3 and owner = 'public' and rated"
    )["n"][0].as_py()
    assert f"Work is planned on {planned} of these {len(rows)} trees" in text
    assert f"Work on {len(rows) - planned} has no date yet" in text
    assert "no crew-hours left" in text


def test_isolation_is_told_first_and_does_not_count_as_the_work() -> None:
    day = date(2027, 1, 4)
    isolate = PublicJob(1, "make_safe", "2027Q1", day, late=False, reason="", as_of=day)
    remove = PublicJob(1, "remove", "2027Q2", None, late=True, reason="")
    assert public_work.main_job([isolate, remove], "remove") == remove
    assert public_work.main_job([isolate], "none") == isolate
    assert public_work.main_job([], "none") is None
    assert isolate.words(english()) == "Keep people out from under it: at once, on 4 January 2027."
    later = replace(isolate, as_of=date(2026, 11, 25), late=True)
    assert later.words(english()) == (
        "Keep people out from under it, on 4 January 2027; later than the rating asks."
    )
    nowhere = replace(isolate, quarter=None, on=None, reason="no crew-hours left")
    assert nowhere.words(english()) == (
        "Keep people out from under it: no day was found (no crew-hours left)."
    )
    assert (
        remove.words(english())
        == "Take the tree down, by 30 June 2027; later than the rating asks."
    )


def test_a_look_that_is_overdue_says_since_when() -> None:
    look = PublicJob(
        1, "retain_monitor", "2026Q4", date(2026, 11, 26), late=True, reason="",
        as_of=date(2026, 11, 25), due=date(2021, 9, 5),
    )  # fmt: skip
    assert (
        look.words(english())
        == "Keep the tree and look again, by 26 November 2026; due since 2021."
    )


def test_every_action_and_reason_has_public_words() -> None:
    assert set(english().words("public")) == {*inputs.ACTIONS, "none"}
    assert set(english().words("no_date")) == {*UNSCHEDULED.column("reason").allowed, "other"}


def test_it_says_that_not_inspected_is_not_low(text: str) -> None:
    assert "Not inspected is not low." in text
    assert "nobody has looked at them within the inspection cycle" in text
    assert " is safe" not in text.lower()


def test_places_are_rounded(small_run: RenderContext) -> None:
    exact = small_run.layers.trees[0]
    shown = privacy.rounded(exact)
    assert np.all(np.abs(shown - exact) <= 0.00005 + 1e-12)
    assert np.all(np.round(shown * 10_000) == shown * 10_000) or np.allclose(
        np.round(shown, 4), shown, atol=0
    )


def test_the_page_is_whole_without_scripts(text: str) -> None:
    page = markup.fromstring(text)
    assert "complete without it" in page.xpath("string(//noscript)")
    assert page.xpath("//table/caption")
    assert len(page.xpath("//thead//th[@scope='col']")) == 5
    assert page.xpath("//tbody//th[@scope='row']")
    assert page.xpath("/html/@lang") == ["en"]
    assert "user-scalable" not in text
    assert len(page.xpath("//h1")) == 1


def test_markup_in_a_street_name_is_text(text: str) -> None:
    assert "<script>alert" not in text


def test_the_page_has_the_same_bytes_twice(small_run: RenderContext, text: str) -> None:
    assert council_map.html(small_run) == text


def test_without_such_trees_it_says_so(tmp_path: Path) -> None:
    calm = map_world.context(tmp_path, 3)
    text = council_map.html(calm)
    assert "No tree recorded as public is rated high or extreme in this run" in text
    assert "None is rated high or extreme." in text
    assert "Not inspected is not low." in text
