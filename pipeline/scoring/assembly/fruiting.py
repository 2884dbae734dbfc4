"""Which sightings are of one fruiting fungus, and everything that is found of each."""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.assembly.identified import SHOWN, attachments, described, name_doubts
from pipeline.scoring.assembly.told import Told
from pipeline.scoring.identification import bodies as fungi
from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification import meaning
from pipeline.scoring.identification.catalogue import Catalogue
from pipeline.scoring.identification.evidence import Evidence, shares
from pipeline.scoring.identification.heard import Heard, heard
from pipeline.scoring.identification.key import Key
from pipeline.scoring.identification.names import trusted
from pipeline.scoring.identification.questions import next_look
from pipeline.scoring.parameters.sighted import SightedParameters
from pipeline.units import Flags, Floats, Ints

# Bodies of a batch: bounds memory, changes no result.
BATCH = 1 << 12
# Taxa less probable than this are one row, 'other', of the table of posteriors.
LEAST_SHOWN = 0.01
NAME = "name"


@dataclass(frozen=True)
class Found:
    """What is found of each unit: bodies of which the same was seen; first axis units.

    Parameters
    ----------
    taxon, probability : the most probable taxa, shape (units, 3).
    rot, rot_probability : most probable rot, place in meaning.ROTS.
    attacks : probability that roots, butt, stem, branch are rotted, shape (units, 4).
    expert : photographs belong before an expert.
    misfit : a trusted name that does not fit what was seen.
    look : place of the look to take next, -1 for none.
    decides, against : characters that speak most for and against the first taxon beside the
        second, places in `characters`, -1 for none, shape (units, 3).
    listed_unit, listed_taxon, listed : taxa that are probable enough to be listed.
    """

    taxon: Ints
    probability: Floats
    unlisted: Floats
    rot: Ints
    rot_probability: Floats
    attacks: Floats
    significance: Floats
    serious: Floats
    decay: Ints
    expert: Flags
    misfit: Flags
    look: Ints
    decides: Ints
    against: Ints
    heard: Heard
    listed_unit: Ints
    listed_taxon: Ints
    listed: Floats


@dataclass(frozen=True)
class Fruiting:
    """Fruiting fungi.

    Parameters
    ----------
    body : of each sighting, shape (sightings,).
    unit : of each body, shape (bodies,).
    """

    body: Ints
    unit: Ints
    found: Found

    @property
    def of(self) -> Ints:
        """Unit of each sighting, shape (sightings,)."""
        return self.unit[self.body]


@dataclass(frozen=True)
class _Units:
    """What is to be found out, sorted by unit.

    Parameters
    ----------
    looks : see bodies.Looks, `body` is the unit.
    named : row of the evidence with the most trusted name of each unit, shape (units,).
    """

    looks: fungi.Looks
    named: Ints


def read_fruiting(
    told: Told,
    tree: Ints,
    day: Ints,
    same_id: Ints,
    parts: Flags,
    catalogue: Catalogue,
    parameters: SightedParameters,
) -> Fruiting:
    """Fruiting fungi of the sightings.

    Parameters
    ----------
    tree : the tree that each sighting is attached to, -1 without one.
    day : of each sighting, negative if unknown.
    same_id : number of the id that the file gives each sighting, -1 for none; equal ids are one
        fungus.
    parts : parts on which each may sit, all where nobody told, shape (sightings, 4).
    """
    body = _bodies(told, tree, same_id, parts, parameters)
    units, unit = _units(told, body, day, parameters)
    return Fruiting(body, unit, _find(told, units, catalogue, parameters))


def _bodies(
    told: Told, tree: Ints, same_id: Ints, parts: Flags, parameters: SightedParameters
) -> Ints:
    """Body of each sighting; without a tree each sighting is its own; shape (sightings,)."""
    attached = np.flatnonzero(tree >= 0)
    distinct = max(len(told.evidence), 1)
    pair, back = np.unique(tree[attached] * distinct + told.of[attached], return_inverse=True)
    pair_tree, row = pair // distinct, pair % distinct
    _, place, count = np.unique(pair_tree, return_inverse=True, return_counts=True)
    several = np.flatnonzero(count[place] > 1)
    leader = np.arange(len(pair))
    if several.size:
        used, at = np.unique(row[several], return_inverse=True)
        evidence = told.evidence.rows(used)
        key = parameters.identification.key
        posterior = np.concatenate([p for _, p in keys.batches(evidence, key)])
        first = np.zeros(distinct, np.int64)
        first[told.of[::-1]] = np.arange(len(told.of))[::-1]
        leads = fungi.leaders(
            pair_tree[several],
            posterior[at],
            _expected(evidence, shares(evidence.seen, key.vocabulary), key)[at],
            parts[first[row[several]]],
            _named(told, used, at, parameters),
            parameters.join,
        )
        leader[several] = several[leads]
    body = np.empty(len(tree), np.int64)
    body[attached] = _joined_by_id(
        leader[back.reshape(-1)],
        tree[attached],
        same_id[attached],
        _named(told, np.arange(len(told.evidence)), told.of[attached], parameters),
        parameters.join,
    )
    alone = np.flatnonzero(tree < 0)
    body[alone] = len(pair) + np.arange(len(alone))
    _, numbered = np.unique(body, return_inverse=True)
    return np.asarray(numbered, np.int64).reshape(-1)


def _named(told: Told, used: Ints, at: Ints, parameters: SightedParameters) -> fungi.Named:
    """Names of some rows; one that no list holds does not say which fungus.

    Parameters
    ----------
    used, at : rows of the evidence, and the place of each wanted row among them.
    """
    evidence = told.evidence.rows(used)
    name = np.where(told.strange[used], -1, evidence.name)
    trust = trusted(evidence.name_by, evidence.certainty, parameters.trust)
    return fungi.Named(
        name=name[at],
        means=np.asarray(evidence.meanings > 0, np.bool_),
        trust=np.where(name >= 0, trust, 0.0)[at],
    )


def _joined_by_id(
    body: Ints, tree: Ints, same_id: Ints, named: fungi.Named, limits: fungi.JoinLimits
) -> Ints:
    """Bodies with those of a tree that carry one id made one.

    Names that are apart are not, unless the one that leads is trusted so much more.
    """
    told = np.flatnonzero(same_id >= 0)
    both = tree[told] * (int(same_id.max(initial=0)) + 1) + same_id[told]
    _, group, count = np.unique(both, return_inverse=True, return_counts=True)
    if not (count > 1).any():
        return body
    # The most trusted name leads, of equals the lowest body.
    order = np.lexsort((body[told], -named.trust[told], group))
    lead = told[order[np.searchsorted(group[order], np.arange(len(count)))]][group]
    joins = ~named.apart[named.name[told], named.name[lead]]
    joins |= named.trust[lead] - named.trust[told] >= limits.less_trusted
    found = body.copy()
    least = np.full(len(count), body.max(initial=0), np.int64)
    np.minimum.at(least, group[joins], body[told[joins]])
    found[told[joins]] = least[group[joins]]
    return found


def _expected(evidence: Evidence, weight: Floats, key: Key) -> Floats:
    region = np.where(evidence.region < 0, len(key.regions), evidence.region)
    return fungi.expected(key.prior[region], weight, key.likelihood, key.vocabulary)


def _units(told: Told, body: Ints, day: Ints, parameters: SightedParameters) -> tuple[_Units, Ints]:
    """Units, and the unit of each body: bodies of which one thing was seen once share theirs."""
    distinct, bodies = max(len(told.evidence), 1), int(body.max(initial=-1)) + 1
    occasion = fungi.occasions(body, day, days=parameters.same_time_days)
    look, first, count = np.unique(
        occasion * distinct + told.of, return_index=True, return_counts=True
    )
    look_body, row = body[first], look % distinct
    looks = np.bincount(look_body, minlength=bodies)
    code = np.arange(bodies) + distinct
    simple = looks[look_body] == 1
    code[look_body[simple]] = row[simple]
    used, unit = np.unique(code, return_inverse=True)
    unit = unit.reshape(-1)
    # A unit of one look has it once, whoever else saw the same.
    once = np.zeros(len(used), np.int64)
    once[unit[look_body[simple]]] = np.flatnonzero(simple)
    kept = np.concatenate([np.unique(once[used < distinct]), np.flatnonzero(~simple)])
    kept = kept[np.lexsort((row[kept], occasion[first[kept]], unit[look_body[kept]]))]
    weight = np.where(simple[kept], 1.0, count[kept].astype(np.float64))
    found = fungi.Looks(unit[look_body[kept]], occasion[first[kept]], row[kept], weight)
    return _Units(found, _most_trusted(found, told, parameters, len(used))), unit


def _most_trusted(
    looks: fungi.Looks, told: Told, parameters: SightedParameters, units: int
) -> Ints:
    """Row of the evidence whose name counts for each unit; one that no list holds comes last."""
    evidence = told.evidence
    right = trusted(evidence.name_by, evidence.certainty, parameters.trust)
    right = np.where(evidence.name >= 0, np.where(told.strange, -1.0, right), -2.0)
    order = np.lexsort((looks.row, -right[looks.row], looks.body))
    _, first = np.unique(looks.body[order], return_index=True)
    named = np.zeros(units, np.int64)
    named[:] = looks.row[order[first]]
    return named


def _find(told: Told, units: _Units, catalogue: Catalogue, parameters: SightedParameters) -> Found:
    """Identify all units, a batch at a time."""
    count = len(units.named)
    parts = [
        _find_batch(told, units, slice(start, min(start + BATCH, count)), catalogue, parameters)
        for start in range(0, max(count, 1), BATCH)
    ]
    joined = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in Found.__dataclass_fields__
        if name != "heard"
    }
    loud = Heard(
        *(
            np.concatenate([getattr(part.heard, name) for part in parts])
            for name in Heard.__dataclass_fields__
        )
    )
    return Found(**joined, heard=loud)


def _find_batch(
    told: Told, units: _Units, which: slice, catalogue: Catalogue, parameters: SightedParameters
) -> Found:
    ident, key = parameters.identification, parameters.identification.key
    looks = units.looks
    rows = slice(*np.searchsorted(looks.body, (which.start, which.stop)).tolist())
    mine = fungi.Looks(*(getattr(looks, n)[rows] for n in ("body", "occasion", "row", "count")))
    weight = fungi.weights(told.evidence.seen[mine.row], mine, key.vocabulary)
    named = told.evidence.rows(units.named[which])
    prior = keys.log_prior(named, key)
    posterior = keys.normalised(prior + weight @ np.log(key.likelihood))
    certain = np.flatnonzero(posterior.max(axis=1, initial=0.0) > 1.0 - parameters.least_doubt)
    before = _expected(named.rows(certain), weight[certain], key)
    posterior[certain] = fungi.doubted(posterior[certain], before, parameters.least_doubt)
    posterior = keys.kept(posterior, named, key)
    taxon, probability = keys.first(posterior, SHOWN)
    rot = meaning.rot_probability(posterior, ident.traits)
    seen = weight > 0
    sits = attachments(seen, key)
    contradiction = sits.free & (sits.on_tree | sits.attached | sits.soil_over_root)
    strange = told.strange[units.named[which]]
    misfits, unchecked = name_doubts(posterior, named, seen, strange, ident)
    odd = contradiction | strange | misfits | unchecked
    expert = meaning.needs_expert(
        posterior, ident.traits, ident.limits, sure=parameters.sure, odd=odd
    )
    speaks = _speaks(weight, named, prior, taxon, key)
    unit, listed = np.nonzero(posterior >= LEAST_SHOWN)
    return Found(
        taxon=taxon,
        probability=probability,
        unlisted=posterior[:, key.unlisted],
        rot=rot.argmax(axis=1),
        rot_probability=rot.max(axis=1, initial=0.0),
        attacks=meaning.attack_probability(posterior, ident.traits),
        significance=meaning.mean_significance(posterior, ident.traits),
        serious=meaning.probability_of_serious(posterior, ident.traits, ident.limits),
        decay=meaning.decay_evidence(sits, posterior, ident.traits),
        expert=expert,
        misfit=misfits,
        look=_look(posterior, _looked_at(seen, key), expert, parameters),
        decides=_foremost(speaks, parameters.speaks_from),
        against=_foremost(-speaks, parameters.speaks_from),
        # What is of this tree in some cases only speaks of it that much more softly.
        heard=heard(
            posterior * told.share[units.named[which]][:, None],
            catalogue,
            parameters.trust.heard_from[named.name_by],
            described=described(seen, key) | ((named.name >= 0) & ~strange),
            serious_from=ident.limits.serious_from,
        ),
        listed_unit=unit + which.start,
        listed_taxon=listed,
        listed=posterior[unit, listed],
    )


def _look(posterior: Floats, looked: Flags, expert: Flags, parameters: SightedParameters) -> Ints:
    """The look to take next where one is needed: the fungus or its rot is in doubt; (units,)."""
    ident = parameters.identification
    sure = meaning.rot_probability(posterior, ident.traits).max(axis=1, initial=0.0)
    sure = np.minimum(sure, posterior.max(axis=1, initial=0.0))
    rows = np.flatnonzero(expert | (sure < parameters.sure))
    found = np.full(len(posterior), -1, np.int64)
    found[rows] = next_look(posterior[rows], looked[rows], ident.key, ident.traits, ident.looks)
    return found


def _looked_at(seen: Flags, key: Key) -> Flags:
    """Characters that somebody looked at; a host that is told need not be asked for again."""
    found: Flags = np.logical_or.reduceat(seen, key.vocabulary.starts, axis=1)
    certain, uncertain = (key.vocabulary.characters.index(n) for n in ("host", "host_uncertain"))
    found[:, certain] |= found[:, uncertain]
    return found


def speakers(key: Key) -> tuple[str, ...]:
    """Names of what may speak for a taxon: the characters, and the name."""
    return (*("host" if n == "host_uncertain" else n for n in key.vocabulary.characters), NAME)


def _speaks(weight: Floats, named: Evidence, prior: Floats, taxon: Ints, key: Key) -> Floats:
    """How far each character, and the name last, speaks for the first taxon [nat]."""
    log = np.log(key.likelihood)
    lead = weight * (log[:, taxon[:, 0]] - log[:, taxon[:, 1]]).T
    characters = np.add.reduceat(lead, key.vocabulary.starts, axis=1)
    here = np.arange(len(taxon))
    # Of a name what it makes one expect counts, commonness included; without one nothing is said.
    said = np.where(named.name >= 0, prior[here, taxon[:, 0]] - prior[here, taxon[:, 1]], 0.0)
    return np.column_stack([characters, said])


def _foremost(speaks: Floats, ratio: float) -> Ints:
    """Places of those that speak most, by that ratio or more; -1 where fewer do; (units, 3)."""
    order = np.argsort(-speaks, axis=1, kind="stable")[:, :SHOWN]
    loud = np.take_along_axis(speaks, order, axis=1) >= np.log(ratio)
    return np.where(loud, order, -1)
