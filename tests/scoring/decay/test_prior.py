"""Decay of parts of which nobody has told anything."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pipeline.errors import TableError
from pipeline.scoring.decay import grid as grids
from pipeline.scoring.decay.prior import CONDITIONS, HOSTS, nothing_decayed
from pipeline.scoring.decay.update import PartRows
from pipeline.terms import Part, from_word
from tests.helpers import check_values
from tests.scoring.decay.asking import LAW, finer, parts_of, posterior


@pytest.mark.published
@pytest.mark.parametrize("row", check_values("decay/prior"), ids=lambda row: row["case"])
def test_worked_priors(row: dict[str, str]) -> None:
    part = from_word(Part, row["part"])
    parts = parts_of(
        [float(row["diameter_cm"])], part=part, condition=row["condition"], host=row["host"]
    )
    said = grids.summary(posterior(parts), LAW.grid, LAW.levels)
    found = getattr(said, row["quantity"])[0]
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("host", HOSTS)
def test_given_decay_the_share_follows_the_beta_law(host: str) -> None:
    # Shapes as elicited, written here again: 0.488 and 1.895 times 0.8, 1 and 1.2.
    b = 1.895 * dict(zip(HOSTS, (0.8, 1.0, 1.2), strict=True))[host]
    masses = posterior(parts_of([50], host=host))[0]
    given_decay = masses[1:] / masses[1:].sum()
    np.testing.assert_allclose(
        given_decay, np.diff(stats.beta.cdf(np.linspace(0, 1, 201), 0.488, b)), atol=1e-12
    )


@given(
    st.sampled_from(Part),
    st.floats(0.5, 400),
    st.sampled_from(CONDITIONS),
    st.sampled_from(HOSTS),
)
def test_decay_is_never_ruled_out(part: Part, diameter: float, condition: str, host: str) -> None:
    masses = posterior(parts_of([diameter], part=part, condition=condition, host=host))[0]
    assert (masses > 0).all()
    assert masses.sum() == pytest.approx(1)
    assert 0 < masses[0] < 1


@given(st.floats(1, 300), st.floats(1.01, 3))
def test_more_size_a_worse_condition_or_a_poorer_host_never_means_less(
    diameter: float, factor: float
) -> None:
    def cumulative(**told: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.cumsum(posterior(parts_of([diameter], **told))[0])  # type: ignore[arg-type]

    bigger = np.cumsum(posterior(parts_of([diameter * factor]))[0])
    assert (bigger <= cumulative() + 1e-12).all()
    for better, poorer in (("good", "fair"), ("fair", "poor"), ("poor", "dead")):
        assert (cumulative(condition=poorer) <= cumulative(condition=better) + 1e-12).all()
    for better, poorer in (("good", "middle"), ("middle", "poor")):
        assert (cumulative(host=poorer) <= cumulative(host=better) + 1e-12).all()


@pytest.mark.parametrize("bad", [0.0, -3.0, float("nan"), float("inf")])
def test_a_diameter_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(TableError, match="row 1") as caught:
        nothing_decayed(np.array([1, 1]), np.array([30, bad]), np.array([0, 0]), LAW.prior)
    assert "above 0" in caught.value.expected


def test_two_hundred_cells_are_enough() -> None:
    parts = parts_of([12, 38, 50, 120], host="poor")
    coarse = grids.summary(posterior(parts), LAW.grid, LAW.levels)
    fine = grids.summary(posterior(parts, law=finer(400)), finer(400).grid, LAW.levels)
    np.testing.assert_allclose(coarse.mean, fine.mean, rtol=0.005)
    np.testing.assert_allclose(coarse.serious, fine.serious, rtol=0.005)


def test_rows_do_not_touch_each_other() -> None:
    rng = np.random.default_rng(11)
    parts = PartRows(
        rng.integers(0, 4, 60).astype(np.int8),
        rng.uniform(5, 150, 60),
        rng.integers(0, 5, 60),
        rng.integers(0, 3, 60),
    )
    turn = rng.permutation(60)
    turned = PartRows(
        parts.part[turn], parts.diameter_cm[turn], parts.condition[turn], parts.host[turn]
    )
    whole = posterior(parts)
    np.testing.assert_array_equal(posterior(turned), whole[turn])
    np.testing.assert_array_equal(posterior(parts, rows_at_once=7), whole)
