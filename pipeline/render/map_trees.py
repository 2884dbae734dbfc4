"""The trees of a run as packed columns for a map, and the words that their codes stand for."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render import packing
from pipeline.render.context import RenderContext
from pipeline.units import Ints

NOT_RATED = 5  # beside the five rating words: stumps, vacant sites, removed trees
ASSESSED, EVIDENCE, NO_CLIMB, MAKE_SAFE, ASSUMED, CLOSER, DECIDED, DOUBTFUL = (
    1 << bit for bit in range(8)
)
_HARM_FLOOR, _HARM_STEPS = -12, 20  # harm is kept as twentieths of a power of ten, to sort by
_RATING_COLUMNS = (
    "rating", "rated", "assessed", "evidence", "no_climb", "make_safe", "occupancy_assumed",
    "advanced_assessment", "decision", "harm_per_year", "best_action", "taxon_id", "fact_set",
)  # fmt: skip
UNPLANNED = "not scheduled"
_TREE_COLUMNS = (
    "tree_id", "species", "genus", "street", "ward", "status", "dbh_cm", "place_doubtful",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PackedTrees:
    """Trees in packed order.

    Parameters
    ----------
    block : the columns, cell table included.
    words : what codes stand for, and how ids are read; texts apart from the arrays.
    order : row in ingest.trees of each packed row.
    place_of : packed row of each row of ingest.trees, -1 where it has no place.
    fact_sets : fact sets in the order of their code.
    """

    block: packing.Block
    words: dict[str, Any]
    order: Ints
    place_of: Ints
    fact_sets: Ints


def pack(context: RenderContext) -> PackedTrees:
    """All trees with a place, in the order of map cells."""
    trees, ratings = context.table("ingest.trees"), context.table("scoring.tree_ratings")
    longitude, latitude, shares = context.layers.drawn_trees
    cells = packing.into_cells(longitude, latitude)
    order = pa.array(cells.order)
    trees, ratings = (
        table.select(names).take(order)
        for table, names in ((trees, _TREE_COLUMNS), (ratings, _RATING_COLUMNS))
    )
    ids, numbers = packing.identities(trees["tree_id"].combine_chunks())
    species = pc.coalesce(
        trees["species"].cast(pa.string()), trees["genus"].cast(pa.string())
    )  # what is known, the genus at least
    coded = {
        "species": _codes(species),
        "street": _codes(trees["street"]),
        "ward": _codes(trees["ward"]),
        "status": _codes(trees["status"]),
        "action": _codes(ratings["best_action"]),
        "fungus": _codes(ratings["taxon_id"]),
        "quarter": _codes(_quarters(context).take(order)),
    }
    fact_sets, fact_codes = np.unique(_numbers(ratings["fact_set"], 0), return_inverse=True)
    delta = np.diff(numbers.astype(np.int64), prepend=0).astype(np.int32)
    named: dict[str, packing.Array] = {
        "cells": cells.table,
        "x": cells.offset_x,
        "y": cells.offset_y,
        "id": packing.zigzag(delta),
        "dbh": np.rint(_numbers(trees["dbh_cm"], 0.0)).astype(np.uint16),
        "rating": _ratings(ratings),
        "flags": _flags(trees, ratings),
        "harm": _harm(ratings["harm_per_year"]),
        "facts": fact_codes.astype(np.uint32),
        "shares": np.where(shares > 1, shares, 0)[cells.order].astype(np.uint32),
    }
    named.update({name: codes for name, (codes, _) in coded.items()})
    place_of = np.full(context.table("ingest.trees").num_rows, -1, np.int64)
    place_of[cells.order] = np.arange(cells.order.size)
    words: dict[str, Any] = {name: texts for name, (_, texts) in coded.items()}
    words["ids"] = ids
    return PackedTrees(packing.columns(named), words, cells.order, place_of, fact_sets)


def _quarters(context: RenderContext) -> pa.Array:
    """Quarter of the first placed job of each tree, `not scheduled` where a job is left out."""
    jobs, queue = context.table("planning.jobs"), context.table("planning.queue")
    code = np.full(context.table("ingest.trees").num_rows, -1, np.int32)
    tree_of = _numbers(jobs["tree_key"], -1).astype(np.int64)
    left = context.table("planning.unscheduled", columns=("job_key",))
    code[tree_of[_numbers(left["job_key"], -1).astype(np.int64)]] = 0
    quarter = queue["quarter"].cast(pa.string()).to_numpy(zero_copy_only=False).astype(str)
    words, word = np.unique(quarter, return_inverse=True)
    first_last = np.lexsort((_numbers(queue["queue_rank"], 0), quarter))[::-1]
    placed = _numbers(queue["job_key"], -1).astype(np.int64)[first_last]
    code[tree_of[placed]] = word[first_last] + 1  # the earliest is written last and stays
    indices = pa.array(code, mask=code < 0)
    return pa.DictionaryArray.from_arrays(indices, pa.array([UNPLANNED, *words.tolist()]))


def _codes(column: pa.ChunkedArray | pa.Array) -> tuple[packing.Array, list[str]]:
    """Codes from 1 (0: empty) and the texts from code 0 on, sorted."""
    texts = column.cast(pa.string())
    coded = texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts
    coded = coded.dictionary_encode()
    values = np.array(coded.dictionary.to_pylist(), dtype=object)
    by = np.argsort(values.astype(str), kind="stable")
    place = np.zeros(values.size + 1, np.uint32)
    place[by] = np.arange(1, values.size + 1)
    indices = coded.indices.fill_null(values.size).to_numpy(zero_copy_only=False)
    codes: packing.Array = place[indices]
    return codes, ["", *values[by].tolist()]


def _ratings(ratings: pa.Table) -> packing.Array:
    words = _numbers(ratings["rating"], 0).astype(np.uint8)
    rated = ratings["rated"].to_numpy(zero_copy_only=False).astype(bool)
    return np.where(rated, words, NOT_RATED).astype(np.uint8)


def _flags(trees: pa.Table, ratings: pa.Table) -> packing.Array:
    named = (
        (ASSESSED, ratings["assessed"]),
        (EVIDENCE, ratings["evidence"]),
        (NO_CLIMB, ratings["no_climb"]),
        (MAKE_SAFE, ratings["make_safe"]),
        (ASSUMED, ratings["occupancy_assumed"]),
        (CLOSER, ratings["advanced_assessment"]),
        (DECIDED, pc.is_valid(ratings["decision"])),
        (DOUBTFUL, trees["place_doubtful"]),
    )
    flags: packing.Array = np.zeros(ratings.num_rows, np.uint8)
    for bit, column in named:
        flags |= column.to_numpy(zero_copy_only=False).astype(np.uint8) * np.uint8(bit)
    return flags


def _harm(column: pa.ChunkedArray) -> packing.Array:
    harm = np.maximum(_numbers(column, 0.0), 10.0**_HARM_FLOOR)
    steps: packing.Array = np.clip((np.log10(harm) - _HARM_FLOOR) * _HARM_STEPS, 0, 255)
    return steps.astype(np.uint8)


def _numbers(column: pa.ChunkedArray, fill: float) -> packing.Array:
    found: packing.Array = np.asarray(column.fill_null(fill).to_numpy(zero_copy_only=False))
    return found
