"""A name counts as far as whoever gave it is trusted, and never further."""

import numpy as np
import pytest

from pipeline.scoring.identification.names import trusted
from pipeline.tables.inputs import NAMED_BY
from tests.scoring.from_tables import catalogue, name_certainty

FUNGI = catalogue()
TRUST = name_certainty()


def test_every_observer_of_the_inputs_has_a_row() -> None:
    assert TRUST.name_by == NAMED_BY


@pytest.mark.parametrize(
    ("by", "certainty", "expected"),
    [
        # The caps are elicited: no published value.
        ("laboratory", None, 1.0),
        ("specialist", None, 0.95),
        ("trained_inspector", None, 0.85),
        ("public", None, 0.6),
        ("public", 0.99, 0.6),
        ("public", 0.3, 0.3),
        ("image_model", 1.0, 0.6),
        ("unknown", None, 0.6),
        ("laboratory", 0.7, 0.7),
        ("laboratory", -0.2, 0.0),
    ],
)
def test_stated_certainty_is_capped(by: str, certainty: float | None, expected: float) -> None:
    found = trusted(
        np.array([TRUST.name_by.index(by)]), np.array([certainty], dtype=np.float64), TRUST
    )
    assert found[0] == pytest.approx(expected)


@pytest.mark.parametrize("number", range(len(NAMED_BY)))
def test_every_cap_of_the_table_matters(number: int) -> None:
    changed = name_certainty({("name_certainty", number): {"certainty_cap_share": "0.5"}})
    by, certainty = np.array([number]), np.array([0.95])
    assert trusted(by, certainty, changed)[0] != trusted(by, certainty, TRUST)[0]


def test_taxa_are_found_by_id() -> None:
    found = FUNGI.index(("kretzschmaria_deusta", None, "no_such_fungus", "unlisted"))
    np.testing.assert_array_equal(found, [FUNGI.taxon_id.index("kretzschmaria_deusta"), -1, -1, -1])
