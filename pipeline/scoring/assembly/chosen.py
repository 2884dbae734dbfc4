"""From rated pairs to the chosen action of each tree with evidence."""

from dataclasses import dataclass, replace

import numpy as np

from pipeline.scoring.actions.candidates import (
    MAKE_SAFE,
    PRESUME,
    TEST,
    WORK,
    Candidates,
    Choice,
    RatedPairs,
    candidates,
    choose,
)
from pipeline.scoring.actions.rules import TreeState, no_climb
from pipeline.scoring.assembly.columns import place_of
from pipeline.scoring.assembly.decisions import Decisions
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.judged import Judged, pair_ratings
from pipeline.scoring.assembly.targets import Pairs
from pipeline.scoring.failure.bands import PartWords, YearlyProbability, yearly_probability
from pipeline.scoring.parameters import Parameters
from pipeline.tables import inputs
from pipeline.terms import FailureWord
from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True)
class Chosen:
    """What is to be done to each tree with evidence, each shape (trees with evidence,).

    Parameters
    ----------
    climb_rule : first rule that forbids climbing, -1 if none.
    lead : row of the part evidence with the highest action code, -1 without a fungus.
    acknowledged : a person has acknowledged make-safe since the newest evidence.
    """

    state: TreeState
    made: Candidates
    choice: Choice
    climb_rule: Ints
    lead: Ints
    make_safe: Flags
    presumed: Flags
    tested: Flags
    acknowledged: Flags


@dataclass(frozen=True)
class Likely:
    """How likely parts fail.

    Parameters
    ----------
    chance : within a year, of each row of `Evidence.words`.
    seen : words before mechanics spoke.
    """

    chance: YearlyProbability
    seen: PartWords


def choose_actions(
    evidence: Evidence,
    pairs: Pairs,
    judged: Judged,
    *,
    rating: Words,
    occupancy: Words,
    decisions: Decisions,
    likely: Likely,
    parameters: Parameters,
) -> Chosen:
    """Candidates and choice.

    Parameters
    ----------
    rating, occupancy : shape (trees with evidence,).
    """
    count = len(evidence.trees)
    bit = np.where(pairs.kind >= 0, np.int64(1) << np.maximum(pairs.kind, 0), 0)
    kinds = _any_bit(count, pairs.tree, bit)
    defects = _any_bit(count, evidence.parts.tree, evidence.parts.defects)
    state = TreeState(rating, occupancy, kinds, defects)
    made = _made(evidence, pairs, judged, state, bit, likely.seen, parameters)
    failing = evidence.parts.failure >= FailureWord.IMMINENT
    acknowledged_on = decisions.acknowledged_on[evidence.trees]
    acknowledged = (acknowledged_on >= 0) & (acknowledged_on >= evidence.latest_on)
    choice = choose(
        made,
        parameters.work.rules,
        state,
        accepted=parameters.accepted,
        imminent=_any_row(count, evidence.parts.tree[failing]),
        acknowledged=acknowledged,
        chance=_chances(made, evidence, likely.chance),
    )
    _, climb_rule = no_climb(parameters.work.no_climb, evidence.parts, state)
    phase = np.array([rule.phase for rule in parameters.work.rules], np.int64)[made.rule]

    return Chosen(
        state=state,
        made=made,
        choice=choice,
        climb_rule=climb_rule,
        lead=_lead(evidence, count),
        make_safe=_any_row(count, made.tree[phase == MAKE_SAFE]),
        presumed=_any_row(count, made.tree[phase == PRESUME]),
        tested=_any_row(count, made.tree[(phase == TEST) & choice.chosen]),
        acknowledged=acknowledged,
    )


def _made(
    evidence: Evidence,
    pairs: Pairs,
    judged: Judged,
    state: TreeState,
    bit: Ints,
    seen: PartWords,
    parameters: Parameters,
) -> Candidates:
    """All candidates; `bit` is that of each pair's kind of target."""
    told = evidence.words.points[pairs.row]

    def rate(failure: Words, rows: Ints) -> Words:
        # Points that a witness gave speak of the failure as it is: a lower word drops them.
        kept = np.where(failure == judged.failure, told, 0).astype(np.int8)
        return pair_ratings(failure, kept[rows], pairs.take(rows), parameters)

    words = np.array([int(w) for w in FailureWord], np.int8)
    # A fungus that may be of another tree is a reason to look, not to presume a removal.
    # So is what only the wind makes probable: a presumption rests on what was seen.
    certainty = np.where(
        evidence.lent | ~_seen_probable(evidence, seen), 0.0, evidence.parts.certainty
    )
    made = candidates(
        parameters.work.rules,
        replace(evidence.parts, certainty=certainty),
        state,
        RatedPairs(pairs.tree, pairs.part, judged.failure, judged.harm, bit, judged.rating),
        rate=rate,
        per_year=yearly_probability(words, parameters.failure.bands).middle,
    )
    return made.take(~_cuts_in_doubt(made, evidence, parameters))


def _seen_probable(evidence: Evidence, seen: PartWords) -> Flags:
    """Rows of the part evidence that are probable to fail without the mechanics."""
    parts, count = evidence.parts, len(inputs.PARTS)
    key = evidence.trees[parts.tree] * count + parts.part
    word = np.append(seen.word, np.int8(0))[place_of(key, seen.tree * count + seen.part)]
    return np.asarray(word >= FailureWord.PROBABLE)


def _chances(made: Candidates, evidence: Evidence, chance: YearlyProbability) -> Floats:
    """Yearly chance that the part of each candidate fails, 0 where no witness spoke of it."""
    words, parts = evidence.words, len(inputs.PARTS)
    key = evidence.trees[made.tree] * parts + made.part
    return np.append(chance.middle, 0.0)[place_of(key, words.tree * parts + words.part)]


def _cuts_in_doubt(made: Candidates, evidence: Evidence, parameters: Parameters) -> Flags:
    """Work on a part of which nothing is known but a fungus of perhaps another tree."""
    phase = np.array([rule.phase for rule in parameters.work.rules], np.int64)[made.rule]
    parts = evidence.parts
    doubtful = (parts.tree * len(inputs.PARTS) + parts.part)[evidence.doubtful]
    found: Flags = (phase == WORK) & np.isin(made.tree * len(inputs.PARTS) + made.part, doubtful)
    return found


def _any_bit(count: int, tree: Ints, bits: Ints) -> Ints:
    """Bits that any row of a tree sets, shape (count,)."""
    found = np.zeros(count, np.int64)
    np.bitwise_or.at(found, tree, bits)
    return found


def _any_row(count: int, tree: Ints) -> Flags:
    """Trees that have a row, shape (count,)."""
    found = np.zeros(count, np.bool_)
    found[tree] = True
    return found


def _lead(evidence: Evidence, count: int) -> Ints:
    parts = evidence.parts
    rows = np.flatnonzero(parts.taxon >= 0)
    order = rows[np.lexsort((-parts.certainty[rows], -parts.code[rows].astype(int)))]
    lead = np.full(count, -1, np.int64)
    lead[parts.tree[order[::-1]]] = order[::-1]
    return lead
