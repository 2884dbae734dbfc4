"""A name counts as far as whoever gave it is trusted, and never further."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.identification import names
from pipeline.scoring.identification.names import TaxonPosterior
from pipeline.tables.inputs import NAMED_BY
from tests.scoring.from_tables import catalogue, name_certainty

FUNGI = catalogue()
TRUST = name_certainty()
KRETZSCHMARIA = FUNGI.taxon_id.index("kretzschmaria_deusta")
GRIFOLA = FUNGI.taxon_id.index("grifola_frondosa")


def posterior(taxon: list[int], by: list[str], certainty: list[float | None]) -> TaxonPosterior:
    return names.name_posterior(
        np.array(taxon, dtype=np.int64),
        np.array([TRUST.name_by.index(who) for who in by], dtype=np.int64),
        np.array(certainty, dtype=np.float64),
        catalogue=FUNGI,
        trust=TRUST,
    )


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
    ],
)
def test_stated_certainty_is_capped(by: str, certainty: float | None, expected: float) -> None:
    found = posterior([GRIFOLA], [by], [certainty])
    assert found.probability[found.taxon == GRIFOLA] == pytest.approx(expected)
    rest = found.probability[found.taxon == FUNGI.unlisted].sum()
    assert rest == pytest.approx(1 - expected)


def test_no_name_is_unlisted() -> None:
    found = posterior([-1], ["specialist"], [None])
    np.testing.assert_array_equal(found.taxon, [FUNGI.unlisted])
    np.testing.assert_array_equal(found.probability, [1.0])
    assert found.heard.all()


def test_an_unlikely_name_is_listed_and_not_heard() -> None:
    found = posterior([KRETZSCHMARIA], ["public"], [0.1])
    np.testing.assert_array_equal(found.taxon, [KRETZSCHMARIA, FUNGI.unlisted])
    np.testing.assert_array_equal(found.heard, [False, True])


def test_expectation_and_winner() -> None:
    found = posterior([KRETZSCHMARIA, GRIFOLA, -1], ["public", "specialist", "public"], [None] * 3)
    np.testing.assert_allclose(
        names.expected_action_code(found, FUNGI, sightings=3), [0.6 * 5, 0.95 * 3, 0]
    )
    np.testing.assert_array_equal(names.highest_action_code(found, FUNGI, sightings=3), [5, 3, 0])
    np.testing.assert_array_equal(
        names.most_probable(found, sightings=3), [KRETZSCHMARIA, GRIFOLA, FUNGI.unlisted]
    )
    attack = names.probability_of_attack(found, FUNGI, sightings=3)
    np.testing.assert_allclose(attack[0], 0.6 * FUNGI.attacks[KRETZSCHMARIA])
    np.testing.assert_allclose(attack[2], 0)


def test_the_named_taxon_wins_a_tie() -> None:
    found = posterior([GRIFOLA], ["public"], [0.5])
    assert names.most_probable(found, sightings=1)[0] == GRIFOLA


@given(
    st.lists(
        st.tuples(
            st.integers(-1, len(FUNGI.taxon_id) - 2),
            st.sampled_from(NAMED_BY),
            st.one_of(st.none(), st.floats(0, 1)),
        ),
        max_size=20,
    )
)
def test_probabilities_of_a_sighting_sum_to_one(
    rows: list[tuple[int, str, float | None]],
) -> None:
    found = posterior([r[0] for r in rows], [r[1] for r in rows], [r[2] for r in rows])
    total = np.bincount(found.sighting, weights=found.probability, minlength=len(rows))
    np.testing.assert_allclose(total, np.ones(len(rows)))
    assert (found.probability > 0).all()
    assert (np.diff(found.sighting) >= 0).all()


def test_every_row_of_the_table_matters() -> None:
    rows = [GRIFOLA] * len(NAMED_BY)
    for number in range(len(NAMED_BY)):
        for column, text in (("certainty_cap_share", "0.5"), ("heard_from_share", "0.99")):
            trust = name_certainty({("name_certainty", number): {column: text}})
            arguments = (
                np.array(rows),
                np.arange(len(NAMED_BY)),
                np.full(len(NAMED_BY), 0.95),
            )
            changed = names.name_posterior(*arguments, catalogue=FUNGI, trust=trust)
            as_is = names.name_posterior(*arguments, catalogue=FUNGI, trust=TRUST)
            at = as_is.sighting == number
            same = changed.sighting == number
            assert (
                changed.probability[same].tolist() != as_is.probability[at].tolist()
                or changed.heard[same].tolist() != as_is.heard[at].tolist()
            ), (number, column)


def test_taxa_are_found_by_id() -> None:
    found = FUNGI.index(("kretzschmaria_deusta", None, "no_such_fungus", "unlisted"))
    np.testing.assert_array_equal(found, [KRETZSCHMARIA, -1, -1, -1])
