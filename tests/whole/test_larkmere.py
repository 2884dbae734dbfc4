"""The sample town from its raw files to maps, queue and crew lists."""

import csv
import io
import json
from pathlib import Path

import pytest

from pipeline.published.sentences import english
from pipeline.published.table import Library
from pipeline.render.wording import sentence
from tests.conftest import ROOT, LarkmereRun

_AID = english().word("caution", "aid")

MAY_DIFFER = {"timings.json", "soundwood.duckdb"}
OUTPUTS = (
    "index.html", "forester_map.html", "council_map.html", "queue.xlsx", "queue.csv",
    "unscheduled.csv", "review.csv", "quarantine.csv", "layers.gpkg", "report.html",
    "manifest.json", "timings.json", "soundwood.duckdb",
)  # fmt: skip


def _files(folder: Path) -> dict[str, Path]:
    return {str(p.relative_to(folder)): p for p in folder.rglob("*") if p.is_file()}


def test_every_output_is_there(larkmere: LarkmereRun) -> None:
    files = _files(larkmere.first)
    assert [name for name in OUTPUTS if name not in files] == []
    assert any(name.startswith("crews/") for name in files)


def test_two_runs_are_equal_to_the_byte(larkmere: LarkmereRun) -> None:
    first, second = _files(larkmere.first), _files(larkmere.second)
    assert set(first) == set(second)
    different = [
        name
        for name in sorted(first)
        if name not in MAY_DIFFER and first[name].read_bytes() != second[name].read_bytes()
    ]
    assert different == []


def test_rows_in_are_rows_accepted_and_rows_set_aside(larkmere: LarkmereRun) -> None:
    for row in larkmere.table("ingest.sources"):
        assert row["rows_in"] == row["rows_accepted"] + row["rows_set_aside"], row["file"]
    aside = larkmere.sql(
        "select source_key, count(*) as n from ingest.quarantine group by source_key"
    )
    told = {row["source_key"]: row["rows_set_aside"] for row in larkmere.table("ingest.sources")}
    for row in aside:
        assert told[row["source_key"]] == row["n"]


def test_every_tree_has_a_rating_and_every_job_a_place_or_a_reason(larkmere: LarkmereRun) -> None:
    (counts,) = larkmere.sql(
        """
        select (select count(*) from ingest.trees) as trees,
               (select count(*) from scoring.tree_ratings) as ratings,
               (select count(*) from planning.jobs) as jobs,
               (select count(*) from planning.queue) as queued,
               (select count(*) from planning.unscheduled) as left_out
        """
    )
    assert counts["trees"] == counts["ratings"]
    assert counts["jobs"] == counts["queued"] + counts["left_out"]
    assert counts["queued"] > 0


def test_ratings_are_believable(larkmere: LarkmereRun) -> None:
    """Common practice, no source: most assessed trees are low, few high, very few extreme."""
    rows = larkmere.sql(
        "select rating, count(*) as n from scoring.tree_ratings where rated group by rating"
    )
    count = {row["rating"]: row["n"] for row in rows}
    assert count[1] > count[2] > count[3] > count.get(4, 0)
    assert 1 <= count.get(4, 0) <= 10
    assert 5 <= count[3] <= 80


def test_expected_deaths_stay_near_what_is_recorded(larkmere: LarkmereRun) -> None:
    """Deaths by falling trees: about 1 in 10 million residents a year.

    National Tree Safety Group 2011 (UK, 1999-2008): 64 deaths in ten years. The sum over the town
    may exceed that rate by about ten times at most, which is the stated uncertainty of the bands.
    """
    (row,) = larkmere.sql("select sum(harm_per_year) as harm from scoring.tree_ratings where rated")
    residents = 24_000
    assert 0 < row["harm"] < 100 * 1e-7 * residents


def test_danger_in_a_row_that_was_set_aside_heads_the_list(larkmere: LarkmereRun) -> None:
    first = larkmere.table("ingest.quarantine")[0]
    assert "root plate" in str(first["danger"])
    rows = list(
        csv.DictReader(io.StringIO((larkmere.first / "review.csv").read_text(encoding="utf-8-sig")))
    )
    assert rows[0]["urgency"] == "now"
    urgent = [row["what_to_do"] for row in rows if row["urgency"] == "now"]
    assert any("root plate" in text for text in urgent)
    assert "Needs a person now" in larkmere.said


def test_the_queue_names_the_page_of_each_tree_that_has_one(larkmere: LarkmereRun) -> None:
    rows = list(
        csv.DictReader(io.StringIO((larkmere.first / "queue.csv").read_text(encoding="utf-8-sig")))
    )
    named = {row["page"] for row in rows if row["page"]}
    on_disk = {f"trees/{path.name}" for path in (larkmere.first / "trees").glob("*.html")}
    assert named
    assert named <= on_disk
    for row in rows:
        own = f"trees/{row['tree_id']}.html"
        assert row["page"] == (own if own in on_disk else ""), row["tree_id"]


def test_failures_that_have_begun_are_on_the_make_safe_list(larkmere: LarkmereRun) -> None:
    stories = ("split_over_school_path", "root_plate_heaving", "hanging_branch_over_market")
    with (ROOT / "sample_inventory" / "planted_faults.csv").open(
        encoding="utf-8", newline=""
    ) as file:
        trees = [row["row_ids"] for row in csv.DictReader(file) if row["fault"] in stories]
    assert len(trees) == len(stories)
    quoted = ", ".join(f"'{tree}'" for tree in trees)
    rows = larkmere.sql(
        f"""
        select t.tree_id, r.make_safe, r.failure
        from scoring.tree_ratings r join ingest.trees t using (tree_key)
        where t.tree_id in ({quoted})
        """
    )
    assert len(rows) == len(stories)
    assert all(row["make_safe"] for row in rows), rows


def test_every_page_that_leaves_the_office_carries_the_caution(larkmere: LarkmereRun) -> None:
    pages = list(larkmere.first.rglob("*.html"))
    assert len(pages) > 5
    escaped = _AID.replace("'", "&#39;")
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert _AID in text or escaped in text, page.name


def test_no_page_calls_a_tree_safe(larkmere: LarkmereRun) -> None:
    for page in larkmere.first.rglob("*.html"):
        text = page.read_text(encoding="utf-8").lower()
        for phrase in (" is safe", " are safe", "safe tree", "no risk"):
            assert phrase not in text, (page.name, phrase)


def test_a_name_alone_never_condemns(larkmere: LarkmereRun) -> None:
    """No tree whose only evidence is a named fungus is imminent for the name alone.

    The mechanics speaks of such a tree by what that fungus usually leaves.
    """
    rows = larkmere.sql(
        """
        select r.tree_key, r.failure, r.best_action
        from scoring.tree_ratings r
        where r.evidence and not exists (
          select 1 from scoring.failure f where f.tree_key = r.tree_key
            and f.witness not in ('fungus', 'mechanics')
        )
        """
    )
    assert len(rows) > 20
    assert max(row["failure"] or 0 for row in rows) < 4


def test_removed_trees_leave_the_map_and_stay_in_history(larkmere: LarkmereRun) -> None:
    rows = larkmere.sql(
        """
        select t.status, r.rated, w.done_on
        from ingest.work_done w join ingest.trees t using (tree_key)
        join scoring.tree_ratings r using (tree_key)
        where w.action = 'remove'
        """
    )
    assert rows
    assert {(row["status"], row["rated"]) for row in rows} == {("removed", False)}


def test_facts_are_sentences_with_sources(larkmere: LarkmereRun) -> None:
    known = set(Library().sources)
    facts = larkmere.table("scoring.facts")
    assert len(facts) > 500
    for fact in facts:
        assert sentence(str(fact["statement"]), json.loads(str(fact["values"])))
        assert fact["source"] is None or fact["source"] in known


@pytest.mark.parametrize("marked", ["<script>", "<b>"])
def test_markup_of_the_files_never_becomes_markup(larkmere: LarkmereRun, marked: str) -> None:
    raw = (ROOT / "sample_inventory" / "trees.csv").read_text(encoding="utf-8")
    assert marked in raw
    for page in larkmere.first.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        for line in raw.splitlines():
            start = line.find(marked)
            if start >= 0:
                assert line[start : start + len(marked) + 6] not in text, page.name


def test_harm_and_not_the_word_ranks_and_the_reason_is_printed(larkmere: LarkmereRun) -> None:
    """A matrix can order two trees against their expected harm (Cox 2008, Risk Analysis 28(2))."""
    pairs = larkmere.sql(
        """
        select a.tree_key as a, b.tree_key as b, ta.tree_id as id, a.rank as ra, b.rank as rb,
            a.rank_low, a.rank_high
        from scoring.tree_ratings a, scoring.tree_ratings b, ingest.trees ta
        where a.evidence and b.evidence and a.rated and b.rated and a.rating < b.rating
            and a.harm_per_year > 2 * b.harm_per_year and ta.tree_key = a.tree_key
        order by a.rank, b.rank limit 200
        """
    )
    assert pairs
    assert all(row["ra"] < row["rb"] for row in pairs)
    first = pairs[0]
    page = (larkmere.first / "trees" / f"{first['id']}.html").read_text(encoding="utf-8")
    assert "worse word" in page
    assert "by a factor of about" in page
    ranks = f"it ranks {first['ra']} of"
    assert ranks in page
    assert f"{first['rank_low']} to {first['rank_high']}" in page
