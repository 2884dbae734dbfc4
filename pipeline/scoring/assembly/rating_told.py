"""The link of the thread that says how a tree is rated, and by what."""

import numpy as np

from pipeline.scoring.assembly.columns import day_texts
from pipeline.scoring.assembly.ratings import Row
from pipeline.scoring.explanation import Facts, Many, words_of
from pipeline.scoring.parameters import Parameters
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
            "low": row.rated.low[own[harm]],
            "high": row.rated.high[own[harm]],
        }, source="project_elicited", assumed=True),
        Many("rating_overridden", at[decided], at[decided], {
            "rating": words_of(RatingWord, row.rating[by_people]),
            "program_rating": words_of(RatingWord, program[decided]),
            "decided_on": day_texts(row.decisions.decided_on[by_people]),
        }),
    )  # fmt: skip
