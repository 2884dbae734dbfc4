"""What the failure witnesses share: a finding a row, and how to keep one a rule or one a part."""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Flags, Ints, Words


@dataclass(frozen=True)
class Findings:
    """What a witness says, one row a finding, all fields of shape (findings,).

    Parameters
    ----------
    evidence : row of the defect, sighting or section that it rests on.
    tree : tree key.
    part : part that may fail, terms.Part.
    rule : row of the rules that spoke.
    word : terms.FailureWord.
    points : 1-4 of the community guide.
    act_at_once : a defect at which the pocket guide says to act at once.
    """

    evidence: Ints
    tree: Ints
    part: Words
    rule: Ints
    word: Words
    points: Words
    act_at_once: Flags

    def take(self, rows: Ints | Flags) -> "Findings":
        """Some of the findings, in the order of `rows`."""
        return Findings(
            self.evidence[rows],
            self.tree[rows],
            self.part[rows],
            self.rule[rows],
            self.word[rows],
            self.points[rows],
            self.act_at_once[rows],
        )


def one_a_rule(findings: Findings) -> Findings:
    """One finding for each tree, part and rule, the one with the lowest evidence row, sorted."""
    order = np.lexsort((findings.evidence, findings.rule, findings.part, findings.tree))
    kept = findings.take(order)
    keys = np.stack([kept.tree, kept.part.astype(np.int64), kept.rule])
    first = np.ones(order.size, dtype=np.bool_)
    first[1:] = (keys[:, 1:] != keys[:, :-1]).any(axis=0)
    return kept.take(first)
