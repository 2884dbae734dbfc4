"""Which removal waits for which test."""

import numpy as np

from pipeline.planning.precedence import links


def test_pairs_are_those_on_one_tree() -> None:
    tree = np.array([5, 5, 2, 2, 5, 9, 7])
    removal = np.array([True, False, True, False, False, True, False])
    test = np.array([False, True, False, True, True, False, True])
    found = links(tree, removal, test)
    pairs = set(zip(found.removal.tolist(), found.test.tolist(), strict=True))
    assert pairs == {
        (cut, look)
        for cut in range(7)
        for look in range(7)
        if removal[cut] and test[look] and tree[cut] == tree[look]
    }


def test_the_last_test_counts_and_a_barred_one_does_not() -> None:
    tree = np.array([1, 1, 1, 2])
    found = links(tree, np.array([True, False, False, True]), np.array([False, True, True, False]))
    day = np.array([0, 10, 40, 0])
    assert found.ready(day, after=7)[0] == 47
    barred = np.array([False, False, True, False])
    assert found.without(barred).ready(day, after=7)[0] == 17
    assert found.ready(day, after=7)[3] < 0
    assert found.waiting(np.array([False, True, False, False])).tolist() == [
        True, False, False, False,
    ]  # fmt: skip
    assert found.tests(np.array([True, False, False, False])).tolist() == [
        False, True, True, False,
    ]  # fmt: skip
