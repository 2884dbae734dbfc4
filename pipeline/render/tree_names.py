"""Which trees have a page of their own, and the name of its file."""

import re
from collections.abc import Iterable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render.context import RenderContext
from pipeline.terms import RatingWord

FOLDER = "trees"
_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")
_OTHER = re.compile(r"[^A-Za-z0-9_-]+")
_LONGEST = 40
# Names that a file system keeps for itself, and the page of all the pages.
_TAKEN = {"index", "con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt")
          for n in range(10))}  # fmt: skip


def paged(context: RenderContext) -> pa.Table:
    """Trees with a page: tree_key, tree_id, rating and page, the worst first.

    Those with evidence, rated above low, or of which something must be seen to now; of one word
    the more harmful first. No more than the setting `output.tree_pages` says.
    """
    ratings = context.table("scoring.tree_ratings")
    own = ratings.filter(_wanted(context)).select(
        ["tree_key", "rating", "harm_per_year", "make_safe"]
    )
    own = own.sort_by(
        [("make_safe", "descending"), ("rating", "descending"), ("harm_per_year", "descending"),
         ("tree_key", "ascending")]
    )  # fmt: skip
    own = own.slice(0, context.settings.settings.output.tree_pages)
    keys = own["tree_key"].to_numpy()
    ids = context.table("ingest.trees")["tree_id"].take(pa.array(keys)).to_pylist()
    return pa.table({
        "tree_key": keys.astype(np.int64),
        "tree_id": pa.array(ids, pa.string()),
        "rating": own["rating"],
        "page": pa.array(page_names(keys.tolist(), ids), pa.string()),
    })  # fmt: skip


def count_wanted(context: RenderContext) -> int:
    """Trees that should have a page, whether or not they have one."""
    return int(pc.sum(_wanted(context)).as_py() or 0)


def _wanted(context: RenderContext) -> pa.ChunkedArray:
    ratings, reviews = context.table("scoring.tree_ratings"), context.table("scoring.reviews")
    now = reviews.filter(pc.equal(reviews["urgency"], 0))["tree_key"].combine_chunks()
    above = pc.greater(ratings["rating"], int(RatingWord.LOW))
    told = pc.or_(ratings["evidence"], pc.is_in(ratings["tree_key"], value_set=now))
    return pc.or_(told, above)


def page_names(keys: Iterable[int], ids: Iterable[str | None]) -> list[str]:
    """File names without ending, each once also where capital and small letters are one.

    An id of plain letters, digits, dashes and lines names its file; any other loses its other
    marks and gains the tree's number, which no other tree has.
    """
    names: list[str] = []
    taken = set(_TAKEN)
    for key, tree_id in zip(keys, ids, strict=True):
        name = tree_id or ""
        if not _PLAIN.fullmatch(name) or name.casefold() in taken:
            name = f"{_OTHER.sub('_', name)[:_LONGEST].strip('_-') or 'tree'}__{key}"
        while name.casefold() in taken:
            name += "_"
        taken.add(name.casefold())
        names.append(name)
    return names


def page_of(context: RenderContext) -> dict[int, str]:
    """Path from the run's folder to the page of each tree that has one, by tree key."""
    rows = paged(context)
    return dict(zip(rows["tree_key"].to_pylist(), _paths(rows).to_pylist(), strict=True))


def pages_of(context: RenderContext, tree_keys: pa.ChunkedArray) -> pa.ChunkedArray:
    """The same path for each of these trees, null where it has no page."""
    rows = paged(context)
    return _paths(rows).take(pc.index_in(tree_keys, rows["tree_key"].combine_chunks()))


def _paths(rows: pa.Table) -> pa.ChunkedArray:
    return pc.binary_join_element_wise(f"{FOLDER}/", rows["page"], ".html", "")
