"""Which sightings are of one fungus, and how they add up."""

import numpy as np
import pytest

from pipeline.scoring.identification import bodies
from pipeline.scoring.identification.bodies import Looks
from pipeline.scoring.identification.evidence import Vocabulary

SAID = Vocabulary(
    ("form", "position", "host", "host_uncertain", "attachment"),
    (("shelf", "hoof", "crust"), ("butt", "stem"), ("Acer", "Tilia"), ("Acer", "Tilia"), ("on",)),
)
EVEN = np.full(3, 1 / 3)
ALL = np.ones(4, np.bool_)


def seen(*states: str) -> list[bool]:
    found = [False] * SAID.size
    for text in states:
        character, state = text.split("=")
        found[SAID.column(character, state)] = True
    return found


def leaders(tree: list[int], posterior: list[list[float]], parts: object = None) -> list[int]:
    rows = np.array(posterior)
    return bodies.leaders(
        np.array(tree),
        rows,
        np.tile(EVEN, (len(rows), 1)),
        np.tile(ALL, (len(rows), 1)) if parts is None else np.array(parts),
        ratio=1.0,
    ).tolist()


def test_one_taxon_that_explains_both_better_makes_one_body() -> None:
    # By hand: sum of p q / prior = 3 (0.9 0.8 + 0.05 0.1 + 0.05 0.1) = 2.19 > 1.
    assert leaders([7, 7], [[0.9, 0.05, 0.05], [0.8, 0.1, 0.1]]) == [0, 0]
    # 3 (0.9 0.05 + 0.05 0.9 + 0.05 0.05) = 0.28 < 1: two fungi.
    assert leaders([7, 7], [[0.9, 0.05, 0.05], [0.05, 0.9, 0.05]]) == [0, 1]


def test_what_says_nothing_belongs_to_the_body_that_is_known() -> None:
    assert leaders([7, 7], [[1 / 3] * 3, [0.9, 0.05, 0.05]]) == [1, 1]


def test_other_trees_and_parts_that_do_not_meet_are_other_bodies() -> None:
    same = [[0.9, 0.05, 0.05]] * 2
    assert leaders([7, 8], same) == [0, 1]
    apart = [[True, False, False, False], [False, False, True, False]]
    assert leaders([7, 7], same, apart) == [0, 1]


def test_looks_that_follow_each_other_are_one_occasion() -> None:
    day = np.array([100, 110, 120, 140, -1, 100])
    body = np.array([0, 0, 0, 0, 0, 1])
    found = bodies.occasions(body, day, days=14)
    # The one without a date goes with the first; 140 is 20 days after 120.
    assert len({found[0], found[1], found[2], found[4]}) == 1
    assert len(set(found.tolist())) == 3


def weights(*looks: tuple[int, int, float, list[bool]]) -> np.ndarray:
    told = Looks(
        np.array([look[0] for look in looks]),
        np.array([look[1] for look in looks]),
        np.arange(len(looks)),
        np.array([look[2] for look in looks]),
    )
    return bodies.weights(np.array([look[3] for look in looks]), told, SAID)


def test_one_occasion_is_averaged_over_those_who_looked() -> None:
    found = weights(
        (0, 0, 3.0, seen("form=shelf")), (0, 0, 1.0, seen("form=hoof")),
        (0, 0, 5.0, seen("position=butt")),
    )[0]  # fmt: skip
    assert found[SAID.column("form", "shelf")] == pytest.approx(0.75)
    assert found[SAID.column("form", "hoof")] == pytest.approx(0.25)
    assert found[SAID.column("position", "butt")] == pytest.approx(1.0)


def test_later_looks_add_and_the_place_does_not() -> None:
    look = seen("form=shelf", "position=butt", "host=Acer")
    found = weights((0, 0, 1.0, look), (0, 1, 1.0, look), (0, 2, 1.0, look))[0]
    assert found[SAID.column("form", "shelf")] == pytest.approx(3.0)
    assert found[SAID.column("position", "butt")] == pytest.approx(1.0)
    assert found[SAID.column("host", "Acer")] == pytest.approx(1.0)


def test_ten_thousand_reports_weigh_as_one() -> None:
    once = weights((0, 0, 1.0, seen("form=shelf")))
    np.testing.assert_allclose(weights((0, 0, 1e4, seen("form=shelf"))), once)


def test_bodies_do_not_mix() -> None:
    found = weights((0, 0, 1.0, seen("form=shelf")), (1, 1, 1.0, seen("form=crust")))
    np.testing.assert_allclose(found[1], weights((0, 0, 1.0, seen("form=crust")))[0])


def test_no_evidence_goes_beyond_the_least_doubt() -> None:
    before = np.array([[0.5, 0.3, 0.2]])
    found = bodies.doubted(np.array([[1.0, 0.0, 0.0]]), before, 0.001)
    np.testing.assert_allclose(found, [[0.999, 0.0006, 0.0004]])
    unsure = np.array([[0.9, 0.06, 0.04]])
    np.testing.assert_array_equal(bodies.doubted(unsure, before, 0.001), unsure)


def test_the_doubt_that_is_there_keeps_its_shape() -> None:
    before = np.array([[0.5, 0.3, 0.2]])
    found = bodies.doubted(np.array([[0.9996, 0.0, 0.0004]]), before, 0.001)
    assert found.sum() == pytest.approx(1.0)
    assert found[0, 0] == pytest.approx(0.999)
    assert found[0, 2] > found[0, 1]


def test_what_is_expected_is_the_region_and_the_host() -> None:
    likelihood = np.full((SAID.size, 2), 0.5)
    likelihood[SAID.column("host", "Acer")] = 0.9, 0.1
    likelihood[SAID.column("form", "shelf")] = 0.9, 0.1
    weight = weights((0, 0, 1.0, seen("form=shelf", "host=Acer")))
    found = bodies.expected(np.array([[0.5, 0.5]]), weight, likelihood, SAID)
    np.testing.assert_allclose(found, [[0.9, 0.1]])
