"""What is told of why nobody climbs a tree: the parts that the rule speaks of, and how bad."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.scoring.actions.rules import NoClimbRule, PartEvidence, TreeState, matches
from pipeline.tables import inputs
from pipeline.terms import FailureWord, word

_OF_A_PART = "no_climb_probable"


class Climbing:
    """Values of the statements on climbing, over rows of the part evidence sorted by tree."""

    def __init__(self, rules: Sequence[NoClimbRule], parts: PartEvidence, state: TreeState) -> None:
        """Hold the evidence that the rules were asked of."""
        self._rules, self._parts = rules, parts
        self._met = [matches(rule.condition, parts, state) for rule in rules]

    def told(self, rule: int, tree: int) -> tuple[str, Mapping[str, object]]:
        """Statement and values for a rule that met a tree with evidence.

        Parameters
        ----------
        rule, tree : their numbers.
        """
        why = self._rules[rule].why
        if why != _OF_A_PART:
            return why, {}
        first, last = np.searchsorted(self._parts.tree, [tree, tree + 1])
        rows = first + np.flatnonzero(self._met[rule][first:last])
        worst = int(self._parts.failure[rows].max())
        rows = rows[self._parts.failure[rows] == worst]
        parts = "|".join(inputs.PARTS[self._parts.part[row]] for row in rows)
        return why, {"part": parts, "failure": word(FailureWord(worst))}
