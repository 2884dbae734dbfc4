"""A test comes before the saw: which jobs wait for which, as arrays.

A removal that is chosen together with a test of the same tree is presumed: the test may lift it.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Flags, Ints


@dataclass(frozen=True, slots=True)
class Links:
    """Pairs of a removal and a test of its tree, both of shape (pairs,), rows of the jobs."""

    removal: Ints
    test: Ints

    def without(self, barred: Flags) -> "Links":
        """The pairs whose test is not barred; `barred` has shape (jobs,)."""
        kept = ~barred[self.test]
        return Links(self.removal[kept], self.test[kept])

    def tests(self, removals: Flags) -> Flags:
        """Which jobs are tests of these removals, both of shape (jobs,)."""
        found = np.zeros(removals.shape, dtype=bool)
        found[self.test[removals[self.removal]]] = True
        return found

    def waiting(self, settled: Flags) -> Flags:
        """Which removals wait for a test that is not settled, both of shape (jobs,)."""
        found = np.zeros(settled.shape, dtype=bool)
        found[self.removal[~settled[self.test]]] = True
        return found

    def ready(self, tested: Ints, *, after: int) -> Ints:
        """First day of each job as its tests allow, shape (jobs,).

        Parameters
        ----------
        tested : last day of work of each job, far in the past where unknown, shape (jobs,).
        after : days from a test to the removal.
        """
        first = np.full(tested.shape, np.iinfo(np.int32).min, dtype=np.int64)
        np.maximum.at(first, self.removal, tested[self.test] + after)
        return first


def links(tree: Ints, removal: Flags, test: Flags) -> Links:
    """The pairs of removals and tests on one tree; all given by job, shape (jobs,)."""
    cut, look = np.flatnonzero(removal), np.flatnonzero(test)
    look = look[np.lexsort((look, tree[look]))]
    first = np.searchsorted(tree[look], tree[cut], side="left")
    count = np.searchsorted(tree[look], tree[cut], side="right") - first
    start = np.repeat(first - np.cumsum(count) + count, count)
    return Links(np.repeat(cut, count), look[start + np.arange(start.size)])
