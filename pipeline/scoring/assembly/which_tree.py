"""Sightings joined to trees for good, by place, id, host and fungus; reports of one body once.

Ingest joins by id or by distance alone. Here every candidate is weighed again with all that is
known; the order of precedence stands in `identification.trees`. What the inventory itself tells of
a tree is no report of a place and stays where it stands.
"""

from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import codes, days, dictionary, numbers, whole
from pipeline.scoring.assembly.told import Told
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification.evidence import Evidence
from pipeline.scoring.identification.merging import Reports, leaders, near_others, tree_shares
from pipeline.scoring.identification.trees import (
    UNLISTED_TREE,
    CandidateTrees,
    HostTold,
    best_trees,
    mixed_taxa,
    of_batch,
    tree_posterior,
    without_host,
)
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.identification import OTHER_HOST
from pipeline.units import Flags, Floats, Ints

ATTACHED = ("by_id", "by_place")
MATCHES = (*ATTACHED, "ambiguous", "unmatched", "not_decay")
_BY_ID, _BY_PLACE, _AMBIGUOUS, _UNMATCHED, _NOT_DECAY = range(len(MATCHES))


@dataclass(frozen=True)
class Joined:
    """Which tree each sighting is of; first axis sightings, candidates flat in order of both.

    Parameters
    ----------
    tree : attached tree, -1 without one.
    match : place in MATCHES.
    leader : the report of the same body that stands for it, itself if none.
    best : probability of the best listed tree.
    candidates, distance_m, weight, probability : candidates, weight by distance alone.
    host_disagrees : the host told is of another genus than the tree it is attached to.
    """

    tree: Ints
    match: Ints
    leader: Ints
    best: Floats
    candidates: CandidateTrees
    distance_m: Floats
    weight: Floats
    probability: Floats
    host_disagrees: Flags


@dataclass(frozen=True)
class Lent:
    """Sightings lent to the trees that they may be of; each shape (lent,).

    Parameters
    ----------
    sighting : row of the sighting; every report of a body is lent.
    tree : the candidate.
    share : probability that it is this tree.
    site : number of body and candidate together, from 0.
    """

    sighting: Ints
    tree: Ints
    share: Floats
    site: Ints


def join_trees(
    table: pa.Table, matches: pa.Table, told: Told, parts: Flags, trees: Trees,
    parameters: Parameters,
) -> Joined:  # fmt: skip
    """Join all sightings of ingest.

    Parameters
    ----------
    matches : ingest.sighting_matches.
    told : evidence in which no host of a tree is marked, only the one told.
    parts : parts that the position told means, none where untold, shape (sightings, 4).
    """
    match = codes(table, "match", MATCHES)
    by_inventory = codes(table, "origin", ("reported",)) != 0
    weighed = np.asarray((match >= 0) & (match != _NOT_DECAY) & ~by_inventory, np.bool_)
    known = np.zeros(table.num_rows, np.bool_)
    known[whole(matches, "sighting_key")] = True
    weighed &= known | ~np.isin(match, (_BY_PLACE, _AMBIGUOUS))
    host = _host_told(told, parameters)
    rows, distance, weight = _candidates(table, matches, weighed, host, trees, parameters)
    probability = _probability(rows, host, told, len(trees), parameters)
    count = table.num_rows
    best_tree, best = best_trees(rows, probability, sightings=count)
    named = whole(table, "tree_key")
    # Who names a tree is never overruled in silence: then both are candidates, and one asks.
    sure = weighed & (best >= parameters.which_tree.attach_at)
    sure &= (match != _BY_ID) | (named == best_tree)
    tree = np.where(sure, best_tree, np.where(weighed, -1, named))
    final = match.astype(np.int64)
    final[weighed] = _UNMATCHED
    final[weighed & (best_tree >= 0)] = _AMBIGUOUS
    final[sure] = np.where(match == _BY_ID, _BY_ID, _BY_PLACE)[sure]
    weighed_so = _Weighed(table, told, host, rows, probability, best)
    leader = _leaders(weighed_so, parts, tree, trees, parameters)
    # Nor is it overruled by another report of the same body.
    names_other = (match == _BY_ID) & (tree[leader] >= 0) & (tree[leader] != named)
    leader = np.where(weighed & names_other, np.arange(count), leader)
    follows = (leader != np.arange(count)) & (tree[leader] >= 0)
    tree, final = np.where(follows, tree[leader], tree), np.where(follows, _BY_PLACE, final)
    own = _host_of(trees, parameters)
    on = np.where(tree >= 0, own[np.maximum(tree, 0)] if len(trees) else tree, -1)
    other = weighed & (on >= 0) & (host.host >= 0) & (on != host.host)
    return Joined(tree, final, leader, best, rows, distance, weight, probability, other)


def lend(joined: Joined, rated: Flags, *, least: float) -> Lent:
    """What each body on an unknown tree lends to its candidates.

    Parameters
    ----------
    rated : trees that are rated, shape (trees,).
    least : a tree less probable than this could not be heard whatever is seen [share].
    """
    rows = joined.candidates
    listed = (rows.tree != UNLISTED_TREE) & (joined.probability >= least)
    listed &= joined.match[rows.sighting] == _AMBIGUOUS
    listed &= joined.leader[rows.sighting] == rows.sighting
    at = np.flatnonzero(listed)
    at = at[rated[rows.tree[at]]] if len(at) else at
    # Every report of the body goes with it.
    order = np.argsort(joined.leader, kind="stable")
    led = joined.leader[order]
    first = np.searchsorted(led, rows.sighting[at])
    size = np.searchsorted(led, rows.sighting[at], side="right") - first
    site = np.repeat(np.arange(len(at)), size)
    member = order[np.repeat(first - np.cumsum(size) + size, size) + np.arange(len(site))]
    return Lent(member, rows.tree[at][site], joined.probability[at][site], site)


def _host_told(told: Told, parameters: Parameters) -> HostTold:
    key = parameters.sighted.identification.key
    host = np.full(len(told.of), -1, np.int64)
    there = np.zeros(len(told.of), np.bool_)
    for name in ("host_uncertain", "host"):
        marked = told.evidence.seen[:, key.vocabulary.span(name)]
        any_of = np.asarray(marked.any(axis=1), np.bool_)
        there = any_of[told.of]
        host = np.where(there, marked.argmax(axis=1)[told.of], host)
    return HostTold(host, there)


def _host_of(trees: Trees, parameters: Parameters) -> Ints:
    """Each tree as a host of the key, -1 where its genus is not known, shape (trees,)."""
    genera = parameters.sighted.identification.genera
    at = {name: place for place, name in enumerate(genera)}
    known = [at.get(name, at[OTHER_HOST]) for name in trees.genera]
    found: Ints = np.array([*known, -1], np.int64)[trees.genus]
    return found


def _candidates(
    table: pa.Table, matches: pa.Table, weighed: Flags, host: HostTold, trees: Trees,
    parameters: Parameters,
) -> tuple[CandidateTrees, Floats, Floats]:  # fmt: skip
    """Candidates of the sightings to be weighed, their distances, and weights as ingest has them.

    A sighting that names its tree always has the tree that is not known as well: the id may be
    wrong. Where its place is known and no tree stands there, that one has all the weight.
    """
    s, tree = whole(matches, "sighting_key"), whole(matches, "tree_key")
    kept = np.asarray(weighed[s], np.bool_)
    s, tree = s[kept], tree[kept]
    distance, weight = numbers(matches, "distance_m")[kept], numbers(matches, "weight")[kept]
    by_id = np.where(codes(table, "match", MATCHES) == _BY_ID, whole(table, "tree_key"), -1)
    named = (tree >= 0) & (by_id[s] == tree)
    has_unlisted = np.zeros(len(weighed), np.bool_)
    has_unlisted[s[tree == UNLISTED_TREE]] = True
    alone = np.flatnonzero(weighed & (by_id >= 0) & ~has_unlisted)
    weight = np.where(named & ~has_unlisted[s], 0.0, weight)
    is_named = np.zeros(len(weighed), np.bool_)
    is_named[s[named]] = True
    lone = np.flatnonzero(weighed & (by_id >= 0) & ~is_named)
    accuracy = numbers(table, "accuracy_m")
    placed = ~np.isnan(numbers(table, "x_m")) & (accuracy >= 0)
    placed &= np.nan_to_num(accuracy, nan=np.inf) <= parameters.which_tree.merging.cap_m
    added = np.zeros(len(alone) + len(lone))
    added[: len(alone)] = placed[alone]
    s = np.concatenate([s, alone, lone])
    tree = np.concatenate([tree, np.full(len(alone), -1), by_id[lone]])
    order = np.lexsort((tree, s))
    own = np.append(_host_of(trees, parameters), -1)[tree]
    rows = CandidateTrees(
        sighting=s,
        tree=tree,
        weight=np.concatenate([weight, added]),
        named=np.concatenate([named, np.arange(len(added)) >= len(alone)]),
        host=own,
        agrees=(own >= 0) & (own == host.host[s]),
    )
    distance = np.concatenate([distance, np.full(len(added), np.nan)])[order]
    rows = CandidateTrees(*(getattr(rows, name)[order] for name in rows.__dataclass_fields__))
    return rows, distance, rows.weight


def _taxa(told: Told, evidence: Evidence, which: slice, parameters: Parameters) -> Floats:
    """Probability of the taxa from all but the host, of some sightings."""
    used, back = np.unique(told.of[which], return_inverse=True)
    found = keys.posterior(evidence.rows(used), parameters.sighted.identification.key)
    return found[back.reshape(-1)]


def _probability(
    rows: CandidateTrees, host: HostTold, told: Told, trees: int, parameters: Parameters
) -> Floats:
    key, errors = parameters.sighted.identification.key, parameters.which_tree.errors
    evidence, found = without_host(told.evidence, key), np.zeros(len(rows.tree))
    for start in range(0, len(told.of), keys.BATCH):
        which = slice(start, min(start + keys.BATCH, len(told.of)))
        at, part, said = of_batch(which, rows, host)
        if at.stop > at.start:
            used, back = np.unique(told.of[which], return_inverse=True)
            taxa, region = keys.posterior(evidence.rows(used), key), evidence.region[told.of[which]]
            of = back.reshape(-1)
            found[at] = tree_posterior(taxa, region, said, part, key, errors, trees=trees, of=of)
    return found


@dataclass(frozen=True)
class _Weighed:
    """What was weighed of the sightings, and the outcome."""

    table: pa.Table
    told: Told
    host: HostTold
    rows: CandidateTrees
    probability: Floats
    best: Floats


def _leaders(
    weighed: _Weighed, parts: Flags, tree: Ints, trees: Trees, parameters: Parameters
) -> Ints:
    """The report that stands for each; those attached stand for themselves."""
    settings, table, rows = parameters.which_tree, weighed.table, weighed.rows
    leader = np.arange(table.num_rows)
    xy = np.column_stack([numbers(table, "x_m"), numbers(table, "y_m")])
    accuracy = numbers(table, "accuracy_m").copy()
    vague = ~(accuracy <= settings.merging.cap_m) | (accuracy < 0)
    xy[vague] = np.nan
    lost = np.flatnonzero(np.isnan(xy[:, 0]) & (tree >= 0))
    xy[lost] = np.column_stack([trees.x, trees.y])[tree[lost]]
    accuracy[lost] = 0.0
    open_ = (tree < 0) & (codes(table, "match", MATCHES) != _NOT_DECAY)
    near = near_others(xy, open_, cap_m=settings.merging.cap_m)
    if not len(near):
        return leader
    keep = np.searchsorted(near, rows.sighting)
    mine = near[np.minimum(keep, len(near) - 1)] == rows.sighting
    some = CandidateTrees(*(getattr(rows, n)[mine] for n in rows.__dataclass_fields__))
    some = CandidateTrees(keep[mine], some.tree, some.weight, some.named, some.host, some.agrees)
    probability = weighed.probability[mine]
    posterior, expected = _mixed(some, probability, near, weighed, parameters)
    reports = Reports(
        xy=xy[near],
        sigma_m=settings.sigma_m(accuracy[near]),
        trees=tree_shares(some, probability, reports=len(near), trees=len(trees)),
        posterior=posterior,
        expected=expected,
        day=days(table, "seen_on")[near],
        height_m=numbers(table, "height_above_ground_m")[near],
        parts=parts[near],
        observer=dictionary(table, "observer")[0][near],
    )
    annual = parameters.sighted.identification.traits.annual
    leader[near] = near[leaders(open_[near], weighed.best[near], reports, annual, settings.merging)]
    return leader


def _mixed(
    some: CandidateTrees, probability: Floats, near: Ints, weighed: _Weighed,
    parameters: Parameters,
) -> tuple[Floats, Floats]:  # fmt: skip
    """The taxa of some sightings whatever the tree, after and before they were seen."""
    key, errors = parameters.sighted.identification.key, parameters.which_tree.errors
    told, host = weighed.told, weighed.host
    evidence = without_host(told.evidence, key)
    few = replace(told, of=told.of[near])
    said = HostTold(host.host[near], host.certain[near])
    region = np.where(evidence.region < 0, len(key.regions), evidence.region)
    found = np.zeros((2, len(near), len(key.taxon_id)))
    for start in range(0, len(near), keys.BATCH):
        which = slice(start, min(start + keys.BATCH, len(near)))
        at, part, spoken = of_batch(which, some, said)
        for place, taxa in enumerate(
            (_taxa(few, evidence, which, parameters), key.prior[region[few.of[which]]])
        ):
            found[place, which] = mixed_taxa(taxa, spoken, part, probability[at], key, errors)
    return found[0], found[1]
