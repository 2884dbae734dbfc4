"""The thread of reasons of each tree with evidence, packed for a page.

Sentences are made once for each different statement; fact sets that trees share are stored once.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render import packing
from pipeline.render.context import RenderContext
from pipeline.render.figures import name_and_unit
from pipeline.render.knots import unit_of
from pipeline.render.map_trees import PackedTrees
from pipeline.render.said import facts as said_facts
from pipeline.tables.catalogue_planning import JOBS, QUEUE, UNSCHEDULED
from pipeline.tables.catalogue_scoring import FACTS
from pipeline.terms import Part, word

LINKS = FACTS.column("link").allowed
_UNKNOWN_SHARE = 255  # of a byte that holds a share in 1/250
_SHARE_STEPS = 250
_NO_DAY = 0
# The page draws what these say where it has the fungus itself.
_DRAWN = ("fungus_candidates", "fungus_decided_by", "fungus_next_look", "fungus_least_age")


def facts(context: RenderContext, trees: PackedTrees) -> tuple[packing.Block, dict[str, Any]]:
    """Columns of the facts in set order, and the sentences, values and sources they point to."""
    table = said_facts(context)
    table = table.filter(pc.is_in(table["fact_set"], pa.array(trees.fact_sets)))
    said = pc.binary_join_element_wise(
        table["statement"].cast(pa.string()), table["values"], "\n"
    ).combine_chunks()
    coded = _encoded(said)
    statements = [text.split("\n", 1) for text in coded.dictionary.to_pylist()]
    values = [json.loads(raw) for _, raw in statements]
    sources = _encoded(table["source"].cast(pa.string()).combine_chunks())
    known = context.library.sources
    sets = np.searchsorted(trees.fact_sets, _numbers(table, "fact_set"))
    link = _encoded(table["link"].cast(pa.string()).combine_chunks())
    link_codes = np.array([LINKS.index(text) for text in link.dictionary.to_pylist()], np.uint8)
    block = packing.columns(
        {
            "count": np.bincount(sets, minlength=trees.fact_sets.size).astype(np.uint32),
            "link": link_codes[link.indices.to_numpy()] if len(link) else np.zeros(0, np.uint8),
            "said": coded.indices.to_numpy().astype(np.uint32),
            "source": (sources.indices.fill_null(-1).to_numpy() + 1).astype(np.uint32),
            "assumed": table["assumed"].to_numpy(zero_copy_only=False).astype(np.uint8),
        }
    )
    return block, {
        "sentences": [
            context.sentence(name, value)
            for (name, _), value in zip(statements, values, strict=True)
        ],
        "values": values,
        "names": _names(values),
        "drawn": [at for at, (name, _) in enumerate(statements) if name in _DRAWN],
        "sources": [
            "",
            *(
                known[name].citation if name in known else name
                for name in sources.dictionary.to_pylist()
            ),
        ],
    }


def _names(values: Sequence[Mapping[str, Any]]) -> dict[str, list[str]]:
    """What each value is called, and its unit; '' where the name says it or there is none."""
    names = sorted({name for told in values for name in told})
    return {name: list(name_and_unit(name, unit_of(name))) for name in names}


def evidence(context: RenderContext, trees: PackedTrees) -> tuple[packing.Block, dict[str, Any]]:
    """Words of the worst pair and decay of each tree with evidence, by packed row."""
    ratings = context.table("scoring.tree_ratings")
    ratings = ratings.filter(pc.is_valid(ratings["worst_part"]))
    decay = context.table("scoring.decay")
    taxa = _encoded(decay["taxon_id"].cast(pa.string()).combine_chunks())
    zone_names = _zone_names(context)
    block = packing.columns(
        {
            "tree": _places(trees, ratings),
            "part": _numbers(ratings, "worst_part").astype(np.uint8),
            "zone": (_numbers(ratings, "worst_zone", -1) + 1).astype(np.uint32),
            **{
                name: _numbers(ratings, name).astype(np.uint8)
                for name in ("failure", "impact", "likelihood", "consequence")
            },
            "looked": _days(ratings["last_looked_on"]),
            "decay_tree": _places(trees, decay),
            "decay_part": _numbers(decay, "part").astype(np.uint8),
            "share": _shares(decay, "decayed_share"),
            "low": _shares(decay, "decayed_share_low"),
            "high": _shares(decay, "decayed_share_high"),
            "opening": _shares(decay, "opening_share"),
            "rot": _numbers(decay, "rot").astype(np.uint8),
            "taxon": (taxa.indices.fill_null(-1).to_numpy() + 1).astype(np.uint32),
            **_sides(context, trees),
        }
    )
    return block, {"zones": ["", *zone_names], "taxa": ["", *taxa.dictionary.to_pylist()]}


def _sides(context: RenderContext, trees: PackedTrees) -> dict[str, packing.Array]:
    """Measured shells by azimuth, as shares of the radius, and the sides that trees lean to."""
    readings = context.table("ingest.readings")
    known = pc.and_(pc.is_valid(readings["azimuth_deg"]), pc.is_valid(readings["shell_cm"]))
    shells = readings.filter(pc.and_(known, pc.greater(readings["section_diameter_cm"], 0)))
    defects = context.table("ingest.defects")
    leaning = pc.and_(pc.equal(defects["defect"].cast(pa.string()), "lean"), defects["latest"])
    leans = defects.filter(pc.and_(leaning, pc.is_valid(defects["side_deg"])))
    radius = pc.divide(shells["section_diameter_cm"], 2.0)
    share = pc.min_element_wise(pc.divide(shells["shell_cm"], radius), 1.0)
    return {
        "shell_tree": _places(trees, shells),
        "shell_part": _parts(shells["part"]),
        "shell_side": _numbers(shells, "azimuth_deg").astype(np.uint32),
        "shell_share": _shares(pa.table({"share": share}), "share"),
        "lean_tree": _places(trees, leans),
        "lean_side": _numbers(leans, "side_deg").astype(np.uint32),
    }


def work(context: RenderContext, trees: PackedTrees) -> list[list[Any]]:
    """Jobs other than rounds of inspection: tree, action, deadline, quarter, day, crew, reason."""
    if not all(context.store.has(table) for table in (JOBS, QUEUE, UNSCHEDULED)):
        return []
    rows = context.store.query(
        """
        select j.tree_key, j.action, j.deadline_on, q.quarter, q.day, q.crew_id, u.detail, j.hours,
            j.machine
        from planning.jobs j
        left join planning.queue q using (job_key)
        left join planning.unscheduled u using (job_key)
        join scoring.tree_ratings r using (tree_key)
        where j.action <> 'inspect' or r.evidence
        order by j.job_key
        """
    )
    places = trees.place_of[_numbers(rows, "tree_key")]
    texts = [_texts(rows[name]) for name in rows.column_names[1:]]
    return [
        [place, *values]
        for place, *values in zip(places.tolist(), *texts, strict=True)
        if place >= 0
    ]


def choices(context: RenderContext, trees: PackedTrees) -> list[list[Any]]:
    """What was weighed for trees with evidence: tree, action, rating left, chosen."""
    table = context.table("scoring.candidate_actions")
    ratings = context.table("scoring.tree_ratings")
    evident = ratings["evidence"].to_numpy(zero_copy_only=False).astype(bool)
    table = table.filter(pa.array(evident[_numbers(table, "tree_key")], pa.bool_()))
    return [
        list(row)
        for row in zip(
            _places(trees, table).tolist(),
            table["action"].cast(pa.string()).to_pylist(),
            table["residual_rating"].to_pylist(),
            table["chosen"].to_pylist(),
            strict=True,
        )
    ]


def taxon_names(context: RenderContext) -> Callable[[str], str]:
    """From a taxon's id to its accepted name; an id that the catalogue lacks is shown as it is."""
    table = context.library.table("taxa", key=("taxon_id",))
    names = dict(zip(table.texts("taxon_id"), table.texts("accepted_name"), strict=True))
    return lambda taxon: names.get(taxon, taxon.replace("_", " "))


def _parts(column: pa.ChunkedArray) -> packing.Array:
    words = pa.array([word(part) for part in Part])
    at = pc.index_in(column.cast(pa.string()), words)
    return np.asarray(at.to_numpy(zero_copy_only=False), dtype=np.uint8)


def _zone_names(context: RenderContext) -> list[str]:
    zones = context.table("ingest.zones")
    return [
        name or kind.replace("_", " ")
        for name, kind in zip(
            zones["name"].to_pylist(), zones["kind"].cast(pa.string()).to_pylist(), strict=True
        )
    ]


def _places(trees: PackedTrees, table: pa.Table) -> packing.Array:
    """Packed row of each row's tree; the number of trees where it has no place."""
    place = trees.place_of[_numbers(table, "tree_key")]
    known: packing.Array = np.where(place < 0, trees.order.size, place).astype(np.uint32)
    return known


def _numbers(table: pa.Table, name: str, fill: int = 0) -> packing.Array:
    column = table[name].fill_null(fill)
    return np.asarray(column.to_numpy(zero_copy_only=False), dtype=np.int64)


def _shares(table: pa.Table, name: str) -> packing.Array:
    share = np.asarray(table[name].cast(pa.float64()).to_numpy(zero_copy_only=False), np.float64)
    steps = np.rint(np.nan_to_num(share) * _SHARE_STEPS)
    kept: packing.Array = np.where(np.isnan(share), _UNKNOWN_SHARE, steps).astype(np.uint8)
    return kept


def _days(column: pa.ChunkedArray) -> packing.Array:
    """Days since 1970, 0 where there is none."""
    days = column.cast(pa.int32()).fill_null(_NO_DAY).to_numpy(zero_copy_only=False)
    kept: packing.Array = np.maximum(np.asarray(days), _NO_DAY)
    return kept.astype(np.uint32)


def _texts(column: pa.ChunkedArray) -> list[Any]:
    if pa.types.is_dictionary(column.type) or pa.types.is_date(column.type):
        column = column.cast(pa.string())
    return list(column.to_pylist())


def _encoded(column: pa.Array | pa.ChunkedArray) -> pa.DictionaryArray:
    if isinstance(column, pa.ChunkedArray):
        column = column.combine_chunks()
        if isinstance(column, pa.ChunkedArray):
            column = pa.array([], column.type)
    return column.dictionary_encode()
