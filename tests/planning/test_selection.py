"""Choosing the jobs of a quarter: laws."""

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pipeline.planning.selection.first import (
    NOWHERE,
    JobArrays,
    choose,
    priority,
    select_quarter,
)

LAST_DAY = 90
NO_DEADLINE = 10_000


def jobs(hours: list[float], harm: list[float] | None = None) -> JobArrays:
    """Jobs of one group without deadline, window or decision."""
    count = len(hours)
    return JobArrays(
        hours=np.array(hours, dtype=np.float64),
        group=np.zeros(count, dtype=np.int64),
        make_safe=np.zeros(count, dtype=bool),
        pinned=np.full(count, -1),
        deadline=np.full(count, NO_DEADLINE),
        earliest=np.full(count, -NO_DEADLINE),
        harm=np.array(harm if harm is not None else [1.0] * count),
        tie=np.arange(count),
    )


def chosen(work: JobArrays, free: list[float], rank: list[list[int]]) -> dict[int, int]:
    """Row to pool."""
    rows, pool = select_quarter(
        work,
        np.arange(work.hours.size),
        np.array(free, dtype=np.float64),
        np.array(rank),
        quarter=0,
        last_day=LAST_DAY,
    )
    return dict(zip(rows.tolist(), pool.tolist(), strict=True))


HOURS = st.lists(st.integers(1, 40).map(lambda tenths: tenths / 10), min_size=1, max_size=30)


@given(HOURS, st.data())
def test_more_hours_never_remove_less_harm(hours: list[float], data: st.DataObject) -> None:
    """Among jobs of one urgency and one pool; see the module for why urgency may stand above."""
    harm = data.draw(st.lists(st.integers(0, 50), min_size=len(hours), max_size=len(hours)))
    work = jobs(hours, [float(value) for value in harm])
    free = data.draw(st.integers(0, 60)) / 4
    more = free + data.draw(st.integers(0, 40)) / 4
    few = work.harm[list(chosen(work, [free], [[1]]))].sum()
    many = work.harm[list(chosen(work, [more], [[1]]))].sum()
    assert many >= few - 1e-9


@given(st.lists(st.integers(0, 3), min_size=1, max_size=40), st.integers(0, 60), st.integers(0, 20))
def test_more_hours_keep_every_job_of_equal_length(
    kind: list[int], quarters_of_an_hour: int, extra: int
) -> None:
    count = len(kind)
    tier = np.array(kind)
    work = replace(
        jobs([0.5] * count, list(np.arange(count) * 1.0)),
        make_safe=tier == 0,
        pinned=np.where(tier == 1, 0, -1),
        deadline=np.where(tier == 2, 30, NO_DEADLINE),
    )
    few = set(chosen(work, [quarters_of_an_hour / 4], [[1]]))
    assert few <= set(chosen(work, [(quarters_of_an_hour + extra) / 4], [[1]]))


@given(HOURS, st.lists(st.integers(0, 20), min_size=2, max_size=2), st.data())
def test_running_totals_give_what_serving_one_by_one_gives(
    hours: list[float], free: list[int], data: st.DataObject
) -> None:
    count = len(hours)
    group = data.draw(st.lists(st.integers(0, 2), min_size=count, max_size=count))
    rank = np.array([[1, 2], [0, 1], [2, 1]])
    work = replace(jobs(hours), group=np.array(group))
    order = np.arange(count)
    taken, left = choose(work, order, np.array(free, dtype=np.float64), rank)
    assert (left >= -1e-9).all()
    # what each pool took fits, and a job left out fits into none of its pools at the end
    for row in np.flatnonzero(taken == NOWHERE):
        able = np.flatnonzero(rank[work.group[row]])
        assert (work.hours[row] > left[able] - 1e-9).all()
    for pool in range(2):
        assert work.hours[taken == pool].sum() <= free[pool] + 1e-9
    assert all(rank[work.group[row], taken[row]] for row in np.flatnonzero(taken != NOWHERE))


def test_one_pool_is_served_exactly_in_turn() -> None:
    # 5 h: 2 fits, 4 does not, 2 fits, 0.5 fits, 1 does not any more, 0.5 fits; by hand
    work = jobs([2.0, 4.0, 2.0, 0.5, 1.0, 0.5])
    taken, left = choose(work, np.arange(6), np.array([5.0]), np.array([[1]]))
    assert taken.tolist() == [0, -1, 0, 0, -1, 0]
    assert left[0] == 0.0


def test_urgency_goes_make_safe_pinned_late_due_then_worth() -> None:
    work = replace(
        jobs([1.0] * 6, [9.0, 1.0, 1.0, 1.0, 1.0, 5.0]),
        make_safe=np.array([False, False, False, False, True, False]),
        pinned=np.array([-1, -1, -1, 0, -1, -1]),
        deadline=np.array([NO_DEADLINE, 60, -30, NO_DEADLINE, NO_DEADLINE, LAST_DAY + 1]),
    )
    order = priority(work, np.arange(6), quarter=0, last_day=LAST_DAY)
    assert order.tolist() == [4, 3, 2, 1, 0, 5]


def test_windows_and_later_pins_wait() -> None:
    work = replace(
        jobs([1.0, 1.0, 1.0]),
        earliest=np.array([LAST_DAY + 1, LAST_DAY, 0]),
        pinned=np.array([-1, -1, 1]),
    )
    assert set(chosen(work, [99.0], [[1]])) == {1}


def test_a_pool_that_is_preferred_is_used_first_and_one_that_cannot_never() -> None:
    work = replace(jobs([1.0, 1.0, 1.0]), group=np.array([0, 0, 0]))
    assert chosen(work, [1.0, 9.0, 9.0], [[1, 2, 0]]) == {0: 0, 1: 1, 2: 1}


@given(HOURS, st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(hours: list[float], random: object) -> None:
    work = jobs(hours, [float(k % 5) for k in range(len(hours))])
    shuffled = list(range(len(hours)))
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    at = np.array(shuffled)
    moved = JobArrays(*(getattr(work, name)[at] for name in JobArrays.__slots__))
    once = set(work.tie[list(chosen(work, [6.0], [[1]]))].tolist())
    again = set(moved.tie[list(chosen(moved, [6.0], [[1]]))].tolist())
    assert once == again


def test_no_hours_and_no_jobs() -> None:
    assert chosen(jobs([1.0]), [0.0], [[1]]) == {}
    assert chosen(jobs([]), [5.0], [[1]]) == {}


def test_a_second_choice_takes_only_hours_that_its_own_work_leaves() -> None:
    # Two looks, overdue for longer, and one measurement; the measuring crew has 2 h, lookers 1 h.
    work = replace(
        jobs([1.0, 1.0, 1.0]), group=np.array([0, 0, 1]), deadline=np.array([-90, -80, 10])
    )
    rank = [[1, 2], [0, 1]]
    assert chosen(work, [1.0, 1.0], rank) == {0: 0, 2: 1}
    assert chosen(work, [1.0, 2.0], rank) == {0: 0, 1: 1, 2: 1}
