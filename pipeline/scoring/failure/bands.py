"""The worse word of a part, and the yearly probability that a word stands for.

No standard puts numbers behind the four words. The bands are elicited, serve the expected harm that
ranks trees, and never change a word.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True)
class FailureBands:
    """Yearly probability of failure per word, from config/published/failure_bands.csv.

    Parameters
    ----------
    low, high : probability_low_per_year and probability_high_per_year, improbable..imminent, (4,).
    """

    low: Floats
    high: Floats

    def __post_init__(self) -> None:
        """Refuse bands that overlap, have gaps or leave 0..1.

        Raises
        ------
        PublishedValueError
            If the bands do not follow one another.
        """
        edges = np.append(self.low, self.high[-1])
        joined = np.array_equal(self.low[1:], self.high[:-1])
        if not (joined and (np.diff(edges) > 0).all() and edges[0] > 0 and edges[-1] <= 1):
            raise PublishedValueError(
                where="published table failure_bands",
                found=f"bands from {self.low.tolist()} to {self.high.tolist()}",
                expected="four bands that follow one another, above 0 and up to 1",
                remedy="Mend the table or the override.",
            )


@dataclass(frozen=True)
class YearlyProbability:
    """Probability of failure within a year [1/year]; `middle` is the geometric middle."""

    low: Floats
    middle: Floats
    high: Floats


@dataclass(frozen=True)
class PartWords:
    """The worst word of every tree and part that any witness spoke of, sorted by both.

    `finding` is the row of the finding that carries it: the first of the worst in the given order.
    `points` is the highest, `act_at_once` is true if any finding says so.
    """

    tree: Ints
    part: Words
    word: Words
    points: Words
    act_at_once: Flags
    finding: Ints


def yearly_probability(word: Words, bands: FailureBands) -> YearlyProbability:
    """The band of each word; same shape as `word` (1 improbable .. 4 imminent)."""
    at = np.asarray(word, dtype=np.int64) - 1
    low, high = bands.low[at], bands.high[at]
    return YearlyProbability(low=low, middle=np.sqrt(low * high), high=high)


def worst_per_part(
    tree: Ints, part: Words, word: Words, points: Words, act_at_once: Flags
) -> PartWords:
    """The worse word wins, part by part; all arguments of shape (findings,)."""
    order = np.lexsort((np.arange(tree.size), -word.astype(np.int64), part, tree))
    sorted_tree, sorted_part = tree[order], part[order]
    first = np.ones(order.size, dtype=np.bool_)
    first[1:] = (np.diff(sorted_tree) != 0) | (np.diff(sorted_part) != 0)
    starts = np.flatnonzero(first)
    if not starts.size:
        nothing = np.zeros(0, dtype=np.int8)
        no_key = np.zeros(0, dtype=np.int64)
        return PartWords(no_key, nothing, nothing, nothing, nothing.astype(np.bool_), no_key)
    return PartWords(
        tree=sorted_tree[starts],
        part=sorted_part[starts],
        word=word[order][starts],
        points=np.maximum.reduceat(points[order], starts),
        act_at_once=np.logical_or.reduceat(act_at_once[order], starts),
        finding=order[starts],
    )
