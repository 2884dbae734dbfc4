"""Which tree a sighting sits on, and which fungus it is, decided together.

What is weighed, in this order of precedence:

1. *Attachment* decides before all: what grows free in soil is joined to no tree and never comes
   here.
2. *The tree named by id* is evidence, not law: it is wrong with a small error share, more often for
   a tree near by than for one anywhere.
3. *The place* gives each tree near it a weight by distance (ingest owns that), and the tree that is
   not in the inventory its own; where a tree is named as well, the place may be grossly wrong too.
4. *The host told* is evidence on the tree: its genus is the tree's, or wrongly named.
5. *The fungus* is evidence on the tree by its hosts; the tree's genus is evidence on the fungus.

No one of these overrules the rest: their product decides. Only at the stated probability is a tree
attached; below it every candidate keeps its share of the evidence, and a person is asked.

The model. Before anything is seen, every tree is equally likely to carry a fungus, whatever its
genus; so a fungus t on a tree of genus g has P(t | g) = P(t) P(g | t) / P(g), with P(g) the share
of hosts of that genus over all fungi, sum over t of P(t) P(g | t). Hence for a candidate c
    P(c, t | seen)  ~  w_c P(t) P(g_c | t) / P(g_c) P(host told | g_c) P(all else seen | t),
where the division keeps trees of known genus on one scale with a tree of which nothing is known: a
sighting that tells nothing of its fungus leaves the weights w_c as they were. For a tree of unknown
genus, one that is not in the inventory above all, the host is a character that nobody looked at,
unless it was told: then P(host told | t) = sum over g of P(g | t) P(host told | g).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification.evidence import Evidence
from pipeline.scoring.identification.key import Key
from pipeline.units import Flags, Floats, Ints

UNLISTED_TREE = -1
_HOSTS = ("host", "host_uncertain")


@dataclass(frozen=True)
class TreeErrors:
    """How often what is told of the tree is wrong, each a share.

    Parameters
    ----------
    tree_id : a tree named by id is another.
    near : of those wrong ids, the share that names a tree near the place told.
    place : the place is grossly wrong, whatever its accuracy says.
    host, host_uncertain : the genus of the host is wrongly named.
    """

    tree_id: float
    near: float
    place: float
    host: float
    host_uncertain: float


@dataclass(frozen=True)
class CandidateTrees:
    """Candidate trees of n sightings: flat arrays, ordered by sighting.

    Parameters
    ----------
    sighting : row of the sighting.
    tree : the tree, or UNLISTED_TREE, of which each sighting has one row.
    weight : probability by distance alone; sums to one over a sighting, or is all zero where
        the place says nothing.
    named : the observer names this tree by id; at most one of a sighting.
    host : genus of the tree as a host of the key, -1 unknown.
    agrees : the told genus of the host is that of the tree; False where either is not known.
    """

    sighting: Ints
    tree: Ints
    weight: Floats
    named: Flags
    host: Ints
    agrees: Flags

    def rows(self, which: slice) -> "CandidateTrees":
        """Some of the rows, the sightings as they were numbered."""
        return CandidateTrees(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class HostTold:
    """The host as told: place in the hosts of the key, -1 untold; both shape (sightings,)."""

    host: Ints
    certain: Flags


def tree_posterior(
    taxa: Floats,
    region: Ints,
    told: HostTold,
    candidates: CandidateTrees,
    key: Key,
    errors: TreeErrors,
    *,
    trees: int,
    of: Ints,
) -> Floats:
    """Probability of each candidate after everything was weighed, summed over the fungi.

    Parameters
    ----------
    taxa : probability of the taxa from all but the host, shape (evidence, taxa); see `batches`.
    of : row of `taxa` of each sighting: what was seen often is worked out once, (sightings,).
    region : place in the key's regions, -1 unknown, shape (sightings,).
    trees : number of trees of the inventory.
    """
    hosts = _hosts(key)
    on_host, shared = taxa @ hosts.T, key.prior @ hosts.T
    spoken = _Spoken.of(told, shared[-1], errors)
    unknown = spoken.right * on_host[of, spoken.at] + spoken.by_chance
    s, known = candidates.sighting, candidates.host >= 0
    genus = np.maximum(candidates.host, 0)
    of_region = np.where(region < 0, len(key.regions), region)
    fits = on_host[of[s], genus] / shared[of_region[s], genus]
    said = spoken.by_chance[s] + spoken.right[s] * candidates.agrees
    log = _log(_told_weight(candidates, errors, trees, len(of)))
    log += _log(np.where(known, fits * said, unknown[s]))
    return _normalised_by(log, s, len(of))


def mixed_taxa(
    taxa: Floats,
    told: HostTold,
    candidates: CandidateTrees,
    probability: Floats,
    key: Key,
    errors: TreeErrors,
) -> Floats:
    """Probability of the taxa whatever the tree, shape (sightings, taxa).

    Each candidate speaks by its own genus, one of unknown genus by the host that was told.

    Parameters
    ----------
    taxa : probability of the taxa from all but the host, shape (sightings, taxa); the prior of the
        region gives what is expected before anything is seen of the fungus.
    probability : of each candidate; a sighting without candidates has one of unknown genus.
    """
    hosts = _hosts(key)
    on_host = taxa @ hosts.T
    spoken = _Spoken.of(told, key.prior[-1] @ hosts.T, errors)
    alone = spoken.right * on_host[spoken.row, spoken.at] + spoken.by_chance
    s, known = candidates.sighting, candidates.host >= 0
    genus = np.maximum(candidates.host, 0)
    blind = np.bincount(s[~known], weights=probability[~known], minlength=len(taxa))
    blind += np.bincount(s, minlength=len(taxa)) == 0
    share = np.zeros_like(on_host)
    np.add.at(share, (s[known], genus[known]), probability[known] / on_host[s, genus][known])
    share[spoken.row, spoken.at] += blind * spoken.right / alone
    found: Floats = taxa * (share @ hosts + (blind * spoken.by_chance / alone)[:, None])
    found /= found.sum(axis=1, keepdims=True)
    return found


@dataclass(frozen=True)
class _Spoken:
    """P(host told | genus) = by_chance + right where the genus is `at`; 1 where none was told."""

    row: Ints
    at: Ints
    right: Floats
    by_chance: Floats

    @classmethod
    def of(cls, told: HostTold, overall: Floats, errors: TreeErrors) -> "_Spoken":
        wrong = np.where(told.certain, errors.host, errors.host_uncertain)
        spoken, at = told.host >= 0, np.maximum(told.host, 0)
        right = np.where(spoken, 1.0 - wrong, 0.0)
        by_chance = np.where(spoken, wrong * overall[at], 1.0)
        return cls(np.arange(len(at)), at, right, by_chance)


def without_host(evidence: Evidence, key: Key) -> Evidence:
    """The evidence with no host marked: what the tree's genus is weighed against."""
    seen = evidence.seen.copy()
    for name in _HOSTS:
        seen[:, key.vocabulary.span(name)] = False
    return replace(evidence, seen=seen)


def batches(
    evidence: Evidence,
    told: HostTold,
    candidates: CandidateTrees,
    key: Key,
    errors: TreeErrors,
    *,
    trees: int,
) -> Iterator[tuple[slice, slice, Floats, Floats]]:
    """The joint posterior of many sightings, a batch at a time; bounds memory, changes no result.

    Parameters
    ----------
    evidence : what was seen; a host that is marked in it is not read, `told` says it.

    Yields
    ------
    Which sightings, which rows of the candidates, the taxa from all but the host, and the
    probability of each candidate.
    """
    for which, taxa in keys.batches(without_host(evidence, key), key):
        rows, part, said = of_batch(which, candidates, told)
        yield (
            which,
            rows,
            taxa,
            tree_posterior(
                taxa,
                evidence.region[which],
                said,
                part,
                key,
                errors,
                trees=trees,
                of=np.arange(len(taxa)),
            ),
        )


def of_batch(
    which: slice, candidates: CandidateTrees, told: HostTold
) -> tuple[slice, CandidateTrees, HostTold]:
    """Rows of the candidates of some sightings, these numbered from 0, and the hosts told."""
    start, end = np.searchsorted(candidates.sighting, (which.start, which.stop))
    rows = slice(int(start), int(end))
    part = candidates.rows(rows)
    part = replace(part, sighting=part.sighting - which.start)
    return rows, part, HostTold(told.host[which], told.certain[which])


def best_trees(
    candidates: CandidateTrees, probability: Floats, *, sightings: int
) -> tuple[Ints, Floats]:
    """The most probable listed tree of each sighting and its probability, both (sightings,).

    UNLISTED_TREE and 0 where there is none. Equal probabilities: the tree named, then the lowest.
    """
    tree, best = np.full(sightings, UNLISTED_TREE, np.int64), np.zeros(sightings)
    listed = np.flatnonzero(candidates.tree != UNLISTED_TREE)
    s = candidates.sighting[listed]
    order = np.lexsort(
        (candidates.tree[listed], ~candidates.named[listed], -probability[listed], s)
    )
    first = np.ones(len(order), np.bool_)
    first[1:] = s[order][1:] != s[order][:-1]
    top = listed[order[first]]
    tree[candidates.sighting[top]] = candidates.tree[top]
    best[candidates.sighting[top]] = probability[top]
    return tree, best


def _hosts(key: Key) -> Floats:
    """P(genus of the host | taxon), shape (hosts, taxa)."""
    return key.likelihood[key.vocabulary.span(_HOSTS[0])]


def _told_weight(
    candidates: CandidateTrees, errors: TreeErrors, trees: int, sightings: int
) -> Floats:
    """Weight of each candidate by its place and by the id told, up to a constant of the sighting.

    Without an id it is the distance weight. With one, the place is honest or says nothing, the id
    is right, or names another tree: one of the candidates, or any tree of the inventory.
    """
    s, weight = candidates.sighting, candidates.weight
    with_id = np.zeros(sightings, np.bool_)
    with_id[s[candidates.named]] = True
    near = np.zeros(sightings, np.bool_)
    near[s[candidates.named & (weight > 0)]] = True
    listed = (candidates.tree != UNLISTED_TREE) & (weight > 0)
    around = np.maximum(np.bincount(s[listed], minlength=sightings), 1)
    anywhere = np.where(candidates.tree == UNLISTED_TREE, 1.0, 1.0 / trees)
    by_place = (1.0 - errors.place) * weight + errors.place * anywhere
    slip = errors.tree_id * (
        np.where(near[s], errors.near / around[s], 0.0) + (1.0 - errors.near) / trees
    )
    by_id = np.where(candidates.named, 1.0 - errors.tree_id, slip)
    found: Floats = np.where(with_id[s], by_place * by_id, weight)
    return found


def _log(values: Floats) -> Floats:
    """Logarithm, minus infinity at 0."""
    with np.errstate(divide="ignore"):
        found: Floats = np.log(values)
    return found


def _normalised_by(log: Floats, sighting: Ints, count: int) -> Floats:
    """Probabilities that sum to one over each sighting, same shape."""
    top = np.full(count, -np.inf)
    np.maximum.at(top, sighting, log)
    raw = np.exp(log - np.where(np.isfinite(top), top, 0.0)[sighting])
    total = np.bincount(sighting, weights=raw, minlength=count)
    found: Floats = raw / np.where(total > 0, total, 1.0)[sighting]
    return found
