"""How sure the fungi of a run are, as counts for the run report."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.render import fungi
from pipeline.render.context import RenderContext
from pipeline.render.hazards_fungus import limits
from pipeline.tables.catalogue_account import FINDINGS
from pipeline.units import Floats

_HALF = 0.5  # more likely than not


@dataclass(frozen=True, slots=True)
class Band:
    """Sightings whose name, and whose rot, is so probable."""

    words: str
    names: int
    rots: int


@dataclass(frozen=True, slots=True)
class Sureness:
    """Sightings by how sure their fungus is.

    Parameters
    ----------
    unlisted : for which a fungus that no list holds is the most probable.
    experts : that belong before an expert; `expert_fungi` counts fruiting fungi.
    unsure, none : where decay of the tree is unsure, and where they say nothing of it.
    unread : cells of words about what was seen that nobody could read, and were not used.
    names_unread : names in no list.
    """

    sightings: int
    fungi: int
    bands: tuple[Band, ...]
    unlisted: int
    experts: int
    expert_fungi: int
    unsure: int
    none: int
    unread: int
    names_unread: int


def sureness(context: RenderContext) -> Sureness:
    """The counts of the run."""
    table = context.table("scoring.identifications")
    bodies = fungi.bodies(context)
    certain = limits(context).rot_certain
    name, rot = (table[n].to_numpy() for n in ("probability_1", "probability_rot"))
    edges = ((certain, 2.0), (_HALF, certain), (-1.0, _HALF))
    words = (f"{certain:.0%} or more", f"{_HALF:.0%} to {certain:.0%}", f"less than {_HALF:.0%}")
    return Sureness(
        sightings=table.num_rows,
        fungi=bodies.num_rows,
        bands=tuple(
            Band(said, _between(name, *edge), _between(rot, *edge))
            for said, edge in zip(words, edges, strict=True)
        ),
        unlisted=_count(table["taxon_1"], "unlisted"),
        experts=_true(table["needs_expert"]),
        expert_fungi=_true(bodies["needs_expert"]),
        unsure=_count(table["decay_evidence"], "unsure"),
        none=_count(table["decay_evidence"], "no"),
        unread=_findings(context, "word_unknown"),
        names_unread=_findings(context, "name_unknown"),
    )


def _between(share: Floats, low: float, high: float) -> int:
    return int(np.count_nonzero((share >= low) & (share < high)))


def _count(column: pa.ChunkedArray, word: str) -> int:
    return int(pc.sum(pc.equal(column.cast(pa.string()), word)).as_py() or 0)


def _true(column: pa.ChunkedArray) -> int:
    return int(pc.sum(column).as_py() or 0)


def _findings(context: RenderContext, code: str) -> int:
    if not context.store.has(FINDINGS):
        return 0
    findings, sources = context.table("ingest.findings"), context.table("ingest.sources")
    of = sources["source_key"].filter(pc.equal(sources["input"].cast(pa.string()), "sightings"))
    kept = pc.and_(
        pc.equal(findings["code"].cast(pa.string()), code),
        pc.is_in(findings["source_key"], value_set=of.combine_chunks()),
    )
    return int(pc.sum(kept).as_py() or 0)
