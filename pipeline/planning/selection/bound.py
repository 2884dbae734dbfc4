"""The bound: no plan can be better than this, whatever prices are put in.

With prices of 0 or more for the limits, what a plan gains is at most what each job would gain at
its best when it had to pay those prices, and the prices of all there is. Good prices make the
bound tight; bad ones only make it loose. So it needs no trust in whoever found the prices.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipeline.planning.selection.columns import Columns
from pipeline.planning.selection.rows import Rows
from pipeline.units import Flags, Floats


@dataclass(frozen=True, slots=True)
class Goal:
    """One thing to be made large, within the limits.

    Parameters
    ----------
    gain : of each column, shape (columns,).
    extra_gain : of each extra, shape (extras,).
    saved : that no plan may fall below `least`, of each column, shape (columns,).
    least : what must be reached of it; minus infinity where nothing must.
    must : jobs that have to be done, shape (jobs,).
    """

    gain: Floats
    extra_gain: Floats
    saved: Floats
    least: float
    must: Flags

    def of(self, taken: Floats, extras: Floats) -> float:
        """What a plan gains."""
        return float(self.gain @ taken + self.extra_gain @ extras)

    def undone(self, taken: Floats, columns: Columns) -> bool:
        """Whether a job that has to be done is not."""
        done = np.zeros(self.must.size, dtype=bool)
        done[columns.job[taken > 0]] = True
        return bool((self.must & ~done).any())


def paid(
    goal: Goal, rows: Rows, prices: Floats, price_of_late: float, *, limits: sparse.csr_array
) -> tuple[Floats, Floats]:
    """What each column and each extra would gain after it has paid for what it uses.

    Parameters
    ----------
    prices : of the limits, each 0 or more, shape (rows,).
    price_of_late : of a weighted late day, 0 or more.
    limits : the transpose of the limits, shape (columns, rows).
    """
    column = goal.gain - limits @ prices + price_of_late * goal.saved
    return column, goal.extra_gain - rows.extra.T @ prices


def bound(goal: Goal, columns: Columns, rows: Rows, prices: Floats, price_of_late: float) -> float:
    """The most that any plan can gain."""
    prices, late = np.maximum(prices, 0.0), max(price_of_late, 0.0)
    if not np.isfinite(goal.least):
        late = 0.0
    column, extra = paid(goal, rows, prices, late, limits=rows.limits.T.tocsr())
    best = np.where(goal.must, -np.inf, 0.0)
    np.maximum.at(best, columns.job, column)
    total = float(best.sum() + prices @ rows.room + np.maximum(extra, 0.0) @ rows.most)
    return total - (late * goal.least if late > 0 else 0.0)
