"""Jobs as people read them: one joined table for the workbook, the lists and the crews' sheets."""

import json
from collections.abc import Iterable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline import terms
from pipeline.render.context import RenderContext

RATINGS = [terms.word(w) for w in terms.RatingWord]
PARTS = [terms.word(p) for p in terms.Part]


def queued(context: RenderContext) -> pa.Table:
    """Jobs placed in a quarter, in the order of the list, with their trees and reasons."""
    queue = context.table("planning.queue")
    jobs = _described(context, queue["job_key"])
    for name in ("queue_rank", "quarter", "crew_id", "day", "late_days"):
        jobs = jobs.append_column(name, flat(queue[name]))
    return jobs


def unscheduled(context: RenderContext, *, most: int | None = None) -> pa.Table:
    """Jobs left out with their binding reason, largest expected harm first."""
    left = context.table("planning.unscheduled")
    harm = context.table("planning.jobs")["harm_removed"].take(left["job_key"])
    order = pc.sort_indices(
        pa.table({"harm": harm, "job_key": left["job_key"]}),
        sort_keys=[("harm", "descending"), ("job_key", "ascending")],
    )
    left = left.take(order if most is None else order[:most])
    jobs = _described(context, left["job_key"], reasons=most is not None)
    for name in ("reason", "detail"):
        jobs = jobs.append_column(name, flat(left[name]))
    return jobs


def by_key(context: RenderContext, job_keys: pa.ChunkedArray) -> pa.Table:
    """These jobs with their trees and reasons, in the order asked for."""
    return _described(context, job_keys)


def _described(
    context: RenderContext, job_keys: pa.ChunkedArray, *, reasons: bool = True
) -> pa.Table:
    jobs = context.table("planning.jobs").take(job_keys)
    keys = jobs["tree_key"]
    trees = context.table("ingest.trees")
    longitude, latitude = (pa.array(values) for values in context.layers.trees)
    columns: dict[str, pa.ChunkedArray | pa.Array] = {
        name: flat(jobs[name])
        for name in (
            "job_key", "job_id", "tree_key", "action", "crew_type", "machine", "hours", "cost",
            "deadline_on", "not_before", "season_code", "harm_removed", "make_safe", "no_climb",
            "ward", "x_m", "y_m",
        )
    }  # fmt: skip
    columns["rating"] = _words(jobs["rating"], RATINGS)
    columns["part"] = _words(jobs["part"], PARTS)
    for name in ("tree_id", "species", "dbh_cm", "street", "address", "wires", "voltage_v"):
        columns[name] = flat(trees[name].take(keys))
    columns["longitude"] = pc.round(longitude.take(keys), 6)
    columns["latitude"] = pc.round(latitude.take(keys), 6)
    if reasons:
        columns["why"] = pa.array(_why(context, keys), type=pa.string())
    return pa.table(columns)


def _why(context: RenderContext, tree_keys: pa.ChunkedArray) -> list[str]:
    """The sentence of each tree's action: the last statement of its thread."""
    sets = context.table("scoring.tree_ratings")["fact_set"].take(tree_keys).to_numpy()
    sentences = action_sentences(context, np.unique(sets))
    return [sentences.get(int(one), "") for one in sets]


def action_sentences(context: RenderContext, fact_sets: Iterable[int]) -> dict[int, str]:
    """For each set of statements the sentence that says what is to be done and why."""
    found = _statements(context, fact_sets, starts="")
    return {fact_set: sentences[0] for fact_set, sentences in found.items()}


def link_sentences(
    context: RenderContext, tree_keys: pa.ChunkedArray, *, starts: str
) -> dict[int, str]:
    """For each tree its action statements whose id starts like this, as one text."""
    keys = np.unique(tree_keys.to_numpy())
    sets = context.table("scoring.tree_ratings")["fact_set"].take(pa.array(keys)).to_numpy()
    found = _statements(context, np.unique(sets), starts=starts)
    return {
        int(key): " ".join(reversed(found[int(one)]))
        for key, one in zip(keys, sets, strict=True)
        if int(one) in found
    }


def _statements(
    context: RenderContext, fact_sets: Iterable[int], *, starts: str
) -> dict[int, list[str]]:
    """Sentences of the link 'action' of each set, the last first."""
    facts = context.table("scoring.facts")
    wanted = pa.array(np.asarray(list(fact_sets), dtype=np.int64))
    kept = facts.filter(
        pc.and_(
            pc.and_(
                pc.equal(facts["link"].cast(pa.string()), "action"),
                pc.starts_with(facts["statement"].cast(pa.string()), starts),
            ),
            pc.is_in(facts["fact_set"], value_set=wanted),
        )
    ).sort_by([("fact_set", "ascending"), ("seq", "descending")])
    made: dict[int, list[str]] = {}
    for row in kept.select(["fact_set", "statement", "values"]).to_pylist():
        sentence = context.sentence(row["statement"], json.loads(row["values"]))
        made.setdefault(row["fact_set"], []).append(sentence)
    return made


def _words(codes: pa.ChunkedArray, words: list[str]) -> pa.Array:
    indices = codes.combine_chunks().cast(pa.int32())
    return pa.DictionaryArray.from_arrays(indices, words).cast(pa.string())


def flat(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """Labels as plain text; other columns as they are."""
    return column.cast(pa.string()) if pa.types.is_dictionary(column.type) else column
