"""Chance for the sample town, made of integers only.

The raw integers of numpy's PCG64 are promised to stay the same over versions; everything else here
is integer arithmetic, or the four operations and a square root, which IEEE 754 fixes to the bit.
"""

import itertools
from collections.abc import Sequence
from typing import TypeVar

import numpy as np

T = TypeVar("T")

SEED = 20_261_115
_BLOCK = 4096
_MILLION = 1_000_000


class Draws:
    """One stream of integers; each subject of the town has its own, so one can change alone.

    Parameters
    ----------
    subject : number of the subject, added to the seed.
    """

    def __init__(self, subject: int) -> None:
        """Start the stream."""
        self._source = np.random.PCG64(SEED + subject)
        self._block: list[int] = []

    def raw(self) -> int:
        """The next 64-bit integer."""
        if not self._block:
            self._block = [int(value) for value in self._source.random_raw(_BLOCK)]
            self._block.reverse()
        return self._block.pop()

    def below(self, limit: int) -> int:
        """An integer from 0 to limit - 1."""
        return (self.raw() >> 11) % limit

    def between(self, low: int, high: int) -> int:
        """An integer from low to high, both included."""
        return low + self.below(high - low + 1)

    def chance(self, share: float) -> bool:
        """True in the given share of cases, to the nearest millionth."""
        return self.below(_MILLION) < round(share * _MILLION)

    def bell(self) -> float:
        """A bell-shaped number, mean 0, standard deviation 1: twelve uniform integers summed."""
        total = sum((self.raw() >> 40) & 0xFFFF for _ in range(12))
        return (total - 12 * 32767.5) / 65536

    def pick(self, items: Sequence[T]) -> T:
        """One of the items."""
        return items[self.below(len(items))]

    def weighted(self, items: Sequence[T], weights: Sequence[int]) -> T:
        """One of the items, by whole-number weights."""
        mark = self.below(sum(weights))
        for item, weight in zip(items, weights, strict=True):
            if mark < weight:
                return item
            mark -= weight
        return items[-1]

    def shuffled(self, items: Sequence[T]) -> list[T]:
        """The items in a new order."""
        order = list(items)
        for last in range(len(order) - 1, 0, -1):
            other = self.below(last + 1)
            order[last], order[other] = order[other], order[last]
        return order

    def quantile(self, table: Sequence[tuple[int, float]]) -> float:
        """A number whose distribution is the table of (permille, value), straight between them."""
        mark = self.below(1000 * 1000) / 1000
        for (low, low_value), (high, high_value) in itertools.pairwise(table):
            if mark <= high:
                return low_value + (high_value - low_value) * (mark - low) / (high - low)
        return table[-1][1]
