"""Candidate actions of each tree with evidence, what each would leave, and which is chosen.

The gentlest action that reaches the accepted rating is chosen; what cannot be known without a look
is tested before the tree is cut back or taken away, unless it fails now. A test is chosen only
where its result may change what is done. No action leaves more than doing nothing does.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.actions.rules import Condition, PartEvidence, TreeState, matches
from pipeline.terms import FailureWord, Part, RatingWord
from pipeline.units import Flags, Floats, Ints, Words

# What is due is done at an accepted rating too: it can only get worse.
PHASES = ("make_safe", "presume", "due", "work", "test", "watch", "inspect")
MAKE_SAFE, PRESUME, DUE, WORK, TEST, WATCH, INSPECT = range(len(PHASES))
RESIDUALS = ("same", "one_less", "improbable", "target_gone", "gone")
# Work that a look may spare: it waits for the look, where one is possible and nothing fails now.
_WAITS_FOR_A_LOOK = ("remove", "habitat_pole", "reduce_crown")

Rate = Callable[[Words], Words]


@dataclass(frozen=True, slots=True)
class ActionRule:
    """One row of the action rules; the order of the rows is the order of gentleness.

    Parameters
    ----------
    value_kept : share of the tree's value that the action keeps.
    always : a test that is asked for also where its result changes nothing of what is done.
    """

    rule_id: str
    phase: int
    action: str
    condition: Condition
    crew_type: str
    machine: str
    residual: str
    residual_harm_share: float
    value_kept: float
    why: str
    always: bool = False


@dataclass(frozen=True, slots=True)
class RatedPairs:
    """Pairs of part and target of the trees with evidence, each shape (pairs,).

    Parameters
    ----------
    tree : index into TreeState.
    harm : expected harm a year.
    target_kinds : bit of the target's kind.
    rating : rating word.
    """

    tree: Ints
    part: Words
    failure: Words
    harm: Floats
    target_kinds: Ints
    rating: Words


@dataclass(frozen=True, slots=True)
class Candidates:
    """Candidate actions sorted by tree, then by order of the rules; each shape (candidates,)."""

    tree: Ints
    rule: Ints
    part: Words
    failure: Words
    residual_rating: Words
    residual_harm: Floats

    def take(self, rows: Ints | Flags) -> "Candidates":
        """Some of the rows, in the order given."""
        return Candidates(
            self.tree[rows],
            self.rule[rows],
            self.part[rows],
            self.failure[rows],
            self.residual_rating[rows],
            self.residual_harm[rows],
        )


def candidates(
    rules: tuple[ActionRule, ...],
    evidence: PartEvidence,
    trees: TreeState,
    pairs: RatedPairs,
    *,
    rate: Rate,
    per_year: Floats,
    chance: Floats | None = None,
) -> Candidates:
    """All actions whose rule speaks, once for each tree and action: the first rule stands.

    An action names the part with the worst word; of parts with one word that likelier to fail.

    Parameters
    ----------
    chance : of failing in a year of each row of the evidence, shape (part rows,).
    rate : rating words of the pairs under other failure words.
    per_year : yearly probability of each failure word, improbable to imminent, shape (4,).
    """
    likely = np.zeros(len(evidence.tree)) if chance is None else chance
    found = []
    for number, rule in enumerate(rules):
        if rule.phase == INSPECT:
            continue
        rows = np.flatnonzero(matches(rule.condition, evidence, trees))
        order = rows[
            np.lexsort(
                (evidence.part[rows], -likely[rows], -evidence.failure[rows], evidence.tree[rows])
            )
        ]
        tree, first = np.unique(evidence.tree[order], return_index=True)
        if not len(tree):
            continue
        left = residual(rule, tree, trees, pairs, rate=rate, per_year=per_year)
        at = order[first]
        part, failure = evidence.part[at], evidence.failure[at]
        found.append(
            Candidates(tree, np.full(len(tree), number), part, failure, left.rating, left.harm)
        )
    if not found:
        none, no_word = np.zeros(0, np.int64), np.zeros(0, np.int8)
        return Candidates(none, none, no_word, no_word, no_word, np.zeros(0))
    made = Candidates(
        *(
            np.concatenate([getattr(part, name) for part in found])
            for name in ("tree", "rule", "part", "failure", "residual_rating", "residual_harm")
        )
    )
    made = made.take(np.lexsort((made.rule, made.tree)))
    return made.take(_first_of_each_action(made, rules))


def _first_of_each_action(made: Candidates, rules: tuple[ActionRule, ...]) -> Ints:
    names = sorted({rule.action for rule in rules})
    action = np.array([names.index(rule.action) for rule in rules], np.int64)[made.rule]
    # A presumed removal and a plain one are the same action: the presumption comes first.
    _, first = np.unique(made.tree * len(names) + action, return_index=True)
    return np.sort(first)


@dataclass(frozen=True, slots=True)
class Residual:
    """Rating word and harm a year that an action leaves, each shape (trees asked for,)."""

    rating: Words
    harm: Floats


def residual(
    rule: ActionRule,
    tree: Ints,
    trees: TreeState,
    pairs: RatedPairs,
    *,
    rate: Rate,
    per_year: Floats,
) -> Residual:
    """What an action would leave in some of the trees.

    No pair is left worse than it is: a lower word can fall on points that a witness did not give.
    Where a person rates a tree above its pairs, what an action leaves is raised by as many words,
    for nobody told the pairs what the person saw.

    Parameters
    ----------
    tree : places in `trees`, shape (n,).
    """
    count = len(trees.rating)
    before = _sum(pairs.tree, pairs.harm, count)
    if rule.residual == "same":
        return Residual(trees.rating[tree], before[tree] * rule.residual_harm_share)
    if rule.residual == "gone":
        low = np.full(len(tree), RatingWord.LOW, np.int8)
        return Residual(low, before[tree] * rule.residual_harm_share)
    concerned = np.ones(len(pairs.tree), np.bool_)
    if rule.condition.parts:
        concerned &= np.isin(pairs.part, rule.condition.parts)
    if rule.condition.target_kinds:
        concerned &= (pairs.target_kinds & rule.condition.target_kinds) != 0
    if rule.residual == "target_gone":
        left = np.where(concerned, np.int8(RatingWord.LOW), pairs.rating)
        harm = pairs.harm * np.where(concerned, rule.residual_harm_share, 1.0)
    else:
        lowered = _lowered(rule.residual, pairs.failure)
        failure = np.where(concerned, lowered, pairs.failure).astype(np.int8)
        left = rate(failure)
        change = per_year[failure - 1] / per_year[pairs.failure - 1]
        harm = pairs.harm * change * np.where(concerned, rule.residual_harm_share, 1.0)
    now = _worst(pairs.tree, pairs.rating, count)
    worst = _worst(pairs.tree, np.minimum(left, pairs.rating), count)
    above = np.maximum(trees.rating.astype(np.int64) - now, 0)
    least = np.maximum(trees.rating, np.int8(RatingWord.LOW))
    told = np.minimum(worst + above, least).astype(np.int8)
    return Residual(told[tree], _sum(pairs.tree, np.minimum(harm, pairs.harm), count)[tree])


def _worst(tree: Ints, rating: Words, count: int) -> Words:
    """Worst rating of the pairs of each tree, low without one; shape (count,)."""
    worst = np.full(count, np.int8(RatingWord.LOW))
    np.maximum.at(worst, tree, rating.astype(np.int8))
    return worst


def _sum(tree: Ints, harm: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(tree, weights=harm, minlength=count), np.float64)


def _lowered(residual: str, failure: Words) -> Words:
    if residual == "improbable":
        return np.full(len(failure), FailureWord.IMPROBABLE, np.int8)
    return np.maximum(failure - 1, np.int8(FailureWord.IMPROBABLE)).astype(np.int8)


@dataclass(frozen=True, slots=True)
class Choice:
    """What is chosen of the candidates.

    Parameters
    ----------
    main : row of the action chosen of each tree, -1 without any, shape (trees,).
    chosen : rows to be done: the main one, make-safe meanwhile, a test of the roots beside one of
        the wood above them, and the checks that would lift a presumed removal, (candidates,).
    """

    main: Ints
    chosen: Flags


def choose(
    made: Candidates,
    rules: tuple[ActionRule, ...],
    trees: TreeState,
    *,
    accepted: int,
    imminent: Flags,
    acknowledged: Flags,
    chance: Floats | None = None,
    pays: Flags | None = None,
) -> Choice:
    """The gentlest action that reaches the accepted rating; tests before the saw.

    Roots and the wood above are judged by different tests: where both may change what is done,
    both are chosen, the one on the part that is likelier to fail first. What a rating above the
    accepted one leaves without work or test is looked at by a person, not only watched.

    Parameters
    ----------
    accepted : rating word that the city accepts.
    imminent, acknowledged : of each tree, shape (trees,); what fails now is not tested first, and
        a make-safe that a person has acknowledged is not sent out again.
    chance : yearly chance that the part of each candidate fails: of parts with one word the one
        likelier to fail is tested, shape (candidates,).
    pays : tests whose result may change what is done, shape (candidates,); None takes all.
    """
    count = len(trees.rating)
    phase = np.array([rule.phase for rule in rules], np.int64)[made.rule]
    waits = np.array([rule.action in _WAITS_FOR_A_LOOK for rule in rules])[made.rule]
    over = (trees.rating > accepted)[made.tree]
    works = (phase == WORK) | (phase == DUE)
    reaches = works & over & (made.residual_rating <= accepted)
    gentlest = _first(made.tree, reaches, count)
    helps = works & over & (made.residual_rating < trees.rating[made.tree])
    most = _first(made.tree, helps & _least_left(made, helps, count), count)
    testing = phase == TEST if pays is None else (phase == TEST) & pays
    test, beside = _tests(made, testing, count, chance)
    watch = _first(made.tree, phase == WATCH, count)
    presumed = _first(made.tree, phase == PRESUME, count)
    work = np.where(gentlest >= 0, gentlest, most)
    would_wait = (work >= 0) & waits[np.maximum(work, 0)] if len(waits) else work >= 0
    test_first = (test >= 0) & ~imminent & ((work < 0) | would_wait)
    main = np.where(test_first, test, work)
    main = np.where(main >= 0, main, _first(made.tree, phase == DUE, count))
    main = np.where(presumed >= 0, presumed, main)
    # Above what is accepted a tree is not merely watched: what nothing settles is looked at.
    settle = _first(made.tree, (phase == TEST) & over, count)
    main = np.where(main >= 0, main, settle)
    main = np.where(main >= 0, main, watch)
    chosen = np.zeros(len(made.tree), np.bool_)
    chosen[main[main >= 0]] = True
    checked = (presumed >= 0) | test_first
    for check in (test, beside):
        chosen[check[checked & (check >= 0)]] = True
    chosen |= (phase == MAKE_SAFE) & ~acknowledged[made.tree]
    return Choice(main, chosen)


def _tests(made: Candidates, wanted: Flags, count: int, chance: Floats | None) -> tuple[Ints, Ints]:
    """First test of each tree, and one of roots beside one of wood or the other way round.

    Rows of the candidates, -1 without one, each shape (count,).
    """
    first = _first(made.tree, wanted & _worst_part(made, wanted, count, chance), count)
    roots = made.part == Part.ROOTS
    at = np.maximum(first, 0)
    of_roots = np.append(roots, False)[np.where(first >= 0, at, len(roots))]
    other = wanted & (first >= 0)[made.tree] & (roots != of_roots[made.tree])
    return first, _first(made.tree, other & _worst_part(made, other, count, chance), count)


def _first(tree: Ints, wanted: Flags, count: int) -> Ints:
    """First wanted row of each tree, -1 where there is none; rows are sorted by tree."""
    rows = np.flatnonzero(wanted)
    found = np.full(count, -1, np.int64)
    found[tree[rows[::-1]]] = rows[::-1]
    return found


def _worst_part(made: Candidates, wanted: Flags, count: int, chance: Floats | None) -> Flags:
    """Candidates on the part that is likeliest to fail among those wanted."""
    worst = np.zeros(count, np.int8)
    np.maximum.at(worst, made.tree[wanted], made.failure[wanted])
    is_worst: Flags = made.failure == worst[made.tree]
    if chance is None:
        return is_worst
    most = np.zeros(count)
    told = wanted & is_worst
    np.maximum.at(most, made.tree[told], chance[told])
    return is_worst & (chance >= most[made.tree])


def _least_left(made: Candidates, wanted: Flags, count: int) -> Flags:
    least = np.full(count, np.int8(RatingWord.EXTREME))
    np.minimum.at(least, made.tree[wanted], made.residual_rating[wanted])
    as_little: Flags = made.residual_rating == least[made.tree]
    return as_little
