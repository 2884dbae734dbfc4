"""What to look at next: the character whose answer is expected to take away most of the doubt.

The expected gain is exact: the information that the answer carries about the taxon, or about what
decides, which rot is at work in which parts. Expensive confusions weigh beside it, and among looks
of near equal worth the cheapest is proposed.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.identification.key import Key
from pipeline.scoring.identification.meaning import Traits
from pipeline.units import Flags, Floats, Ints


@dataclass(frozen=True)
class Looks:
    """Looks that can be asked for.

    Parameters
    ----------
    character : what each tells.
    look : how to do it, in plain words.
    minutes : how long it takes [min], shape (looks,).
    order : which comes first where all is equal, shape (looks,).
    cost : cost of telling a fungus of one action code for one of another, shape (codes, codes).
    sure : the rot type is certain from this probability [share].
    certainty_weight : weight of the chance that a look makes the rot type certain, beside the
        mean share of doubt and cost that it takes away.
    near_equal : looks are near equal where their worth differs by less than this share.
    enough : no look is proposed that takes away less of the doubt than this share.
    """

    character: tuple[str, ...]
    look: tuple[str, ...]
    minutes: Floats
    order: Floats
    cost: Floats
    sure: float
    certainty_weight: float
    near_equal: float
    enough: float


def rot_and_part(traits: Traits) -> Ints:
    """Group of each taxon by rot type and parts attacked, shape (taxa,)."""
    rows = np.column_stack([traits.rot, traits.attacks])
    _, group = np.unique(rows, axis=0, return_inverse=True)
    return np.asarray(group, dtype=np.int64).reshape(-1)


def entropy(probability: Floats) -> Floats:
    """Entropy over the last axis [nat]."""
    safe = np.where(probability > 0, probability, 1.0)
    found: Floats = -(probability * np.log(safe)).sum(axis=-1)
    return found


def gain_over_taxa(posterior: Floats, key: Key, characters: tuple[str, ...]) -> Floats:
    """Expected loss of entropy over the taxa [nat], shape (sightings, characters)."""
    gain = np.zeros((len(posterior), len(characters)))
    for number, name in enumerate(characters):
        likelihood = key.likelihood[key.vocabulary.span(name)]
        gain[:, number] = entropy(posterior @ likelihood.T) - posterior @ entropy(likelihood.T)
    return np.maximum(gain, 0.0)


def parts(posterior: Floats, likelihood: Floats, group: Ints) -> Iterator[Floats]:
    """P(state, group) of one group after another, each of shape (sightings, states).

    A taxon is in one group alone, so that all groups together cost one product over the taxa.
    """
    for one in range(int(group.max()) + 1):
        own = np.flatnonzero(group == one)
        yield posterior[:, own] @ likelihood[:, own].T


def gain_over_groups(
    posterior: Floats, key: Key, characters: tuple[str, ...], group: Ints
) -> Floats:
    """Expected loss of entropy over groups of taxa [nat], shape (sightings, characters)."""
    gain = np.zeros((len(posterior), len(characters)))
    for number, name in enumerate(characters):
        likelihood = key.likelihood[key.vocabulary.span(name)]
        gain[:, number] = entropy(posterior @ likelihood.T)
        in_group = []
        for both in parts(posterior, likelihood, group):
            gain[:, number] -= entropy(both)
            in_group.append(both.sum(axis=1))
        gain[:, number] += entropy(np.column_stack(in_group))
    return np.maximum(gain, 0.0)


def cost_saved(
    posterior: Floats, key: Key, characters: tuple[str, ...], code: Ints, cost: Floats
) -> Floats:
    """Expected saving of the cost of confusions by each answer, shape (sightings, characters).

    The action code with the least expected cost is told, before and after the answer.
    """
    member = np.eye(len(cost))[code]
    now = ((posterior @ member) @ cost).min(axis=1)
    saved = np.zeros((len(posterior), len(characters)))
    for number, name in enumerate(characters):
        likelihood = key.likelihood[key.vocabulary.span(name)]
        of_code = list(parts(posterior, likelihood, code))
        told = np.full_like(of_code[0], np.inf)
        for costs in cost[: len(of_code)].T:
            np.minimum(told, sum(map(np.multiply, of_code, costs)), out=told)
        saved[:, number] = now - told.sum(axis=1)
    return np.maximum(saved, 0.0)


def chance_of_certainty(
    posterior: Floats, key: Key, characters: tuple[str, ...], group: Ints, *, sure: float
) -> Floats:
    """Chance that the answer makes one group certain, shape (sightings, characters).

    0 where it is certain already.
    """
    member = np.eye(int(group.max()) + 1)[group]
    known = (posterior @ member).max(axis=1) >= sure
    chance = np.zeros((len(posterior), len(characters)))
    for number, name in enumerate(characters):
        both = list(parts(posterior, key.likelihood[key.vocabulary.span(name)], group))
        answer = np.add.reduce(both)
        chance[:, number] = (answer * (np.maximum.reduce(both) >= sure * answer)).sum(axis=1)
    chance[known] = 0.0
    return chance


def worth(posterior: Floats, key: Key, traits: Traits, looks: Looks, is_open: Flags) -> Floats:
    """Worth of each look, -1 where it is not open, shape (sightings, looks).

    The mean share of doubt and of cost that it takes away, and the chance that it settles the rot.

    Parameters
    ----------
    is_open : looks that may be proposed, shape (sightings, looks).
    """
    found = np.full(is_open.shape, -1.0)
    group = rot_and_part(traits)
    for number, name in enumerate(looks.character):
        rows = np.flatnonzero(is_open[:, number])
        if rows.size:
            found[rows, number] = _worth_of(name, posterior[rows], key, traits, looks, group)
    return found


def _worth_of(
    name: str, posterior: Floats, key: Key, traits: Traits, looks: Looks, group: Ints
) -> Floats:
    doubt = entropy(posterior @ np.eye(int(group.max()) + 1)[group])[:, None]
    codes = np.eye(len(looks.cost))[traits.action_code]
    cost = ((posterior @ codes) @ looks.cost).min(axis=1)[:, None]
    over_groups = gain_over_groups(posterior, key, (name,), group)
    over_taxa = gain_over_taxa(posterior, key, (name,))
    all_doubt = entropy(posterior)[:, None]
    saved = cost_saved(posterior, key, (name,), traits.action_code, looks.cost)
    # Which rot and part decides first, then what a confusion would cost, then which taxon.
    shares = [_share(over_groups, doubt), _share(saved, cost), _share(over_taxa, all_doubt)]
    settles = chance_of_certainty(posterior, key, (name,), traits.rot, sure=looks.sure)
    mean = np.asarray(sum(shares) / len(shares), np.float64)
    return (mean + looks.certainty_weight * settles)[:, 0]


def _share(part: Floats, whole: Floats) -> Floats:
    found: Floats = np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), 0.0)
    return found


def next_look(posterior: Floats, looked_at: Flags, key: Key, traits: Traits, looks: Looks) -> Ints:
    """The look to take next, -1 where none tells enough, shape (sightings,).

    Parameters
    ----------
    posterior : shape (sightings, taxa).
    looked_at : characters of the key that were looked at, shape (sightings, characters).
    """
    found = np.full(len(posterior), -1, np.int64)
    places = [key.vocabulary.characters.index(name) for name in looks.character]
    step = 1 << 11
    for start in range(0, len(posterior), step):
        which = slice(start, start + step)
        value = worth(posterior[which], key, traits, looks, ~looked_at[which][:, places])
        found[which] = cheapest(value, looks)
    return found


def cheapest(value: Floats, looks: Looks) -> Ints:
    """Of the looks that are worth near the most, the cheapest; -1 where none is worth enough."""
    best = value.max(axis=1, keepdims=True)
    near = value >= best * (1.0 - looks.near_equal)
    rank = np.empty(len(looks.character), np.int64)
    rank[np.lexsort((looks.order, looks.minutes))] = np.arange(len(rank))
    chosen = np.where(near, rank, len(rank)).argmin(axis=1)
    return np.where(best[:, 0] >= looks.enough, chosen, -1)
