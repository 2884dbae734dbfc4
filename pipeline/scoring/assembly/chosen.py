"""From rated pairs to the chosen action of each tree with evidence."""

from dataclasses import dataclass, replace

import numpy as np

from pipeline.scoring.actions.candidates import (
    MAKE_SAFE,
    PRESUME,
    TEST,
    Candidates,
    Choice,
    choose,
)
from pipeline.scoring.actions.rules import TreeState, no_climb
from pipeline.scoring.assembly.cases import Cases, any_row, as_they_are, made_for
from pipeline.scoring.assembly.columns import place_of
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.judged import Judged
from pipeline.scoring.assembly.targets import Pairs
from pipeline.scoring.assembly.tests_found import Known
from pipeline.scoring.assembly.tests_pay import TestsPay, tests_pay
from pipeline.scoring.failure.bands import PartWords, YearlyProbability
from pipeline.scoring.parameters import Parameters
from pipeline.tables import inputs
from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True)
class Chosen:
    """What is to be done to each tree with evidence, each shape (trees with evidence,).

    Parameters
    ----------
    choice, program : what is chosen from the rating that stands, and from the program's own.
    climb_rule : first rule that forbids climbing, -1 if none.
    lead : row of the part evidence with the highest action code, -1 without a fungus.
    acknowledged : a person has acknowledged make-safe, and nothing worse was seen since.
    pay : the tests and what they are worth.
    """

    state: TreeState
    made: Candidates
    choice: Choice
    program_made: Candidates
    program: Choice
    climb_rule: Ints
    lead: Ints
    make_safe: Flags
    presumed: Flags
    tested: Flags
    acknowledged: Flags
    pay: TestsPay


@dataclass(frozen=True)
class Ratings:
    """Rating words of the trees with evidence: the program's, and that which stands; (trees,)."""

    program: Words
    stands: Words


def choose_actions(
    pairs: Pairs,
    judged: Judged,
    seen: PartWords,
    known: Known,
    *,
    ratings: Ratings,
    occupancy: Words,
    acknowledged: Flags,
    parameters: Parameters,
) -> Chosen:
    """Candidates and choice: where a person rated a tree, from that rating.

    Parameters
    ----------
    seen : words before mechanics spoke.
    occupancy, acknowledged : shape (trees with evidence,).
    """
    evidence = known.evidence
    count = len(evidence.trees)
    parts = evidence.parts
    cases = as_they_are(
        evidence, pairs, judged, seen, rating=ratings.program, occupancy=occupancy,
        chance=_chances(parts.tree, parts.part, evidence, known.chance),
    )  # fmt: skip
    program_made = made_for(cases, parameters)
    pay = tests_pay(cases, program_made, known, parameters)
    program = _choice(cases, program_made, pay, acknowledged, known, parameters)
    made, choice, state = program_made, program, cases.state
    if (ratings.stands != ratings.program).any():
        state = replace(state, rating=ratings.stands)
        cases = replace(cases, state=state)
        made = made_for(cases, parameters)
        pay = tests_pay(cases, made, known, parameters)
        choice = _choice(cases, made, pay, acknowledged, known, parameters)
    _, climb_rule = no_climb(parameters.work.no_climb, evidence.parts, state)
    phase = np.array([rule.phase for rule in parameters.work.rules], np.int64)[made.rule]
    return Chosen(
        state=state,
        made=made,
        choice=choice,
        program_made=program_made,
        program=program,
        climb_rule=climb_rule,
        lead=_lead(evidence, count),
        make_safe=any_row(count, made.tree[phase == MAKE_SAFE]),
        presumed=any_row(count, made.tree[phase == PRESUME]),
        tested=any_row(count, made.tree[(phase == TEST) & choice.chosen]),
        acknowledged=acknowledged,
        pay=pay,
    )


def _choice(
    cases: Cases,
    made: Candidates,
    pay: TestsPay,
    acknowledged: Flags,
    known: Known,
    parameters: Parameters,
) -> Choice:
    """The choice; a test of which nothing can be reckoned is asked for where a rating is over."""
    rules = parameters.work.rules
    presumed = any_row(
        len(cases.state.rating),
        made.tree[np.array([r.phase == PRESUME for r in rules])[made.rule]],
    )
    over = (cases.state.rating > parameters.accepted) | presumed
    pays = pay.pays(made, over, parameters.work.results.least_chance)
    pays |= np.array([rule.always for rule in rules])[made.rule]
    # A fungus that is known by its name needs no other eye.
    named = np.array([rule.action == "expert_identification" for rule in rules])[made.rule]
    parts = cases.parts
    at = place_of(
        made.tree * len(inputs.PARTS) + made.part, parts.tree * len(inputs.PARTS) + parts.part
    )
    sure = known.evidence.parts.certainty[at] >= parameters.work.name_sure
    return choose(
        made,
        rules,
        cases.state,
        accepted=parameters.accepted,
        imminent=cases.imminent,
        acknowledged=acknowledged,
        chance=_chances(made.tree, made.part, known.evidence, known.chance),
        pays=pays & ~(named & sure),
    )


def _chances(tree: Ints, part: Words, evidence: Evidence, chance: YearlyProbability) -> Floats:
    """Yearly chance that parts of trees, places in Evidence, fail; 0 where no witness spoke."""
    words, parts = evidence.words, len(inputs.PARTS)
    key = evidence.trees[tree] * parts + part
    return np.append(chance.middle, 0.0)[place_of(key, words.tree * parts + words.part)]


def _lead(evidence: Evidence, count: int) -> Ints:
    parts = evidence.parts
    rows = np.flatnonzero(parts.taxon >= 0)
    order = rows[np.lexsort((-parts.certainty[rows], -parts.code[rows].astype(int)))]
    lead = np.full(count, -1, np.int64)
    lead[parts.tree[order[::-1]]] = order[::-1]
    return lead
