"""Statements that many trees share: one set of facts for each kind of tree without evidence."""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.actions.inspection import NOT_DUE
from pipeline.scoring.assembly.columns import NO_DAY
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.looked import Looked
from pipeline.scoring.assembly.targets import Under
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.explanation import Facts
from pipeline.tables import inputs
from pipeline.terms import OccupancyWord, word
from pipeline.units import Flags, Ints

_NOT_RATED, _NEVER, _OVERDUE, _NO_DEFECT, _DATE_ONLY = range(5)
_SEEN = ("seen_not_rated", "seen_never", "seen_overdue", "seen_no_defect", "seen_inspected_only")
_STATES = ("not_due", "never", "overdue", "due")
# Bases of the digits of a group's number, from the last: filled, assumed, occupancy, inspection,
# status, kind.
_BASES = (3, 2, 5, len(_STATES), len(inputs.TREE_STATUS), len(_SEEN))


@dataclass(frozen=True)
class Groups:
    """Number of the fact set of each tree, and how many sets the groups took."""

    fact_set: Ints
    count: int


def group_facts(
    facts: Facts,
    trees: Trees,
    under: Under,
    looked: Looked,
    evidence: Evidence,
    own: Flags,
) -> Groups:
    """Sets for trees without statements of their own; trees with `own` get -1."""
    kind = np.select(
        [~trees.rated, ~looked.assessed & (looked.inspected == NO_DAY), ~looked.assessed,
         evidence.none_seen],
        [_NOT_RATED, _NEVER, _OVERDUE, _NO_DEFECT],
        _DATE_ONLY,
    )  # fmt: skip
    rated = trees.rated
    digits = (
        np.where(rated & trees.height_filled, 1 + np.isnan(trees.dbh), 0),
        np.where(rated, under.assumed, False),
        np.where(rated, under.occupancy, 0),
        np.where(rated, looked.standing, NOT_DUE),
        np.where(rated, 0, trees.status),
        kind,
    )
    number = np.zeros(len(trees), np.int64)
    for digit, base in zip(reversed(digits), reversed(_BASES), strict=True):
        number = number * base + digit
    present = np.flatnonzero(np.bincount(number[~own], minlength=1))
    for fact_set, group in enumerate(present):
        _write(facts, fact_set, int(group))
    places = np.searchsorted(present, number) if len(present) else number
    return Groups(np.where(own, -1, places), len(present))


def _write(facts: Facts, fact_set: int, group: int) -> None:
    digits = []
    for base in _BASES:
        digits.append(group % base)
        group //= base
    filled, assumed, occupancy, state, status, kind = digits
    if kind == _NOT_RATED:
        facts.add(fact_set, "seen_not_rated", {"status": inputs.TREE_STATUS[status]})
        facts.add(fact_set, "rating_none")
        return
    facts.add(fact_set, _SEEN[kind])
    if filled:
        how = "seen_height_filled" if filled == 1 else "seen_height_assumed"
        facts.add(fact_set, how, {"height_m": None}, assumed=True)
    facts.add(fact_set, "failure_unknown")
    told = {"occupancy": word(OccupancyWord(occupancy))}
    if assumed:
        facts.add(fact_set, "target_assumed", told, assumed=True)
    else:
        facts.add(fact_set, "target_busiest", told)
    looked_at = kind in {_NO_DEFECT, _DATE_ONLY}
    facts.add(fact_set, "rating_low_no_defect" if looked_at else "rating_not_assessed")
    if state == NOT_DUE:
        facts.add(fact_set, "action_none")
    else:
        facts.add(fact_set, "action_inspect", {"state": _STATES[state]})
