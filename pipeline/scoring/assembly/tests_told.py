"""What is told of the tests of a tree: what each to be done may change, or that none may."""

from collections.abc import Callable

import numpy as np

from pipeline.scoring.assembly.columns import place_of
from pipeline.scoring.assembly.tests_pay import TestsPay, also_names
from pipeline.scoring.assembly.works import Works
from pipeline.scoring.explanation import Facts, Many, words_at
from pipeline.tables import inputs
from pipeline.units import Ints

_ACTIONS = (*inputs.ACTIONS, "none")


def tell_tests(
    facts: Facts, pay: TestsPay, keys: Ints, works: Works, place: Callable[[Ints], Ints]
) -> None:
    """The worth of every test that is to be done; of trees with none, that none would pay.

    Parameters
    ----------
    keys : of the trees with evidence; place : fact set of tree keys.
    """
    if not len(pay.row):
        return
    size = len(inputs.ACTIONS)
    tree = keys[pay.tree]
    at = place_of(tree * size + pay.action, works.tree * size + works.action)
    chosen = works.chosen[at]
    told = np.flatnonzero(chosen & (pay.reason < 0))
    idle = np.setdiff1d(tree, tree[chosen])
    worth = pay.worth
    facts.tell(
        Many("test_worth", place(tree[told]), told, {
            "action": words_at(pay.action[told], inputs.ACTIONS),
            "part": words_at(pay.part[told], inputs.PARTS),
            "changes_share": worth.changes[told],
            "spares_share": worth.spares[told],
            "takes_share": worth.takes[told],
            "together_share": pay.together[told],
            "also": also_names(pay.also[told]),
            "always": pay.always[told],
            "without": words_at(pay.before[told], _ACTIONS),
            "likeliest": [
                _ACTIONS[one] if one >= 0 else None for one in worth.other[told].tolist()
            ],
        }),
        Many("test_none_pays", place(idle), idle),
    )  # fmt: skip
