"""Occupied share and word, from counts and from words."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.impact.occupancy import (
    Presence,
    ZoneCounts,
    occupied,
    persons_in,
    presence,
    vehicles_in,
    word_of_number,
)
from pipeline.scoring.parameters.targets import target_parameters
from pipeline.terms import OccupancyWord

PARAMETERS = target_parameters(Library())
LIMITS, MOVEMENT = PARAMETERS.limits, PARAMETERS.movement


def _zone(**told: float) -> ZoneCounts:
    nan = np.array([np.nan])
    made = ZoneCounts(
        word=np.zeros(1, np.int8),
        persons_per_h=nan,
        open_share=nan,
        vehicles_per_day=nan,
        speed_km_h=nan,
        static=np.zeros(1, np.bool_),
        stay_min=nan,
    )
    for name, value in told.items():
        kind = getattr(made, name).dtype
        made = replace(made, **{name: np.array([value], kind)})
    return made


def _presence(**told: float) -> Presence:
    return presence(_zone(**told), limits=LIMITS, movement=MOVEMENT)


def _occupied(zone: Presence, stretch_m: float) -> tuple[float, OccupancyWord]:
    at = np.zeros(1, np.int64)
    share, word = occupied(zone, at, np.array([stretch_m]), limits=LIMITS)
    return float(share[0]), OccupancyWord(int(word[0]))


# N = (AADT / 24) L / V, the average vehicle risk of the federal rockfall rating system
# (Pierson & Van Vickle 1993, FHWA-SA-93-057); the numbers follow from the formula by hand.
@pytest.mark.parametrize(
    ("aadt", "length_m", "speed_km_h", "number"),
    [
        (10_000, 20, 50, 0.167),
        (1_000, 20, 40, 0.0208),
        (50_000, 25, 80, 0.651),
        (200, 15, 30, 0.0042),
    ],
)
def test_vehicles_in_a_stretch(
    aadt: float, length_m: float, speed_km_h: float, number: float
) -> None:
    got = vehicles_in(np.array([aadt]), np.array([length_m]), np.array([speed_km_h]))
    assert got[0] == pytest.approx(number, rel=0.01)


def test_persons_in_a_stretch() -> None:
    # 60 persons an hour over 20 m at 1.2 m/s: 60 x 20 / (1.2 x 3600), by hand.
    assert persons_in(np.array([60.0]), np.array([20.0]), 1.2)[0] == pytest.approx(0.278, abs=0.001)


@pytest.mark.parametrize(
    ("number", "word"),
    [
        (0.0, OccupancyWord.RARE),
        (0.003999, OccupancyWord.RARE),
        (0.004, OccupancyWord.OCCASIONAL),
        (0.03999, OccupancyWord.OCCASIONAL),
        (0.04, OccupancyWord.FREQUENT),
        (0.4999, OccupancyWord.FREQUENT),
        (0.5, OccupancyWord.CONSTANT),
    ],
)
def test_cut_offs_take_the_higher_word(number: float, word: OccupancyWord) -> None:
    # Elicited cut-offs of occupancy_limits.csv: six minutes, one hour, twelve hours a day.
    assert word_of_number(np.array([number]), limits=LIMITS)[0] == word


def test_a_count_stands_over_a_word() -> None:
    zone = _presence(word=OccupancyWord.CONSTANT, vehicles_per_day=24.0, speed_km_h=50.0)
    share, word = _occupied(zone, 20.0)
    assert word == OccupancyWord.RARE
    assert share < LIMITS.share_of_word[0]


@pytest.mark.parametrize("word", list(OccupancyWord))
def test_a_word_alone_stands_for_its_share(word: OccupancyWord) -> None:
    share, got = _occupied(_presence(word=word), 20.0)
    assert got == word
    assert share == LIMITS.share_of_word[word - 1]


def test_a_thing_that_never_moves_is_constant() -> None:
    _, word = _occupied(_presence(static=True, persons_per_h=1.0), 20.0)
    assert word == OccupancyWord.CONSTANT


def test_vehicles_without_a_speed_are_no_count() -> None:
    _, word = _occupied(_presence(word=OccupancyWord.OCCASIONAL, vehicles_per_day=9e4), 20.0)
    assert word == OccupancyWord.OCCASIONAL


def test_hours_open_lower_the_share_of_the_year() -> None:
    always, _ = _occupied(_presence(persons_per_h=60.0), 20.0)
    school, _ = _occupied(_presence(persons_per_h=60.0, open_share=0.2), 20.0)
    assert 0 < school < always


def test_who_stays_counts_by_the_stay() -> None:
    passing = _presence(persons_per_h=1.0)
    staying = _presence(persons_per_h=1.0, stay_min=40.0)
    # One person an hour who stays 40 min: 40/60 expected at any moment, in any stretch.
    assert staying.fixed[0] == pytest.approx(40 / 60)
    assert _occupied(staying, 1.0)[0] > _occupied(passing, 1.0)[0]


@given(st.floats(0, 1e5), st.floats(0, 1e5), st.floats(0.1, 200), st.floats(5, 130))
def test_more_traffic_never_means_less_time_occupied(
    low: float, more: float, length_m: float, speed: float
) -> None:
    few = _occupied(_presence(vehicles_per_day=low, speed_km_h=speed), length_m)
    many = _occupied(_presence(vehicles_per_day=low + more, speed_km_h=speed), length_m)
    assert 0 <= few[0] <= many[0] <= 1
    assert few[1] <= many[1]
