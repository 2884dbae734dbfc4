"""Pairs of a part and a target as words and numbers: likelihood, rating, points and harm."""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.targets import Pairs
from pipeline.scoring.failure.bands import YearlyProbability
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.rating.matrix import likelihood, rating
from pipeline.scoring.rating.points import (
    failure_points,
    points_rating,
    size_points,
    target_points,
    total_points,
)
from pipeline.scoring.rating.tree import TreeHarm, conditional_harm, tree_harm
from pipeline.units import Floats, Ints, Words


@dataclass(frozen=True)
class Judged:
    """Ratings of the pairs and expected harm of the trees with evidence.

    Parameters
    ----------
    failure, likelihood, rating, points, harm : of each pair, (pairs,).
    row, if_fails : rows of Evidence.words with a target, rising, and the harm if the part fails.
    of_tree : of each tree with evidence.
    """

    failure: Words
    likelihood: Words
    rating: Words
    points: Words
    harm: Floats
    row: Ints
    if_fails: Floats
    of_tree: TreeHarm


def judge(
    pairs: Pairs, evidence: Evidence, chance: YearlyProbability, parameters: Parameters
) -> Judged:
    """Words and harm of each pair; the harm of pairs sums to that of their tree.

    Parameters
    ----------
    chance : yearly chance of failure of each row of `evidence.words`.
    """
    failure = evidence.words.word[pairs.row]
    told = evidence.words.points[pairs.row]
    _, _, if_fails = conditional_harm(
        pairs.tree,
        pairs.part,
        direction_share=pairs.direction_share,
        harm_if_struck=pairs.struck,
    )
    count = len(evidence.trees)
    starts = np.ones(len(pairs.row), np.bool_)
    starts[1:] = pairs.row[1:] != pairs.row[:-1]
    rows = np.flatnonzero(starts)
    of = pairs.row[rows]
    total = tree_harm(
        pairs.tree[rows],
        if_fails,
        probability=(chance.low[of], chance.middle[of], chance.high[of]),
        trees=count,
    )
    harm = chance.middle[pairs.row] * pairs.direction_share * pairs.struck
    points = pair_points(failure, told, pairs, parameters)
    joint = likelihood(failure, pairs.impact, parameters.failure.matrices)
    return Judged(
        failure=failure,
        likelihood=joint,
        rating=pair_ratings(failure, told, pairs, parameters),
        points=points,
        harm=harm,
        row=of,
        if_fails=if_fails,
        of_tree=total,
    )


def pair_points(failure: Words, told: Words, pairs: Pairs, parameters: Parameters) -> Words:
    """Points 3-12 of each pair; a witness's own points stand before those of its word."""
    scheme = parameters.failure.points
    by_word = failure_points(failure, scheme)
    return total_points(
        np.where(told > 0, told, by_word).astype(np.int8),
        size_points(pairs.diameter, scheme),
        target_points(pairs.occupancy, scheme),
    )


def pair_ratings(failure: Words, told: Words, pairs: Pairs, parameters: Parameters) -> Words:
    """Rating word of each pair by the method of the settings."""
    if parameters.method == "points":
        points = pair_points(failure, told, pairs, parameters)
        return points_rating(points, parameters.failure.points)
    matrices = parameters.failure.matrices
    return rating(likelihood(failure, pairs.impact, matrices), pairs.consequence, matrices)
