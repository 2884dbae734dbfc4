"""Crew-hours by day and quarter, and who can do what."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.planning.capacity import (
    Needs,
    lead_in_shifts,
    pool_hours,
    pools_of,
    preference,
    quarter_shifts,
    shift_minutes,
    spread,
    working_days,
)
from pipeline.planning.quarters import as_date, day_number, horizon
from pipeline.published.table import Library
from pipeline.settings.quarter import Quarter
from tests.planning.small_town import crew

RANKS = {("climb", "climb"): 1, ("climb", "lift"): 2, ("ground", "ground"): 1}


def test_working_days_are_those_that_the_calendar_calls_so() -> None:
    first, last = date(2027, 1, 1), date(2027, 3, 31)
    days = working_days(day_number(first), day_number(last), ("Mo", "We", "Su"))
    # weekday() of the standard library is the outside reference
    assert {as_date(day).weekday() for day in days.tolist()} == {0, 2, 6}
    assert days.size == sum(
        date.fromordinal(n).weekday() in {0, 2, 6}
        for n in range(first.toordinal(), last.toordinal() + 1)
    )


def test_no_weekday_and_no_span_give_no_day() -> None:
    assert working_days(0, 100, ()).size == 0
    assert working_days(10, 9, ("Mo",)).size == 0


def test_hours_granted_are_used_in_whole_shifts() -> None:
    days = np.arange(4)
    minutes = shift_minutes(crew("A", "lift", hours_per_day=8, hours_per_quarter=20), days)
    assert minutes.tolist() == [480.0, 480.0, 240.0, 0.0]
    assert shift_minutes(crew("A", "lift", hours_per_day=8), days).tolist() == [480.0] * 4


@given(st.integers(0, 90), st.integers(1, 90))
def test_days_are_spread_evenly_from_the_first(count: int, days: int) -> None:
    count = min(count, days)
    places = spread(count, days).tolist()
    assert places == sorted(set(places))
    assert all(0 <= place < days for place in places)
    if count:
        assert places[0] == 0
        gaps = np.diff([*places, days])  # no gap is longer than another by more than a day
        assert gaps.max() - gaps.min() <= 1


def test_granted_hours_reach_to_the_end_of_the_quarter() -> None:
    days = np.arange(60)
    minutes = shift_minutes(crew("A", "lift", hours_per_day=8, hours_per_quarter=84), days)
    assert minutes.sum() == 84 * 60
    # 84 h are 10 shifts of 8 h and half a one: eleven days over sixty
    assert np.flatnonzero(minutes).tolist() == [k * 60 // 11 for k in range(11)]


def test_holidays_are_no_working_days() -> None:
    first, last = day_number(date(2027, 1, 1)), day_number(date(2027, 1, 31))
    holidays = np.array([day_number(date(2027, 1, 1)), day_number(date(2027, 1, 18))])
    week = ("Mo", "Tu", "We", "Th", "Fr")
    # 21 weekdays in January 2027 (counted on a calendar), two of them holidays
    assert working_days(first, last, week).size == 21
    open_days = working_days(first, last, week, holidays=holidays)
    assert open_days.size == 19
    assert not set(open_days.tolist()) & set(holidays.tolist())


def test_a_quarter_under_way_has_its_hours_in_proportion() -> None:
    one = crew("A", "lift", hours_per_quarter=130.0)
    whole = horizon(Quarter(2027, 1), 1, as_of=date(2026, 12, 1))
    part = horizon(Quarter(2027, 1), 1, as_of=date(2027, 3, 1))
    days, minutes = quarter_shifts(one, part, 0)
    # 23 of the 64 weekdays of the quarter lie in March 2027 (counted on a calendar)
    assert days.size == 23
    assert minutes.sum() / 60 == pytest.approx(130.0 * 23 / 64)
    assert quarter_shifts(one, whole, 0)[1].sum() / 60 == pytest.approx(130.0)


def test_a_quarter_that_has_passed_holds_no_day() -> None:
    span = horizon(Quarter(2026, 3), 2, as_of=date(2026, 11, 25))
    assert quarter_shifts(crew("A", "lift"), span, 0)[0].size == 0
    assert quarter_shifts(crew("A", "lift"), span, 1)[0].size > 0


def test_the_lead_in_takes_its_share_and_no_more() -> None:
    first, last = day_number(date(2026, 11, 26)), day_number(date(2026, 12, 31))
    days, minutes = lead_in_shifts(crew("A", "lift"), first, last, share=0.25)
    # 26 weekdays (counted on a calendar), a quarter of them rounded half up
    assert days.size == 26
    assert np.count_nonzero(minutes) == 7
    assert minutes[0] > 0
    assert not lead_in_shifts(crew("A", "lift"), first, last, share=0.0)[1].any()
    idle = crew("A", "lift", hours_per_quarter=0.0)
    assert not lead_in_shifts(idle, first, last, share=1.0)[1].any()


def test_crews_that_can_stand_in_for_one_another_make_one_pool() -> None:
    crews = (
        crew("B", "lift", machines=("chipper", "crane")),
        crew("A", "lift", machines=("crane", "chipper")),
        crew("C", "lift"),
    )
    pools = pools_of(crews)
    assert [pool.crews for pool in pools] == [(2,), (1, 0)]
    span = horizon(Quarter(2027, 1), 2, as_of=date(2026, 11, 25))
    hours = pool_hours(crews, pools, span)
    # 64 and 65 weekdays in the first two quarters of 2027 (counted on a calendar), 7.5 h each
    np.testing.assert_allclose(hours, [[480.0, 487.5], [960.0, 975.0]])


def test_a_quarter_under_way_starts_today() -> None:
    span = horizon(Quarter(2026, 4), 2, as_of=date(2026, 11, 25))
    assert as_date(int(span.first[0])) == date(2026, 11, 25)
    assert as_date(int(span.first[1])) == date(2027, 1, 1)
    assert span.labels == ("2026Q4", "2027Q1")
    assert span.index(Quarter(2025, 1)) == 0
    assert span.index(Quarter(2028, 1)) == 2


@pytest.mark.parametrize(
    ("need", "ranks", "reason"),
    [
        (Needs("climb", "none", no_climb=False), [1, 2, 0], ""),
        (Needs("climb", "none", no_climb=True), [0, 2, 0], ""),
        (Needs("climb", "crane", no_climb=False), [0, 0, 0], "no_machine"),
        (Needs("climb", "chipper", no_climb=False), [0, 2, 0], ""),
        (Needs("climb", "lift", no_climb=False), [0, 2, 0], ""),
        (Needs("instrument", "none", no_climb=False), [0, 0, 0], "no_crew_of_type"),
    ],
)
def test_who_can_do_it(need: Needs, ranks: list[int], reason: str) -> None:
    pools = pools_of((
        crew("A", "climb"), crew("B", "lift", machines=("chipper",)), crew("C", "inspect")
    ))  # fmt: skip
    order = ["climb", "lift", "inspect"]
    rank, found = preference([need], pools, RANKS)
    by_type = {pool.crew_type: int(rank[0, k]) for k, pool in enumerate(pools)}
    assert [by_type[kind] for kind in order] == ranks
    assert found[0] == reason


def test_a_tree_that_must_not_be_climbed_gets_no_climbing_crew_whatever_the_work() -> None:
    pools = pools_of((crew("A", "climb"),))
    rank, reason = preference(
        [Needs("climb", "none", no_climb=True), Needs("ground", "none", no_climb=True)],
        pools,
        RANKS | {("ground", "climb"): 2},
    )
    assert not rank.any()
    assert reason.tolist() == ["do_not_climb_no_lift"] * 2


def test_the_rule_table_sends_a_lift_where_nobody_may_climb() -> None:
    table = Library().table("crew_types", key=("work", "crew_type"), folder="rules")
    pairs = set(zip(table.texts("work"), table.texts("crew_type"), strict=True))
    assert ("climb", "lift") in pairs
    assert ("lift", "climb") not in pairs
    assert ("ground", "inspect") not in pairs
