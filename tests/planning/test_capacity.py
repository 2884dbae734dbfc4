"""Crew-hours by day and quarter, and who can do what."""

from datetime import date

import numpy as np
import pytest

from pipeline.planning.capacity import (
    Needs,
    pool_hours,
    pools_of,
    preference,
    shift_minutes,
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


def test_hours_granted_are_used_from_the_first_day() -> None:
    days = np.arange(4)
    minutes = shift_minutes(crew("A", "lift", hours_per_day=8, hours_per_quarter=20), days)
    assert minutes.tolist() == [480.0, 480.0, 240.0, 0.0]
    assert shift_minutes(crew("A", "lift", hours_per_day=8), days).tolist() == [480.0] * 4


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
    assert span.words == "2026Q4 to 2027Q1"
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
