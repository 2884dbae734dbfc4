"""Where each tree with evidence stands by its harm, and where its word says something else."""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.assembly.judged import Judged
from pipeline.scoring.assembly.targets import Pairs
from pipeline.scoring.assembly.uncertain import Uncertain
from pipeline.scoring.failure.bands import YearlyProbability
from pipeline.scoring.rating.beside import Beside, beside
from pipeline.scoring.rating.ranks import Ranks, ranks
from pipeline.units import Flags, Floats, Ints, Words

_TINY = float(np.finfo(np.float64).tiny)


@dataclass(frozen=True)
class Standing:
    """Each of shape (trees with evidence,); 0, or -1 for the link, where a tree has no pair.

    Parameters
    ----------
    known : trees that are ranked.
    ranks : by expected harm among them; beside : word and harm held together.
    """

    known: Flags
    ranks: Ranks
    beside: Beside


def standing(
    worst: Ints,
    word: Words,
    pairs: Pairs,
    judged: Judged,
    chance: YearlyProbability,
    unsure: Uncertain,
) -> Standing:
    """Rank and compare the trees with evidence.

    Parameters
    ----------
    worst : worst pair of each, -1 without one; word : rating word, 0 not assessed.
    """
    known = (worst >= 0) & (word > 0)
    at = np.flatnonzero(known)
    pair, harm, spread = worst[at], judged.of_tree.middle[at], unsure.spread
    told = ranks(harm, spread.mean[at], spread.own[at])
    links = _links(pair, harm, pairs, judged, chance)
    held = beside(word[at], harm, links)

    def over_all(values: Ints, empty: int) -> Ints:
        found = np.full(len(worst), empty, np.int64)
        found[at] = values
        return found

    factor = np.full(len(worst), np.nan)
    factor[at] = held.factor
    return Standing(
        known=known,
        ranks=Ranks(*(over_all(v, 0) for v in (told.rank, told.low, told.high))),
        beside=Beside(
            over_all(held.over, 0), over_all(held.under, 0), over_all(held.link, -1), factor
        ),
    )


def _links(
    pair: Ints, harm: Floats, pairs: Pairs, judged: Judged, chance: YearlyProbability
) -> Floats:
    """Logarithms of the links of the worst pair, and of the tree over it, (trees, 4)."""
    fails = chance.middle[pairs.row[pair]]
    hit = pairs.direction_share[pair] * pairs.occupied_share[pair]
    own = judged.harm[pair]
    does = np.divide(own, fails * hit, out=np.zeros_like(own), where=fails * hit > 0)
    rest = np.divide(harm, own, out=np.ones_like(own), where=own > 0)
    links = np.column_stack([fails, hit, does, rest])
    return np.asarray(np.log(np.maximum(links, _TINY)), np.float64)
