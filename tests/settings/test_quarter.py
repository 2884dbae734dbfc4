"""Calendar quarters, against the calendar."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.settings.quarter import Quarter


@given(st.dates(date(1900, 1, 1), date(2200, 12, 31)))
def test_a_day_lies_in_its_quarter(day: date) -> None:
    quarter = Quarter.of(day)
    assert quarter.first_day <= day <= quarter.last_day
    assert quarter.last_day + timedelta(days=1) == quarter.next.first_day
    assert Quarter.parse(str(quarter)) == quarter


def test_four_quarters_make_a_year() -> None:
    four = Quarter(2027, 1).following(4)
    days = sum((q.last_day - q.first_day).days + 1 for q in four)
    assert days == 365
    assert [str(q) for q in four] == ["2027Q1", "2027Q2", "2027Q3", "2027Q4"]


@pytest.mark.parametrize(
    "text", ["2027", "2027Q5", "Q1", "2027Q0", "27Q1", "9999Q4", "0000Q1", "1899Q4", "2201Q1"]
)
def test_what_is_no_quarter(text: str) -> None:
    with pytest.raises(ValueError, match="no quarter"):
        Quarter.parse(text)
