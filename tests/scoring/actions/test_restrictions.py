"""Closed seasons: their ends, what lifts them, which region's rows hold."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.actions.restrictions import (
    EPOCH,
    NEVER,
    NO_DAY,
    Restriction,
    Season,
    is_closed,
    seasons,
)
from pipeline.scoring.parameters.work import restrictions
from pipeline.tables.inputs import DEFECTS
from pipeline.terms import RatingWord

LIBRARY = Library()


def _rule(region: str, concern: str) -> Restriction:
    return next(r for r in restrictions(LIBRARY, region=region) if r.code.startswith(concern))


def _season(rule: Restriction, rating: RatingWord, first: date, last: date) -> Season:
    return seasons(
        (rule,),
        np.ones((1, 1), np.bool_),
        np.array([rating], np.int8),
        first_day=first,
        last_day=last,
    )


def _free_from(found: Season) -> date | None:
    day = int(found.not_before[0])
    return None if day == NO_DAY else date.fromordinal(day + EPOCH)


# Michigan DNR 2023: no oak pruning 15 April to 15 July. Saskatchewan: elm ban 1 April to
# 31 August, pruning resumes on 1 September (provincial release of 2007).
@pytest.mark.parametrize(
    ("region", "concern", "day", "closed"),
    [
        ("us-mi", "oak_wilt", date(2027, 4, 14), False),
        ("us-mi", "oak_wilt", date(2027, 4, 15), True),
        ("us-mi", "oak_wilt", date(2027, 7, 15), True),
        ("us-mi", "oak_wilt", date(2027, 7, 16), False),
        ("ca-sk", "elm", date(2027, 3, 31), False),
        ("ca-sk", "elm", date(2027, 8, 31), True),
        ("ca-sk", "elm", date(2027, 9, 1), False),
        ("us-tx", "oak_wilt", date(2027, 2, 1), True),
        ("ca-mb", "elm", date(2027, 8, 1), False),
        ("gb", "birds", date(2027, 8, 31), True),
        ("gb", "birds", date(2027, 2, 28), False),
    ],
)
def test_the_ends_of_printed_windows(region: str, concern: str, day: date, closed: bool) -> None:
    assert is_closed(_rule(region, concern), day) is closed


def test_oak_wilt_has_no_window_in_europe() -> None:
    rule = _rule("at-6", "oak_wilt")
    assert not any(is_closed(rule, date(2027, month, 15)) for month in range(1, 13))


def test_a_window_may_wrap_the_year() -> None:
    rule = _rule("us-mi", "silver_leaf")
    assert is_closed(rule, date(2027, 12, 31))
    assert is_closed(rule, date(2027, 1, 1))
    assert not is_closed(rule, date(2027, 6, 1))


def test_no_region_takes_the_windows_of_all_regions() -> None:
    everywhere = {rule.code for rule in restrictions(LIBRARY, region="")}
    for region in ("us-mi", "ca-sk", "gb", "fi"):
        assert {rule.code for rule in restrictions(LIBRARY, region=region)} <= everywhere


def test_an_unknown_region_takes_the_strictest_and_never_none() -> None:
    assert len(restrictions(LIBRARY, region="zz")) == len(restrictions(LIBRARY, region=""))


def test_the_closest_region_stands() -> None:
    codes = {rule.code for rule in restrictions(LIBRARY, region="us-mi")}
    assert "oak_wilt_us_mi" in codes
    assert "oak_wilt_us" not in codes
    assert "oak_wilt_us" in {rule.code for rule in restrictions(LIBRARY, region="us-ny")}


def test_work_waits_for_the_end_of_the_window() -> None:
    found = _season(
        _rule("us-mi", "oak_wilt"), RatingWord.HIGH, date(2027, 5, 1), date(2027, 6, 30)
    )
    assert _free_from(found) == date(2027, 7, 16)


def test_a_window_that_opens_later_closes_its_own_days_and_none_before() -> None:
    # Whoever plans by the day can work until the window opens: the ban names days, not quarters.
    found = _season(
        _rule("us-mi", "oak_wilt"), RatingWord.HIGH, date(2027, 4, 1), date(2027, 9, 30)
    )
    assert _free_from(found) is None
    assert found.rule[0] == 0
    spans = [tuple(date.fromordinal(day + EPOCH) for day in run) for run in found.closed[0]]
    assert spans == [(date(2027, 4, 15), date(2027, 7, 15))]


def test_winter_work_is_free() -> None:
    found = _season(
        _rule("us-mi", "oak_wilt"), RatingWord.HIGH, date(2026, 11, 15), date(2027, 3, 31)
    )
    assert found.rule[0] == -1
    assert _free_from(found) is None


def test_an_emergency_lifts_a_disease_window_and_says_how() -> None:
    rule = _rule("us-mi", "oak_wilt")
    found = _season(rule, RatingWord.EXTREME, date(2027, 5, 1), date(2027, 6, 30))
    assert found.lifted[0]
    assert _free_from(found) is None
    assert rule.lifted_by == "paint_wounds"


def test_nothing_lifts_an_active_nest() -> None:
    rule = _rule("us-mi", "active_nest")
    assert rule.lifted_from == NEVER
    found = _season(rule, RatingWord.EXTREME, date(2027, 5, 1), date(2027, 6, 30))
    assert not found.lifted[0]
    free = _free_from(found)
    assert free is not None
    assert free > date(2028, 1, 1)


def test_two_windows_that_follow_one_another_are_one() -> None:
    winter, summer = _rule("us-mi", "silver_leaf"), _rule("us-mi", "birds")
    found = seasons(
        (winter, summer),
        np.ones((1, 2), np.bool_),
        np.array([RatingWord.LOW], np.int8),
        first_day=date(2027, 1, 10),
        last_day=date(2027, 3, 31),
    )
    # 1 November to 31 March, then 1 April to 31 August.
    assert _free_from(found) == date(2027, 9, 1)


@given(st.integers(0, 364), st.integers(0, 364), st.integers(0, 364))
def test_the_day_that_is_given_is_never_a_closed_one(start: int, length: int, today: int) -> None:
    opening = date(2027, 1, 1) + timedelta(days=start)
    ending = opening + timedelta(days=length)
    rule = Restriction(
        code="x",
        genera=(),
        closed_from=(opening.month, opening.day),
        closed_to=(ending.month, ending.day),
        actions=(),
        lifted_from=NEVER,
        lifted_by="",
        note_words=(),
    )
    first = date(2027, 1, 1) + timedelta(days=today)
    free = _free_from(_season(rule, RatingWord.LOW, first, first))
    if free is None:
        assert not is_closed(rule, first)
    else:
        assert is_closed(rule, first)


def _window(opens: tuple[int, int], closes: tuple[int, int]) -> Restriction:
    return Restriction("x", (), opens, closes, (), NEVER, "", ())


@pytest.mark.parametrize(
    ("day", "closed"),
    [
        # 2028 is a leap year, 2027 is none: the day before 1 March is the last of February.
        (date(2027, 2, 28), True), (date(2027, 3, 1), False),
        (date(2028, 2, 28), True), (date(2028, 2, 29), True), (date(2028, 3, 1), False),
    ],
)  # fmt: skip
def test_a_window_that_ends_on_a_leap_day_ends_with_february(day: date, closed: bool) -> None:
    assert is_closed(_window((11, 1), (2, 29)), day) is closed


@pytest.mark.parametrize("year", [2027, 2028])
def test_a_window_that_opens_on_a_leap_day_opens_at_the_end_of_february(year: int) -> None:
    rule = _window((2, 29), (4, 30))
    last = date(year, 3, 1) - timedelta(days=1)
    assert is_closed(rule, last)
    assert not is_closed(rule, last - timedelta(days=1))


def test_a_leap_day_within_a_window_is_closed_and_work_waits_for_its_end() -> None:
    rule = _window((2, 15), (3, 10))
    assert is_closed(rule, date(2028, 2, 29))
    found = _season(rule, RatingWord.HIGH, date(2028, 2, 29), date(2028, 2, 29))
    assert _free_from(found) == date(2028, 3, 11)


@pytest.mark.parametrize(
    ("region", "opens", "closes"),
    [("us-ny", (4, 1), (10, 31)), ("gb", (4, 1), (10, 31)), ("at-6", (3, 1), (10, 31)),
     ("ca-on", (4, 1), (10, 31))],
)  # fmt: skip
def test_bats_close_hollow_trees_in_their_months(
    region: str, opens: tuple[int, int], closes: tuple[int, int]
) -> None:
    """From memory (state clearing windows): no felling of roost trees about April to October."""
    rule = _rule(region, "bats")
    first, last = date(2027, *opens), date(2027, *closes)
    for day, closed in ((first, True), (last, True), (first - timedelta(days=1), False),
                        (last + timedelta(days=1), False)):  # fmt: skip
        assert is_closed(rule, day) is closed
    # They concern trees with a hollow or a split, and a known roost is never lifted.
    assert rule.defects == (1 << DEFECTS.index("cavity")) | (1 << DEFECTS.index("split"))
    assert _rule(region, "active_nest").lifted_from == NEVER


@given(st.dates(date(2027, 1, 1), date(2031, 12, 31)))
def test_every_shipped_window_is_closed_from_its_first_day_to_its_last(day: date) -> None:
    """Held against month and day as text, which knows no calendar arithmetic."""
    for rule in restrictions(LIBRARY, region=""):
        if rule.closed_from is None or rule.closed_to is None:
            continue
        today = (day.month, day.day)
        inside = (
            rule.closed_from <= today <= rule.closed_to
            if rule.closed_from <= rule.closed_to
            else today >= rule.closed_from or today <= rule.closed_to
        )
        assert is_closed(rule, day) is inside
