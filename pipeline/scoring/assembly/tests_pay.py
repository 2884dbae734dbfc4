"""Which tests pay: every test that the rules list for a tree, on the tree's own grid of decay.

What a test would make of the part is reckoned from its results; what would be done then, from the
rules of actions. A test of which nothing can be reckoned is listed with the reason.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.actions import results, testing
from pipeline.scoring.actions.candidates import TEST, Candidates, choose
from pipeline.scoring.actions.rules import matches
from pipeline.scoring.assembly.cases import (
    Cases,
    Copies,
    any_bit,
    copied,
    left_by,
    made_for,
)
from pipeline.scoring.assembly.columns import labels, optional, place_of, small
from pipeline.scoring.assembly.tests_found import Eyes, Found, Known, of_parts
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.assembly.works import Works
from pipeline.scoring.parameters import Parameters
from pipeline.tables import inputs
from pipeline.terms import FailureWord
from pipeline.units import Flags, Floats, Ints, Words

REASONS = ("names_the_fungus", "no_mechanics", "cannot_see_rot")
_NAMES, _NO_MECHANICS, _BLIND = range(len(REASONS))
_NONE = len(inputs.ACTIONS)  # nothing is done


@dataclass(frozen=True)
class TestsPay:
    """Every test that the rules list, each shape (tests,).

    Parameters
    ----------
    row : of the candidates; tree a place in Evidence.trees; action a place in inputs.ACTIONS.
    reason : place in REASONS where nothing was reckoned, -1 else; what was not is 0.
    worth : with the other parts as they are; before is the action without the test, or _NONE.
    together : chance that the action changes if the other parts that can be tested prove sound.
    also : bits of the other parts that the same test is to be set to.
    always : asked for whatever it may change.
    """

    row: Ints
    tree: Ints
    part: Words
    action: Ints
    reason: Ints
    before: Ints
    worth: testing.Worth
    together: Floats
    also: Ints
    always: Flags

    def pays(self, made: Candidates, unknown: Flags, least: float) -> Flags:
        """Candidates whose result may change what is done, shape (candidates,).

        Parameters
        ----------
        unknown : trees in which a test of which nothing can be reckoned is worth asking for.
        """
        known = (self.worth.changes >= least) | (self.together >= least)
        found = np.zeros(len(made.tree), np.bool_)
        found[self.row] = np.where(
            (self.reason < 0) | (self.reason == _BLIND), known, unknown[self.tree]
        )
        return found


def tests_pay(cases: Cases, made: Candidates, known: Known, parameters: Parameters) -> TestsPay:
    """The worth of each test among the candidates."""
    rules = parameters.work.rules
    phase = np.array([rule.phase for rule in rules], np.int64)[made.rule]
    row = np.flatnonzero(phase == TEST)
    action = np.array([inputs.ACTIONS.index(rule.action) for rule in rules], np.int64)[
        made.rule[row]
    ]
    tree, part = made.tree[row], made.part[row]
    at = tree * PARTS + part
    computed = np.isin(at, known.held.rows.at)
    reckoned = np.isin(action, [inputs.ACTIONS.index(name) for name in results.TESTS])
    reason = np.select([~reckoned, ~computed], [_NAMES, _NO_MECHANICS], -1)
    of = np.flatnonzero(reason < 0)
    found = of_parts(tree[of], part[of], action[of], known, parameters)
    reason[of[found.blind]] = _BLIND
    alone = _worth(cases, tree[of], part[of], found, None, parameters)
    tested, also = _set_to(cases, made, row, parameters)
    soften = _softened(cases, tested, known)
    together = _worth(cases, tree[of], part[of], found, soften, parameters)
    count = len(row)

    def over_all(values: Floats) -> Floats:
        all_tests = np.zeros(count)
        all_tests[of] = values
        return all_tests

    before, other = np.full(count, _NONE), np.full(count, -1)
    before[of], other[of] = alone[1], alone[0].other
    told = alone[0]
    return TestsPay(
        row=row,
        tree=tree,
        part=part,
        action=action,
        reason=reason,
        before=before,
        worth=testing.Worth(
            over_all(told.changes), over_all(told.spares), over_all(told.takes),
            over_all(told.avoided), other,
        ),
        together=over_all(together[0].changes),
        also=also,
        always=np.array([rule.always for rule in rules], np.bool_)[made.rule[row]],
    )  # fmt: skip


def _set_to(
    cases: Cases, made: Candidates, row: Ints, parameters: Parameters
) -> tuple[Flags, Ints]:
    """Part rows that a test can be done on, and bits of the parts beside the one that it names.

    A candidate names the worst part; the same instrument is set to the others of its rule.
    """
    parts = cases.parts
    tested = np.zeros(len(parts.tree), np.bool_)
    also = np.zeros(len(row), np.int64)
    bit = np.int64(1) << parts.part.astype(np.int64)
    for number in np.unique(made.rule[row]):
        mine = np.flatnonzero(made.rule[row] == number)
        condition = parameters.work.rules[number].condition
        fits = np.isin(parts.tree, made.tree[row[mine]])
        fits &= matches(condition, parts, cases.state)
        tested |= fits
        of_tree = any_bit(len(cases.state.rating), parts.tree[fits], bit[fits])
        own = np.int64(1) << made.part[row[mine]].astype(np.int64)
        also[mine] = of_tree[made.tree[row[mine]]] & ~own
    return tested, also


def _softened(cases: Cases, tested: Flags, known: Known) -> Words:
    """Word of each part row if every part that a test can be done on proved sound, (part rows,)."""
    # What a fungus or the wind makes of a part falls away; what an eye saw stays.
    eyes = Eyes.of(cases.parts.tree * PARTS + cases.parts.part, known)
    seen = np.maximum(np.maximum(eyes.visual, eyes.strength), int(FailureWord.IMPROBABLE))
    lower = np.minimum(seen, np.maximum(cases.parts.failure, 1))
    return np.where(tested, lower, cases.parts.failure).astype(np.int8)


def also_names(bits: Ints) -> list[str | None]:
    """Parts of bits as a statement and a table say them: 'butt|stem', None for none."""
    return [
        "|".join(name for at, name in enumerate(inputs.PARTS) if one >> at & 1) or None
        for one in bits.tolist()
    ]


def _worth(
    cases: Cases,
    tree: Ints,
    part: Words,
    found: Found,
    lowered: Words | None,
    parameters: Parameters,
) -> tuple[testing.Worth, Ints]:
    """Worth of the tests, and the action without each: a copy as it is, one for each word."""
    count = len(tree)
    told = cases.parts.failure if lowered is None else lowered
    key = cases.parts.tree * PARTS + cases.parts.part
    now = cases.parts.failure[place_of(tree * PARTS + part, key)]
    test, word = np.nonzero(found.by_word.chance > 0)
    safe = np.where(found.fails > 0, found.fails, 1.0)
    copies = Copies(
        tree=np.concatenate([tree, tree[test]]),
        part=np.concatenate([part, part[test]]),
        word=np.concatenate([now, (word + 1).astype(np.int8)]),
        fails=np.concatenate([np.ones(count), found.by_word.fails[test, word] / safe[test]]),
        measured=np.concatenate([np.zeros(count, np.bool_), found.measured[test]]),
    )
    of_copies = copied(cases, copies, told, parameters)
    rule = _rules_chosen(of_copies, parameters)
    rules = parameters.work.rules
    actions = np.array([*(inputs.ACTIONS.index(r.action) for r in rules), _NONE], np.int64)
    left = _left(of_copies, rule, np.arange(len(rule)), parameters)
    first = rule[:count]
    instead = _left(of_copies, first[test], count + np.arange(len(test)), parameters)
    shape = (count, testing.WORDS)
    after = np.full(shape, _NONE)
    left_after, left_before = np.zeros(shape), np.zeros(shape)
    after[test, word] = actions[rule[count:]]
    left_after[test, word], left_before[test, word] = left[count:], instead
    before = actions[first]
    worth = testing.worth(
        found.by_word.chance, before, after, left_before, left_after, _value_kept(parameters)
    )
    return worth, before


def _rules_chosen(cases: Cases, parameters: Parameters) -> Ints:
    """Rule of the work that is chosen in each case without any test, the last of all if none."""
    made = made_for(cases, parameters)
    phase = np.array([rule.phase for rule in parameters.work.rules], np.int64)[made.rule]
    made = made.take(phase != TEST)
    count = len(cases.state.rating)
    choice = choose(
        made, parameters.work.rules, cases.state, accepted=parameters.accepted,
        imminent=cases.imminent, acknowledged=np.ones(count, np.bool_),
    )  # fmt: skip
    none = len(parameters.work.rules)
    return np.append(made.rule, none)[np.where(choice.main >= 0, choice.main, len(made.rule))]


def _left(cases: Cases, rule: Ints, case: Ints, parameters: Parameters) -> Floats:
    """Harm a year that rules leave in cases, all of it where nothing is done; (asked,)."""
    harm = np.bincount(cases.pairs.tree, weights=cases.harm, minlength=len(cases.state.rating))
    left = np.asarray(harm, np.float64)[case]
    for number in np.unique(rule):
        mine = np.flatnonzero(rule == number)
        if number < len(parameters.work.rules):
            one = parameters.work.rules[number]
            left[mine] = left_by(one, case[mine], cases, parameters).harm
    return left


def _value_kept(parameters: Parameters) -> Floats:
    """Share of a tree's value that each action keeps; doing nothing keeps all."""
    kept = np.ones(_NONE + 1)
    for rule in parameters.work.rules:
        kept[inputs.ACTIONS.index(rule.action)] = rule.value_kept
    return kept


def tests_pay_columns(
    pay: TestsPay, keys: Ints, candidates: Works, crew_hours: Floats
) -> dict[str, object]:
    """Columns of scoring.tests_that_pay.

    Parameters
    ----------
    keys : of the trees with evidence.
    candidates, crew_hours : all candidate actions, sorted, and the hours of each.
    """
    size = len(inputs.ACTIONS)
    asked = place_of(keys[pay.tree] * size + pay.action, candidates.tree * size + candidates.action)
    chosen, hours = candidates.chosen[asked], crew_hours[asked]
    names = (*inputs.ACTIONS, "none")
    told, worth = pay.reason < 0, pay.worth
    known = told | (pay.reason == _BLIND)
    order = np.lexsort((pay.action, keys[pay.tree]))

    def few(values: Floats) -> object:
        return optional((values + 0.0)[order], known[order])

    return {
        "tree_key": keys[pay.tree][order],
        "action": labels(pay.action[order], inputs.ACTIONS),
        "part": small(pay.part[order]),
        "probability_changes": few(np.clip(worth.changes, 0.0, 1.0)),
        "probability_spares": few(np.clip(worth.spares, 0.0, 1.0)),
        "probability_takes": few(np.clip(worth.takes, 0.0, 1.0)),
        "probability_together": few(np.clip(pay.together, 0.0, 1.0)),
        "harm_avoided_per_year": few(worth.avoided),
        "hours": hours[order],
        "harm_avoided_per_hour": few(worth.avoided / hours),
        "without": labels(np.where(known, pay.before, -1)[order], names),
        "likeliest": labels(worth.other[order], names),
        "chosen": chosen[order],
        "also": also_names(pay.also[order]),
        "reason": labels(pay.reason[order], REASONS),
    }
