"""Hours and deadlines."""

import numpy as np
import pytest

from pipeline.published.table import Library
from pipeline.scoring.actions.effort import (
    NO_DEADLINE,
    WorkTimes,
    deadline_days,
    hours,
    trees_per_hour,
)
from pipeline.scoring.parameters.work import work_parameters
from pipeline.terms import ActionCode, RatingWord
from tests.scoring.changed import Change, changed_library, number_changes

WORK = work_parameters(Library(), region="us-mi")
DBH = np.array([10.0, 15.0, 25.0, 35.0, 45.0, 60.0])


# J. Korean Inst. Landscape Architecture 50(4), Table 5: trees an hour by diameter class, as
# printed, for fine (light) and for heavy pruning.
@pytest.mark.parametrize(
    ("action", "printed"),
    [
        ("prune_part", (2.37, 1.95, 1.69, 1.38, 1.13, 0.84)),
        ("reduce_crown", (2.96, 2.27, 2.03, 1.65, 1.29, 1.07)),
    ],
)
def test_the_printed_rates_are_reproduced(action: str, printed: tuple[float, ...]) -> None:
    assert trees_per_hour(DBH, WORK.hours[action]) == pytest.approx(printed, abs=0.006)


@pytest.mark.parametrize("action", sorted(WORK.hours))
def test_a_thicker_stem_never_takes_less_time(action: str) -> None:
    needed = hours(np.linspace(0, 300, 301), WORK.hours[action])
    assert (np.diff(needed) >= 0).all()
    assert (needed > 0).all()


def test_a_diameter_at_a_class_limit_belongs_to_the_thicker_class() -> None:
    times = WorkTimes(np.array([0.0, 11.0]), np.array([30.0, 60.0]), np.array([0.0, 0.0]))
    assert hours(np.array([10.99, 11.0]), times).tolist() == [0.5, 1.0]


def _days(rating: RatingWord, code: ActionCode, *, test: bool, safe: bool) -> int:
    got = deadline_days(
        np.array([rating], np.int8),
        np.array([code], np.int8),
        np.array([test]),
        np.array([safe]),
        table=WORK.deadlines,
    )
    return int(got[0])


# Elicited defaults of deadlines.csv and of action_codes.csv.
@pytest.mark.parametrize(
    ("rating", "code", "test", "safe", "days"),
    [
        (RatingWord.HIGH, ActionCode.R0, False, False, 30),
        (RatingWord.MODERATE, ActionCode.R0, False, False, 180),
        (RatingWord.LOW, ActionCode.R0, False, False, NO_DEADLINE),
        (RatingWord.NOT_ASSESSED, ActionCode.R0, False, False, NO_DEADLINE),
        (RatingWord.LOW, ActionCode.R0, False, True, 1),
        (RatingWord.MODERATE, ActionCode.R5, True, False, 7),
        (RatingWord.MODERATE, ActionCode.R5, False, False, 180),
        (RatingWord.EXTREME, ActionCode.R2, True, False, 3),
    ],
)
def test_deadlines(rating: RatingWord, code: ActionCode, test: bool, safe: bool, days: int) -> None:
    assert _days(rating, code, test=test, safe=safe) == days


@pytest.mark.parametrize(
    "change",
    [
        *number_changes("hours", "work_min"),
        *number_changes("deadlines", "days"),
        *number_changes("inspection_cycles", "cycle_years"),
        *number_changes("prior_failure", "per_year"),
        *number_changes("hour_factors", "factor"),
    ],
)
def test_every_row_is_read(change: Change) -> None:
    changed = work_parameters(changed_library(change), region="us-mi")
    times = any(
        not np.array_equal(changed.hours[a].work_min, WORK.hours[a].work_min) for a in WORK.hours
    )
    assert (
        times
        or not np.array_equal(changed.deadlines.by_rating, WORK.deadlines.by_rating)
        or changed.deadlines.make_safe != WORK.deadlines.make_safe
        or not np.array_equal(changed.cycles.years, WORK.cycles.years)
        or not np.array_equal(changed.prior.middle, WORK.prior.middle)
        or changed.hard_factor != WORK.hard_factor
    )
