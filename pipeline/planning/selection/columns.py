"""Columns: every period and pool that a job may be put into, and what each would bring.

A column exists only where the crew can do the work, the season is open, and no decision stands
against it: what is impossible never reaches the solver. Value and lateness of a column are told
here and nowhere else.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.planning.selection.instance import DAYS_PER_YEAR, Instance
from pipeline.units import Floats, Ints


@dataclass(frozen=True, slots=True)
class Columns:
    """All columns, each value of shape (columns,), in the order of job, period and rank.

    Parameters
    ----------
    first, last : first and last open day within the period.
    harm : expected harm avoided within the years counted.
    saved : weighted late days saved against leaving the job out.
    late : weighted late days.
    start : first column of each job and the end, shape (jobs + 1,).
    left_late : weighted late days of each job if it is left out, shape (jobs,).
    """

    job: Ints
    period: Ints
    pool: Ints
    first: Ints
    last: Ints
    hours: Floats
    cost: Floats
    harm: Floats
    saved: Floats
    late: Floats
    start: Ints
    left_late: Floats

    def __len__(self) -> int:
        """Number of columns."""
        return int(self.job.size)

    def only(self, kept: Ints) -> "Columns":
        """Some of the columns, in their order."""
        values = {
            name: getattr(self, name)[kept]
            for name in Columns.__slots__
            if name not in {"start", "left_late"}
        }
        start = np.searchsorted(values["job"], np.arange(self.start.size))
        return Columns(**values, start=start, left_late=self.left_late)


def open_days(instance: Instance) -> tuple[Ints, Ints]:
    """Next open day and last day of its run, by season and day, both of shape (seasons, days + 1).

    Days count from the first day of the supply; the last place stands for 'after all of them'.
    """
    days = instance.supply.daily.shape[0]
    seasons = len(instance.supply.closed)
    following = np.full((seasons, days + 1), days, dtype=np.int64)
    run_end = np.full((seasons, days + 1), days, dtype=np.int64)
    for number, spans in enumerate(instance.supply.closed):
        shut = np.zeros(days + 1, dtype=bool)
        for begins, ends in (spans - instance.supply.first_day).tolist():
            shut[max(begins, 0) : max(ends + 1, 0)] = True
        shut[days] = False
        place = np.arange(days + 1)
        nearest = np.where(shut, days, place)
        following[number] = np.minimum.accumulate(nearest[::-1])[::-1]
        closing = np.where(shut, place, days)
        run_end[number] = np.minimum.accumulate(closing[::-1])[::-1] - 1
        run_end[number, days] = days
    return following, run_end


def make_columns(instance: Instance) -> Columns:
    """All columns of an instance whose jobs stand in the order of their ties."""
    demand, supply, periods = instance.demand, instance.supply, instance.periods
    following, run_end = open_days(instance)
    days = supply.daily.shape[0]
    total = np.concatenate((np.zeros((1, supply.daily.shape[1])), np.cumsum(supply.daily, axis=0)))
    from_day = np.maximum(demand.earliest - supply.first_day, 0)[:, None]
    first = np.maximum(from_day, (periods.first - supply.first_day)[None, :])
    first = following[demand.season[:, None], np.minimum(first, days)]
    last = np.minimum(
        run_end[demand.season[:, None], first], (periods.last - supply.first_day)[None, :]
    )
    allowed = (first <= last) & (demand.opens[:, None] <= periods.stretch[None, :])
    allowed &= demand.pinned[:, None] <= periods.stretch[None, :]
    able = supply.rank[demand.group] > 0 if len(demand) else np.zeros((0, supply.rate.size), bool)
    job, period, pool = np.nonzero(allowed[:, :, None] & able[:, None, :])
    begins, ends = first[job, period], last[job, period]
    works = total[ends + 1, pool] - total[begins, pool] > 0
    works &= supply.granted[periods.stretch[period], pool] > 0
    job, period, pool, begins, ends = (a[works] for a in (job, period, pool, begins, ends))
    order = np.lexsort((supply.rank[demand.group[job], pool], period, job))
    job, period, pool, begins, ends = (a[order] for a in (job, period, pool, begins, ends))
    middle = supply.first_day + (begins + ends) // 2
    late, left_late = _lateness(instance, job, middle)
    counted = np.maximum(instance.aims.today + instance.aims.years * DAYS_PER_YEAR - middle, 0.0)
    return Columns(
        job=job,
        period=period,
        pool=pool,
        first=begins + supply.first_day,
        last=ends + supply.first_day,
        hours=demand.hours[job],
        cost=demand.hours[job] * supply.rate[pool],
        harm=demand.worth[job] * counted / DAYS_PER_YEAR,
        saved=left_late[job] - late,
        late=late,
        start=np.searchsorted(job, np.arange(len(demand) + 1)),
        left_late=left_late,
    )


def _lateness(instance: Instance, job: Ints, middle: Ints) -> tuple[Floats, Floats]:
    """Weighted late days of each column, and of each job if it is left out."""
    demand, end = instance.demand, int(instance.periods.last.max(initial=instance.aims.today))
    out = np.maximum(end + instance.aims.left_out_days - demand.deadline, 0)
    late = np.minimum(np.maximum(middle - demand.deadline[job], 0), out[job])
    return late * demand.weight[job], out * demand.weight
