"""Rules that a city reads and edits, matched against evidence as arrays: one rule, all parts."""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True, slots=True)
class Condition:
    """What must hold for a rule to speak; an empty field asks nothing.

    Parameters
    ----------
    parts, rots, target_kinds : any of these; empty means any.
    failure_from, failure_to, rating_from, code_from, occupancy_from : inclusive bounds.
    certainty_from : least probability of the fungus.
    defects, not_defects : bits of defects, any of the first on the part, none of the others on the
        whole tree.
    unmeasured : only while nobody has measured the part since the evidence was seen.
    """

    parts: tuple[int, ...] = ()
    failure_from: int = 0
    failure_to: int = 4
    rating_from: int = 0
    code_from: int = 0
    certainty_from: float = 0.0
    rots: tuple[int, ...] = ()
    defects: int = 0
    not_defects: int = 0
    unmeasured: bool = False
    occupancy_from: int = 0
    target_kinds: int = 0


@dataclass(frozen=True, slots=True)
class PartEvidence:
    """What is known of each tree and part that evidence touches, sorted; each shape (rows,).

    Parameters
    ----------
    tree : index into TreeState.
    part : of Part.
    failure : worst word, 0 where no witness spoke.
    code, certainty, rot, taxon : of the fungus with the highest action code; taxon -1 without one.
    measured : a reading that can see the part is not older than the other evidence.
    defects : bits of the defects of the latest inspection.
    """

    tree: Ints
    part: Words
    failure: Words
    code: Words
    certainty: Floats
    rot: Words
    taxon: Ints
    measured: Flags
    defects: Ints


@dataclass(frozen=True, slots=True)
class TreeState:
    """What is known of each tree with evidence, each shape (trees with evidence,).

    Parameters
    ----------
    rating : rating word.
    occupancy : busiest target within reach.
    target_kinds : bits of the kinds of target within reach.
    defects : bits of all defects.
    """

    rating: Words
    occupancy: Words
    target_kinds: Ints
    defects: Ints


def matches(rule: Condition, evidence: PartEvidence, trees: TreeState) -> Flags:
    """Which rows of evidence a rule speaks of; shape (rows,)."""
    at = evidence.tree
    met: Flags = (
        (evidence.failure >= rule.failure_from)
        & (evidence.failure <= rule.failure_to)
        & (evidence.code >= rule.code_from)
        & (evidence.certainty >= rule.certainty_from)
        & (trees.rating[at] >= rule.rating_from)
        & (trees.occupancy[at] >= rule.occupancy_from)
        & ((trees.defects[at] & rule.not_defects) == 0)
    )
    if rule.parts:
        met &= np.isin(evidence.part, rule.parts)
    if rule.rots:
        met &= np.isin(evidence.rot, rule.rots)
    if rule.defects:
        met &= (evidence.defects & rule.defects) != 0
    if rule.target_kinds:
        met &= (trees.target_kinds[at] & rule.target_kinds) != 0
    if rule.unmeasured:
        met &= ~evidence.measured
    return met


@dataclass(frozen=True, slots=True)
class NoClimbRule:
    """A reason why nobody climbs."""

    rule_id: str
    condition: Condition
    why: str


def no_climb(
    rules: tuple[NoClimbRule, ...], evidence: PartEvidence, trees: TreeState
) -> tuple[Flags, Ints]:
    """Whether a tree must not be climbed, and the first rule that says so or -1; shape (trees,)."""
    first = np.full(len(trees.rating), -1, np.int64)
    for number in range(len(rules) - 1, -1, -1):
        spoken = matches(rules[number].condition, evidence, trees)
        first[evidence.tree[spoken]] = number
    return first >= 0, first
