"""What needs a person, and the sightings with their candidate trees, packed for a page."""

import json
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.render.context import RenderContext
from pipeline.render.joined import joined
from pipeline.render.map_trees import PackedTrees
from pipeline.render.thread import taxon_names

MOST_SHOWN = 2_000  # lines of a list that a person can still work through; the rest is counted
_PLACE_DECIMALS = 6
# Candidates of one sighting that a map can draw without becoming a star; the table holds them all.
_MOST_CANDIDATES = 8
_LEAST_PROBABLE = 0.005


def reviews(context: RenderContext, trees: PackedTrees) -> dict[str, Any]:
    """The review list, most urgent first: urgency, tree, sighting, words, remedy, row."""
    table = context.table("scoring.reviews")
    aside = context.table("ingest.quarantine")
    shown = table.slice(0, MOST_SHOWN)
    files = context.table("ingest.sources")["file"].to_pylist()
    rows = []
    columns = (
        shown["urgency"].to_pylist(),
        _places(trees, shown["tree_key"]),
        shown["sighting_key"].to_pylist(),
        shown["quarantine_key"].to_pylist(),
        shown["code"].cast(pa.string()).to_pylist(),
        shown["detail"].to_pylist(),
    )
    for urgency, tree, sighting, set_aside, code, detail in zip(*columns, strict=True):
        more = where = ""
        if set_aside >= 0:
            row = aside.slice(set_aside, 1).to_pylist()[0]
            more = row["remedy"]
            at = f"line {row['line']}" if row["line"] else f"row {row['row']}"
            where = f"{files[row['source_key']]}, {at}"
        said = context.review_sentence(code, json.loads(detail))
        rows.append([urgency, tree, sighting, said, more, where])
    counts = np.bincount(np.asarray(table["urgency"].to_numpy(zero_copy_only=False)), minlength=4)
    return {"rows": rows, "all": table.num_rows, "counts": counts.tolist()}


def sightings(context: RenderContext, trees: PackedTrees) -> dict[str, Any]:
    """Sightings with a place: where, how exactly, what, when, how joined, and the candidates."""
    table = context.table("ingest.sightings")
    longitude, latitude = context.layers.places("ingest.sightings")
    name = taxon_names(context)
    told = zip(
        table["taxon_id"].cast(pa.string()).to_pylist(),
        table["name_text"].cast(pa.string()).to_pylist(),
        strict=True,
    )
    placed = np.flatnonzero(np.isfinite(longitude))
    which = context.table("scoring.sighting_trees")
    join = joined(context)
    texts = {
        "name": [name(taxon) if taxon else text or "not named" for taxon, text in told],
        "on": table["seen_on"].cast(pa.string()).to_pylist(),
        "match": join.match,
        "note": table["match_note"].cast(pa.string()).to_pylist(),
        "accuracy": table["accuracy_m"].to_pylist(),
        "tree": _places(trees, pa.chunked_array([pa.array(join.tree)])),
    }
    return {
        "key": placed.tolist(),
        "lon": np.round(longitude[placed], _PLACE_DECIMALS).tolist(),
        "lat": np.round(latitude[placed], _PLACE_DECIMALS).tolist(),
        **{key: [values[row] for row in placed.tolist()] for key, values in texts.items()},
        "candidates": _candidates(which, trees),
    }


def _candidates(which: pa.Table, trees: PackedTrees) -> list[list[Any]]:
    """Sighting, tree, probability, distance [m], and whether it is named; likeliest first."""
    sighting = which["sighting_key"].to_numpy()
    probability = which["probability"].to_numpy()
    order = np.lexsort((which["tree_key"].to_numpy(), -probability, sighting))
    starts = np.searchsorted(sighting[order], sighting[order])
    rank = np.arange(order.size) - starts
    kept = order[(rank < _MOST_CANDIDATES) & (probability[order] >= _LEAST_PROBABLE)]
    rows = which.take(pa.array(kept))
    return [
        [key, tree, round(share, 3), None if apart is None else round(apart, 1), int(named)]
        for key, tree, share, apart, named in zip(
            rows["sighting_key"].to_pylist(),
            _places(trees, rows["tree_key"]),
            rows["probability"].to_pylist(),
            rows["distance_m"].to_pylist(),
            rows["named"].to_pylist(),
            strict=True,
        )
    ]


def _places(trees: PackedTrees, column: pa.ChunkedArray) -> list[int]:
    """Packed rows of trees, -1 for none."""
    keys = np.asarray(column.to_numpy(zero_copy_only=False), np.int64)
    place = np.full(keys.size, -1, np.int64)
    known = keys >= 0
    place[known] = trees.place_of[keys[known]]
    return place.tolist()
