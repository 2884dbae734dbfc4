"""What a selection is made from, as plain arrays: jobs, periods, and what there is of everything.

Days count from 1970-01-01. A *stretch* is a span that hours are granted for (the lead-in, each
quarter); a *period* is what a job is put into: a week of the first stretches, or a whole quarter.
"""

from dataclasses import dataclass, field

import numpy as np

from pipeline.units import Flags, Floats, Ints

NOWHERE = -1
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Periods:
    """First and last days and the stretch of each period, all of shape (periods,), in order."""

    first: Ints
    last: Ints
    stretch: Ints

    @property
    def stretches(self) -> int:
        """Number of stretches."""
        return int(self.stretch.max(initial=-1)) + 1


@dataclass(frozen=True, slots=True)
class Demand:
    """Jobs in any order, one value a job, all of shape (jobs,).

    Parameters
    ----------
    hours : crew-hours with set-up and travel allowance.
    group : row of the preference matrix of the supply.
    earliest, deadline : day numbers; a deadline far in the future means none.
    weight : of one day late.
    worth : expected harm removed a year.
    machine : column of the supply's machine hours, -1 for none.
    ward : -1 for none.
    pinned : first stretch that a person allows, -1 for none.
    opens : first stretch that the job may be put into.
    season : row of `closed` of the supply.
    tie : unique rank that settles what is equal.
    removal, test : pairs of jobs, rows of these arrays: the first waits for the second.
    """

    hours: Floats
    group: Ints
    earliest: Ints
    deadline: Ints
    weight: Floats
    worth: Floats
    machine: Ints
    ward: Ints
    pinned: Ints
    opens: Ints
    season: Ints
    tie: Ints
    removal: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    test: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))

    def __len__(self) -> int:
        """Number of jobs."""
        return int(self.hours.size)


@dataclass(frozen=True, slots=True)
class Supply:
    """Crews, machines and money.

    Parameters
    ----------
    rank : how gladly a pool takes a group, 0 for never, shape (groups, pools).
    rate : money an hour of each pool, shape (pools,).
    first_day : day of the first row of `daily`.
    daily : crew-hours of each day and pool, shape (days, pools).
    granted : crew-hours of each stretch and pool, shape (stretches, pools).
    machine : machine-hours of each stretch and machine, infinite for no limit.
    budget : money in all, infinite for no limit.
    overtime_share : of the granted hours that may come on top.
    overtime_rate : an hour of overtime costs this many times the hour.
    closed : spans of closed days, first and last, of each season, each of shape (spans, 2).
    """

    rank: Ints
    rate: Floats
    first_day: int
    daily: Floats
    granted: Floats
    machine: Floats
    budget: float
    overtime_share: float
    overtime_rate: float
    closed: tuple[Ints, ...]


@dataclass(frozen=True, slots=True)
class Aims:
    """What the plan is judged by.

    Parameters
    ----------
    today : day of the run.
    years : harm is counted for so many years from today.
    left_out_days : a job that is left out counts as done so many days after the last period.
    fairness : share of the ward's part of the harm that each ward is owed, 0 for no bound.
    shortfall_price : harm that one unit of missing fairness weighs.
    days_after_test : days from a test to the removal that it may lift.
    """

    today: int
    years: float
    left_out_days: int
    fairness: float
    shortfall_price: float
    days_after_test: int


@dataclass(frozen=True, slots=True)
class Instance:
    """One selection to be made."""

    demand: Demand
    supply: Supply
    periods: Periods
    aims: Aims


@dataclass(frozen=True, slots=True)
class Chosen:
    """Period and pool of each job, -1 where it is left out, both of shape (jobs,)."""

    period: Ints
    pool: Ints

    @property
    def done(self) -> Flags:
        """Which jobs are in the plan."""
        return np.asarray(self.period != NOWHERE)


def in_order(demand: Demand) -> tuple[Demand, Ints]:
    """The jobs in the order of their ties, and the old row of each: no order of rows matters."""
    order = np.argsort(demand.tie, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(order.size)
    pairs = np.lexsort((place[demand.test], place[demand.removal]))
    values = {
        name: getattr(demand, name)[order]
        for name in Demand.__slots__
        if name not in {"removal", "test"}
    }
    return (
        Demand(
            **values,
            removal=place[demand.removal[pairs]],
            test=place[demand.test[pairs]],
        ),
        order,
    )


def nothing(count: int) -> Chosen:
    """Everything left out."""
    return Chosen(np.full(count, NOWHERE, dtype=np.int64), np.full(count, NOWHERE, dtype=np.int64))
