"""The row of each tree in scoring.tree_ratings."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pipeline.scoring.assembly.chosen import Chosen
from pipeline.scoring.assembly.columns import NO_DAY, dates, labels, optional, small
from pipeline.scoring.assembly.decisions import Decisions
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.judged import Judged
from pipeline.scoring.assembly.looked import Looked
from pipeline.scoring.assembly.overtaken import Overtaken
from pipeline.scoring.assembly.standing import Standing
from pipeline.scoring.assembly.targets import Pairs, Under
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.uncertain import UNKNOWNS, Uncertain
from pipeline.scoring.assembly.works import Works
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.rating.beside import LINKS
from pipeline.scoring.rating.tree import tree_words, worst_pairs
from pipeline.tables import inputs
from pipeline.terms import FailureWord, LikelihoodWord, RatingWord
from pipeline.units import Flags, Floats, Ints, Words

ACTION_NAMES = (*inputs.ACTIONS, "none")
_NONE = len(inputs.ACTIONS)
_MAKE_SAFE = inputs.ACTIONS.index("make_safe")


@dataclass(frozen=True)
class Rated:
    """Ratings before people's overrides.

    Parameters
    ----------
    worst : row of the worst pair of each tree, -1 without one, shape (trees,).
    program : rating word of each tree, shape (trees,).
    harm, low, high : expected harm a year of each tree, each shape (trees,).
    place : place in Evidence.trees, -1 without evidence, shape (trees,).
    """

    worst: Ints
    program: Words
    harm: Floats
    low: Floats
    high: Floats
    place: Ints


def rate_trees(
    trees: Trees,
    evidence: Evidence,
    pairs: Pairs,
    judged: Judged,
    looked: Looked,
    parameters: Parameters,
) -> Rated:
    """The worst pair, the word and the harm of each tree."""
    count = len(trees)
    severity = judged.points if parameters.method == "points" else judged.rating
    rows = worst_pairs(pairs.tree, pairs.part, pairs.zone, severity=severity, harm=judged.harm)
    worst = np.full(count, -1, np.int64)
    met = evidence.trees[pairs.tree[rows]]
    worst[met] = rows
    harm = [looked.prior.copy(), looked.prior_low.copy(), looked.prior_high.copy()]
    of_tree = judged.of_tree
    for whole, own in zip(harm, (of_tree.middle, of_tree.low, of_tree.high), strict=True):
        whole[met] = own[pairs.tree[rows]]
    place = np.full(count, -1, np.int64)
    place[evidence.trees] = np.arange(len(evidence.trees))
    return Rated(
        worst=worst,
        program=tree_words(met, judged.rating[rows], assessed=looked.assessed, rated=trees.rated),
        harm=harm[0],
        low=harm[1],
        high=harm[2],
        place=place,
    )


def with_band(rated: Rated, unsure: Uncertain) -> Rated:
    """Harm of trees with a pair with its 10 and 90 % by all that is not known."""
    at = np.flatnonzero((rated.place >= 0) & (rated.worst >= 0))
    of = rated.place[at]
    low, high = rated.low.copy(), rated.high.copy()
    # The mean may lie outside of a band with a thin dangerous tail.
    low[at] = np.minimum(unsure.spread.low[of], rated.harm[at])
    high[at] = np.maximum(unsure.spread.high[of], rated.harm[at])
    return replace(rated, low=low, high=high)


def best_actions(count: int, works: Works, main: Ints, keys: Ints) -> Ints:
    """Action of each tree as a place in ACTION_NAMES; shape (trees,).

    Parameters
    ----------
    works : all candidates.
    main : place in inputs.ACTIONS of the main action of each tree with evidence, -1 if none.
    keys : trees with evidence.
    """
    best = np.full(count, _NONE, np.int64)
    chosen = np.flatnonzero(works.chosen & (works.action != _MAKE_SAFE))
    best[works.tree[chosen]] = works.action[chosen]
    safe = works.tree[works.chosen & (works.action == _MAKE_SAFE)]
    best[safe] = np.where(best[safe] == _NONE, _MAKE_SAFE, best[safe])
    has = main >= 0
    best[keys[has]] = main[has]
    return best


@dataclass(frozen=True)
class Row:
    """What the row of each tree is made of."""

    trees: Trees
    under: Under
    looked: Looked
    evidence: Evidence
    pairs: Pairs
    judged: Judged
    rated: Rated
    chosen: Chosen
    decisions: Decisions
    overtaken: Overtaken
    rating: Words
    best: Ints
    program_best: Ints
    fact_set: Ints
    apart: Flags
    unsure: Uncertain
    standing: Standing


def rating_columns(row: Row, parameters: Parameters) -> dict[str, object]:
    """Columns of scoring.tree_ratings."""
    trees, looked, rated = row.trees, row.looked, row.rated
    count = len(trees)
    known = rated.worst >= 0
    at = np.maximum(rated.worst, 0)
    place, has = np.maximum(rated.place, 0), rated.place >= 0

    def of_pair(values: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        return values[at] if len(values) else np.zeros(count, values.dtype)

    def of_tree(values: npt.NDArray[np.generic], empty: object) -> npt.NDArray[np.generic]:
        taken = values[place] if len(values) else np.zeros(count, values.dtype)
        return np.where(has, taken, np.array(empty, taken.dtype))

    # A tree that was looked at and has no pair is improbable to fail, hence unlikely to hit.
    low = (rated.program == RatingWord.LOW) & ~known
    failure = np.where(low, FailureWord.IMPROBABLE, of_pair(row.judged.failure))
    likelihood = np.where(low, LikelihoodWord.UNLIKELY, of_pair(row.judged.likelihood))
    taxon, code, coded = _leading_fungus(row, of_tree(row.chosen.lead, -1).astype(np.int64))
    acknowledged = of_tree(row.chosen.acknowledged & row.chosen.make_safe, False).astype(np.bool_)
    return {
        "tree_key": np.arange(count),
        "rated": trees.rated,
        "assessed": looked.assessed,
        "evidence": has,
        "rating": small(row.rating),
        "points": optional(
            small(of_pair(row.judged.points)), known & (parameters.method == "points")
        ),
        "worst_part": optional(small(of_pair(row.pairs.part)), known),
        "worst_zone": optional(of_pair(row.pairs.zone).astype(np.int32), known),
        "failure": optional(small(failure), known | low),
        "impact": optional(small(of_pair(row.pairs.impact)), known),
        "likelihood": optional(small(likelihood), known | low),
        "consequence": optional(small(of_pair(row.pairs.consequence)), known),
        "harm_per_year": rated.harm,
        "harm_low": rated.low,
        "harm_high": rated.high,
        **_standing_columns(row),
        "taxon_id": labels(taxon, parameters.failure.catalogue.taxon_id),
        "action_code": optional(small(code), coded),
        "no_climb": of_tree(row.chosen.climb_rule >= 0, False),
        "make_safe": of_tree(row.chosen.make_safe, False),
        "acknowledged_on": dates(
            np.where(acknowledged, row.decisions.acknowledged_on, NO_DAY).astype(np.int64)
        ),
        "advanced_assessment": of_tree(row.chosen.tested | row.apart, False),
        "last_looked_on": dates(looked.looked),
        "inspection_due_on": dates(looked.due),
        "height_used_m": optional(trees.height, trees.rated),
        "height_filled": trees.height_filled,
        "occupancy_assumed": row.under.assumed,
        "best_action": labels(row.best, ACTION_NAMES),
        "program_action": labels(row.program_best, ACTION_NAMES),
        "program_rating": small(rated.program),
        "decision": labels(row.decisions.kind, inputs.DECISIONS),
        "fact_set": row.fact_set,
    }


def _standing_columns(row: Row) -> dict[str, object]:
    """Probability of each word, what is not known, rank, and where word and harm disagree."""
    place = np.maximum(row.rated.place, 0)
    stands, unsure = row.standing, row.unsure
    has = (row.rated.place >= 0) & np.append(stands.known, False)[
        np.where(row.rated.place >= 0, place, len(stands.known))
    ]

    def told(values: npt.NDArray[np.generic]) -> object:
        taken = values[place] if len(values) else np.zeros(len(place), values.dtype)
        return optional(taken, has)

    beside, ranks = stands.beside, stands.ranks
    apart = has & told_link(beside.link, place)
    words = [w.name.lower() for w in tuple(RatingWord)[1:]]
    link = np.where(apart, beside.link[place] if len(beside.link) else -1, -1)
    most = unsure.variance.argmax(axis=1)
    unknown = np.where(has, most[place] if len(most) else -1, -1)
    return {
        **{f"share_{name}": told(unsure.words[:, n]) for n, name in enumerate(words)},
        **{f"variance_{name}": told(unsure.variance[:, n]) for n, name in enumerate(UNKNOWNS)},
        "unknown_most": labels(unknown, UNKNOWNS),
        "rank": told(ranks.rank.astype(np.int32)),
        "rank_low": told(ranks.low.astype(np.int32)),
        "rank_high": told(ranks.high.astype(np.int32)),
        "harm_over_words": told(beside.over.astype(np.int32)),
        "harm_under_words": told(beside.under.astype(np.int32)),
        "harm_by": labels(link, LINKS),
    }


def told_link(link: Ints, place: Ints) -> Flags:
    """Whether word and harm of each tree say different things."""
    return np.asarray(link[place] >= 0) if len(link) else np.zeros(len(place), np.bool_)


def _leading_fungus(row: Row, lead: Ints) -> tuple[Ints, Ints, Flags]:
    """Taxon and action code of the row that leads each tree, and the trees that have one."""
    parts, coded = row.evidence.parts, lead >= 0
    taxon = np.where(coded, parts.taxon[lead], -1) if len(parts.taxon) else lead
    code = np.where(coded, parts.code[lead], 0) if len(parts.code) else np.zeros_like(lead)
    return taxon, code, coded
