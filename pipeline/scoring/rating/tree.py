"""From pairs of part and target to the tree: its worst pair, its expected harm, its word."""

from dataclasses import dataclass

import numpy as np

from pipeline.terms import RatingWord
from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True)
class TreeHarm:
    """Expected harm of every tree [equivalent fatalities per year], all of shape (trees,)."""

    low: Floats
    middle: Floats
    high: Floats


def worst_pairs(tree: Ints, part: Words, zone: Ints, *, severity: Words, harm: Floats) -> Ints:
    """Row of the worst pair of each tree that has one, sorted by tree, shape (trees with pairs,).

    Parameters
    ----------
    tree, part, zone : keys of the pairs, shape (pairs,).
    severity : rating word, or points where the method is points, shape (pairs,).
    harm : expected harm of the pair, breaks ties; then the lower part, then the lower zone.
    """
    order = np.lexsort((zone, part, -harm, -severity.astype(np.int64), tree))
    first = np.ones(order.size, dtype=np.bool_)
    first[1:] = np.diff(tree[order]) != 0
    return order[first]


def conditional_harm(
    tree: Ints, part: Words, *, direction_share: Floats, harm_if_struck: Floats
) -> tuple[Ints, Words, Floats]:
    """Harm to be expected if a part fails, summed over its targets: (tree, part, harm), sorted.

    Each target counts with the share of fall directions that reach it. A part falls one way only,
    yet meets all that lies that way, and expectations add whether or not events exclude one
    another; so a further target never makes the others less.

    Parameters
    ----------
    tree, part : of each pair, shape (pairs,).
    direction_share : share of fall directions that reach the target, shape (pairs,).
    harm_if_struck : occupied share times consequence [equivalent fatalities], shape (pairs,).
    """
    order = np.lexsort((part, tree))
    sorted_tree, sorted_part = tree[order], part[order]
    first = np.ones(order.size, dtype=np.bool_)
    first[1:] = (np.diff(sorted_tree) != 0) | (np.diff(sorted_part) != 0)
    starts = np.flatnonzero(first)
    if not starts.size:
        return sorted_tree, sorted_part, np.zeros(0)
    weighed = np.add.reduceat((direction_share * harm_if_struck)[order], starts)
    return sorted_tree[starts], sorted_part[starts], weighed


def tree_harm(
    tree: Ints,
    harm_if_fails: Floats,
    *,
    probability: tuple[Floats, Floats, Floats],
    trees: int,
) -> TreeHarm:
    """Expected harm a year, summed over parts, which are taken to fail on their own.

    Parameters
    ----------
    tree : of each part, 0..trees-1, shape (parts,).
    harm_if_fails : from `conditional_harm`, shape (parts,).
    probability : low, middle and high yearly probability of failure, each of shape (parts,).
    """
    low, middle, high = (
        np.asarray(np.bincount(tree, weights=p * harm_if_fails, minlength=trees), dtype=np.float64)
        for p in probability
    )
    return TreeHarm(low=low, middle=middle, high=high)


def tree_words(tree: Ints, word: Words, *, assessed: Flags, rated: Flags) -> Words:
    """Rating word of every tree, shape (trees,): 0 where nobody has assessed it.

    A tree with a pair takes its worst word, whenever it was seen. A tree without one is low if it
    was assessed, else not assessed: not inspected is not low. Stumps and the like stay 0.

    Parameters
    ----------
    tree, word : trees with a worst pair and its word, shape (trees with pairs,).
    assessed, rated : shape (trees,).
    """
    words = np.where(assessed, RatingWord.LOW, RatingWord.NOT_ASSESSED).astype(np.int8)
    words[tree] = word
    return np.where(rated, words, RatingWord.NOT_ASSESSED).astype(np.int8)
