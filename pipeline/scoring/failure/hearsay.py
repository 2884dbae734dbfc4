"""What a remark of an inventory may say of failure: no more than its limit, and nothing at once.

A remark is of an unknown hand and day. It asks for a look and by itself condemns no tree; what a
person reported of the same tree is judged as if the remark were not there.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from pipeline.scoring.failure.visual import DefectKinds, Defects, VisualRules, visual_findings
from pipeline.scoring.failure.words import Findings
from pipeline.units import Flags, Ints, Words

FUNGUS = -1


@dataclass(frozen=True)
class HearsayLimit:
    """The most that a remark says, from notes_certainty.csv and notes_meanings.csv.

    Parameters
    ----------
    word : terms.FailureWord of each code of a defect, and last (FUNGUS) of a fungus, (codes + 1,).
    points : of the community guide, likewise.
    """

    word: Words
    points: Words


def at_most(findings: Findings, hearsay: Flags, told: Ints, limit: HearsayLimit) -> Findings:
    """The findings, those that rest on hearsay held to the limit; in the same order.

    Parameters
    ----------
    hearsay : of each row of evidence, shape (evidence rows,).
    told : code of the defect that each row of evidence tells, or FUNGUS, shape (evidence rows,).
    """
    heard, kind = hearsay[findings.evidence], told[findings.evidence]
    word = np.minimum(findings.word, limit.word[kind])
    points = np.minimum(findings.points, limit.points[kind])
    return replace(
        findings,
        word=np.where(heard, word, findings.word).astype(np.int8),
        points=np.where(heard, points, findings.points).astype(np.int8),
        act_at_once=findings.act_at_once & ~heard,
    )


def told_and_heard(
    defects: Defects, hearsay: Flags, rules: VisualRules, kinds: DefectKinds, limit: HearsayLimit
) -> Findings:
    """What the rules say of reported defects alone, then what they say of remarks, held down.

    Parameters
    ----------
    hearsay : rows of `defects` that rest on a remark, shape (defects,).

    Raises
    ------
    PublishedValueError
        If a defect meets no rule at all.
    """
    told = visual_findings(replace(defects, latest=defects.latest & ~hearsay), rules, kinds)
    heard = visual_findings(replace(defects, latest=defects.latest & hearsay), rules, kinds)
    both = (told, at_most(heard, hearsay, defects.defect, limit))
    return Findings(
        *(np.concatenate([getattr(one, f.name) for one in both]) for f in fields(Findings))
    )
