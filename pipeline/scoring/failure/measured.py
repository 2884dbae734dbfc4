"""What a measured section says of failure: by each strength formula and shell rule."""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.decay.strength import MeasuredSections, StrengthTable
from pipeline.scoring.failure.words import Findings
from pipeline.units import Flags, Ints, Words


@dataclass(frozen=True)
class MeasuredWords:
    """Words by formula, from config/published/strength_limits.csv in its order, (formulas,).

    Parameters
    ----------
    within, passed, passed_with_crack : failure words.
    points_within, points_passed, points_passed_with_crack : 1-4 of the community guide.
    """

    within: Words
    passed: Words
    passed_with_crack: Words
    points_within: Words
    points_passed: Words
    points_passed_with_crack: Words


def measured_findings(
    tree: Ints,
    part: Words,
    cracked: Flags,
    *,
    sections: MeasuredSections,
    table: StrengthTable,
    words: MeasuredWords,
) -> Findings:
    """What every formula that applies says, by section and formula.

    A section in which no decay was found says nothing: it clears no part, since a reading can miss
    decay, and soft rot and early brown rot most of all.

    Parameters
    ----------
    tree, part : of each section, shape (sections,).
    cracked : the latest inspection saw a crack on that part, shape (sections,).
    """
    decayed = (sections.thinnest_shell < sections.diameter / 2.0) | (sections.opening > 0)
    at, formula = np.nonzero(table.applies & decayed[:, None])
    passed = table.passed[at, formula]
    both = passed & cracked[at]
    word = np.where(passed, words.passed[formula], words.within[formula])
    points = np.where(passed, words.points_passed[formula], words.points_within[formula])
    return Findings(
        evidence=at,
        tree=tree[at],
        part=part[at],
        rule=formula,
        word=np.where(both, words.passed_with_crack[formula], word),
        points=np.where(both, words.points_passed_with_crack[formula], points),
        act_at_once=np.zeros(at.size, dtype=np.bool_),
    )
