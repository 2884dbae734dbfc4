"""Sightings as arrays: which fungus, on which tree, on which part."""

from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import codes, days, dictionary
from pipeline.scoring.assembly.fruiting import Fruiting, read_fruiting
from pipeline.scoring.assembly.told import read_told
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.which_tree import Joined, Lent, join_trees, lend
from pipeline.scoring.failure.fungus import (
    ATTACHMENTS,
    UNNAMED,
    FungusRules,
    SightedBodies,
    fungus_findings,
)
from pipeline.scoring.failure.hearsay import FUNGUS, at_most
from pipeline.scoring.failure.words import Findings
from pipeline.scoring.identification.heard import Heard
from pipeline.scoring.identification.meaning import Decay
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import FailureParameters
from pipeline.tables import inputs
from pipeline.units import Flags, Floats, Ints, Words

_UNTOLD, _NOTE = "untold", "note"


@dataclass(frozen=True)
class Sightings:
    """Sightings in the order of ingest.sightings, then those lent to trees; each (sightings,).

    A sighting that may be of several trees stands there once for each of them, with its share.

    Parameters
    ----------
    tree : the rated tree that each is attached or lent to, -1 without one.
    match : place in MATCHES.
    share : probability that it is of this tree where it is lent, else 1.
    hearsay : it rests on a remark of the inventory, and on nobody's report.
    speaks : it is attached to a tree and is evidence of decay there, as far as anyone can tell.
    code : highest action code that is heard.
    voices : rows of the sightings that stand for all that speak alike, newest first and remarks
        of the inventory last; `loud`
        says what is heard of each, and the evidence of the findings is its place among them.
    """

    table: pa.Table
    tree: Ints
    match: Ints
    share: Floats
    seen_on: Ints
    fruiting: Fruiting
    speaks: Flags
    code: Words
    voices: Ints
    loud: Heard
    findings: Findings
    joined: Joined
    hearsay: Flags

    def reported(self) -> "Sightings":
        """Only the sightings of ingest; what they say of failure is left as it is."""
        own = slice(len(self.joined.tree))
        return replace(
            self,
            table=self.table.slice(0, len(self.joined.tree)),
            tree=self.tree[own],
            match=self.match[own],
            share=self.share[own],
            seen_on=self.seen_on[own],
            fruiting=replace(self.fruiting, body=self.fruiting.body[own]),
            speaks=self.speaks[own],
            code=self.code[own],
            hearsay=self.hearsay[own],
        )

    @property
    def attached(self) -> Ints:
        """The tree that each is attached to, -1 where it is lent or has none."""
        at = np.arange(len(self.tree)) < len(self.joined.tree)
        return np.where(at, self.tree, -1)


@dataclass(frozen=True)
class FungusParts:
    """The weightiest fungus of each tree and part that it rots, sorted; each shape (rows,).

    Parameters
    ----------
    code, taxon : heard of the part, and the most probable taxon of that code or more.
    share : probability of such a taxon.
    rot, probability : see heard.Heard: the rot, and how probable a fungus that does it is.
    lent : it may be of another tree.
    """

    tree: Ints
    part: Words
    taxon: Ints
    code: Words
    share: Floats
    rot: Words
    probability: Floats
    seen_on: Ints
    lent: Flags


def read_sightings(
    table: pa.Table,
    matches: pa.Table,
    trees: Trees,
    longitude: float,
    parameters: Parameters,
) -> Sightings:
    """Sightings with what they are found to be and what they say of failure.

    Parameters
    ----------
    longitude : of the town, NaN where it is not known [deg].
    """
    failure = parameters.failure
    sits_on, placed = told_parts(table, failure)
    nowhere = np.full(table.num_rows, -1, np.int64)
    told = read_told(table, nowhere, trees, longitude, parameters.sighted)
    parts = sits_on & placed[:, None]
    joined = join_trees(table, matches, told, parts, trees, parameters)
    rated = joined.tree >= 0
    rated &= trees.rated[np.maximum(joined.tree, 0)] if len(trees) else False
    tree = np.where(rated, joined.tree, -1)
    lent = lend(joined, trees.rated, least=float(failure.trust.heard_from.min()))
    told = read_told(table, tree, trees, longitude, parameters.sighted)
    borrowed = table.take(pa.array(lent.sighting))
    more = read_told(borrowed, lent.tree, trees, longitude, parameters.sighted)
    told = told.plus(more, lent.share)
    rows = np.concatenate([np.arange(table.num_rows), lent.sighting])
    table, sits_on, placed = table.take(pa.array(rows)), sits_on[rows], placed[rows]
    match, seen_on = joined.match[rows], days(table, "seen_on")
    lent_at = np.arange(len(rows)) >= len(joined.tree)
    same_id = np.where(lent_at, -1, _ids(table))
    fruiting = read_fruiting(
        told,
        _sites(joined, tree, lent, len(trees)),
        seen_on,
        same_id,
        sits_on | ~placed[:, None],
        failure.catalogue,
        parameters.sighted,
    )
    tree = np.concatenate([tree, lent.tree])
    said = _voiced(table, tree, fruiting, sits_on, placed, lent_at, failure)
    return Sightings(
        table=table,
        tree=tree,
        match=match,
        share=np.concatenate([np.ones(len(joined.tree)), lent.share]),
        seen_on=seen_on,
        fruiting=fruiting,
        speaks=said.speaks,
        code=fruiting.found.heard.highest[fruiting.of],
        voices=said.voices,
        loud=said.loud,
        findings=said.findings,
        joined=joined,
        hearsay=said.hearsay,
    )


@dataclass(frozen=True)
class _Voiced:
    """What speaks of the sightings, see Sightings."""

    speaks: Flags
    hearsay: Flags
    voices: Ints
    loud: Heard
    findings: Findings


def _voiced(
    table: pa.Table,
    tree: Ints,
    fruiting: Fruiting,
    sits_on: Flags,
    placed: Flags,
    lent_at: Flags,
    failure: FailureParameters,
) -> _Voiced:
    """Who speaks, and what is heard of each."""
    attachment = codes(table, "attachment", ATTACHMENTS)
    speaks = (tree >= 0) & (attachment >= 0)
    speaks &= fruiting.found.decay[fruiting.of] != Decay.NO
    # What is too soft to be heard of a tree is no look at it either.
    audible = fruiting.found.heard.rows(fruiting.of)
    quiet = (audible.highest == 0) & ~audible.unnamed.any(axis=1)
    speaks &= ~(lent_at & quiet)
    hearsay = codes(table, "origin", (_NOTE,)) == 0
    seen_on = days(table, "seen_on")
    # What a person reported speaks before any remark that says the same.
    speakers = np.flatnonzero(speaks)
    speakers = speakers[np.lexsort((speakers, -seen_on[speakers], hearsay[speakers]))]
    voices = _voices(speakers, fruiting, attachment, sits_on, placed)
    bodies = SightedBodies(tree[voices], attachment[voices], sits_on[voices], placed[voices])
    loud = fruiting.found.heard.rows(fruiting.of[voices])
    findings = fungus_findings(bodies, loud, failure.fungus)
    told = np.full(len(voices), FUNGUS)
    findings = at_most(findings, hearsay[voices], told, failure.hearsay)
    return _Voiced(speaks, hearsay, voices, loud, findings)


def _sites(joined: Joined, tree: Ints, lent: Lent, trees: int) -> Ints:
    """Where each may share its body with others; -1 where it stands alone.

    On its tree; on the unknown tree of its leader; and what is lent with the rest of its body
    only, so that what may be of a tree changes nothing of what is known to be on it.
    """
    count = len(tree)
    led = np.bincount(joined.leader, minlength=count) > 1
    alone = (joined.tree < 0) & led[joined.leader]
    own = np.where(tree >= 0, tree, np.where(alone, trees + joined.leader, -1))
    return np.concatenate([own, trees + count + lent.site])


def _ids(table: pa.Table) -> Ints:
    """Number of the id of each sighting, -1 where it is empty."""
    places, ids = dictionary(table, "sighting_id")
    empty = ids.index("") if "" in ids else -1
    return np.where(places == empty, -1, places)


def _voices(
    newest: Ints, fruiting: Fruiting, attachment: Ints, sits_on: Flags, placed: Flags
) -> Ints:
    """The first of all sightings that say the same of the same body, in the order given."""
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


def told_parts(table: pa.Table, parameters: FailureParameters) -> tuple[Flags, Flags]:
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
    of_body = first
    tree, code = sightings.tree[spoken[of_body]][row], loud.code[row, part]
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
        lent=sightings.share[spoken[of_body]][row] < 1,
    )
