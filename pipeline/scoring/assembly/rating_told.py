"""The link of the thread that says how a tree is rated, and by what."""

import numpy as np

from pipeline.scoring.assembly.columns import day_texts
from pipeline.scoring.assembly.ratings import Row
from pipeline.scoring.assembly.uncertain import UNKNOWNS
from pipeline.scoring.explanation import Facts, Many, words_at, words_of
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.rating.beside import LINKS
from pipeline.terms import ConsequenceWord, FailureWord, ImpactWord, LikelihoodWord, RatingWord
from pipeline.units import Ints


def tell_rating(facts: Facts, row: Row, own: Ints, first_set: int, parameters: Parameters) -> None:
    """The rating of each tree with its own fact set, and the harm that stands behind it.

    Parameters
    ----------
    own : tree keys; their sets follow one another from `first_set`.
    """
    pairs, judged = row.pairs, row.judged
    at = first_set + np.arange(len(own))
    program, worst = row.rated.program[own], row.rated.worst[own]
    rated = row.trees.rated[own]
    without = rated & ((worst < 0) | (program == RatingWord.NOT_ASSESSED))
    low = without & (program == RatingWord.LOW)
    by_pair = np.flatnonzero(rated & ~without)
    pair = worst[by_pair]
    told: dict[str, object] = {"rating": words_of(RatingWord, program[by_pair])}
    if parameters.method == "points":
        told["points"] = judged.points[pair]
        of_pair = Many("rating_points", at[by_pair], at[by_pair], told,
                       source="usfs_na_tp_03_03")  # fmt: skip
    else:
        told["failure"] = words_of(FailureWord, judged.failure[pair])
        told["impact"] = words_of(ImpactWord, pairs.impact[pair])
        told["likelihood"] = words_of(LikelihoodWord, judged.likelihood[pair])
        told["consequence"] = words_of(ConsequenceWord, pairs.consequence[pair])
        of_pair = Many("rating_of_pair", at[by_pair], at[by_pair], told, source="ansi_a300_9")
    harm, decided = worst >= 0, row.decisions.rating[own] >= 0
    by_people = own[decided]
    facts.tell(
        Many("rating_none", at[~rated], at[~rated]),
        Many("rating_low_no_defect", at[low], at[low]),
        Many("rating_not_assessed", at[without & ~low], at[without & ~low]),
        of_pair,
        Many("rating_harm", at[harm], at[harm], {
            "harm": row.rated.harm[own[harm]],
            "harm_low": row.rated.low[own[harm]],
            "harm_high": row.rated.high[own[harm]],
        }, source="project_elicited", assumed=True),
        *_stands(row, own, at),
        Many("rating_overridden", at[decided], at[decided], {
            "rating": words_of(RatingWord, row.rating[by_people]),
            "program_rating": words_of(RatingWord, program[decided]),
            "decided_on": day_texts(row.decisions.decided_on[by_people]),
        }),
    )  # fmt: skip


def _stands(row: Row, own: Ints, sets: Ints) -> list[Many]:
    """How sure the word is, what is not known, the rank, and where word and harm disagree."""
    stands, unsure = row.standing, row.unsure
    place = row.rated.place[own]
    known = np.flatnonzero(place >= 0)
    known = known[stands.known[place[known]]]
    at, place = sets[known], place[known]
    words = [w.name.lower() for w in tuple(RatingWord)[1:]]
    beside = stands.beside
    apart = beside.link[place] >= 0
    those = place[apart]
    return [
        Many("rating_range", at, at,
             {f"share_{name}": unsure.words[place, n] for n, name in enumerate(words)},
             source="project_elicited", assumed=True),
        Many("rating_rank", at, at, {
            "rank": stands.ranks.rank[place],
            "rank_low": stands.ranks.low[place],
            "rank_high": stands.ranks.high[place],
            "ranked": int(stands.known.sum()),
        }, source="project_elicited", assumed=True),
        Many("rating_unknown", at, at, {
            "most": words_at(unsure.variance[place].argmax(axis=1), UNKNOWNS),
            **{f"variance_{name}": unsure.variance[place, n] for n, name in enumerate(UNKNOWNS)},
        }, source="project_elicited", assumed=True),
        Many("rating_apart", at[apart], at[apart], {
            "over": beside.over[those],
            "under": beside.under[those],
            "link": words_at(beside.link[those], LINKS),
            "factor": beside.factor[those],
        }),
    ]  # fmt: skip
