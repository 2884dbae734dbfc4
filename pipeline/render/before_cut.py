"""What must be known before the saw: tests of a tree that may lift its cut."""

from datetime import date

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render import style, work_rows
from pipeline.render.account import in_words
from pipeline.render.context import RenderContext
from pipeline.tables.catalogue_planning import CUTS, TESTS

Tests = dict[int, list[tuple[str, date | None, str]]]


def words(tree: int, action: str, tests: Tests) -> str:
    """What the crew must know of the tests before this action; empty where none matters."""
    said = []
    for test, on, quarter in tests.get(tree, []) if action in CUTS else []:
        if on is not None:
            said.append(
                f"Test first: {in_words(test)}, planned for {style.day(on)}. Read its result "
                "before you cut; if there is none or it lifts the removal, call the office."
            )
        elif not quarter:
            said.append(
                f"Test not done: presume what the fungus or the defect tells ({in_words(test)} "
                "found no place in the plan). Ask the office before you cut."
            )
    return " ".join(said)


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
    for tree, test, day, quarter in rows:
        found.setdefault(tree, []).append((test, day, quarter or ""))
    return found
