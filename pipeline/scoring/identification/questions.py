"""What to look at next: the character whose answer is expected to take away most of the doubt.

The expected gain is exact: the information that the answer carries about the taxon, or about what
decides, which rot is at work in which parts. Expensive confusions weigh beside it, and among looks
of near equal worth the cheapest is proposed.
"""

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


def joint(posterior: Floats, likelihood: Floats, group: Ints) -> Floats:
    """P(state, group), shape (sightings, states, groups)."""
    member = np.eye(int(group.max()) + 1)[group]
    mixed = likelihood.T[:, :, None] * member[:, None, :]
    flat = posterior @ mixed.reshape(len(group), -1)
    return np.asarray(flat.reshape(len(posterior), len(likelihood), -1), np.float64)


def gain_over_groups(
    posterior: Floats, key: Key, characters: tuple[str, ...], group: Ints
) -> Floats:
    """Expected loss of entropy over groups of taxa [nat], shape (sightings, characters)."""
    gain = np.zeros((len(posterior), len(characters)))
    for number, name in enumerate(characters):
        both = joint(posterior, key.likelihood[key.vocabulary.span(name)], group)
        flat = both.reshape(len(posterior), -1)
        gain[:, number] = entropy(both.sum(axis=1)) + entropy(both.sum(axis=2)) - entropy(flat)
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
        both = joint(posterior, key.likelihood[key.vocabulary.span(name)], code)
        told = both @ cost[: both.shape[2]]
        saved[:, number] = now - told.min(axis=2).sum(axis=1)
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
        both = joint(posterior, key.likelihood[key.vocabulary.span(name)], group)
        answer = both.sum(axis=2)
        chance[:, number] = (answer * (both.max(axis=2) >= sure * answer)).sum(axis=1)
    chance[known] = 0.0
    return chance


def worth(posterior: Floats, key: Key, traits: Traits, looks: Looks) -> Floats:
    """Worth of each look, shape (sightings, looks).

    The mean share of doubt and of cost that it takes away, and the chance that it settles the rot.
    """
    group = rot_and_part(traits)
    member = np.eye(int(group.max()) + 1)[group]
    doubt = entropy(posterior @ member)[:, None]
    codes = np.eye(len(looks.cost))[traits.action_code]
    cost = ((posterior @ codes) @ looks.cost).min(axis=1)[:, None]
    over_groups = gain_over_groups(posterior, key, looks.character, group)
    over_taxa = gain_over_taxa(posterior, key, looks.character)
    all_doubt = entropy(posterior)[:, None]
    saved = cost_saved(posterior, key, looks.character, traits.action_code, looks.cost)
    # Which rot and part decides first, then what a confusion would cost, then which taxon.
    shares = [_share(over_groups, doubt), _share(saved, cost), _share(over_taxa, all_doubt)]
    settles = chance_of_certainty(posterior, key, looks.character, traits.rot, sure=looks.sure)
    mean = np.asarray(sum(shares) / len(shares), np.float64)
    return mean + looks.certainty_weight * settles


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
        value = worth(posterior[which], key, traits, looks)
        value = np.where(looked_at[which][:, places], -1.0, value)
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
