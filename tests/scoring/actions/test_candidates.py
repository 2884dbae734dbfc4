"""Which actions speak, what they leave, which is chosen."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.scoring.actions.candidates import (
    DUE,
    MAKE_SAFE,
    PRESUME,
    TEST,
    WATCH,
    WORK,
    ActionRule,
    Candidates,
    Choice,
    RatedPairs,
    candidates,
    choose,
)
from pipeline.scoring.actions.rules import (
    Condition,
    NoClimbRule,
    PartEvidence,
    TreeState,
    matches,
    no_climb,
)
from pipeline.terms import FailureWord, Part, RatingWord
from pipeline.units import Flags, Words

STEM = PartEvidence(
    tree=np.array([0]),
    part=np.array([Part.STEM], np.int8),
    failure=np.array([FailureWord.PROBABLE], np.int8),
    code=np.array([4], np.int8),
    certainty=np.array([0.6]),
    rot=np.array([2], np.int8),
    taxon=np.array([7]),
    measured=np.array([False]),
    defects=np.array([0b10]),
)
TREE = TreeState(
    rating=np.array([RatingWord.HIGH], np.int8),
    occupancy=np.array([3], np.int8),
    target_kinds=np.array([0b100]),
    defects=np.array([0b110]),
)


@pytest.mark.parametrize(
    ("rule", "speaks"),
    [
        (Condition(), True),
        (Condition(parts=(Part.STEM,)), True),
        (Condition(parts=(Part.ROOTS, Part.BRANCH)), False),
        (Condition(failure_from=3), True),
        (Condition(failure_from=4), False),
        (Condition(failure_to=2), False),
        (Condition(rating_from=3), True),
        (Condition(rating_from=4), False),
        (Condition(code_from=4), True),
        (Condition(code_from=5), False),
        (Condition(certainty_from=0.6), True),
        (Condition(certainty_from=0.61), False),
        (Condition(rots=(2, 3)), True),
        (Condition(rots=(1,)), False),
        (Condition(defects=0b10), True),
        (Condition(defects=0b100), False),  # on the tree, not on this part
        (Condition(not_defects=0b100), False),
        (Condition(not_defects=0b1000), True),
        (Condition(unmeasured=True), True),
        (Condition(occupancy_from=3), True),
        (Condition(occupancy_from=4), False),
        (Condition(target_kinds=0b100), True),
        (Condition(target_kinds=0b11), False),
    ],
)
def test_each_condition_at_its_limit(rule: Condition, speaks: bool) -> None:
    assert bool(matches(rule, STEM, TREE)[0]) is speaks


def test_a_measured_part_is_not_unknown() -> None:
    measured = replace(STEM, measured=np.array([True]))
    assert not matches(Condition(unmeasured=True), measured, TREE)[0]


def test_the_first_rule_that_forbids_climbing_is_told() -> None:
    never = NoClimbRule("never", Condition(failure_from=4), "a")
    first = NoClimbRule("first", Condition(code_from=4), "b")
    second = NoClimbRule("second", Condition(), "c")
    forbidden, rule = no_climb((never, first, second), STEM, TREE)
    assert forbidden[0]
    assert rule[0] == 1


def _rule(
    action: str,
    phase: int,
    residual: str = "same",
    share: float = 1.0,
    *,
    parts: tuple[int, ...] = (),
) -> ActionRule:
    return ActionRule(
        action, phase, action, Condition(parts=parts), "climb", "none", residual, share, 1.0, "why"
    )


# A rating that is the failure word itself: what an action leaves can then be read off.
def _rate(failure: Words) -> Words:
    return failure


PAIRS = RatedPairs(
    tree=np.array([0, 0]),
    part=np.array([Part.STEM, Part.BRANCH], np.int8),
    failure=np.array([3, 2], np.int8),
    harm=np.array([8.0, 2.0]),
    target_kinds=np.array([0b1, 0b10]),
    rating=np.array([3, 2], np.int8),
)
PER_YEAR = np.array([0.001, 0.01, 0.1, 1.0])


def _left(rule: ActionRule) -> tuple[int, float]:
    evidence = replace(
        STEM,
        **{
            name: np.repeat(getattr(STEM, name), 2)
            for name in ("tree", "failure", "code", "certainty", "rot", "taxon", "measured",
                         "defects")
        },
        part=PAIRS.part,
    )  # fmt: skip
    made = candidates((rule,), evidence, TREE, PAIRS, rate=_rate, per_year=PER_YEAR)
    return int(made.residual_rating[0]), float(made.residual_harm[0])


@pytest.mark.parametrize(
    ("rule", "rating", "harm"),
    [
        (_rule("inspect", TEST, "same", 0.5), 3, 5.0),
        (_rule("remove", WORK, "gone", 0.0), 1, 0.0),
        (_rule("make_safe", MAKE_SAFE, "target_gone", 0.05), 1, 0.5),
        # The stem falls from probable to possible: a tenth of its harm; the branch stays.
        (_rule("reduce_crown", WORK, "one_less", 1.0, parts=(Part.STEM,)), 2, 0.8 + 2.0),
        # The branch is gone to improbable: a tenth of its harm; the stem stays.
        (_rule("prune_part", WORK, "improbable", 1.0, parts=(Part.BRANCH,)), 3, 8.0 + 0.2),
    ],
    ids=lambda value: value.action if isinstance(value, ActionRule) else "",
)
def test_what_an_action_leaves(rule: ActionRule, rating: int, harm: float) -> None:
    left = _left(rule)
    assert left[0] == rating
    assert left[1] == pytest.approx(harm)


RULES = (
    _rule("make_safe", MAKE_SAFE),
    _rule("remove", PRESUME),
    _rule("prune_part", WORK),
    _rule("reduce_crown", WORK),
    _rule("remove", WORK),
    _rule("drill", TEST),
    _rule("retain_monitor", WATCH),
    _rule("habitat_pole", DUE),
)


def _chosen(
    rules: list[int],
    residual: list[int],
    *,
    rating: RatingWord = RatingWord.HIGH,
    imminent: bool = False,
    acknowledged: bool = False,
) -> tuple[str, set[str]]:
    made = Candidates(
        tree=np.zeros(len(rules), np.int64),
        rule=np.array(rules),
        part=np.zeros(len(rules), np.int8),
        failure=np.full(len(rules), 3, np.int8),
        residual_rating=np.array(residual, np.int8),
        residual_harm=np.zeros(len(rules)),
    )
    flag: Flags = np.array([imminent])
    choice: Choice = choose(
        made,
        RULES,
        replace(TREE, rating=np.array([rating], np.int8)),
        accepted=int(RatingWord.MODERATE),
        imminent=flag,
        acknowledged=np.array([acknowledged]),
    )
    main = int(choice.main[0])
    names = {RULES[rules[row]].action for row in np.flatnonzero(choice.chosen)}
    return ("" if main < 0 else RULES[rules[main]].action), names


def test_the_gentlest_that_reaches_is_chosen() -> None:
    assert _chosen([2, 3, 4], [2, 2, 1])[0] == "prune_part"
    assert _chosen([2, 3, 4], [3, 2, 1])[0] == "reduce_crown"


def test_removal_only_when_nothing_gentler_reaches() -> None:
    assert _chosen([2, 3, 4], [3, 3, 1])[0] == "remove"


def test_where_nothing_reaches_the_most_helpful_is_chosen() -> None:
    assert _chosen([2, 3], [4, 3], rating=RatingWord.EXTREME)[0] == "reduce_crown"


def test_a_look_comes_before_the_saw_unless_it_fails_now() -> None:
    assert _chosen([4, 5], [1, 3])[0] == "drill"
    assert _chosen([4, 5], [1, 3], imminent=True)[0] == "remove"
    assert _chosen([2, 5], [1, 3])[0] == "prune_part"


def test_a_presumed_removal_has_its_check_beside_it() -> None:
    main, chosen = _chosen([0, 1, 2, 5], [1, 1, 1, 3])
    assert main == "remove"
    assert chosen == {"make_safe", "remove", "drill"}


def test_an_accepted_rating_is_watched() -> None:
    assert _chosen([4, 6], [1, 2], rating=RatingWord.MODERATE)[0] == "retain_monitor"


def test_what_only_gets_worse_is_done_at_an_accepted_rating_too() -> None:
    """A dead tree over a target is taken down or made a pole: common practice, no source."""
    assert _chosen([6, 7], [2, 1], rating=RatingWord.MODERATE)[0] == "habitat_pole"
    assert _chosen([4, 7], [1, 1])[0] == "remove"
    assert _chosen([5, 7], [2, 1], rating=RatingWord.MODERATE)[0] == "drill"


def test_an_acknowledged_make_safe_is_not_sent_out_again() -> None:
    assert "make_safe" in _chosen([0, 6], [1, 3])[1]
    assert "make_safe" not in _chosen([0, 6], [1, 3], acknowledged=True)[1]
