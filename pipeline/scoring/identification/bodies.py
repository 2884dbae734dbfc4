"""Sightings of one fruiting fungus: which belong together, and what they say together.

Two sightings of a tree, on the same or neighbouring parts, are of one fungus where one taxon
explains both better than two taxa do, and no names speak against it: what nobody named joins only
where the evidence is clear, and different names are different bodies, so that no report erases
another. What is seen at the same time is averaged, character by
character over those who looked; what is seen later is added. Where a body sits, and on what tree,
is one fact however often it is told.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.identification.evidence import Vocabulary, shares
from pipeline.scoring.identification.key import normalised
from pipeline.units import Flags, Floats, Ints

# Facts of the place: told twice they are still one fact.
OF_THE_PLACE = ("host", "host_uncertain", "position", "attachment")
_STEP = 1 << 12
# Rounding: what tells nothing of the fungus has a ratio of exactly one.
_ROUNDING = float(np.sqrt(np.finfo(np.float64).eps))


@dataclass(frozen=True)
class Looks:
    """Looks at fruiting bodies, sorted by body; each shape (looks,).

    Parameters
    ----------
    body : which body.
    occasion : looks of one occasion are averaged.
    row : row of the evidence.
    count : how many sightings say the same.
    """

    body: Ints
    occasion: Ints
    row: Ints
    count: Floats


@dataclass(frozen=True)
class Named:
    """Names that rows carry, and when what names differ or lacks may be one body all the same.

    Parameters
    ----------
    name : row of `means`, -1 without a name that says which fungus, shape (rows,).
    means : taxa that each name may mean, shape (names, taxa).
    trust : how far the name of each row is trusted [share], shape (rows,).
    """

    name: Ints
    means: Flags
    trust: Floats

    @property
    def apart(self) -> Flags:
        """Pairs of names that mean different taxa, shape (names + 1, names + 1); last: no name.

        A genus means its species too, and a synonym the taxon, so these are not apart.
        """
        means = self.means.astype(np.float64)
        found = np.zeros((len(means) + 1, len(means) + 1), np.bool_)
        found[:-1, :-1] = means @ means.T == 0
        return found


@dataclass(frozen=True)
class JoinLimits:
    """From which evidence two rows are of one body, from config/published/body_limits.csv.

    Parameters
    ----------
    named : one taxon must explain two rows of one name so many times better than two do.
    unnamed : likewise where one of them has no name.
    less_trusted : a name yields to another that is trusted so much more [share],
    outweighed : where its own row makes what the other means so many times likelier.
    """

    named: float
    unnamed: float
    less_trusted: float
    outweighed: float


def leaders(
    tree: Ints, posterior: Floats, expected: Floats, parts: Flags, named: Named, limits: JoinLimits
) -> Ints:
    """The row that leads the body of each row; shape (rows,).

    Of the rows of a tree the one with the narrowest name leads, of equals the most trusted, then
    the most certain; those that one taxon explains together with it, on parts that overlap, join;
    of the rest the next leads the next body. Names that mean different taxa are two bodies.

    Parameters
    ----------
    tree : whole numbers, shape (rows,).
    posterior : of each row alone, shape (rows, taxa).
    expected : see `expected`: what two rows share is no coincidence, shape (rows, taxa).
    parts : on which it may sit, shape (rows, parts).
    """
    leader = np.arange(len(tree))
    certain = posterior.max(axis=1) if len(tree) else np.zeros(0)
    breadth = np.append(named.means.sum(axis=1), posterior.shape[1] + 1)[named.name]
    left = np.lexsort((leader, -certain, -named.trust, breadth, tree))
    apart = named.apart
    while left.size:
        first = np.ones(left.size, np.bool_)
        first[1:] = tree[left[1:]] != tree[left[:-1]]
        lead = left[first][np.cumsum(first) - 1]
        joins = first | (parts[left] & parts[lead]).any(axis=1)
        others = np.flatnonzero(joins & ~first & apart[named.name[left], named.name[lead]])
        joins[others] = _yields(left[others], lead[others], posterior, named, limits)
        tried = np.flatnonzero(joins & ~first)
        bare = (named.name[left[tried]] < 0) | (named.name[lead[tried]] < 0)
        ratio = np.where(bare, limits.unnamed, limits.named)
        joins[tried] = one_taxon(left[tried], lead[tried], posterior, expected) >= ratio - _ROUNDING
        leader[left[joins]] = lead[joins]
        left = left[~joins]
    return leader


def _yields(one: Ints, other: Ints, posterior: Floats, named: Named, limits: JoinLimits) -> Flags:
    """Rows whose name yields to that of the other: little trusted, and what was seen decides."""
    less = named.trust[other] - named.trust[one] >= limits.less_trusted
    own = (posterior[one] * named.means[named.name[one]]).sum(axis=1)
    its = (posterior[one] * named.means[named.name[other]]).sum(axis=1)
    found: Flags = less & (its >= limits.outweighed * own)
    return found


def one_taxon(one: Ints, other: Ints, posterior: Floats, expected: Floats) -> Floats:
    """How many times better one taxon explains two rows than two taxa do; shape (pairs,)."""
    found = np.empty(len(one))
    for start in range(0, len(one), _STEP):
        at = slice(start, start + _STEP)
        both = posterior[one[at]] * posterior[other[at]] / expected[other[at]]
        found[at] = both.sum(axis=1)
    return found


def occasions(body: Ints, day: Ints, *, days: float) -> Ints:
    """Occasion of each sighting, numbered over all bodies; shape (sightings,).

    Looks that follow each other within `days` are one occasion, so that no number of reports in a
    row adds up to certainty.

    Parameters
    ----------
    day : day number, negative where it is not known: such belong to the first occasion.
    """
    order = np.lexsort((day, body))
    bodies, when = body[order], day[order]
    new = np.ones(len(order), np.bool_)
    new[1:] = bodies[1:] != bodies[:-1]
    known = (when[:-1] >= 0) & (when[1:] - when[:-1] > days)
    new[1:] |= known
    found = np.empty(len(order), np.int64)
    found[order] = np.cumsum(new) - 1
    return found


def weights(seen: Flags, looks: Looks, vocabulary: Vocabulary) -> Floats:
    """Weights of the states for each body, shape (bodies, states).

    A character that somebody looked at sums to the number of occasions on which it was; one of the
    place sums to one.

    Parameters
    ----------
    seen : states of each look, shape (looks, states).
    looks : every body has at least one.
    """
    told = shares(seen, vocabulary)
    fresh = np.ones(len(looks.body), np.bool_)
    fresh[1:] = looks.body[1:] != looks.body[:-1]
    if fresh.all():
        return told
    told *= looks.count[:, None]
    starts = np.flatnonzero(fresh)
    place = np.zeros(vocabulary.size, np.bool_)
    for name in OF_THE_PLACE:
        place[vocabulary.span(name)] = True
    new = fresh.copy()
    new[1:] |= looks.occasion[1:] != looks.occasion[:-1]
    at = np.flatnonzero(new)
    averaged = _mean(np.add.reduceat(told, at, axis=0), vocabulary)
    found: Floats = np.add.reduceat(averaged, np.searchsorted(at, starts), axis=0)
    whole = _mean(np.add.reduceat(told, starts, axis=0), vocabulary)
    found[:, place] = whole[:, place]
    return found


def _mean(total: Floats, vocabulary: Vocabulary) -> Floats:
    """Sums of several looks, each character scaled to one where anybody looked."""
    sums = np.add.reduceat(total, vocabulary.starts, axis=1)
    sizes = [len(states) for states in vocabulary.states]
    return np.asarray(total / np.repeat(np.where(sums > 0, sums, 1.0), sizes, axis=1))


def expected(prior: Floats, weight: Floats, likelihood: Floats, vocabulary: Vocabulary) -> Floats:
    """What is expected before looking closer, from region, host and place; shape (bodies, taxa).

    Parameters
    ----------
    prior : of the region, shape (bodies, taxa).
    weight : see `weights`.
    likelihood : P(state | taxon), shape (states, taxa).
    """
    log = np.log(prior)
    for name in OF_THE_PLACE:
        span = vocabulary.span(name)
        log = log + weight[:, span] @ np.log(likelihood[span])
    return normalised(log)


def doubted(posterior: Floats, expected: Floats, least_doubt: float) -> Floats:
    """The posterior with no taxon beyond the least doubt that any body of evidence leaves.

    What is taken from the first is spread over the others as they were expected; shape as given.
    """
    rows = np.flatnonzero(posterior.max(axis=1) > 1.0 - least_doubt)
    if not rows.size:
        return posterior
    found = posterior.copy()
    top = posterior[rows].argmax(axis=1)
    here = np.arange(rows.size)
    others = expected[rows].copy()
    others[here, top] = 0.0
    others /= others.sum(axis=1, keepdims=True)
    kept = posterior[rows].copy()
    kept[here, top] = 0.0
    # The doubt that is there already keeps its shape; what lacks follows the expectation.
    kept += (least_doubt - kept.sum(axis=1, keepdims=True)) * others
    kept[here, top] = 1.0 - least_doubt
    found[rows] = kept
    return found
