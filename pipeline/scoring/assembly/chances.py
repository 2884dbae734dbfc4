"""The yearly chance of each part of trees with evidence: the larger of what both witnesses say."""

import numpy as np

from pipeline.scoring.assembly.columns import place_of
from pipeline.scoring.assembly.evidence import Evidence, Said
from pipeline.scoring.assembly.holding import Holding
from pipeline.scoring.assembly.wood import Wood
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.failure.bands import YearlyProbability, yearly_probability
from pipeline.scoring.failure.hearsay import FUNGUS
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.rating.points import failure_points
from pipeline.terms import FailureWord
from pipeline.units import Flags, Floats, Ints, Words


def said_by_mechanics(wood: Wood, held: Holding, parameters: Parameters) -> Said:
    """The words that mechanics speaks, with the points that stand for them."""
    rows = np.flatnonzero(held.word > 0)
    word = held.word[rows]
    points = failure_points(word, parameters.failure.points).astype(np.int8)
    return Said(wood.tree[rows], wood.part[rows], word, points)


def part_chances(
    evidence: Evidence, seen: Evidence, wood: Wood, held: Holding, parameters: Parameters
) -> YearlyProbability:
    """Yearly chance of failure of each row of `evidence.words`, with its 10-90 % band.

    Where mechanics is applicable, the larger of its chance and of the lower edge of the band of
    the other witness's word; else the band of that word. The band is that of what is not known of
    decay. A remark cannot carry the chance past the band of the most that a remark may say.

    Parameters
    ----------
    seen : the evidence before mechanics spoke.
    """
    bands, words = parameters.failure.bands, evidence.words
    band = yearly_probability(words.word, bands)
    row = place_of(words.tree, evidence.trees) * PARTS + words.part
    known = held.applicable[row]
    before = words_at(seen, words.tree * PARTS + words.part)
    least = np.where(before > 0, bands.low[np.maximum(before, 1) - 1], 0.0)
    most = np.ones(len(row))
    at_most = int(parameters.failure.hearsay.word[FUNGUS])
    most[wood.told.heard[row]] = bands.high[at_most - 1]

    def larger(values: Floats) -> Floats:
        return np.asarray(np.maximum(np.minimum(values[row], most), least))

    middle = np.where(known, larger(held.chance.mean), band.middle)
    low = np.where(known, np.minimum(larger(held.chance.low), middle), band.low)
    # The mean may lie over the 90 % of a distribution with a thin dangerous tail.
    high = np.where(known, np.maximum(larger(held.chance.high), middle), band.high)
    return YearlyProbability(low=low, middle=middle, high=high)


def words_at(seen: Evidence, key: Ints) -> Words:
    """Word of the other witness for keys of tree and part, 0 where it does not speak."""
    own = seen.words.tree * PARTS + seen.words.part
    return np.append(seen.words.word, np.int8(0))[place_of(key, own)]


def witnesses_apart(evidence: Evidence, seen: Evidence, held: Holding) -> Flags:
    """Rows of `Wood` on which the two witnesses lie two words or more apart.

    Of a dead tree nobody knows for how long, so there the gap tells nothing, and the word of the
    eye stands.
    """
    count = len(held.word)
    key = np.repeat(evidence.trees, PARTS) * PARTS + np.arange(count) % PARTS
    before = words_at(seen, key).astype(np.int64)
    spoken = (before > 0) & (held.word > 0) & ~np.repeat(held.dead, PARTS)
    gap = np.abs(before - held.word) >= FailureWord.PROBABLE - FailureWord.IMPROBABLE
    found: Flags = spoken & gap
    return found
