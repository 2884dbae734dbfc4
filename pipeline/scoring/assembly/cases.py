"""Trees as the rules of actions meet them: as they are, or as a result would make them."""

from dataclasses import dataclass, replace

import numpy as np

from pipeline.scoring.actions.candidates import (
    WORK,
    ActionRule,
    Candidates,
    RatedPairs,
    Residual,
    candidates,
    residual,
)
from pipeline.scoring.actions.rules import PartEvidence, TreeState
from pipeline.scoring.assembly.columns import place_of
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.judged import Judged, pair_ratings
from pipeline.scoring.assembly.targets import Pairs
from pipeline.scoring.failure.bands import PartWords, yearly_probability
from pipeline.scoring.parameters import Parameters
from pipeline.tables import inputs
from pipeline.terms import FailureWord, RatingWord
from pipeline.units import Flags, Floats, Ints, Words

_PARTS = len(inputs.PARTS)


@dataclass(frozen=True)
class Cases:
    """Trees with their parts and pairs, which rise by `tree`, a place in the state.

    Parameters
    ----------
    doubtful : rows of `parts` that rest on a fungus which may be of another tree alone.
    bit : of the kind of each pair's target.
    failure, harm, told : word, harm a year and points that a witness gave of each pair, 0 if none.
    imminent : cases of which a part fails now, shape (cases,).
    chance : of failing in a year of each row of `parts`, 0 where no witness spoke of it.
    """

    parts: PartEvidence
    doubtful: Flags
    state: TreeState
    pairs: Pairs
    bit: Ints
    failure: Words
    harm: Floats
    told: Words
    imminent: Flags
    chance: Floats

    def rate(self, failure: Words, parameters: Parameters) -> Words:
        """Rating of each pair under other failure words."""
        # Points that a witness gave speak of the failure as it is: a lower word drops them.
        kept = np.where(failure == self.failure, self.told, 0).astype(np.int8)
        return pair_ratings(failure, kept, self.pairs, parameters)


def as_they_are(
    evidence: Evidence,
    pairs: Pairs,
    judged: Judged,
    seen: PartWords,
    *,
    rating: Words,
    occupancy: Words,
    chance: Floats,
) -> Cases:
    """The trees with evidence.

    Parameters
    ----------
    seen : words before mechanics spoke.
    chance : see Cases.
    rating, occupancy : shape (trees with evidence,).
    """
    count, parts = len(evidence.trees), evidence.parts
    bit = np.where(pairs.kind >= 0, np.int64(1) << np.maximum(pairs.kind, 0), 0)
    kinds, defects = any_bit(count, pairs.tree, bit), any_bit(count, parts.tree, parts.defects)
    # A fungus that may be of another tree is a reason to look, not to presume a removal.
    # So is what only the wind makes probable: a presumption rests on what was seen.
    certainty = np.where(evidence.lent | ~_seen_probable(evidence, seen), 0.0, parts.certainty)
    failing = parts.failure >= FailureWord.IMMINENT
    return Cases(
        parts=replace(parts, certainty=certainty),
        doubtful=evidence.doubtful,
        state=TreeState(rating, occupancy, kinds, defects),
        pairs=pairs,
        bit=bit,
        failure=judged.failure,
        harm=judged.harm,
        told=evidence.words.points[pairs.row],
        imminent=any_row(count, parts.tree[failing]),
        chance=chance,
    )


def _seen_probable(evidence: Evidence, seen: PartWords) -> Flags:
    """Rows of the part evidence that are probable to fail without the mechanics."""
    parts = evidence.parts
    key = evidence.trees[parts.tree] * _PARTS + parts.part
    word = np.append(seen.word, np.int8(0))[place_of(key, seen.tree * _PARTS + seen.part)]
    return np.asarray(word >= FailureWord.PROBABLE)


@dataclass(frozen=True)
class Copies:
    """Which tree and part each copy is of, and what is known of the part in it; shape (copies,).

    Parameters
    ----------
    word : failure word of the part.
    fails : its chance of failing over what it is now.
    measured : the part has been measured in it.
    """

    tree: Ints
    part: Words
    word: Words
    fails: Floats
    measured: Flags


def copied(cases: Cases, copies: Copies, lowered: Words, parameters: Parameters) -> Cases:
    """A case for each copy.

    Parameters
    ----------
    lowered : word of each row of the parts where it is not that of the copy, (part rows,).
    """
    rows, of = _rows_of(cases.parts.tree, copies.tree)
    own = cases.parts.part[rows] == copies.part[of]
    parts = _taken(cases.parts, rows)
    parts = replace(
        parts,
        tree=of,
        failure=np.where(own, copies.word[of], lowered[rows]).astype(np.int8),
        measured=np.where(own, copies.measured[of] | parts.measured, parts.measured),
    )
    pair, of_pair = _rows_of(cases.pairs.tree, copies.tree)
    theirs = cases.pairs.part[pair] == copies.part[of_pair]
    key = of * _PARTS + parts.part
    word = parts.failure[place_of(of_pair * _PARTS + cases.pairs.part[pair], key)]
    before, told = cases.failure[pair], cases.told[pair]
    word = np.where(word > 0, word, before).astype(np.int8)
    per_year = _per_year(parameters)
    other = per_year[word - 1] / per_year[before - 1]
    harm = cases.harm[pair] * np.where(theirs, copies.fails[of_pair], other)
    pairs = replace(cases.pairs.take(pair), tree=of_pair)
    told = np.where(word == before, told, 0).astype(np.int8)
    worst = _worst(of_pair, pair_ratings(word, told, pairs, parameters), len(copies.tree))
    state = cases.state
    # A person's rating that lies above or below the pairs does so after a result too.
    plain = cases.rate(cases.failure, parameters)
    now = _worst(cases.pairs.tree, plain, len(state.rating))
    moved = np.where(state.rating > 0, state.rating - now, 0)[copies.tree]
    rating = np.clip(worst + moved, int(RatingWord.LOW), int(RatingWord.EXTREME))
    return Cases(
        parts=parts,
        doubtful=cases.doubtful[rows] & ~parts.measured,
        state=TreeState(
            rating.astype(np.int8), state.occupancy[copies.tree], state.target_kinds[copies.tree],
            state.defects[copies.tree],
        ),
        pairs=pairs,
        bit=cases.bit[pair],
        failure=word,
        harm=harm,
        told=told,
        imminent=any_row(len(copies.tree), of[parts.failure >= FailureWord.IMMINENT]),
        chance=cases.chance[rows],
    )  # fmt: skip


def _worst(case: Ints, rating: Words, count: int) -> Ints:
    """Worst rating of the pairs of each case, low without one; shape (count,)."""
    worst = np.full(count, int(RatingWord.LOW))
    np.maximum.at(worst, case, rating.astype(np.int64))
    return worst


def _taken(parts: PartEvidence, rows: Ints) -> PartEvidence:
    return PartEvidence(
        **{name: getattr(parts, name)[rows] for name in PartEvidence.__dataclass_fields__}
    )


def _rows_of(sorted_tree: Ints, wanted: Ints) -> tuple[Ints, Ints]:
    """Rows of each wanted tree one after the other, and the place in `wanted` of each row."""
    first, last = (np.searchsorted(sorted_tree, wanted, side=side) for side in ("left", "right"))
    size = last - first
    of = np.repeat(np.arange(len(wanted)), size)
    start = np.repeat(first - np.append(0, np.cumsum(size)[:-1]), size) if len(wanted) else of
    return start + np.arange(len(of)), of


def made_for(cases: Cases, parameters: Parameters) -> Candidates:
    """All candidate actions of the cases."""
    made = candidates(
        parameters.work.rules,
        cases.parts,
        cases.state,
        _rated(cases, parameters),
        rate=lambda failure: cases.rate(failure, parameters),
        per_year=_per_year(parameters),
        chance=cases.chance,
    )
    phase = np.array([rule.phase for rule in parameters.work.rules], np.int64)[made.rule]
    key = cases.parts.tree * _PARTS + cases.parts.part
    # Work on a part of which nothing is known but a fungus of perhaps another tree.
    doubtful = np.isin(made.tree * _PARTS + made.part, key[cases.doubtful])
    return made.take(~((phase == WORK) & doubtful))


def left_by(rule: ActionRule, tree: Ints, cases: Cases, parameters: Parameters) -> Residual:
    """What an action leaves in some cases, whether its rule speaks there or not."""
    return residual(
        rule, tree, cases.state, _rated(cases, parameters),
        rate=lambda failure: cases.rate(failure, parameters), per_year=_per_year(parameters),
    )  # fmt: skip


def _rated(cases: Cases, parameters: Parameters) -> RatedPairs:
    pairs = cases.pairs
    return RatedPairs(
        pairs.tree, pairs.part, cases.failure, cases.harm, cases.bit,
        cases.rate(cases.failure, parameters),
    )  # fmt: skip


def _per_year(parameters: Parameters) -> Floats:
    words = np.array([int(w) for w in FailureWord], np.int8)
    return yearly_probability(words, parameters.failure.bands).middle


def any_bit(count: int, tree: Ints, bits: Ints) -> Ints:
    """Bits that any row of a tree sets, shape (count,)."""
    found = np.zeros(count, np.int64)
    np.bitwise_or.at(found, tree, bits)
    return found


def any_row(count: int, tree: Ints) -> Flags:
    """Trees that have a row, shape (count,)."""
    found = np.zeros(count, np.bool_)
    found[tree] = True
    return found
