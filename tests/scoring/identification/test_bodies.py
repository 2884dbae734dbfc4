"""Which sightings are of one fungus, and how they add up."""

import numpy as np
import pytest

from pipeline.scoring.identification import bodies
from pipeline.scoring.identification.bodies import JoinLimits, Looks, Named
from pipeline.scoring.identification.evidence import Vocabulary

SAID = Vocabulary(
    ("form", "position", "host", "host_uncertain", "attachment"),
    (("shelf", "hoof", "crust"), ("butt", "stem"), ("Acer", "Tilia"), ("Acer", "Tilia"), ("on",)),
)
EVEN = np.full(3, 1 / 3)
ALL = np.ones(4, np.bool_)
LIMITS = JoinLimits(named=1.0, unnamed=1.0, less_trusted=0.3, outweighed=3.0)


def seen(*states: str) -> list[bool]:
    found = [False] * SAID.size
    for text in states:
        character, state = text.split("=")
        found[SAID.column(character, state)] = True
    return found


def unnamed(count: int) -> Named:
    return Named(np.full(count, -1), np.zeros((0, 3), np.bool_), np.zeros(count))


def leaders(
    tree: list[int],
    posterior: list[list[float]],
    parts: object = None,
    names: Named | None = None,
    limits: JoinLimits = LIMITS,
) -> list[int]:
    rows = np.array(posterior)
    found = bodies.leaders(
        np.array(tree),
        rows,
        np.tile(EVEN, (len(rows), 1)),
        np.tile(ALL, (len(rows), 1)) if parts is None else np.array(parts),
        names or unnamed(len(rows)),
        limits,
    )
    return [int(row) for row in found]


def test_one_taxon_that_explains_both_better_makes_one_body() -> None:
    # By hand: sum of p q / prior = 3 (0.9 0.8 + 0.05 0.1 + 0.05 0.1) = 2.19 > 1.
    assert leaders([7, 7], [[0.9, 0.05, 0.05], [0.8, 0.1, 0.1]]) == [0, 0]
    # 3 (0.9 0.05 + 0.05 0.9 + 0.05 0.05) = 0.28 < 1: two fungi.
    assert leaders([7, 7], [[0.9, 0.05, 0.05], [0.05, 0.9, 0.05]]) == [0, 1]


def test_what_says_nothing_belongs_to_the_body_that_is_known() -> None:
    assert leaders([7, 7], [[1 / 3] * 3, [0.9, 0.05, 0.05]]) == [1, 1]


# Names: taxon 0, taxon 1, the genus of 0 and 2, taxon 2.
MEANS = np.array([[1, 0, 0], [0, 1, 0], [1, 0, 1], [0, 0, 1]], np.bool_)
SAME = [0.5, 0.3, 0.2]


def named(*names: int, trust: tuple[float, ...] = ()) -> Named:
    return Named(np.array(names), MEANS, np.array(trust or [0.6] * len(names)))


def test_names_that_mean_different_taxa_are_two_bodies() -> None:
    assert leaders([7, 7], [SAME, SAME], names=named(0, 0)) == [0, 0]
    assert leaders([7, 7], [SAME, SAME], names=named(0, 1)) == [0, 1]
    # However much more the other is trusted, what was seen must decide too.
    assert leaders([7, 7], [SAME, SAME], names=named(0, 1, trust=(0.6, 1.0))) == [0, 1]


def test_a_name_yields_to_one_trusted_more_where_what_was_seen_decides() -> None:
    seen = [[0.1, 0.8, 0.1], [0.05, 0.9, 0.05]]
    assert leaders([7, 7], seen, names=named(0, 1, trust=(0.6, 1.0))) == [1, 1]
    assert leaders([7, 7], seen, names=named(0, 1, trust=(0.85, 1.0))) == [0, 1]


def test_a_genus_joins_one_of_its_species_and_never_joins_two() -> None:
    assert leaders([7, 7], [SAME, SAME], names=named(0, 2)) == [0, 0]
    rows = [[0.4, 0.2, 0.4], [0.8, 0.1, 0.1], [0.1, 0.1, 0.8]]
    found = leaders([7, 7, 7], rows, names=named(2, 0, 3))
    assert found[1] != found[2]
    assert found[0] in {1, 2}


def test_what_nobody_named_joins_only_where_the_evidence_is_clear() -> None:
    limits = JoinLimits(named=1.0, unnamed=2.5, less_trusted=0.3, outweighed=3.0)
    # By hand: 3 (0.8 0.7 + 0.1 0.2 + 0.1 0.1) = 1.77 < 2.5 < 3 (0.95 0.9 + ...) = 2.57.
    vague, clear = [[0.8, 0.1, 0.1], [0.7, 0.2, 0.1]], [[0.95, 0.03, 0.02], [0.9, 0.05, 0.05]]
    assert leaders([7, 7], vague, names=named(0, -1), limits=limits) == [0, 1]
    assert leaders([7, 7], clear, names=named(0, -1), limits=limits) == [0, 0]
    assert leaders([7, 7], vague, names=named(0, 0), limits=limits) == [0, 0]


def test_a_body_that_nobody_named_brings_no_two_names_together() -> None:
    rows = [[0.48, 0.48, 0.04], [0.5, 0.46, 0.04], [0.46, 0.5, 0.04]]
    found = leaders([7, 7, 7], rows, names=named(-1, 0, 1))
    assert found[1] != found[2]


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
