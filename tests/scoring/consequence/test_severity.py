"""Consequences by size, fall and target; harm."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library
from pipeline.scoring.consequence.severity import (
    branch_diameters,
    consequence_words,
    harm_of_impact,
    harm_of_whole_tree,
    harm_per_year,
    size_class,
)
from pipeline.scoring.parameters.targets import GROUPS, target_parameters
from pipeline.terms import ConsequenceWord, Part
from tests.scoring.changed import Change, changed_library, changes_of, number_changes

TABLES = target_parameters(Library()).severity
GROUP = {name: number for number, name in enumerate(GROUPS)}


def _word(part: Part, diameter_cm: float, fall_m: float, target: str) -> ConsequenceWord:
    got = consequence_words(
        np.array([part], np.int8),
        np.array([diameter_cm]),
        np.array([fall_m]),
        np.array([GROUP[target]]),
        tables=TABLES,
    )
    return ConsequenceWord(int(got[0]))


def test_an_empty_parked_car_is_significant_and_an_occupied_one_severe() -> None:
    # The example of the best-management practice, 2nd edition (2017), p. 40.
    assert _word(Part.STEM, 60, 10, "parked_car") == ConsequenceWord.SIGNIFICANT
    # It gives no size: a large part by what 87 arborists chose, below.
    assert _word(Part.STEM, 70, 10, "vehicle") == ConsequenceWord.SEVERE


def test_a_small_branch_over_people() -> None:
    # Under 4 in over people: an injury when it falls from high up (elicited).
    assert _word(Part.BRANCH, 9, 10, "person") == ConsequenceWord.SIGNIFICANT
    assert _word(Part.BRANCH, 9, 2, "person") == ConsequenceWord.MINOR


# "Assessing the consequences of tree failure" (2021): most of 87 arborists chose significant or
# severe from 29.2 cm (11.5 in) over a pedestrian and from 69.2 cm (27.2 in) over a vehicle.
@pytest.mark.published
@pytest.mark.parametrize(("target", "from_cm"), [("person", 29.2), ("vehicle", 69.2)])
@pytest.mark.parametrize("part", [Part.BRANCH, Part.STEM])
def test_severe_from_the_diameters_that_arborists_chose(
    target: str, from_cm: float, part: Part
) -> None:
    assert _word(part, from_cm - 0.1, 10, target) < ConsequenceWord.SEVERE
    assert _word(part, from_cm, 10, target) == ConsequenceWord.SEVERE
    assert _word(part, from_cm, 1, target) == ConsequenceWord.SEVERE


# 4 in of the community guide (NA-TP-03-03, from memory); at a limit the larger class.
@pytest.mark.parametrize(
    ("diameter_cm", "size"), [(10.15, 0), (10.16, 1), (29.19, 1), (29.2, 2), (300.0, 2)]
)
def test_size_classes_over_people_at_their_limits(diameter_cm: float, size: int) -> None:
    group = np.array([GROUP["person"]])
    assert size_class(np.array([diameter_cm]), group, tables=TABLES)[0] == size


@pytest.mark.parametrize(
    "change",
    [("consequence", 2, "diameter_from_cm", "40"), ("consequence", 1, "diameter_from_cm", "1")],
)
def test_sizes_that_do_not_rise_or_differ_by_fall_are_refused(change: Change) -> None:
    with pytest.raises(PublishedValueError) as fault:
        target_parameters(changed_library(change))
    assert "rise from 0" in fault.value.expected


def test_a_tree_that_falls_whole_does_what_its_stem_does() -> None:
    for group in GROUPS:
        at = np.array([GROUP[group]])
        across = np.array([50.0])
        word = np.array([_word(Part.STEM, 50.0, 20, group)], np.int8)
        expected = harm_of_impact(at, word, tables=TABLES)
        assert harm_of_whole_tree(across, at, tables=TABLES) == expected


def test_a_stem_never_falls_low() -> None:
    assert _word(Part.STEM, 9, 0.5, "person") == _word(Part.STEM, 9, 20, "person")


@given(st.floats(1, 150), st.floats(0, 100), st.floats(0, 30), st.sampled_from(GROUPS))
def test_a_thicker_part_never_does_less(
    diameter: float, more: float, fall: float, target: str
) -> None:
    thin = _word(Part.BRANCH, diameter, fall, target)
    assert thin <= _word(Part.BRANCH, diameter + more, fall, target)
    assert thin <= _word(Part.BRANCH, diameter, fall + 5, target)


def test_a_branch_that_nobody_measured_is_filled_within_bounds() -> None:
    got, filled = branch_diameters(
        np.array([12.0, np.nan, np.nan]), np.array([40.0, 1.0, 500.0]), tables=TABLES
    )
    assert filled.tolist() == [False, True, True]
    assert got.tolist() == [12.0, TABLES.branch_least_cm, TABLES.branch_most_cm]


def test_harm_is_the_product_of_its_links() -> None:
    got = harm_per_year(np.array([0.01]), np.array([0.5]), np.array([0.2]), np.array([0.1]))
    assert got[0] == pytest.approx(1e-4)


@pytest.mark.parametrize("group", range(len(GROUPS)), ids=GROUPS)
def test_a_worse_word_never_means_less_harm(group: int) -> None:
    words = np.array(list(ConsequenceWord), np.int8)
    harm = harm_of_impact(np.full(4, group), words, tables=TABLES)
    assert (np.diff(harm) >= 0).all()


@pytest.mark.parametrize(
    "change",
    [
        *changes_of("consequence", {"consequence": {"negligible": "severe", "": "negligible"}}),
        *number_changes("consequence_harm", "harm_equivalents"),
    ],
)
def test_every_row_is_read(change: Change) -> None:
    changed = target_parameters(changed_library(change)).severity
    same = np.array_equal(changed.words, TABLES.words) and np.array_equal(changed.harm, TABLES.harm)
    assert not same
