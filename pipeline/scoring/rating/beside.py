"""Where the word of a tree and its expected harm say different things, and by which link.

The matrices separate few pairs of inputs: a tree called low at the top of its bands may do more
harm than one called moderate at the bottom of its own. Harm ranks; this tells why.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Floats, Ints, Words

LINKS = ("failure", "impact", "consequence", "parts")


@dataclass(frozen=True)
class Beside:
    """Each shape (trees,).

    Parameters
    ----------
    over : trees with a worse word and less harm.
    under : trees with a better word and more harm.
    link : place in LINKS of what makes most of the difference, -1 where nothing disagrees.
    factor : by how much that link is above, or below, that of the middle of those trees.
    """

    over: Ints
    under: Ints
    link: Ints
    factor: Floats


def beside(word: Words, harm: Floats, links: Floats) -> Beside:
    """Compare each tree with those of the other words.

    Parameters
    ----------
    word : rating word of each tree.
    links : logarithm of the chance of failure, of impact, of the harm of one impact, and of all
        parts and targets over the worst pair: they sum to ln harm, shape (trees, 4).

    A tree with more harm than worse words is compared with the middle one of those of the nearest
    such word; else one with less harm than better words, likewise.
    """
    n = len(word)
    over, under = np.zeros(n, np.int64), np.zeros(n, np.int64)
    link, factor = np.full(n, -1, np.int64), np.full(n, np.nan)
    kinds = np.unique(word)
    sorted_harm = {int(w): np.sort(harm[word == w]) for w in kinds}
    for w in kinds:
        mine = np.flatnonzero(word == w)
        worse, better = kinds[kinds > w], kinds[kinds < w][::-1]
        for other in worse:
            over[mine] += np.searchsorted(sorted_harm[int(other)], harm[mine], side="left")
        for other in better:
            those = sorted_harm[int(other)]
            under[mine] += len(those) - np.searchsorted(those, harm[mine], side="right")
        for others, sign in ((worse, 1.0), (better, -1.0)):
            for other in others:
                _explain(mine, np.flatnonzero(word == other), sign, harm, links, link, factor)
    return Beside(over, under, link, factor)


def _explain(
    mine: Ints, those: Ints, sign: float, harm: Floats, links: Floats, link: Ints, factor: Floats
) -> None:
    """Say why for trees of one word beside those of another, in place, unless it is said."""
    order = those[np.argsort(sign * harm[those], kind="stable")]
    passed = np.searchsorted(sign * harm[order], sign * harm[mine], side="left")
    at = np.flatnonzero((passed > 0) & (link[mine] < 0))
    if not at.size:
        return
    # The middle one of the trees that it passes, which stand first in the order.
    middle = order[(passed[at] - 1) // 2]
    apart = sign * (links[mine[at]] - links[middle])
    most = apart.argmax(axis=1)
    link[mine[at]] = most
    factor[mine[at]] = np.exp(apart[np.arange(len(at)), most])
