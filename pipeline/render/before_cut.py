"""What must be known before the saw: tests of a tree that may lift its cut."""

from datetime import date

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.published.sentences import SHEET, Texts
from pipeline.render import work_rows
from pipeline.render.account import in_words
from pipeline.render.context import RenderContext
from pipeline.render.wording_numbers import day, parts
from pipeline.tables.catalogue_planning import CUTS, TESTS

Tests = dict[int, list[tuple[str, date | None, str]]]


def words(tree: int, action: str, tests: Tests, t: Texts) -> str:
    """What the crew must know of the tests before this action; empty where none matters."""
    said = []
    for test, on, quarter in tests.get(tree, []) if action in CUTS else []:
        if on is not None:
            when = day(on.isoformat(), t)
            said.append(t.of(SHEET, "test", "first", test=in_words(test, t), day=when))
        elif not quarter:
            said.append(t.of(SHEET, "test", "open", test=in_words(test, t)))
    return " ".join(said)


def other_parts(context: RenderContext) -> dict[tuple[int, str], str]:
    """What else a test of a tree is to be set to, by tree and test."""
    tests, t = context.table("scoring.tests_that_pay"), context.texts
    told = tests.filter(pc.and_(tests["chosen"], pc.is_valid(tests["also"])))
    return {
        (row["tree_key"], row["action"]): t.of(SHEET, "test", "also", part=parts(row["also"], t))
        for row in told.select(["tree_key", "action", "also"]).to_pylist()
    }


def tests_first(context: RenderContext) -> Tests:
    """Tests of trees that also have a cut: action, day and quarter; no quarter where left out."""
    jobs, queue = context.table("planning.jobs"), context.table("planning.queue")
    action = work_rows.flat(jobs["action"])
    cut = pc.unique(jobs["tree_key"].filter(pc.is_in(action, pa.array(CUTS))))
    tests = jobs.filter(pc.and_(pc.is_in(action, pa.array(TESTS)), pc.is_in(jobs["tree_key"], cut)))
    at = pc.index_in(tests["job_key"], queue["job_key"].combine_chunks())
    rows = zip(
        tests["tree_key"].to_pylist(),
        tests["action"].cast(pa.string()).to_pylist(),
        queue["day"].take(at).to_pylist(),
        work_rows.flat(queue["quarter"]).take(at).to_pylist(),
        strict=True,
    )
    found: Tests = {}
    for tree, test, on, quarter in rows:
        found.setdefault(tree, []).append((test, on, quarter or ""))
    return found
