"""The worst pair of a tree, its expected harm, and the word of trees nobody looked at."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.rating import tree
from pipeline.terms import RatingWord

pair = st.tuples(
    st.integers(0, 5),  # tree
    st.integers(0, 3),  # part
    st.integers(-1, 4),  # zone
    st.integers(1, 4),  # rating
    st.sampled_from([0.0, 1e-6, 1e-4, 0.1]),  # harm
)
pairs = st.lists(pair, min_size=1, max_size=40, unique_by=lambda p: p[:3])


def _columns(rows: list[tuple[int, int, int, int, float]]) -> dict[str, np.ndarray]:
    tree_, part, zone, severity, harm = zip(*rows, strict=True)
    return {
        "tree": np.array(tree_, dtype=np.int64),
        "part": np.array(part, dtype=np.int8),
        "zone": np.array(zone, dtype=np.int64),
        "severity": np.array(severity, dtype=np.int8),
        "harm": np.array(harm),
    }


@given(pairs)
def test_worst_pair_against_sorting_each_tree(
    rows: list[tuple[int, int, int, int, float]],
) -> None:
    found = tree.worst_pairs(**_columns(rows))
    expected = [
        min((r for r in rows if r[0] == t), key=lambda r: (-r[3], -r[4], r[1], r[2]))
        for t in sorted({r[0] for r in rows})
    ]
    assert [rows[i] for i in found] == expected


@given(pairs, st.randoms(use_true_random=False))
def test_the_order_of_pairs_does_not_matter(
    rows: list[tuple[int, int, int, int, float]], random: object
) -> None:
    shuffled = list(rows)
    random.shuffle(shuffled)  # type: ignore[attr-defined] # hypothesis's Random
    one = [rows[i] for i in tree.worst_pairs(**_columns(rows))]
    two = [shuffled[i] for i in tree.worst_pairs(**_columns(shuffled))]
    assert one == two


def test_no_pairs_no_worst_pair() -> None:
    none = np.zeros(0, dtype=np.int64)
    small = none.astype(np.int8)
    found = tree.worst_pairs(none, small, none, severity=small, harm=np.zeros(0))
    assert found.size == 0
    keys, parts, harm = tree.conditional_harm(
        none, small, direction_share=np.zeros(0), harm_if_struck=np.zeros(0)
    )
    assert keys.size == parts.size == harm.size == 0


def test_harm_of_a_part_adds_targets_in_different_directions() -> None:
    keys, parts, harm = tree.conditional_harm(
        np.array([7, 3, 7, 7]),
        np.array([2, 0, 2, 3], dtype=np.int8),
        direction_share=np.array([0.25, 1.0, 0.5, 0.1]),
        harm_if_struck=np.array([0.4, 0.02, 0.1, 1.0]),
    )
    np.testing.assert_array_equal(keys, [3, 7, 7])
    np.testing.assert_array_equal(parts, [0, 2, 3])
    np.testing.assert_allclose(harm, [0.02, 0.25 * 0.4 + 0.5 * 0.1, 0.1])


@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 2)), min_size=2, max_size=8))
def test_a_further_target_never_makes_the_others_less(targets: list[tuple[float, float]]) -> None:
    # Expectations add (any textbook of probability), also of what lies behind one another.
    def harm(several: list[tuple[float, float]]) -> float:
        share, struck = (np.array(column) for column in zip(*several, strict=True))
        same = np.zeros(share.size, dtype=np.int64)
        _, _, total = tree.conditional_harm(
            same, same.astype(np.int8), direction_share=share, harm_if_struck=struck
        )
        return float(total[0])

    assert harm(targets) >= harm(targets[:-1])
    assert harm(targets) == pytest.approx(sum(share * struck for share, struck in targets))


def test_what_is_expected_of_two_targets_is_what_falls_do_on_the_mean() -> None:
    # 200,000 falls drawn: a path over 0.6 of the circle, people behind it over half of that.
    falls = np.random.default_rng(5).random(200_000)
    drawn = 0.02 * (falls < 0.6).mean() + 0.3 * ((falls > 0.3) & (falls < 0.8)).mean()
    one = np.zeros(2, dtype=np.int64)
    _, _, told = tree.conditional_harm(
        one, one.astype(np.int8), direction_share=np.array([0.6, 0.5]),
        harm_if_struck=np.array([0.02, 0.3]),
    )  # fmt: skip
    assert told[0] == pytest.approx(drawn, rel=0.01)


def test_harm_of_a_tree_sums_its_parts() -> None:
    found = tree.tree_harm(
        np.array([0, 2, 2]),
        np.array([0.1, 0.2, 0.3]),
        probability=(np.array([0.01, 0.1, 0]), np.array([0.02, 0.2, 0.1]), np.ones(3)),
        trees=4,
    )
    np.testing.assert_allclose(found.low, [0.001, 0, 0.02, 0])
    np.testing.assert_allclose(found.middle, [0.002, 0, 0.07, 0])
    np.testing.assert_allclose(found.high, [0.1, 0, 0.5, 0])


@pytest.mark.parametrize(
    ("assessed", "rated", "pair", "expected"),
    [
        (True, True, None, RatingWord.LOW),
        (False, True, None, RatingWord.NOT_ASSESSED),  # not inspected is not low
        (False, True, RatingWord.HIGH, RatingWord.HIGH),  # old evidence is not forgotten
        (True, True, RatingWord.EXTREME, RatingWord.EXTREME),
        (True, False, RatingWord.HIGH, RatingWord.NOT_ASSESSED),  # a stump
    ],
)
def test_word_of_a_tree(
    assessed: bool, rated: bool, pair: RatingWord | None, expected: RatingWord
) -> None:
    rows = [] if pair is None else [0]
    words = tree.tree_words(
        np.array(rows, dtype=np.int64),
        np.array([] if pair is None else [pair], dtype=np.int8),
        assessed=np.array([assessed]),
        rated=np.array([rated]),
    )
    np.testing.assert_array_equal(words, [expected])
