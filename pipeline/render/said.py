"""Statements behind the ratings, with what a sentence needs to stay true after a person decided."""

import json
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render.context import RenderContext
from pipeline.terms import RatingWord, from_word, word

_KEPT = "why_retain"
# Statements that are told once of all the parts of a tree of which they say the same.
_OF_PARTS = ("wood_not_measured", "wood_left", "failure_rule", "failure_act_at_once", "holds_part",
             "holds_witnesses", "holds_witnesses_apart")  # fmt: skip
_PART = r'"part": "(?P<part>[a-z|]+)"'


def facts(context: RenderContext, *, among: Sequence[int] | None = None) -> pa.Table:
    """The table of statements; that a tree is kept above the accepted rating is told with it.

    What is said alike of several parts of a tree stands once, its `part` joined with |.

    The reason `why_retain` speaks of an accepted rating. Where a person overrode the program, or
    the rating is above what the city accepts, its values also hold `rating` and `decided`.

    Parameters
    ----------
    among : keep the statements of these fact sets alone; None keeps all.
    """
    table = context.table("scoring.facts")
    if among is not None:
        table = table.filter(pc.is_in(table["fact_set"], pa.array(among, pa.int64())))
    table = _parts_joined(table)
    kept = pc.equal(table["statement"].cast(pa.string()), _KEPT)
    found = _above_or_decided(context, table.filter(kept)["fact_set"])
    if not found:
        return table
    values = [
        json.dumps(json.loads(raw) | found.get(fact_set, {}), sort_keys=True)
        for fact_set, raw in zip(
            table.filter(kept)["fact_set"].to_pylist(),
            table.filter(kept)["values"].to_pylist(),
            strict=True,
        )
    ]
    told = pc.replace_with_mask(
        table["values"].combine_chunks(),
        kept.combine_chunks(),
        pa.array(values, table["values"].type),
    )
    return table.set_column(table.column_names.index("values"), "values", told)


def _parts_joined(table: pa.Table) -> pa.Table:
    """The table with statements that differ in nothing but the part told once, at the first."""
    statement = table["statement"].cast(pa.string())
    of_parts = np.flatnonzero(pc.is_in(statement, pa.array(_OF_PARTS)).to_numpy())
    rows = table.take(pa.array(of_parts))
    values = rows["values"].combine_chunks()
    part = pc.struct_field(pc.extract_regex(values, _PART), "part")
    rest = pc.replace_substring_regex(values, '"part": "[a-z|]+"', '"part": ""')
    alike = pa.table({
        "set": rows["fact_set"], "statement": rows["statement"].cast(pa.string()), "rest": rest,
        "source": rows["source"].cast(pa.string()), "assumed": rows["assumed"],
        "part": part, "row": pa.array(of_parts),
    })  # fmt: skip
    keys = ["set", "statement", "rest", "source", "assumed"]
    found = alike.group_by(keys, use_threads=False).aggregate([("part", "list"), ("row", "list")])
    several = found.filter(pc.greater(pc.list_value_length(found["row_list"]), 1))
    if not several.num_rows:
        return table
    names = pc.binary_join(several["part_list"].combine_chunks(), "|")
    where = several["row_list"].combine_chunks()
    first = where.values.take(where.offsets[:-1])
    told = pa.chunked_array([table["values"].combine_chunks()])
    joined = pc.binary_join_element_wise('"part": "', names, '"', "")
    made = [
        text.replace('"part": ""', name, 1)
        for text, name in zip(several["rest"].to_pylist(), joined.to_pylist(), strict=True)
    ]
    here = np.zeros(table.num_rows, np.bool_)
    here[first.to_numpy()] = True
    order = np.argsort(first.to_numpy(), kind="stable")
    new = pc.replace_with_mask(
        told.combine_chunks(), pa.array(here), pa.array([made[n] for n in order], told.type)
    )
    gone = np.zeros(table.num_rows, np.bool_)
    gone[where.values.to_numpy()] = True
    gone &= ~here
    at = table.column_names.index("values")
    return table.set_column(at, "values", new).filter(pa.array(~gone))


def _above_or_decided(
    context: RenderContext, fact_sets: pa.ChunkedArray
) -> dict[int, dict[str, object]]:
    """Rating and whether a person overrode the program, by the set of such a tree."""
    ratings = context.table("scoring.tree_ratings")
    accepted = from_word(RatingWord, context.settings.settings.rating.accepted_rating)
    decided = pc.fill_null(pc.equal(ratings["decision"].cast(pa.string()), "override"), False)
    wanted = pc.or_(pc.greater(ratings["rating"], int(accepted)), decided)
    rows = ratings.append_column("decided", decided).filter(
        pc.and_(wanted, pc.is_in(ratings["fact_set"], value_set=fact_sets.combine_chunks()))
    )
    return {
        row["fact_set"]: {"decided": row["decided"], "rating": word(RatingWord(row["rating"]))}
        for row in rows.select(["fact_set", "rating", "decided"]).to_pylist()
    }
