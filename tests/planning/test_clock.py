"""A crew's day with a break, and the times about a school: by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.planning.clock import Pause, first_fit, free_spans, quiet_week, weekday

NOON = Pause(12 * 60.0, 30.0)


@pytest.mark.parametrize(
    ("moment", "begins", "ends"),
    [
        (11 * 60, 11 * 60, 11 * 60),
        (12 * 60, 12 * 60 + 30, 12 * 60),  # what ends at noon ends at noon, what begins waits
        (12 * 60 + 10, 12 * 60 + 40, 12 * 60 + 40),
    ],
)
def test_the_clock_stands_still_in_the_break(moment: float, begins: float, ends: float) -> None:
    assert NOON.begins(moment) == begins
    assert NOON.ends(moment) == ends


@given(st.integers(0, 24 * 60))
def test_a_time_of_day_becomes_a_moment_that_keeps_it(time: int) -> None:
    assert NOON.begins(NOON.earliest(time)) >= time
    if not 12 * 60 < time < 12 * 60 + 30:
        assert NOON.ends(NOON.latest(time)) <= time


def test_a_school_day_by_hand() -> None:
    week = quiet_week("Mo-Fr 07:30-16:00; Sa 09:00-12:00", margin=30.0)
    assert week[0] == week[4] == ((420.0, 480.0), (930.0, 990.0))
    assert week[5] == ((510.0, 570.0), (690.0, 750.0))
    assert week[6] == ()
    # Monday: before 7:00, from 8:00 to 15:30 less the break, from 16:30
    assert free_spans(week[0], NOON) == [(0.0, 420.0), (480.0, 900.0), (960.0, 1410.0)]


def test_days_wrap_and_what_is_not_plain_keeps_nothing_free() -> None:
    assert [bool(day) for day in quiet_week("Fr-Mo 08:00-15:00", margin=10.0)] == [
        True, False, False, False, True, True, True,
    ]  # fmt: skip
    for text in (None, "", "24/7", "Mo-Fr sunrise-16:00", "Xx 08:00-12:00"):
        assert not any(quiet_week(text, margin=30.0))


def test_work_begins_where_it_fits_whole() -> None:
    spans = [(0.0, 420.0), (480.0, 900.0)]
    assert first_fit(spans, 400.0, 20.0) == 400.0
    assert first_fit(spans, 400.0, 21.0) == 480.0
    assert first_fit(spans, 800.0, 101.0) is None


def test_weekdays_are_those_of_the_calendar() -> None:
    # ISO 8601: 2026-11-26 is a Thursday; 20783 days after 1970-01-01
    assert weekday(20783) == 3
