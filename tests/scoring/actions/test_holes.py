"""Rule tables with holes are refused at load, naming the state; held to brute force."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.actions.candidates import TEST, WATCH, ActionRule
from pipeline.scoring.actions.holes import DEMANDS, hole
from pipeline.scoring.actions.rules import Condition, PartEvidence, TreeState, matches
from pipeline.scoring.parameters.work import check_seen, check_whole, work_parameters
from pipeline.terms import Part

RULES = work_parameters(Library(), region="us-mi").rules


def test_the_rules_as_shipped_have_an_answer_for_every_state() -> None:
    check_whole(RULES)


@pytest.mark.parametrize(
    ("without", "state"),
    [
        ("make_safe_imminent", "failure imminent"),
        ("make_safe_extreme", "rating extreme"),
        ("remove", "rating moderate"),
        ("monitor_fungus", "action_code R1"),
        ("monitor_rating", "rating moderate"),
    ],
)
def test_a_table_with_a_hole_is_refused_and_names_the_state(without: str, state: str) -> None:
    with pytest.raises(PublishedValueError, match=state):
        check_whole(tuple(rule for rule in RULES if rule.rule_id != without))


def test_a_hole_where_two_conditions_meet_is_found() -> None:
    """Each rule alone covers its column; only the corner of both is open."""
    kept = tuple(r for r in RULES if r.rule_id not in {"monitor_fungus", "sound_fungus"})
    watch = next(r for r in RULES if r.rule_id == "monitor_fungus")
    corner = (
        replace(watch, condition=Condition(code_from=1, parts=(0, 1, 2))),
        replace(watch, condition=Condition(code_from=1, rots=(0, 1, 2))),
    )
    with pytest.raises(PublishedValueError, match=r"part branch.*rot soft"):
        check_whole(kept + corner)


CONDITIONS = st.builds(
    Condition,
    parts=st.sets(st.integers(0, 3), max_size=3).map(lambda s: tuple(sorted(s))),
    failure_from=st.integers(0, 2),
    rating_from=st.integers(0, 2),
    code_from=st.integers(0, 2),
    rots=st.sets(st.integers(0, 3), max_size=3).map(lambda s: tuple(sorted(s))),
    defects=st.sampled_from([0, 0b1, 0b11]),
    not_defects=st.sampled_from([0, 0b10]),
    unmeasured=st.booleans(),
    occupancy_from=st.integers(0, 2),
)


@given(st.lists(CONDITIONS, min_size=1, max_size=4))
def test_holes_are_those_of_brute_force(conditions: list[Condition]) -> None:
    """All states are enumerated and asked of the matching that a run uses."""
    rules = tuple(
        ActionRule(
            f"r{n}", WATCH, "retain_monitor", c, "inspect", "none", "same", 1.0, 1.0, "why_retain"
        )
        for n, c in enumerate(conditions)
    )
    others = tuple(
        r for r in RULES if r.rule_id in {"make_safe_imminent", "make_safe_extreme", "remove"}
    )
    # Without a removal that answers, so that the rules of the case stand alone for watching.
    watching = tuple(d for d in DEMANDS if WATCH in d.phases)
    axes = np.array(
        list(product(range(4), range(5), (1, 2), range(3), range(4), (0, 1), (1, 2), range(4))),
        np.int64,
    )
    part, failure, rating, code, rot, measured, occupancy, defects = axes.T
    rows = np.arange(len(axes))
    evidence = PartEvidence(
        tree=rows, part=part.astype(np.int8), failure=failure.astype(np.int8),
        code=code.astype(np.int8), certainty=np.zeros(len(rows)), rot=rot.astype(np.int8),
        taxon=rows * 0, measured=measured == 1, defects=defects,
    )  # fmt: skip
    trees = TreeState(rating.astype(np.int8), occupancy.astype(np.int8), rows * 0, defects)
    answered = np.zeros(len(rows), np.bool_)
    for rule in (*rules, *(r for r in others if r.action == "remove")):
        answered |= matches(rule.condition, evidence, trees)
    wanted = np.zeros(len(rows), np.bool_)
    for demand in watching:
        wanted |= matches(demand.condition, evidence, trees)
    found = hole((*rules, *others))
    # Words above those enumerated behave as the highest of them: the conditions ask for no more.
    assert (found is not None) is bool((wanted & ~answered).any())


def test_a_test_that_cannot_see_the_part_is_refused() -> None:
    """Stem readings cannot judge a root rot: common practice, no source."""
    sees = Library().table("test_sees", folder="rules")
    drill = next(r for r in RULES if r.action == "drill")
    bad = replace(drill, condition=replace(drill.condition, parts=(Part.ROOTS, Part.STEM)))
    with pytest.raises(PublishedValueError, match="drill of roots"):
        check_seen((bad,), sees)
    unknown = PublishedTable("test_sees", sees.columns, ())
    with pytest.raises(PublishedValueError, match="drill of butt, stem"):
        check_seen((drill,), unknown)


def test_no_shipped_test_of_the_stem_is_asked_of_roots() -> None:
    for rule in RULES:
        if rule.phase == TEST and rule.action in {"drill", "tomography"}:
            assert Part.ROOTS not in rule.condition.parts
            assert rule.condition.parts
