"""What needs a person, and the sightings with their candidate trees, packed for a page."""

import json
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.render.context import RenderContext
from pipeline.render.map_trees import PackedTrees
from pipeline.render.thread import taxon_names

MOST_SHOWN = 2_000  # lines of a list that a person can still work through; the rest is counted
_PLACE_DECIMALS = 6


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
    texts = {
        "name": [name(taxon) if taxon else text or "not named" for taxon, text in told],
        "on": table["seen_on"].cast(pa.string()).to_pylist(),
        "match": table["match"].cast(pa.string()).to_pylist(),
        "note": table["match_note"].cast(pa.string()).to_pylist(),
        "accuracy": table["accuracy_m"].to_pylist(),
        "tree": _places(trees, table["tree_key"]),
    }
    matches = context.table("ingest.sighting_matches")
    return {
        "key": placed.tolist(),
        "lon": np.round(longitude[placed], _PLACE_DECIMALS).tolist(),
        "lat": np.round(latitude[placed], _PLACE_DECIMALS).tolist(),
        **{key: [values[row] for row in placed.tolist()] for key, values in texts.items()},
        "candidates": [
            [sighting, tree, round(weight, 3)]
            for sighting, tree, weight in zip(
                matches["sighting_key"].to_pylist(),
                _places(trees, matches["tree_key"]),
                matches["weight"].to_pylist(),
                strict=True,
            )
        ],
    }


def _places(trees: PackedTrees, column: pa.ChunkedArray) -> list[int]:
    """Packed rows of trees, -1 for none."""
    keys = np.asarray(column.to_numpy(zero_copy_only=False), np.int64)
    place = np.full(keys.size, -1, np.int64)
    known = keys >= 0
    place[known] = trees.place_of[keys[known]]
    return place.tolist()
