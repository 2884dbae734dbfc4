"""Sightings as arrays: which fungus, on which tree, on which part."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import codes, days, dictionary, whole
from pipeline.scoring.assembly.fruiting import Fruiting, read_fruiting
from pipeline.scoring.assembly.told import read_told
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.failure.fungus import (
    ATTACHMENTS,
    UNNAMED,
    FungusRules,
    SightedBodies,
    fungus_findings,
)
from pipeline.scoring.failure.words import Findings
from pipeline.scoring.identification.heard import Heard
from pipeline.scoring.identification.meaning import Decay
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import FailureParameters
from pipeline.tables import inputs
from pipeline.units import Flags, Floats, Ints, Words

ATTACHED = ("by_id", "by_place")
MATCHES = (*ATTACHED, "ambiguous", "unmatched", "not_decay")
_UNTOLD = "untold"


@dataclass(frozen=True)
class Sightings:
    """Sightings in the order of ingest.sightings, each shape (sightings,).

    Parameters
    ----------
    tree : the rated tree that each is attached to, -1 without one.
    match : place in MATCHES.
    speaks : it is attached to a tree and is evidence of decay there, as far as anyone can tell.
    code : highest action code that is heard.
    voices : rows of the sightings that stand for all that speak alike, newest first; `loud`
        says what is heard of each, and the evidence of the findings is its place among them.
    """

    table: pa.Table
    tree: Ints
    match: Ints
    seen_on: Ints
    fruiting: Fruiting
    speaks: Flags
    code: Words
    voices: Ints
    loud: Heard
    findings: Findings


@dataclass(frozen=True)
class FungusParts:
    """The weightiest fungus of each tree and part that it rots, sorted; each shape (rows,).

    Parameters
    ----------
    code, taxon : heard of the part, and the most probable taxon of that code or more.
    share : probability of such a taxon.
    rot, probability : see heard.Heard: the rot, and how probable a fungus that does it is.
    """

    tree: Ints
    part: Words
    taxon: Ints
    code: Words
    share: Floats
    rot: Words
    probability: Floats
    seen_on: Ints


def read_sightings(
    table: pa.Table, trees: Trees, longitude: float, parameters: Parameters
) -> Sightings:
    """Sightings with what they are found to be and what they say of failure.

    Parameters
    ----------
    longitude : of the town, NaN where it is not known [deg].
    """
    failure = parameters.failure
    match = codes(table, "match", MATCHES)
    keys = whole(table, "tree_key")
    attached = (match >= 0) & (match < len(ATTACHED)) & (keys >= 0)
    attached &= trees.rated[np.maximum(keys, 0)] if len(trees) else False
    tree = np.where(attached, keys, -1)
    seen_on = days(table, "seen_on")
    sits_on, placed = _parts(table, failure)
    told = read_told(table, tree, trees, longitude, parameters.sighted)
    fruiting = read_fruiting(
        told,
        tree,
        seen_on,
        _ids(table),
        sits_on | ~placed[:, None],
        failure.catalogue,
        parameters.sighted,
    )
    attachment = codes(table, "attachment", ATTACHMENTS)
    speaks = (tree >= 0) & (attachment >= 0)
    speaks &= fruiting.found.decay[fruiting.of] != Decay.NO
    voices = _voices(np.flatnonzero(speaks), fruiting, attachment, sits_on, placed, seen_on)
    bodies = SightedBodies(tree[voices], attachment[voices], sits_on[voices], placed[voices])
    loud = fruiting.found.heard.rows(fruiting.of[voices])
    return Sightings(
        table=table,
        tree=tree,
        match=match,
        seen_on=seen_on,
        fruiting=fruiting,
        speaks=speaks,
        code=fruiting.found.heard.highest[fruiting.of],
        voices=voices,
        loud=loud,
        findings=fungus_findings(bodies, loud, failure.fungus),
    )


def _ids(table: pa.Table) -> Ints:
    """Number of the id of each sighting, -1 where it is empty."""
    places, ids = dictionary(table, "sighting_id")
    empty = ids.index("") if "" in ids else -1
    return np.where(places == empty, -1, places)


def _voices(
    rows: Ints, fruiting: Fruiting, attachment: Ints, sits_on: Flags, placed: Flags, seen_on: Ints
) -> Ints:
    """The newest of all sightings that say the same of the same body, newest first."""
    newest = rows[np.lexsort((rows, -seen_on[rows]))]
    parts = sits_on[newest] @ (1 << np.arange(sits_on.shape[1]))
    said = fruiting.body[newest] * len(ATTACHMENTS) + attachment[newest]
    said = ((said * 2 + placed[newest]) << sits_on.shape[1]) + parts
    _, first = np.unique(said, return_index=True)
    return newest[np.sort(first)]


def finding_taxon(findings: Findings, loud: Heard, rules: FungusRules) -> Ints:
    """The taxon that each finding is told of, -1 where it speaks as an unnamed body does."""
    unnamed = np.unique(rules.row[UNNAMED])
    taxon = loud.taxon[findings.evidence, findings.part]
    return np.where(np.isin(findings.rule, unnamed[unnamed >= 0]), -1, taxon)


def _parts(table: pa.Table, parameters: FailureParameters) -> tuple[Flags, Flags]:
    """Parts that the told positions mean, by label; the row 'untold' where none counts."""
    places, told = dictionary(table, "position")
    rows = {name: n for n, name in enumerate(parameters.positions)}
    meant = np.zeros((len(told) + 1, len(inputs.PARTS)), np.bool_)
    placed = np.zeros(len(told) + 1, np.bool_)
    for number, label in enumerate(told):
        for word in label.split("|"):
            if word in rows and word != _UNTOLD:
                meant[number] |= parameters.parts_of_position[rows[word]]
                placed[number] = True
        if not placed[number]:
            meant[number] = parameters.parts_of_position[rows[_UNTOLD]]
    meant[-1] = parameters.parts_of_position[rows[_UNTOLD]]
    at = np.where(places < 0, len(told), places)
    return meant[at], placed[at]


def fungus_parts(sightings: Sightings) -> FungusParts:
    """Of each tree and part the fungus of the highest action code, then probability.

    A fungus touches all parts that it rots, wherever the body sits: stem readings cannot clear the
    roots of a tree whose fungus rots both.
    """
    spoken = np.flatnonzero(sightings.speaks)
    body = sightings.fruiting.body[spoken]
    bodies, first, group = np.unique(body, return_index=True, return_inverse=True)
    day = np.full(len(bodies), -1, np.int64)
    np.maximum.at(day, group.reshape(-1), sightings.seen_on[spoken])
    loud = sightings.fruiting.found.heard.rows(sightings.fruiting.unit[bodies])
    row, part = np.nonzero(loud.code > 0)
    tree, code = sightings.tree[spoken[first]][row], loud.code[row, part]
    share, rot_share = loud.share[row, part], loud.rot_share[row, part]
    order = np.lexsort((row, -rot_share, -share, -code.astype(np.int64), part, tree))
    row, part = row[order], part[order]
    key = tree[order] * len(inputs.PARTS) + part
    _, first, group = np.unique(key, return_index=True, return_inverse=True)
    seen = np.full(len(first), -1, np.int64)
    np.maximum.at(seen, group.reshape(-1), day[row])
    row, part = row[first], part[first]
    return FungusParts(
        tree=tree[order][first],
        part=part.astype(np.int8),
        taxon=loud.taxon[row, part],
        code=loud.code[row, part],
        share=loud.share[row, part],
        rot=loud.rot[row, part],
        probability=loud.rot_share[row, part],
        seen_on=seen,
    )
