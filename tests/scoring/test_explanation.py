"""Facts: declared statements with their declared values, in the order of the thread."""

import json
import math

import numpy as np
import pytest

from pipeline.scoring.explanation import LINKS, REVIEWS, STATEMENTS, Facts, Many, as_json
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


def test_many_facts_are_those_told_one_by_one() -> None:
    heights, words = [3.14159, math.nan, 12000.0, -0.0, 1e-7], ["a%s", "b", "Ö", 'c"', "%"]
    sets = np.array([7, 2, 7, 2, 7])
    one, all_at_once = Facts(), Facts()
    for facts in (one, all_at_once):
        facts.add(7, "seen_never")
    for at, height, status in zip(sets.tolist(), heights, words, strict=True):
        one.add(at, "seen_height_filled", {"height_m": height}, source="s", assumed=True)
        one.add(at, "seen_not_rated", {"status": status})
    order = 2 * np.arange(5)
    all_at_once.tell(
        Many("seen_not_rated", sets, order + 1, {"status": words}),
        Many("seen_height_filled", sets, order, {"height_m": np.array(heights)}, "s", assumed=True),
    )
    for facts in (one, all_at_once):
        facts.add(2, "seen_never")
    assert sorted(_rows(one)) == sorted(_rows(all_at_once))


def _rows(facts: Facts) -> list[tuple[object, ...]]:
    return list(zip(facts.fact_set, facts.sequence, facts.link, facts.statement, facts.values,
                    map(str, facts.source), facts.assumed, strict=True))  # fmt: skip


def test_many_facts_may_share_their_values() -> None:
    facts = Facts()
    facts.tell(Many("seen_not_rated", np.array([1, 4]), np.arange(2), {"status": "stump"}))
    assert facts.values == ['{"status": "stump"}'] * 2


def test_many_facts_with_values_not_declared_are_a_bug() -> None:
    with pytest.raises(KeyError):
        Facts().tell(Many("seen_not_rated", np.array([0]), np.array([0]), {"state": ["stump"]}))


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
