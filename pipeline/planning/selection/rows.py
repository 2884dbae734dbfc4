"""The limits as one sparse table: `limits @ chosen + extra @ extras <= room`.

Extras are amounts that are not jobs: hours of overtime, the harm removed in all, what a ward lacks
of its share. Nothing done and all extras 0 always satisfies it, so there is always a plan.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from pipeline.planning.selection.columns import Columns
from pipeline.planning.selection.instance import Instance
from pipeline.units import Floats, Ints

WEEK, GRANTED, WINDOW, MACHINE, MONEY, OVERTIME, WARD, TEST = range(8)


@dataclass(frozen=True, slots=True)
class Rows:
    """Limits.

    Parameters
    ----------
    limits : shape (rows, columns).
    extra : shape (rows, extras).
    room : shape (rows,).
    kind, what, when : what each row limits: one of the kinds above; pool, machine or ward; period
        or stretch; -1 where that says nothing; shape (rows,).
    most : the most of each extra, shape (extras,).
    gain : harm avoided by a unit of each extra, 0 or negative, shape (extras,).
    """

    limits: sparse.csr_array
    extra: sparse.csr_array
    room: Floats
    kind: Ints
    what: Ints
    when: Ints
    most: Floats
    gain: Floats


class _Builder:
    """Collects rows."""

    def __init__(self) -> None:
        self.row: list[Ints] = []
        self.column: list[Ints] = []
        self.value: list[Floats] = []
        self.extra: list[tuple[int, int, float]] = []
        self.room: list[float] = []
        self.told: list[tuple[int, int, int]] = []
        self.most: list[float] = []
        self.gain: list[float] = []

    def add(
        self, kind: int, what: int, when: int, *, columns: Ints, values: Floats, room: float
    ) -> int:
        number = len(self.room)
        self.row.append(np.full(columns.size, number, dtype=np.int64))
        self.column.append(columns)
        self.value.append(np.asarray(values, dtype=np.float64))
        self.room.append(room)
        self.told.append((kind, what, when))
        return number

    def amount(self, most: float, gain: float) -> int:
        self.most.append(most)
        self.gain.append(gain)
        return len(self.most) - 1

    def rows(self, columns: int) -> Rows:
        count = len(self.room)
        told = np.array(self.told, dtype=np.int64).reshape(-1, 3)
        row, column, value = (
            np.concatenate(part) if part else np.empty(0, dtype=kind)
            for part, kind in ((self.row, np.int64), (self.column, np.int64),
                               (self.value, np.float64))
        )  # fmt: skip
        at = np.array([pair[:2] for pair in self.extra], dtype=np.int64).reshape(-1, 2)
        size = [pair[2] for pair in self.extra]
        return Rows(
            limits=sparse.csr_array((value, (row, column)), shape=(count, columns)),
            extra=sparse.csr_array((size, (at[:, 0], at[:, 1])), shape=(count, len(self.most))),
            room=np.array(self.room, dtype=np.float64),
            kind=told[:, 0],
            what=told[:, 1],
            when=told[:, 2],
            most=np.array(self.most, dtype=np.float64),
            gain=np.array(self.gain, dtype=np.float64),
        )


def make_rows(instance: Instance, columns: Columns) -> Rows:
    """All limits of an instance."""
    builder = _Builder()
    _hours(builder, instance, columns)
    _machines(builder, instance, columns)
    _money(builder, instance, columns)
    if instance.aims.fairness > 0:
        _wards(builder, instance, columns)
    _tests(builder, instance, columns)
    return builder.rows(len(columns))


def _hours(builder: _Builder, instance: Instance, columns: Columns) -> None:
    """Hours of each pool in each stretch, in each week of it, and in part of one."""
    supply, periods = instance.supply, instance.periods
    stretch = periods.stretch[columns.period]
    total = np.concatenate((np.zeros((1, supply.daily.shape[1])), np.cumsum(supply.daily, axis=0)))
    several = np.bincount(periods.stretch, minlength=periods.stretches) > 1
    by_pool = [np.flatnonzero(columns.pool == pool) for pool in range(supply.rate.size)]
    for pool, mine in enumerate(by_pool):
        for span in range(periods.stretches):
            here = mine[stretch[mine] == span]
            if not here.size:
                continue
            granted = float(supply.granted[span, pool])
            row = builder.add(GRANTED, pool, span, columns=here, values=columns.hours[here],
                              room=granted)  # fmt: skip
            weeks = np.unique(columns.period[here]).tolist()
            over = _overtime(builder, instance, pool, (span, row), weeks if several[span] else [])
            for period in weeks:
                these = here[columns.period[here] == period]
                if several[span]:
                    room = _room(instance, total[:, pool], period)
                    week = builder.add(WEEK, pool, period, columns=these,
                                       values=columns.hours[these], room=room)  # fmt: skip
                    builder.extra += [(week, k, -1.0) for k in over.get(period, [])]
                _windows(builder, instance, columns, (these, total[:, pool], granted))


def _room(instance: Instance, total: Floats, period: int) -> float:
    """Hours of all days of a period."""
    first, last = instance.periods.first[period], instance.periods.last[period]
    begins = instance.supply.first_day
    return float(total[last + 1 - begins] - total[first - begins])


def _overtime(
    builder: _Builder, instance: Instance, pool: int, granted: tuple[int, int], weeks: list[int]
) -> dict[int, list[int]]:
    """Hours that may come on top, in a stretch as a whole and in each week of it."""
    supply, (span, row) = instance.supply, granted
    most = supply.overtime_share * float(supply.granted[span, pool])
    if most <= 0:
        return {}
    whole = builder.amount(most, 0.0)
    builder.extra.append((row, whole, -1.0))
    if not weeks:
        return {}
    none = np.empty(0, dtype=np.int64)
    sums = builder.add(OVERTIME, pool, span, columns=none, values=np.empty(0), room=0.0)
    builder.extra.append((sums, whole, -1.0))
    total = np.concatenate(([0.0], np.cumsum(supply.daily[:, pool])))
    made: dict[int, list[int]] = {}
    for period in weeks:
        share = supply.overtime_share * _room(instance, total, period)
        made[period] = [builder.amount(share, 0.0)]
        builder.extra.append((sums, made[period][0], 1.0))
    return made


def _windows(
    builder: _Builder,
    instance: Instance,
    columns: Columns,
    given: tuple[Ints, Floats, float],
) -> None:
    """What is open in a part of the period only must fit into the hours of that part."""
    these, total, granted = given
    period = int(columns.period[these[0]])
    whole = (int(instance.periods.first[period]), int(instance.periods.last[period]))
    spans = np.unique(np.column_stack((columns.first[these], columns.last[these])), axis=0)
    for begins, ends in spans.tolist():
        room = float(total[ends + 1 - instance.supply.first_day]
                     - total[begins - instance.supply.first_day])  # fmt: skip
        if (begins, ends) == whole or room >= granted:
            continue
        inside = these[(columns.first[these] >= begins) & (columns.last[these] <= ends)]
        builder.add(WINDOW, int(columns.pool[these[0]]), period, columns=inside,
                    values=columns.hours[inside], room=room)  # fmt: skip


def _machines(builder: _Builder, instance: Instance, columns: Columns) -> None:
    machine = instance.demand.machine[columns.job]
    stretch = instance.periods.stretch[columns.period]
    for span, number in np.argwhere(np.isfinite(instance.supply.machine)).tolist():
        here = np.flatnonzero((machine == number) & (stretch == span))
        if here.size:
            builder.add(MACHINE, number, span, columns=here, values=columns.hours[here],
                        room=float(instance.supply.machine[span, number]))  # fmt: skip


def _money(builder: _Builder, instance: Instance, columns: Columns) -> None:
    supply = instance.supply
    if not np.isfinite(supply.budget):
        return
    paid = np.flatnonzero(columns.cost > 0)
    row = builder.add(MONEY, -1, -1, columns=paid, values=columns.cost[paid], room=supply.budget)
    for number, pool in _overtime_pools(builder):
        price = float(supply.rate[pool] * (supply.overtime_rate - 1.0))
        builder.extra.append((row, number, price))


def _overtime_pools(builder: _Builder) -> list[tuple[int, int]]:
    """The amounts of overtime and their pools."""
    return [
        (number, builder.told[row][1])
        for row, number, _ in builder.extra
        if builder.told[row][0] == GRANTED
    ]


def _wards(builder: _Builder, instance: Instance, columns: Columns) -> None:
    """Each ward is owed a share of its part of the harm removed; what it lacks has a price."""
    demand, aims = instance.demand, instance.aims
    ward = demand.ward[columns.job]
    told = demand.ward >= 0
    due = np.asarray(np.bincount(demand.ward[told], demand.worth[told]), dtype=np.float64)
    whole = float(demand.worth[demand.ward >= 0].sum())
    counted = np.flatnonzero((ward >= 0) & (demand.worth[columns.job] > 0))
    if whole <= 0 or not counted.size:
        return
    unit = float(demand.worth[columns.job[counted]].mean())  # solvers want numbers near 1
    worth = demand.worth[columns.job] / unit
    due, whole = due / unit, whole / unit
    removed = builder.amount(whole, 0.0)
    row = builder.add(WARD, -1, -1, columns=counted, values=worth[counted], room=0.0)
    builder.extra.append((row, removed, -1.0))
    for number in np.flatnonzero(due > 0).tolist():
        here = counted[ward[counted] == number]
        part = aims.fairness * float(due[number]) / whole
        row = builder.add(WARD, number, -1, columns=here, values=-worth[here], room=0.0)
        lacks = builder.amount(float(due[number]), -aims.shortfall_price * unit)
        builder.extra += [(row, removed, part), (row, lacks, -1.0)]


def _tests(builder: _Builder, instance: Instance, columns: Columns) -> None:
    """A removal is put into a period only if its test is done early enough before its end."""
    periods, lag = instance.periods, instance.aims.days_after_test
    demand = instance.demand
    for removal, test in zip(demand.removal.tolist(), demand.test.tolist(), strict=True):
        cut = np.arange(columns.start[removal], columns.start[removal + 1])
        look = np.arange(columns.start[test], columns.start[test + 1])
        told = (columns.first[look] + columns.last[look]) // 2 + lag
        for period in np.unique(columns.period[cut]).tolist():
            by_then = cut[columns.period[cut] <= period]
            before = look[told <= periods.last[period]]
            at = np.concatenate((by_then, before))
            values = np.concatenate((np.ones(by_then.size), -np.ones(before.size)))
            builder.add(TEST, removal, period, columns=at, values=values, room=0.0)
