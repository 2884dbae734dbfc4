"""The two published matrices, cell by cell and as a whole."""

from collections import Counter
from functools import partial
from itertools import product

import numpy as np
import pytest

from pipeline.errors import PublishedValueError
from pipeline.scoring.rating import matrix
from pipeline.terms import (
    ConsequenceWord,
    FailureWord,
    ImpactWord,
    LikelihoodWord,
    RatingWord,
    word,
)
from pipeline.units import Floats
from tests.helpers import check_rows
from tests.scoring.from_tables import NO_CHANGE, Change, risk_matrices, table

MATRICES = risk_matrices()
WORDS = np.arange(1, 5, dtype=np.int8)


def _look_up(name: str, row: Floats, column: Floats) -> Floats:
    function = matrix.likelihood if name == "likelihood" else matrix.rating
    cells = function(row.astype(np.int8), column.astype(np.int8), MATRICES)
    return cells.astype(np.float64)


@pytest.mark.published
@pytest.mark.parametrize("name", ["likelihood", "risk"])
def test_all_sixteen_cells_against_the_reprint(name: str) -> None:
    check_rows(
        "matrices",
        partial(_look_up, name),
        inputs=("row", "column"),
        where={"matrix": name},
    )


@pytest.mark.published
def test_counts_of_the_words_against_the_reprint() -> None:
    # ANSI A300 Part 9 as reprinted by a council in 2021: counts of words in each matrix.
    first, second = (
        Counter(MATRICES.likelihood.ravel().tolist()),
        Counter(MATRICES.risk.ravel().tolist()),
    )
    assert [first[w] for w in LikelihoodWord] == [10, 3, 2, 1]
    assert [second[w] for w in (1, 2, 3, 4)] == [8, 4, 3, 1]


@pytest.mark.published
def test_counts_over_all_64_combinations() -> None:
    # Derived from the two published matrices.
    failure, impact, consequence = (
        np.array(column, dtype=np.int8) for column in zip(*product(WORDS, repeat=3), strict=True)
    )
    rating = matrix.rating(matrix.likelihood(failure, impact, MATRICES), consequence, MATRICES)
    assert Counter(word(RatingWord(r)) for r in rating) == {
        "low": 49,
        "moderate": 9,
        "high": 5,
        "extreme": 1,
    }


def test_a_worse_word_never_gives_a_better_rating() -> None:
    for one in (MATRICES.likelihood, MATRICES.risk):
        assert (np.diff(one, axis=0) >= 0).all()
        assert (np.diff(one, axis=1) >= 0).all()


def test_what_is_always_low() -> None:
    # Surprising and published: even an imminent failure is low where the impact is very low.
    negligible = np.full(4, ConsequenceWord.NEGLIGIBLE, dtype=np.int8)
    assert (matrix.rating(WORDS, negligible, MATRICES) == RatingWord.LOW).all()
    very_low = np.full(4, ImpactWord.VERY_LOW, dtype=np.int8)
    unlikely = LikelihoodWord.UNLIKELY
    assert (matrix.likelihood(WORDS, very_low, MATRICES) == unlikely).all()
    improbable = np.full(4, FailureWord.IMPROBABLE, dtype=np.int8)
    assert (matrix.likelihood(improbable, WORDS, MATRICES) == unlikely).all()


def _outcome(change: Change) -> str:
    try:
        found = risk_matrices(change)
    except PublishedValueError as fault:
        return fault.found  # refused since the words would fall: read all the same
    return f"{found.likelihood.tolist()} {found.risk.tolist()}"


@pytest.mark.parametrize(
    ("name", "column", "kind"),
    [
        ("likelihood_matrix", "likelihood", LikelihoodWord),
        ("risk_matrix", "rating", RatingWord),
    ],
)
@pytest.mark.parametrize("row", range(16))
def test_every_cell_of_the_tables_is_read(
    name: str, column: str, kind: type[LikelihoodWord | RatingWord], row: int
) -> None:
    as_is = table(name).rows[row][column]
    for other in kind:
        if word(other) not in {as_is, word(RatingWord.NOT_ASSESSED)}:
            assert _outcome({(name, row): {column: word(other)}}) != _outcome(NO_CHANGE)


def test_a_matrix_that_falls_is_refused() -> None:
    with pytest.raises(PublishedValueError) as fault:
        risk_matrices({("risk_matrix", 15): {"rating": "low"}})
    assert "never fall" in fault.value.expected
