"""Occupied share and word, from counts and from words."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.impact.occupancy import (
    BASES,
    Occupied,
    Presence,
    ZoneCounts,
    occupied,
    persons_in,
    presence,
    stopping_distance,
    vehicles_in,
    vehicles_running_in,
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
        area_m2=np.zeros(1),
        default=np.zeros(1, np.bool_),
    )
    for name, value in told.items():
        kind = getattr(made, name).dtype
        made = replace(made, **{name: np.array([value], kind)})
    return made


def _presence(**told: float) -> Presence:
    return presence(_zone(**told), limits=LIMITS, movement=MOVEMENT)


def _met(zone: Presence, stretch_m: float, reach_m: float = 10.0) -> Occupied:
    at = np.zeros(1, np.int64)
    return occupied(
        zone, at, np.array([stretch_m]), np.array([reach_m]), limits=LIMITS, movement=MOVEMENT
    )


def _occupied(zone: Presence, stretch_m: float) -> tuple[float, OccupancyWord]:
    met = _met(zone, stretch_m)
    return float(met.share[0]), OccupancyWord(int(met.word[0]))


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
    zone = _presence(word=word)
    share, got = _occupied(zone, 20.0)
    assert got == word
    assert BASES[zone.basis[0]] == "word"
    assert share == LIMITS.share_of_word[word - 1]


def test_a_thing_that_never_moves_is_constant() -> None:
    zone = _presence(static=True, persons_per_h=1.0, open_share=0.2)
    assert _occupied(zone, 20.0) == (1.0, OccupancyWord.CONSTANT)
    assert BASES[zone.basis[0]] == "always there"


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
    assert staying.staying[0] == pytest.approx(40 / 60)
    assert _occupied(staying, 1.0)[0] > _occupied(passing, 1.0)[0]


@given(st.floats(0, 1e5), st.floats(0, 1e5), st.floats(0.1, 200), st.floats(5, 130))
def test_more_traffic_never_means_less_time_occupied(
    low: float, more: float, length_m: float, speed: float
) -> None:
    few = _occupied(_presence(vehicles_per_day=low, speed_km_h=speed), length_m)
    many = _occupied(_presence(vehicles_per_day=low + more, speed_km_h=speed), length_m)
    assert 0 <= few[0] <= many[0] <= 1
    assert few[1] <= many[1]


def test_a_fallen_tree_is_hit_by_more_cars_than_a_falling_one_hits() -> None:
    # By hand from q (w + l) / v and q S / v: 10,000 vehicles a day at 50 km/h, 20 m of road
    # blocked, vehicles of 4.5 m, 35 m to stop: 0.204 struck and 0.292 that run into it.
    flow, speed = np.array([10_000.0]), np.array([50.0])
    assert vehicles_in(flow, np.array([20 + 4.5]), speed)[0] == pytest.approx(0.204, abs=5e-4)
    assert vehicles_running_in(flow, np.array([35.0]), speed)[0] == pytest.approx(0.292, abs=5e-4)


def test_both_terms_count_in_harm_and_only_the_first_in_the_word() -> None:
    zone = _presence(vehicles_per_day=1_000.0, speed_km_h=40.0)
    met = _met(zone, 20.0 - MOVEMENT.vehicle_length_m)
    struck = 1_000 / 24 * 20 / 40_000
    stopping = 40 / 3.6 * MOVEMENT.reaction_s + (40 / 3.6) ** 2 / 2 / MOVEMENT.braking_m_s2
    run_in = 1_000 / 24 * stopping / 40_000
    assert met.share[0] == pytest.approx(1 - np.exp(-struck))
    assert met.word[0] == word_of_number(np.array([struck]), limits=LIMITS)[0]
    assert met.run_in[0] == pytest.approx(run_in)
    both = struck + MOVEMENT.run_in_of_struck * run_in
    assert met.in_harm[0] == pytest.approx(1 - np.exp(-both))


# An old driver's handbook (from memory): feet to stop at v mph are v + v^2 / 20, 12 m at 20 mph
# to 96 m at 70; the design of US roads (from memory) gives 197 and 424 ft at 30 and 50 mph.
@pytest.mark.parametrize(("mph", "least_m", "most_m"), [(30, 22.9, 60.1), (50, 53.3, 129.3)])
def test_stopping_lies_between_a_handbook_and_the_design_of_roads(
    mph: float, least_m: float, most_m: float
) -> None:
    got = stopping_distance(np.array([mph * 1.609344]), movement=MOVEMENT)[0]
    assert least_m <= got <= most_m


def test_nobody_is_there_when_it_is_closed_however_many_come() -> None:
    school = _presence(persons_per_h=600.0, stay_min=180.0, open_share=0.2)
    share, word = _occupied(school, 20.0)
    assert share == pytest.approx(0.2)
    assert word == OccupancyWord.FREQUENT
    told = _presence(word=OccupancyWord.CONSTANT, open_share=0.2)
    assert _occupied(told, 20.0) == (0.2, OccupancyWord.CONSTANT)


def test_a_large_place_holds_fewer_people_beneath_one_tree() -> None:
    small = _presence(persons_per_h=1.0, stay_min=30.0, area_m2=100.0)
    large = _presence(persons_per_h=1.0, stay_min=30.0, area_m2=100_000.0)
    assert _occupied(small, 20.0)[0] == pytest.approx(1 - np.exp(-0.5))
    beneath = MOVEMENT.gathering * np.pi * 10.0**2 / 100_000
    assert _occupied(large, 20.0)[0] == pytest.approx(1 - np.exp(-0.5 * beneath))


def test_numbers_of_a_map_tag_are_said_to_be_defaults() -> None:
    zone = _presence(persons_per_h=100.0, stay_min=30.0, default=True)
    assert BASES[zone.basis[0]] == "tag default"
    assert BASES[_presence(persons_per_h=3.0).basis[0]] == "count"
    assert BASES[_presence().basis[0]] == "assumed"


@given(st.floats(1, 40), st.floats(0, 40), st.floats(0, 300), st.floats(0, 500))
def test_a_longer_reach_or_a_busier_place_never_lowers_occupancy(
    reach: float, more: float, persons: float, busier: float
) -> None:
    near = _met(_presence(persons_per_h=persons, stay_min=20.0, area_m2=2e3), reach, reach)
    for met in (
        _met(_presence(persons_per_h=persons, stay_min=20.0, area_m2=2e3), reach, reach + more),
        _met(_presence(persons_per_h=persons + busier, stay_min=20.0, area_m2=2e3), reach, reach),
    ):
        assert met.share[0] >= near.share[0]
        assert met.word[0] >= near.word[0]
        assert met.in_harm[0] >= near.in_harm[0]
