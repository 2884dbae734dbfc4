"""Jobs as people read them: in the order of the list, with the reason of their own action."""

import json
from pathlib import Path

import pyarrow.compute as pc
import pytest

from pipeline.render import work_rows
from pipeline.render.context import RenderContext
from pipeline.tables.catalogue import TABLES
from tests.render import sheet_world
from tests.render.map_world import fill


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with jobs placed and left out."""
    return sheet_world.context(tmp_path_factory.mktemp("run"))


def test_every_job_is_in_exactly_one_list(run: RenderContext) -> None:
    placed = set(work_rows.queued(run)["job_key"].to_pylist())
    left = set(work_rows.unscheduled(run)["job_key"].to_pylist())
    assert placed.isdisjoint(left)
    assert placed | left == set(run.table("planning.jobs")["job_key"].to_pylist())


def test_jobs_carry_their_own_tree(run: RenderContext) -> None:
    trees = run.table("ingest.trees").to_pylist()
    for row in work_rows.queued(run).to_pylist():
        tree = trees[row["tree_key"]]
        assert row["tree_id"] == tree["tree_id"]
        assert row["street"] == tree["street"]
        longitude = run.layers.trees[0][row["tree_key"]]
        assert row["longitude"] == pytest.approx(longitude, abs=1e-6)


def test_what_was_left_out_is_listed_with_the_largest_harm_first(tmp_path: Path) -> None:
    made = sheet_world.context(tmp_path)
    count = made.table("planning.jobs").num_rows
    sheet_world.change(
        made.store, "planning.jobs", harm_removed=[float(n % 7) for n in range(count)]
    )
    again = RenderContext(made.settings, made.store, made.library, made.out, made.sentence)
    harm = work_rows.unscheduled(again)["harm_removed"].to_pylist()
    assert harm == sorted(harm, reverse=True)
    assert work_rows.unscheduled(again, most=3)["harm_removed"].to_pylist() == harm[:3]


def test_each_job_says_why_its_own_action_was_chosen(tmp_path: Path) -> None:
    made = sheet_world.context(tmp_path)
    jobs = made.table("planning.jobs")
    sets = made.table("scoring.tree_ratings")["fact_set"].take(jobs["tree_key"]).to_pylist()
    said = [
        ("action_make_safe", {"say": "Close it off."}),
        ("no_climb_code", {"say": "Nobody has measured the wood."}),
        ("why_nothing_gentler", {"action": "remove", "say": "Nothing gentler helps."}),
        ("why_extent_unknown", {"action": "drill", "say": "Nobody knows how much is decayed."}),
        ("action_none", {"say": "Fallback."}),
    ]
    order = sorted(set(sets))
    fill(made.store, "scoring.facts", len(order) * len(said),
         fact_set=[s for s in order for _ in said], seq=list(range(len(said))) * len(order),
         link=["action"] * len(order) * len(said), statement=[s for s, _ in said] * len(order),
         values=[json.dumps(v, sort_keys=True) for _, v in said] * len(order))  # fmt: skip
    again = RenderContext(made.settings, made.store, made.library, made.out, made.sentence)
    rows = work_rows.by_key(again, again.table("planning.jobs")["job_key"]).to_pylist()
    why = {row["action"]: row["why"] for row in rows}
    assert why["remove"] == "Nothing gentler helps."
    assert why["drill"] == "Nobody knows how much is decayed."
    assert why["make_safe"] == "Close it off."
    assert why["prune_part"] == "Fallback."
    reasons = work_rows.action_sentences(
        again, again.table("planning.jobs")["tree_key"], starts="no_climb"
    )
    assert set(reasons.values()) == {"Nobody has measured the wood."}


def test_words_are_words(run: RenderContext) -> None:
    rows = work_rows.queued(run)
    assert set(rows["rating"].to_pylist()) <= set(work_rows.RATINGS)
    assert set(rows["part"].to_pylist()) <= set(work_rows.PARTS)
    assert not pc.any(pc.is_null(rows["rating"])).as_py()
    assert TABLES["planning.queue"].key == ("queue_rank",)
    assert rows["queue_rank"].to_pylist() == list(range(1, rows.num_rows + 1))
