"""Sightings as arrays: which fungus, on which tree, on which part."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import codes, days, dictionary, numbers, whole
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.failure.fungus import ATTACHMENTS, SightedBodies, fungus_findings
from pipeline.scoring.failure.words import Findings
from pipeline.scoring.identification.names import TaxonPosterior, name_posterior
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
    code : highest action code that is heard.
    """

    table: pa.Table
    tree: Ints
    match: Ints
    seen_on: Ints
    posterior: TaxonPosterior
    bodies: SightedBodies
    findings: Findings
    code: Words


@dataclass(frozen=True)
class FungusParts:
    """The weightiest fungus of each tree and part that it rots, sorted; each shape (rows,)."""

    tree: Ints
    part: Words
    taxon: Ints
    code: Words
    probability: Floats
    seen_on: Ints


def read_sightings(table: pa.Table, trees: Trees, parameters: FailureParameters) -> Sightings:
    """Sightings with the posterior of their taxa and what they say of failure."""
    catalogue, trust = parameters.catalogue, parameters.trust
    match = codes(table, "match", MATCHES)
    told = whole(table, "tree_key")
    attached = (match >= 0) & (match < len(ATTACHED)) & (told >= 0)
    attached &= trees.rated[np.maximum(told, 0)] if len(trees) else False
    tree = np.where(attached, told, -1)
    name_by = codes(table, "name_by", trust.name_by)
    posterior = name_posterior(
        codes(table, "taxon_id", catalogue.taxon_id[:-1]),
        np.where(name_by < 0, trust.name_by.index("unknown"), name_by),
        numbers(table, "name_certainty"),
        catalogue=catalogue,
        trust=trust,
    )
    sits_on, placed = _parts(table, parameters)
    bodies = SightedBodies(tree, codes(table, "attachment", ATTACHMENTS), sits_on, placed)
    code = np.zeros(table.num_rows, np.int8)
    heard = posterior.heard
    np.maximum.at(code, posterior.sighting[heard], catalogue.action_code[posterior.taxon[heard]])
    return Sightings(
        table=table,
        tree=tree,
        match=match,
        seen_on=days(table, "seen_on"),
        posterior=posterior,
        bodies=bodies,
        findings=fungus_findings(bodies, posterior, catalogue, parameters.fungus),
        code=code,
    )


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


def fungus_parts(sightings: Sightings, parameters: FailureParameters) -> FungusParts:
    """Of each tree and part the heard taxon of the highest action code, then probability.

    A taxon touches all parts that it rots, wherever the body sits: stem readings cannot clear the
    roots of a tree whose fungus rots both.
    """
    posterior, catalogue, bodies = sightings.posterior, parameters.catalogue, sightings.bodies
    tree = bodies.tree[posterior.sighting]
    named = posterior.taxon != catalogue.unlisted
    kept = np.flatnonzero(
        posterior.heard & named & (tree >= 0) & (bodies.attachment[posterior.sighting] >= 0)
    )
    row, part = np.nonzero(catalogue.attacks[posterior.taxon[kept]])
    at = kept[row]
    code = catalogue.action_code[posterior.taxon[at]].astype(np.int64)
    order = np.lexsort((-posterior.probability[at], -code, part, tree[at]))
    at, part, code = at[order], part[order], code[order]
    key = tree[at] * len(inputs.PARTS) + part
    _, first, group = np.unique(key, return_index=True, return_inverse=True)
    seen = np.full(len(first), -1, np.int64)
    np.maximum.at(seen, group, sightings.seen_on[posterior.sighting[at]])
    return FungusParts(
        tree=tree[at][first],
        part=part[first].astype(np.int8),
        taxon=posterior.taxon[at][first],
        code=code[first].astype(np.int8),
        probability=posterior.probability[at][first],
        seen_on=seen,
    )
