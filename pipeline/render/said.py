"""Statements behind the ratings, with what a sentence needs to stay true after a person decided."""

import json
from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render.context import RenderContext
from pipeline.terms import RatingWord, from_word, word

_KEPT = "why_retain"


def facts(context: RenderContext, *, among: Sequence[int] | None = None) -> pa.Table:
    """The table of statements; that a tree is kept above the accepted rating is told with it.

    The reason `why_retain` speaks of an accepted rating. Where a person overrode the program, or
    the rating is above what the city accepts, its values also hold `rating` and `decided`.

    Parameters
    ----------
    among : keep the statements of these fact sets alone; None keeps all.
    """
    table = context.table("scoring.facts")
    if among is not None:
        table = table.filter(pc.is_in(table["fact_set"], pa.array(among, pa.int64())))
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
