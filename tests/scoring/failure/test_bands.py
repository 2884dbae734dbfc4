"""The worse word wins, and what the words stand for in the expected harm."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import PublishedValueError
from pipeline.scoring.failure import bands
from pipeline.terms import FailureWord
from tests.scoring.from_tables import failure_bands

BANDS = failure_bands()
WORDS = np.array(list(FailureWord), dtype=np.int8)


def test_bands_follow_one_another_and_the_middle_is_geometric() -> None:
    # Elicited: improbable under 0.0025, possible under 0.010, probable under 0.30 a year.
    yearly = bands.yearly_probability(WORDS, BANDS)
    np.testing.assert_allclose(yearly.high, [0.0025, 0.010, 0.30, 1.0])
    np.testing.assert_array_equal(yearly.low[1:], yearly.high[:-1])
    np.testing.assert_allclose(yearly.middle**2, yearly.low * yearly.high)
    assert (np.diff(yearly.middle) > 0).all()


@pytest.mark.parametrize("row", range(4))
@pytest.mark.parametrize("column", ["probability_low_per_year", "probability_high_per_year"])
def test_every_row_of_the_bands_matters(row: int, column: str) -> None:
    changed = {("failure_bands", row): {column: "0.0015"}}
    if (row, column) == (0, "probability_low_per_year"):
        yearly = bands.yearly_probability(WORDS, failure_bands(changed))
        assert yearly.low[0] == 0.0015
        assert yearly.middle[0] > bands.yearly_probability(WORDS, BANDS).middle[0]
    elif (row, column) == (3, "probability_high_per_year"):
        lower = failure_bands({("failure_bands", 3): {column: "0.9"}})
        assert bands.yearly_probability(WORDS, lower).high[3] == 0.9
    else:
        # An edge that two bands share can only be moved in both.
        with pytest.raises(PublishedValueError) as fault:
            failure_bands(changed)
        assert fault.value.where == "published table failure_bands"


findings = st.lists(
    st.tuples(
        st.integers(0, 6), st.integers(0, 3), st.integers(1, 4), st.integers(1, 4), st.booleans()
    ),
    max_size=40,
)


@given(findings)
def test_the_worst_of_a_part_against_a_loop(rows: list[tuple[int, int, int, int, bool]]) -> None:
    cells = np.array(rows, dtype=np.int64).reshape(-1, 5)
    tree, act = cells[:, 0], cells[:, 4] == 1
    part, word, points = (cells[:, n].astype(np.int8) for n in (1, 2, 3))
    found = bands.worst_per_part(tree, part, word, points, act)
    keys = sorted({row[:2] for row in rows})
    assert list(zip(found.tree.tolist(), found.part.tolist(), strict=True)) == keys
    for n, key in enumerate(keys):
        mine = [(i, row) for i, row in enumerate(rows) if row[:2] == key]
        worst = max(row[2] for _, row in mine)
        assert found.word[n] == worst
        assert found.finding[n] == min(i for i, row in mine if row[2] == worst)
        assert found.points[n] == max(row[3] for _, row in mine)
        assert found.act_at_once[n] == any(row[4] for _, row in mine)
