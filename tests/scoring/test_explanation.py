"""Facts: declared statements with their declared values, in the order of the thread."""

import json
import math

import pytest

from pipeline.scoring.explanation import LINKS, REVIEWS, STATEMENTS, Facts, as_json
from pipeline.tables.catalogue_scoring import FACTS


def test_links_are_those_of_the_table() -> None:
    assert FACTS.column("link").allowed == LINKS
    assert {link for link, _ in STATEMENTS.values()} == set(LINKS)


def test_facts_count_within_their_set() -> None:
    facts = Facts()
    facts.add(3, "seen_never")
    facts.add(5, "seen_never")
    facts.add(3, "rating_not_assessed", assumed=True)
    assert facts.fact_set == [3, 5, 3]
    assert facts.sequence == [0, 0, 1]
    assert facts.link == ["seen", "seen", "rating"]
    assert facts.assumed == [False, False, True]


@pytest.mark.parametrize("values", [{}, {"status": "stump", "more": 1}])
def test_values_that_are_not_declared_are_a_bug(values: dict[str, object]) -> None:
    with pytest.raises(KeyError):
        Facts().add(0, "seen_not_rated", values)


def test_an_undeclared_statement_is_a_bug() -> None:
    with pytest.raises(KeyError):
        Facts().add(0, "no_such_statement")


def test_values_are_sorted_rounded_and_without_nan() -> None:
    text = as_json({"b": 0.123456, "a": math.nan, "c": "Linde", "d": 3})
    assert list(json.loads(text)) == ["a", "b", "c", "d"]
    assert json.loads(text) == {"a": None, "b": 0.1235, "c": "Linde", "d": 3}


def test_urgencies_are_those_of_the_table() -> None:
    assert {urgency for urgency, _ in REVIEWS.values()} <= {0, 1, 2, 3}
