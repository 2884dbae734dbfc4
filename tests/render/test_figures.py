"""Numbers behind a sentence: read by a person, so no digits that say nothing."""

import pytest

from pipeline.render.figures import figures


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (9.48e-31, "share", "below 0.0001"),
        (0.00012, "share", "0.00012"),
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
