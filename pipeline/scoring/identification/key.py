"""The key: probability of every taxon from what was seen, where, when, on what, and from names.

The model is generative. A taxon is found as often as it is common in the region; given the taxon,
host, month, position and each character are drawn independently: with the error share of the
character the observation says nothing (the overall frequency of the states), else it is one of the
states of the taxon, by how usual they are, after fading. So no single observation can kill a
taxon, and what nobody looked at does not count. 'Unlisted' is a taxon with the overall frequencies.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.identification.evidence import Evidence, Vocabulary, shares
from pipeline.units import Floats, Ints

# Sightings of a batch: bounds memory, changes no result.
BATCH = 1 << 12


@dataclass(frozen=True)
class NameSpread:
    """How far a name is trusted, and where the rest of its probability goes.

    Parameters
    ----------
    name_by : who names.
    cap : most that a name is trusted [share], shape (observers,).
    most : no name is trusted further than this, so that none is beyond doubt.
    not_listed : how far a name that no list holds means a fungus that none lists [share].
    genus : row of the genus of each taxon, its own for that row, -1 for none, shape (taxa,).
    among : share of the rest that goes to look-alikes, same genus, all taxa, (observers, 3).
    look_alike : of a named taxon the weights of what it may be instead, shape (taxa, taxa); a row
        sums to one, or to zero where nothing is known.
    same_genus : likewise for the other taxa of its genus; a row sums to less than one by how
        common the named one is in it.
    fits : share that a name trusted `kept_from` or more keeps, whatever was seen.
    """

    name_by: tuple[str, ...]
    cap: Floats
    most: float
    not_listed: float
    genus: Ints
    among: Floats
    look_alike: Floats
    same_genus: Floats
    fits: float = 0.0
    kept_from: float = 1.0


@dataclass(frozen=True)
class Key:
    """The parameters of the key.

    Parameters
    ----------
    taxon_id : taxa, the last is 'unlisted'.
    vocabulary : characters and states.
    likelihood : P(state | taxon), shape (states, taxa); each character sums to one.
    regions : names; `prior` has one more row, for a region that is not known.
    prior : how often each taxon is found, shape (regions + 1, taxa); a row sums to one.
    """

    taxon_id: tuple[str, ...]
    vocabulary: Vocabulary
    likelihood: Floats
    regions: tuple[str, ...]
    prior: Floats
    names: NameSpread

    @property
    def unlisted(self) -> int:
        """Index of 'unlisted'."""
        return len(self.taxon_id) - 1


def blend(usual: Floats, background: Floats, error: float) -> Floats:
    """P(state | taxon), shape (taxa, states), from weights, with an observer's error.

    Parameters
    ----------
    usual : how usual each state is, shape (taxa, states); a taxon without any has the background.
    background : overall frequency of the states, shape (states,), above 0, sums to one.
    error : share of observations that say nothing of the taxon.
    """
    total = usual.sum(axis=1, keepdims=True)
    own = np.where(total > 0, usual / np.where(total > 0, total, 1.0), background)
    return (1.0 - error) * own + error * background


def overall(usual: Floats) -> Floats:
    """Overall frequency of states, shape (states,): half by the taxa, half even; never zero."""
    total = usual.sum(axis=1)
    told = usual[total > 0] / total[total > 0, None]
    even = np.full(usual.shape[1], 1.0 / usual.shape[1])
    return even if not len(told) else (told.mean(axis=0) + even) / 2.0


def with_genera_prior(prior: Floats, genus: Ints, share: float) -> Floats:
    """The prior with the row of each genus as another species of it than those listed.

    A genus of which no species is listed keeps its own.

    Parameters
    ----------
    prior : shape (regions, taxa).
    genus : see NameSpread.
    share : how common all that are not listed are beside all that are.
    """
    row, species = _members(genus)
    listed = prior @ species.T
    found = prior.copy()
    found[:, row] = np.where(listed > 0, share * listed, prior[:, row])
    found /= found.sum(axis=1, keepdims=True)
    return found


def with_genera(likelihood: Floats, genus: Ints, common: Floats, widening: float) -> Floats:
    """P(state | taxon) with the row of each genus as the mean of its species, widened.

    Parameters
    ----------
    likelihood : shape (states, taxa); the last taxon, 'unlisted', has the overall frequencies.
    common : how often each taxon is found: the weight of the mean, shape (taxa,).
    widening : share of the overall frequencies in the mixture.
    """
    row, species = _members(genus)
    weight = species * common
    total = weight.sum(axis=1)
    listed = total > 0
    mean = likelihood @ (weight[listed] / total[listed, None]).T
    found = likelihood.copy()
    found[:, row[listed]] = (1.0 - widening) * mean + widening * likelihood[:, -1:]
    return found


def _members(genus: Ints) -> tuple[Ints, Floats]:
    """Rows that are genera, and the listed species of each, shape (genera, taxa)."""
    row = np.flatnonzero(genus == np.arange(len(genus)))
    species = (genus[None, :] == row[:, None]).astype(np.float64)
    species[np.arange(len(row)), row] = 0.0
    return row, species


def meaning_of(taxa: Sequence[int], key: Key) -> Floats:
    """What a name means that stands for these taxa: weights that sum to one, shape (taxa,).

    A genus means its listed species and its own row, by how common they are. A name that no list
    holds (the taxon 'unlisted' alone) is as often a word that the lists lack as a fungus that they
    lack, so it means 'unlisted' in part and in part nothing.
    """
    named = np.zeros(len(key.taxon_id), np.bool_)
    named[list(taxa)] = True
    genera = np.flatnonzero(named & (key.names.genus == np.arange(len(named))))
    named |= np.isin(key.names.genus, genera)
    common = key.prior[-1]
    meant: Floats = np.where(named, common, 0.0) / common[named].sum()
    if named[key.unlisted] and named.sum() == 1:
        meant = key.names.not_listed * meant + (1.0 - key.names.not_listed) * common
    return meant


def log_posterior(evidence: Evidence, key: Key) -> Floats:
    """Log-probability of every taxon up to a constant of each row, shape (sightings, taxa)."""
    return log_prior(evidence, key) + log_likelihood(evidence, key)


def log_likelihood(evidence: Evidence, key: Key) -> Floats:
    """Log-likelihood of what was seen, names apart, shape (sightings, taxa)."""
    found: Floats = shares(evidence.seen, key.vocabulary) @ np.log(key.likelihood)
    return found


def log_prior(evidence: Evidence, key: Key) -> Floats:
    """Log of what is expected before looking: the region's, or the name's, (sightings, taxa)."""
    region = np.where(evidence.region < 0, len(key.regions), evidence.region)
    named = evidence.name >= 0
    # The logarithms are taken of the few different rows, not of every sighting.
    found: Floats = np.log(key.prior)[region]
    if named.any():
        found[named] = np.log(_by_name(evidence.rows(named), region[named], key))
    return found


def _by_name(evidence: Evidence, region: Ints, key: Key) -> Floats:
    """Probability of the taxa from the name and the region alone, shape (sightings, taxa)."""
    spread = key.names
    # A name that means several taxa means those of the region before the others (the meanings are
    # already weighed by how common they are anywhere).
    meant = _of_region(evidence.meanings[evidence.name], (key.prior / key.prior[-1])[region])
    cap = np.minimum(spread.cap, spread.most)[evidence.name_by]
    stated = np.where(np.isnan(evidence.certainty), cap, np.clip(evidence.certainty, 0.0, 1.0))
    right = np.minimum(stated, cap)[:, None]
    # Who errs has seen a look-alike that is common here before one that is rare, or of elsewhere.
    here = key.prior[region]
    alike = _of_region((evidence.meanings @ spread.look_alike)[evidence.name], here)
    genus = _of_region((evidence.meanings @ spread.same_genus)[evidence.name], here)
    among = spread.among[evidence.name_by]
    # Where nothing is known of look-alikes or of the genus, their part goes to all taxa.
    rest = among[:, :1] * alike + among[:, 1:2] * genus
    rest += (1.0 - rest.sum(axis=1, keepdims=True)) * key.prior[region]
    found: Floats = right * meant + (1.0 - right) * rest
    return found


def _of_region(weights: Floats, here: Floats) -> Floats:
    """Weights of taxa times how common each is; the sum of a row stays."""
    found = weights * here
    total = found.sum(axis=1, keepdims=True)
    found *= weights.sum(axis=1, keepdims=True) / np.where(total > 0, total, 1.0)
    return found


def normalised(log: Floats) -> Floats:
    """Probabilities from logarithms, shape kept; each row sums to one."""
    found: Floats = np.exp(log - log.max(axis=1, keepdims=True))
    found /= found.sum(axis=1, keepdims=True)
    return found


def posterior(evidence: Evidence, key: Key) -> Floats:
    """Probability of every taxon, shape (sightings, taxa); a row sums to one.

    For few sightings; `batches` bounds the memory of many.
    """
    return kept(normalised(log_posterior(evidence, key)), evidence, key)


def batches(evidence: Evidence, key: Key) -> Iterator[tuple[slice, Floats]]:
    """Posteriors of the sightings, a batch at a time."""
    likelihood, prior = np.log(key.likelihood), np.log(key.prior)
    for start in range(0, len(evidence), BATCH):
        which = slice(start, min(start + BATCH, len(evidence)))
        part = evidence.rows(which)
        log = shares(part.seen, key.vocabulary) @ likelihood
        if (part.name >= 0).any():
            log += log_prior(part, key)
        else:
            log += prior[np.where(part.region < 0, len(key.regions), part.region)]
        yield which, kept(normalised(log), part, key)


def named_share(posterior: Floats, evidence: Evidence) -> Floats:
    """Probability of what the name may mean, one without a name; shape (sightings,)."""
    found = np.ones(len(posterior))
    rows = np.flatnonzero(evidence.name >= 0)
    means = evidence.meanings[evidence.name[rows]] > 0
    found[rows] = (posterior[rows] * means).sum(axis=1)
    return found


def kept(posterior: Floats, evidence: Evidence, key: Key) -> Floats:
    """The posterior in which the most trusted names keep their least share; shape as given.

    Characters are drawn independently in the model; several that contradict a laboratory together
    are as likely misread by one observer, or seen on another body, as the sample is mixed up.
    """
    spread = key.names
    if not (evidence.name >= 0).any() or spread.fits <= 0:
        return posterior
    cap = spread.cap[evidence.name_by]
    right = np.where(np.isnan(evidence.certainty), cap, np.minimum(evidence.certainty, cap))
    rows = np.flatnonzero((evidence.name >= 0) & (right >= spread.kept_from))
    own = named_share(posterior[rows], evidence.rows(rows))
    rows, own = rows[own < spread.fits], own[own < spread.fits, None]
    if not rows.size:
        return posterior
    meant = evidence.meanings[evidence.name[rows]]
    # What is beyond the least number that can be written is shared out as the name means it.
    shape = np.where(own > 0, np.where(meant > 0, posterior[rows], 0.0), meant)
    others = np.where(meant > 0, 0.0, posterior[rows])
    found = posterior.copy()
    found[rows] = spread.fits * shape / shape.sum(axis=1, keepdims=True)
    found[rows] += (1.0 - spread.fits) * others / others.sum(axis=1, keepdims=True)
    return found


def first(posterior: Floats, count: int) -> tuple[Ints, Floats]:
    """The most probable taxa of each sighting and their probability, both (sightings, count)."""
    left = posterior.copy()
    rows = np.arange(len(posterior))
    taxon = np.empty((len(posterior), count), np.int64)
    for place in range(count):
        taxon[:, place] = left.argmax(axis=1)
        left[rows, taxon[:, place]] = -1.0
    return taxon, np.take_along_axis(posterior, taxon, axis=1)


def add_up(log: Floats, prior: Floats, body: Ints, *, bodies: int) -> Floats:
    """Posterior of each fruiting fungus from all that was seen of it, shape (bodies, taxa).

    Parameters
    ----------
    log : log-likelihood of each sighting, shape (sightings, taxa).
    prior : log-prior of each body, shape (bodies, taxa).
    body : which body each sighting is of, shape (sightings,).
    """
    total = prior.copy()
    order = np.argsort(body, kind="stable")
    which, start = np.unique(body[order], return_index=True)
    if which.size:
        total[which] += np.add.reduceat(log[order], start, axis=0)
    return normalised(total[:bodies])
