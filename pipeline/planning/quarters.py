"""The calendar of a plan: quarters and dates as whole days, so that arrays can hold them.

Days count from 1970-01-01, as Arrow's and numpy's dates do. `NEVER` stands for a date that is not
there and sorts after every real one.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from pipeline.settings.quarter import Quarter
from pipeline.units import Ints

NEVER = np.iinfo(np.int32).max
_EPOCH = date(1970, 1, 1)


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return (day - _EPOCH).days


def as_date(number: int) -> date:
    """The date of a day number."""
    return _EPOCH + timedelta(days=int(number))


@dataclass(frozen=True, slots=True)
class Horizon:
    """The quarters planned; `first` and `last` are their first and last days, shape (quarters,)."""

    quarters: tuple[Quarter, ...]
    first: Ints
    last: Ints

    @property
    def labels(self) -> tuple[str, ...]:
        """The quarters as people write them."""
        return tuple(str(quarter) for quarter in self.quarters)

    @property
    def end(self) -> int:
        """The last day planned."""
        return int(self.last[-1])

    def index(self, quarter: Quarter) -> int:
        """Place of a quarter; those before the first count as the first, later ones as `len`."""
        if quarter <= self.quarters[0]:
            return 0
        return self.quarters.index(quarter) if quarter in self.quarters else len(self.quarters)


def horizon(first: Quarter, count: int, *, as_of: date) -> Horizon:
    """`count` quarters from `first`; a quarter that is under way starts on the day of the run.

    A quarter that has passed keeps its last day and starts after it: it holds no day.
    """
    quarters = first.following(count)
    starts = np.array([day_number(quarter.first_day) for quarter in quarters], dtype=np.int64)
    ends = np.array([day_number(quarter.last_day) for quarter in quarters], dtype=np.int64)
    return Horizon(quarters, np.clip(starts, day_number(as_of), None), ends)
