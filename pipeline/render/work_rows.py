"""Jobs as people read them: one joined table for the workbook, the lists and the crews' sheets."""

import json
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline import terms
from pipeline.render import fungi, said, tree_names
from pipeline.render.context import RenderContext
from pipeline.units import Ints

AsText = Callable[[pa.ChunkedArray], pa.ChunkedArray]

RATINGS = [terms.word(w) for w in terms.RatingWord]
# Finer than anyone measures or bills: what is cut off is the noise of converted units.
_DECIMALS = {"dbh_cm": 1, "hours": 2, "cost": 2}
# Statements that speak of one action without naming it among their values.
_ACTION_OF = {"action_make_safe": "make_safe", "action_inspect": "inspect"}
_BESIDE = ("no_climb", "season_", "wires_", "decision_")  # they say how, not why
_PART_ROWS = 65_536
PARTS = [terms.word(p) for p in terms.Part]


def queued(context: RenderContext) -> pa.Table:
    """Jobs placed in a quarter, in the order of the list, with trees, reasons and fungi.

    Of several fungi on a tree the one is told that is most probably serious.
    """
    queue = context.table("planning.queue")
    jobs = _described(context, queue["job_key"])
    for name in ("queue_rank", "quarter", "crew_id", "day", "late_days"):
        jobs = jobs.append_column(name, flat(queue[name]))
    found = fungi.told_of(context, fungi.weightiest(context, jobs["tree_key"]))
    for name in found.column_names:
        jobs = jobs.append_column(name, found[name])
    return jobs.append_column("page", tree_names.pages_of(context, jobs["tree_key"]))


def unscheduled(context: RenderContext, *, most: int | None = None) -> pa.Table:
    """Jobs left out with their binding reason, largest expected harm first."""
    left = context.table("planning.unscheduled")
    order = _left_in_order(context)
    return _left_out(context, left.take(order[:most]), reasons=most is not None)


def unscheduled_parts(context: RenderContext) -> Iterator[pa.Table]:
    """All jobs left out as `unscheduled` has them, some at a time: texts of a city are large.

    Labels stay coded, so that whoever looks at the texts looks at each of them once.
    """
    left = context.table("planning.unscheduled")
    order = _left_in_order(context)
    for first in range(0, max(len(order), 1), _PART_ROWS):
        some = left.take(order[first : first + _PART_ROWS])
        yield _left_out(context, some, reasons=False, as_text=_coded)


def _left_in_order(context: RenderContext) -> pa.Array:
    left = context.table("planning.unscheduled")
    harm = context.table("planning.jobs")["harm_removed"].take(left["job_key"])
    return pc.sort_indices(
        pa.table({"harm": harm, "job_key": left["job_key"]}),
        sort_keys=[("harm", "descending"), ("job_key", "ascending")],
    )


def _left_out(
    context: RenderContext, left: pa.Table, *, reasons: bool, as_text: AsText | None = None
) -> pa.Table:
    as_text = as_text or flat
    jobs = _described(context, left["job_key"], reasons=reasons, as_text=as_text)
    for name in ("reason", "detail"):
        jobs = jobs.append_column(name, as_text(left[name]))
    return jobs


def by_key(context: RenderContext, job_keys: pa.ChunkedArray) -> pa.Table:
    """These jobs with their trees and reasons, in the order asked for."""
    return _described(context, job_keys)


def _described(
    context: RenderContext,
    job_keys: pa.ChunkedArray,
    *,
    reasons: bool = True,
    as_text: AsText | None = None,
) -> pa.Table:
    as_text = as_text or flat
    jobs = context.table("planning.jobs").take(job_keys)
    keys = jobs["tree_key"]
    trees = context.table("ingest.trees")
    longitude, latitude = (pa.array(values) for values in context.layers.trees)
    columns: dict[str, pa.ChunkedArray | pa.Array] = {
        name: as_text(jobs[name])
        for name in (
            "job_key", "job_id", "tree_key", "action", "crew_type", "machine", "hours", "cost",
            "deadline_on", "not_before", "season_code", "harm_removed", "make_safe", "no_climb",
            "ward", "x_m", "y_m",
        )
    }  # fmt: skip
    columns["rating"] = as_text(_words(jobs["rating"], RATINGS))
    columns["part"] = as_text(_words(jobs["part"], PARTS))
    for name in ("tree_id", "species", "dbh_cm", "street", "address", "wires", "voltage_v"):
        columns[name] = as_text(trees[name].take(keys))
    for name, decimals in _DECIMALS.items():
        columns[name] = pc.round(columns[name], decimals)
    columns["longitude"] = pc.round(longitude.take(keys), 6)
    columns["latitude"] = pc.round(latitude.take(keys), 6)
    if reasons:
        columns["why"] = pa.array(_why(context, jobs), type=pa.string())
    return pa.table(columns)


def _why(context: RenderContext, jobs: pa.Table) -> list[str]:
    """Why each job is to be done: the statement of its tree that speaks of its action."""
    sets = context.table("scoring.tree_ratings")["fact_set"].take(jobs["tree_key"]).to_pylist()
    told = _statements(context, np.unique(np.asarray(sets, np.int64)), starts="")
    reasons: dict[tuple[int, str], str] = {}
    for fact_set, statements in told.items():
        for statement, values, sentence in statements:
            action = values.get("action", _ACTION_OF.get(statement, ""))
            if not action and statement.startswith(_BESIDE):
                continue
            if statement.startswith("why_") or (fact_set, action) not in reasons:
                reasons[fact_set, action] = sentence
    actions = jobs["action"].cast(pa.string()).to_pylist()
    return [
        reasons.get((one, action), reasons.get((one, ""), ""))
        for one, action in zip(sets, actions, strict=True)
    ]


def action_sentences(
    context: RenderContext, tree_keys: pa.ChunkedArray, *, starts: str
) -> dict[int, str]:
    """For each tree its statements on what to do whose id starts like this, as one text."""
    keys = np.unique(tree_keys.to_numpy())
    sets = context.table("scoring.tree_ratings")["fact_set"].take(pa.array(keys)).to_numpy()
    told = _statements(context, np.unique(sets), starts=starts)
    return {
        int(key): " ".join(sentence for _, _, sentence in told[int(one)])
        for key, one in zip(keys, sets, strict=True)
        if int(one) in told
    }


def _statements(
    context: RenderContext, fact_sets: Ints, *, starts: str
) -> dict[int, list[tuple[str, dict[str, Any], str]]]:
    """Statements on what to do of each set in their order: id, values, sentence."""
    facts = said.facts(context)
    kept = facts.filter(
        pc.and_(
            pc.and_(
                pc.equal(facts["link"].cast(pa.string()), "action"),
                pc.starts_with(facts["statement"].cast(pa.string()), starts),
            ),
            pc.is_in(facts["fact_set"], value_set=pa.array(fact_sets)),
        )
    )
    made: dict[int, list[tuple[str, dict[str, Any], str]]] = {}
    known: dict[tuple[str, str], tuple[str, dict[str, Any], str]] = {}
    for row in kept.select(["fact_set", "statement", "values"]).to_pylist():
        one = (row["statement"], row["values"])
        if one not in known:
            values = json.loads(row["values"])
            known[one] = (row["statement"], values, context.sentence(row["statement"], values))
        made.setdefault(row["fact_set"], []).append(known[one])
    return made


def _words(codes: pa.ChunkedArray, words: list[str]) -> pa.ChunkedArray:
    indices = codes.combine_chunks().cast(pa.int32())
    return pa.chunked_array([pa.DictionaryArray.from_arrays(indices, words)])


def _coded(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Labels as they are."""
    return column


def flat(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Labels as plain text; other columns as they are."""
    return column.cast(pa.string()) if pa.types.is_dictionary(column.type) else column
