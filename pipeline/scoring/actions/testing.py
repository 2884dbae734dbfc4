"""What a test is worth: how probably its result changes the action, and the harm that it avoids.

    chance of a result   P(o) = sum over states of  weight x P(o | state)
    after it             weight x P(o | state) / P(o)  ->  chance of failing, failure word
    action after it      by the same rules as ever, from that word
    changes              sum of P(o) where that action is not the one chosen without the test
    harm avoided         sum of P(o) x (harm left by the action without the test
                                        - harm left by the action after the result)

The rules see a result through the failure word of the part, so results are gathered by word; both
sums stay exact, for what an action leaves is in proportion to the chance of failing. The harm
avoided is below 0 where the result spares a tree that would have been taken away: then the tree is
what the test is worth, and it is told apart (`spares`).
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.mechanics.words import words_of
from pipeline.terms import FailureWord
from pipeline.units import Floats, Ints, Words

WORDS = len(FailureWord)


@dataclass(frozen=True)
class WordLaw:
    """How chances become words, as of `mechanics.words` and the bands of what was seen.

    Parameters
    ----------
    yearly, imminent_median : of WordLimits.
    band_low : lower edge of each word's band, (4,).
    """

    yearly: Floats
    imminent_median: float
    band_low: Floats


@dataclass(frozen=True)
class ByWord:
    """Results of a test gathered by the failure word that they lead to, each shape (n, 4).

    Parameters
    ----------
    chance : of such a result; rows sum to 1.
    fails : mean chance of failing in a year after such results, 0 where there are none.
    """

    chance: Floats
    fails: Floats


def by_word(
    fails: Floats,
    weight: Floats,
    result: Floats,
    eye: Words,
    *,
    at_most: Words,
    most: Floats,
    law: WordLaw,
) -> ByWord:
    """What the results of a test make of parts.

    Parameters
    ----------
    fails : chance of failing in a year in each state, (n, states).
    weight : of the states, rows sum to 1, (n, states).
    result : chance of each result in each state, (n, results, states).
    eye : word of the other witness after each result, 0 where it does not speak, (n, results).
    at_most : the worst word that mechanics may speak of the part, (n,).
    most : the highest chance that it may give, (n,).
    """
    order = np.argsort(fails, axis=1, kind="stable")
    p, w = (np.take_along_axis(v, order, axis=1) for v in (fails, weight))
    joint = np.take_along_axis(result, order[:, None, :], axis=2) * w[:, None, :]
    chance = joint.sum(axis=2)
    known = np.where(chance > 0, chance, 1.0)
    mean = np.einsum("nrs,ns->nr", joint, p) / known
    passed = np.cumsum(joint, axis=2)
    at = np.minimum((passed < chance[..., None] / 2.0).sum(axis=2), p.shape[1] - 1)
    median = np.take_along_axis(p, at, axis=1)
    computed = words_of(mean, median, law.yearly, law.imminent_median)
    word = np.maximum(np.minimum(computed, at_most[:, None]), eye)
    least = np.where(eye > 0, law.band_low[np.maximum(eye, 1) - 1], 0.0)
    mean = np.maximum(np.minimum(mean, most[:, None]), least)
    is_word = word[:, :, None] == np.arange(1, WORDS + 1)
    of_word = np.where(is_word, chance[:, :, None], 0.0).sum(axis=1)
    total = np.where(is_word, (chance * mean)[:, :, None], 0.0).sum(axis=1)
    middle = np.divide(total, of_word, out=np.zeros_like(total), where=of_word > 0)
    return ByWord(of_word, middle)


@dataclass(frozen=True)
class Worth:
    """What each test is worth, each shape (n,).

    Parameters
    ----------
    changes : chance that the action after it is another.
    spares : that it is one that keeps more of the tree.
    takes : that it is one that keeps less of it.
    avoided : expected harm avoided in a year.
    other : action most probably taken instead, -1 where none is probable at all.
    """

    changes: Floats
    spares: Floats
    takes: Floats
    avoided: Floats
    other: Ints


def worth(
    chance: Floats,
    before: Ints,
    after: Ints,
    left_before: Floats,
    left_after: Floats,
    value_kept: Floats,
) -> Worth:
    """Worth of tests from what is done without them and after each word.

    Parameters
    ----------
    chance : of each word after the test, (n, 4).
    before, after : action without the test (n,), and after each word (n, 4); numbers from 0.
    left_before, left_after : harm a year that these leave after each word, (n, 4).
    value_kept : share of a tree's value that each action keeps, (actions,).
    """
    other = (after != before[:, None]) & (chance > 0)
    kept_before, kept_after = value_kept[before][:, None], value_kept[after]
    weighed = np.where(other, chance, 0.0)
    likely = np.zeros((len(before), len(value_kept)))
    np.add.at(likely, (np.arange(len(before))[:, None], after), weighed)
    return Worth(
        changes=weighed.sum(axis=1),
        spares=np.where(kept_after > kept_before, weighed, 0.0).sum(axis=1),
        takes=np.where(kept_after < kept_before, weighed, 0.0).sum(axis=1),
        avoided=np.where(chance > 0, chance * (left_before - left_after), 0.0).sum(axis=1),
        other=np.where(likely.max(axis=1, initial=0.0) > 0, likely.argmax(axis=1), -1),
    )
