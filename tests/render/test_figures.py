"""Numbers behind a sentence: each with a name that a reader knows, three digits and its unit."""

from typing import Any

import pytest

from pipeline.render.figures import figures, name_and_unit
from pipeline.render.knots import unit_of
from pipeline.render.wording_numbers import figure
from pipeline.scoring.explanation import STATEMENTS


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.9937, "0.994"),
        # Never in powers of ten: a court reads it.
        (1.477e-05, "0.0000148"),
        (13800.0, "13800"),
        (1.65e-11, "below 0.000000001"),
        (0.0, "0"),
        (3, "3"),
    ],
)
def test_numbers_are_told_in_three_digits(value: object, text: str) -> None:
    assert figure(value) == text


def test_the_unit_stands_once() -> None:
    values: dict[str, dict[str, Any]] = {
        "diameter_cm": {"value": 55.04, "unit": "cm"},
        "value_share": {"value": 0.4, "unit": "share"},
        "count": {"value": 2, "unit": "count"},
        "name": {"value": "Fagus", "unit": None},
        "harm_low": {"value": 1e-6, "unit": "equivalent deaths per year"},
        "shell_cm": {"value": None, "unit": "cm"},
    }
    assert figures(values) == [
        "diameter 55 cm",
        "value 0.4",
        "harm, lower end 0.000001 equivalent deaths per year",
    ]


def test_harm_alone_is_in_deaths() -> None:
    # 'low' and 'high' are ends of many things: each must name what it is an end of.
    assert unit_of("low") is None
    assert unit_of("high") is None
    assert unit_of("harm_low") == "equivalent deaths per year"


def test_every_number_has_a_name_for_readers() -> None:
    names = {name for _, told in STATEMENTS.values() for name in told if unit_of(name)}
    assert {"p1", "p1_low", "gust_50_m_per_s"} <= names
    for name in names:
        said, _ = name_and_unit(name, unit_of(name))
        assert "_" not in said
        assert not any(part.startswith(("p1", "p3")) for part in said.split())


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (9.48e-31, "share", "below 0.0001"),
        (0.00012, "share", "0.00012"),
        (0.9996, "share", "above 0.999"),
        (0.0, "share", "0"),
        (7.23e-7, "equivalent deaths per year", "0.000000723 equivalent deaths per year"),
        (3e-12, "equivalent deaths per year", "below 0.000000001 equivalent deaths per year"),
        (64.04, "cm", "64 cm"),
    ],
)
def test_a_number_has_the_digits_that_say_something(value: float, unit: str, said: str) -> None:
    (told,) = figures({"extent": {"value": value, "unit": unit}})
    assert told.endswith(f" {said}")
    assert "e-" not in told
