"""What there is of hours, machines and money in each week and quarter, as the selection wants it.

The lead-in and the first quarter are cut into weeks; later quarters are whole. A week holds the
hours of its working days, a stretch those granted: what presses may take a crew's days in a row.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.planning.capacity import lead_in_shifts, pool_hours, working_days
from pipeline.planning.quarters import NEVER
from pipeline.planning.selection.instance import (
    NOWHERE,
    Aims,
    Demand,
    Instance,
    Periods,
    Supply,
)
from pipeline.planning.world import Work, World
from pipeline.units import MINUTES_PER_HOUR, Flags, Floats, Ints

_WEEK = 7
_MONDAY = 3  # 1970-01-01 was a Thursday: (day + 3) % 7 is 0 on Mondays


@dataclass(frozen=True, slots=True)
class Calendar:
    """Periods of the selection; `first` is the quarter of the first stretch, -1 for the lead-in."""

    periods: Periods
    first: int

    @property
    def lead_in(self) -> bool:
        """Whether the first stretch lies before the quarters."""
        return self.first < 0

    def quarter(self, period: Ints, *, before: int) -> Ints:
        """Place in the horizon of each period; `before` for the lead-in, NOWHERE for none."""
        stretch = self.periods.stretch[np.maximum(period, 0)] + self.first
        stretch = np.where(stretch < 0, before, stretch)
        return np.where(period == NOWHERE, NOWHERE, stretch)


def calendar(world: World, *, begin: int = -1) -> Calendar:
    """Weeks up to the end of the first quarter, then quarters.

    Parameters
    ----------
    begin : first quarter that is still open, -1 for the lead-in where there is one.
    """
    span, first, last, stretch = world.span, [], [], []
    if begin < 0 and world.as_of >= int(span.first[0]) - 1:
        begin = 0
    bounds = [(world.as_of + 1, int(span.first[0]) - 1)] if begin < 0 else []
    bounds += [(int(a), int(b)) for a, b in zip(span.first, span.last, strict=True)][
        max(begin, 0) :
    ]
    for number, (begins, ends) in enumerate(bounds):
        day = begins
        while day <= ends:
            week_ends = day + _WEEK - 1 - (day + _MONDAY) % _WEEK
            stop = min(week_ends, ends) if number + begin <= 0 else ends
            first.append(day)
            last.append(stop)
            stretch.append(number)
            day = stop + 1
    arrays = (np.array(values, dtype=np.int64) for values in (first, last, stretch))
    return Calendar(Periods(*arrays), begin)


def instance(
    work: Work,
    world: World,
    dates: Calendar,
    given: tuple[Floats, Floats, float],
    rows: Ints,
    may_lead_in: Flags,
) -> Instance:
    """The selection among these jobs.

    Parameters
    ----------
    given : hours with set-up and travel of each job, shape (jobs,); share of a pool's hours that
        is work, shape (pools,); money that is left.
    rows : jobs that are chosen among.
    may_lead_in : jobs that the lead-in may take, shape (jobs,).
    """
    used, share, money = given
    offset = -dates.first
    number = np.full(work.hours.shape, NOWHERE, dtype=np.int64)
    number[rows] = np.arange(rows.size)
    pairs = (number[work.links.removal] >= 0) & (number[work.links.test] >= 0)
    pinned = work.pinned[rows]
    due = np.where(pinned >= 0, world.span.last[np.maximum(pinned, 0)], work.deadline[rows])
    opens = np.where(may_lead_in[rows] & (pinned < 0), 0, offset)
    return Instance(
        Demand(
            hours=used[rows],
            group=work.group[rows],
            earliest=work.earliest[rows],
            deadline=due,
            weight=np.where(due == NEVER, 0.0, work.weight[rows]),
            worth=work.harm[rows],
            machine=work.machine[rows],
            ward=work.ward[rows],
            pinned=np.where(pinned >= 0, np.maximum(pinned + offset, 0), NOWHERE),
            opens=np.maximum(opens, 0),
            season=work.season[rows],
            tie=np.argsort(np.argsort(work.tie[rows])),
            removal=number[work.links.removal[pairs]],
            test=number[work.links.test[pairs]],
        ),
        _supply(work, world, dates, share, money),
        dates.periods,
        Aims(
            today=world.as_of,
            years=world.order.harm_years,
            left_out_days=world.order.left_out_days,
            fairness=world.budget.ward_share,
            shortfall_price=world.order.ward_price * world.order.harm_years,
            days_after_test=world.order.days_after_test,
        ),
    )


def _supply(work: Work, world: World, dates: Calendar, share: Floats, money: float) -> Supply:
    first = int(dates.periods.first[0]) if dates.periods.first.size else world.as_of + 1
    count = max(world.span.end - first + 1, 0)
    daily = np.zeros((count, len(world.pools)))
    granted = np.zeros((dates.periods.stretches, len(world.pools)))
    offset, quarter_begins = int(dates.lead_in), int(world.span.first[0])
    begun = max(dates.first, 0)
    hours = pool_hours(world.crews, world.pools, world.span, holidays=world.holidays)
    granted[offset:] = hours.T[begun:]
    for number, pool in enumerate(world.pools):
        for place in pool.crews:
            crew = world.crews[place]
            if crew.hours_per_quarter == 0:
                continue
            days = working_days(first, world.span.end, crew.days, holidays=world.holidays)
            daily[days - first, number] += crew.hours_per_day
            if dates.lead_in:
                _, minutes = lead_in_shifts(
                    crew, first, quarter_begins - 1, share=world.order.lead_in_share,
                    holidays=world.holidays,
                )  # fmt: skip
                granted[0, number] += minutes.sum() / MINUTES_PER_HOUR
    limits = world.budget
    machine = np.tile(limits.machine_hours, (dates.periods.stretches, 1))
    if dates.lead_in:
        machine[0] *= world.order.lead_in_share
    return Supply(
        rank=world.rank,
        rate=world.rates,
        first_day=first,
        daily=daily * share,
        granted=granted * share,
        machine=machine,
        budget=max(money, 0.0),
        overtime_share=limits.overtime_share,
        overtime_rate=limits.overtime_rate,
        closed=work.closed,
    )
