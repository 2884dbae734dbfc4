"""What the fungi of a run are found to be: one row a fruiting fungus, for pages and for lists.

All sightings of one fruiting fungus carry what is found of it; pages show it once, with the days on
which it was seen.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.published.table import Library
from pipeline.render import packing
from pipeline.render.context import RenderContext
from pipeline.render.joined import joined
from pipeline.render.map_trees import PackedTrees
from pipeline.render.wording_fungi import PHOTOGRAPHS, ROTS, UNLISTED, speak
from pipeline.tables import inputs
from pipeline.tables.catalogue_scoring import IDENTIFICATIONS
from pipeline.units import Ints

STEPS = 10_000  # a share is kept in so many steps
PLACES = (1, 2, 3)
_UNLISTED, _DECIMALS = "unlisted", 4
_EVIDENCE = IDENTIFICATIONS.column("decay_evidence").allowed
_ROTS = IDENTIFICATIONS.column("rot_type").allowed
# What lists and layers carry of each sighting; the first is the accepted name of the first taxon.
TOLD = (
    "fungus", "probability_1", "decay_evidence", "rot_type", "probability_rot",
    "probability_serious", "needs_expert", "next_look",
)  # fmt: skip


def bodies(context: RenderContext) -> pa.Table:
    """One row a fruiting fungus in the order of its first sighting, with its `tree_key`, or -1."""
    table = context.table("scoring.identifications")
    first = table.filter(pc.equal(table["sighting_key"], table["body_key"]))
    tree = pa.array(joined(context).tree)
    return first.append_column("tree_key", tree.take(first["sighting_key"].combine_chunks()))


def names(library: Library) -> dict[str, tuple[str, str]]:
    """Latin name of each taxon and what is said beside it: a genus stands for its other species."""
    table = library.table("taxa", key=("taxon_id",))
    told = {
        row["taxon_id"]: (
            row["accepted_name"],
            ", another species" if row["rank"] == "genus" else "",
        )
        for row in table.rows
    }
    return told | {_UNLISTED: ("", UNLISTED)}


def told_of(context: RenderContext, sighting_keys: pa.Array | pa.ChunkedArray) -> pa.Table:
    """The columns TOLD of these sightings; empty where a key is none, or nothing is found."""
    table = context.table("scoring.identifications")
    at = pc.index_in(sighting_keys, value_set=table["sighting_key"].combine_chunks())
    rows = table.take(at)
    made: dict[str, pa.Array | pa.ChunkedArray] = {}
    for name in TOLD[1:]:
        column = rows[name]
        plain = column.cast(pa.string()) if pa.types.is_dictionary(column.type) else column
        if pa.types.is_floating(plain.type):  # rounding makes nobody certain
            rounded = pc.round(plain, _DECIMALS)
            plain = pc.min_element_wise(rounded, 1 - 10.0**-_DECIMALS, skip_nulls=False)
        made[name] = plain
    taxa = _encoded(rows["taxon_1"])
    known = ["".join(name) for name in _named(context.library, taxa.dictionary.to_pylist())]
    return pa.table({TOLD[0]: pa.array(known, pa.string()).take(taxa.indices), **made})


def weightiest(context: RenderContext, tree_keys: pa.Array | pa.ChunkedArray) -> pa.Array:
    """First sighting of the fungus on each tree that is most probably serious; empty: none."""
    found = bodies(context).select(["sighting_key", "tree_key", "probability_serious"])
    found = found.filter(pc.greater_equal(found["tree_key"], 0)).sort_by(
        [("tree_key", "ascending"), ("probability_serious", "descending"),
         ("sighting_key", "ascending")]
    )  # fmt: skip
    at = pc.index_in(tree_keys, value_set=found["tree_key"].combine_chunks())
    rows = found["sighting_key"].take(at)
    return rows.combine_chunks() if isinstance(rows, pa.ChunkedArray) else rows


def pack(context: RenderContext, trees: PackedTrees) -> tuple[packing.Block, dict[str, Any]]:
    """Fruiting fungi as columns for a page, and the texts that their codes stand for."""
    found = bodies(context)
    coded = _Codes()
    taxa = [found[f"taxon_{place}"].cast(pa.string()) for place in PLACES]
    columns: dict[str, packing.Array] = {"tree": _places(trees, found["tree_key"])}
    for place, ids in zip(PLACES, taxa, strict=True):
        columns[f"taxon{place}"] = coded.of("taxa", ids)
        columns[f"p{place}"] = _steps(found[f"probability_{place}"])
    for short, name in (("other", "unlisted"), ("sure", "rot"), ("serious", "serious"),
                        *((part, part) for part in inputs.PARTS)):  # fmt: skip
        columns[short] = _steps(found[f"probability_{name}"])
    columns |= {
        "evidence": _allowed(found["decay_evidence"], _EVIDENCE),
        "rot": _allowed(found["rot_type"], _ROTS),
        "expert": found["needs_expert"].to_numpy(zero_copy_only=False).astype(np.uint8),
        "years": np.rint(found["least_years"].to_numpy()).astype(np.uint32),
        "running": found["years_running"].to_numpy().astype(np.uint32),
        "look": coded.of("looks", found["next_look"]),
        "for": coded.of("said", found["decided_by"], speak),
        "against": coded.of("said", found["against"], speak),
        "apart": coded.of("apart", _pairs(taxa[0], taxa[1]), _apart(context.library)),
        **_seen(context, found["sighting_key"].to_numpy()),
    }
    return packing.columns(columns), {
        **coded.texts("said", "apart"),
        "taxa": _named(context.library, coded.texts("taxa")["taxa"]),
        "looks": _looks(context.library, coded.texts("looks")["looks"]),
        "rots": [ROTS[rot] for rot in _ROTS],
        "evidences": list(_EVIDENCE),
        "photographs": list(PHOTOGRAPHS),
        "steps": STEPS,
    }


class _Codes:
    """Texts numbered from 1 in the order in which they first come; 0 is none."""

    def __init__(self) -> None:
        self._known: dict[str, dict[str, int]] = {}

    def of(
        self, kind: str, column: pa.ChunkedArray, words: Callable[[str], str] = str
    ) -> packing.Array:
        """Codes of the words of a column; the words are made once for each different text."""
        known, coded = self._known.setdefault(kind, {}), _encoded(column)
        made = [words(text) for text in coded.dictionary.to_pylist()]
        codes = [known.setdefault(text, len(known) + 1) if text else 0 for text in made]
        at = coded.indices.fill_null(len(codes)).to_numpy(zero_copy_only=False)
        found: packing.Array = np.asarray([*codes, 0], np.uint32)[at]
        return found

    def texts(self, *kinds: str) -> dict[str, list[str]]:
        return {kind: ["", *self._known.get(kind, {})] for kind in kinds}


def _named(library: Library, taxa: list[str]) -> list[tuple[str, str]]:
    """Latin name and what is said beside it of each code."""
    known = names(library)
    return [known.get(taxon, (taxon.replace("_", " "), "")) for taxon in taxa]


def _looks(library: Library, characters: list[str]) -> list[dict[str, str]]:
    """How each look is done, how long it takes and what it needs."""
    rows = {row["character"]: row for row in library.table("looks", key=("character",)).rows}
    return [
        {name: rows[character][name] for name in ("character", "look", "minutes", "needs")}
        if character in rows
        else {"character": character, "look": character, "minutes": "", "needs": "none"}
        for character in characters
    ]


def _pairs(first: pa.ChunkedArray, second: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.binary_join_element_wise(first, second, "|")


def _apart(library: Library) -> Callable[[str], str]:
    """From two taxa, joined with |, how they are told apart; '' where no table says it."""
    rows = library.table("look_alikes", key=("taxon_id", "mistaken_for")).rows
    known = {(row["taxon_id"], row["mistaken_for"]): row["tell_apart"] for row in rows}

    def told(pair: str) -> str:
        first, second = pair.split("|")
        return known.get((first, second)) or known.get((second, first)) or ""

    return told


def _encoded(column: pa.ChunkedArray) -> pa.DictionaryArray:
    return column.cast(pa.string()).combine_chunks().dictionary_encode()


def _seen(context: RenderContext, body_keys: Ints) -> dict[str, packing.Array]:
    """Sightings of each fungus, newest first: how many, which, and on which day since 1970."""
    table = context.table("scoring.identifications")
    sighting, of = table["sighting_key"].to_numpy(), table["body_key"].to_numpy()
    days = context.table("ingest.sightings")["seen_on"].cast(pa.int32()).fill_null(0)
    day = np.maximum(days.to_numpy()[sighting], 0).astype(np.uint32)
    order = np.lexsort((sighting, -day.astype(np.int64), of))
    at = np.searchsorted(body_keys, of)
    return {
        "seen": np.bincount(at, minlength=body_keys.size).astype(np.uint32),
        "sighting": sighting[order].astype(np.uint32),
        "day": day[order],
    }


def _places(trees: PackedTrees, column: pa.ChunkedArray) -> packing.Array:
    """Packed row of each tree; the number of trees where there is none."""
    keys = np.asarray(column.to_numpy(), np.int64)
    place = np.full(keys.size, -1, np.int64)
    place[keys >= 0] = trees.place_of[keys[keys >= 0]]
    return np.where(place < 0, trees.order.size, place).astype(np.uint32)


def _steps(column: pa.ChunkedArray) -> packing.Array:
    share = np.asarray(column.to_numpy(), np.float64)
    return np.rint(np.clip(share, 0.0, 1.0) * STEPS).astype(np.uint16)


def _allowed(column: pa.ChunkedArray, words: tuple[str, ...]) -> packing.Array:
    at = pc.index_in(column.cast(pa.string()), value_set=pa.array(words))
    return np.asarray(at.to_numpy(zero_copy_only=False)).astype(np.uint8)
