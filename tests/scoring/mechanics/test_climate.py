"""Gust climates against distributions of a statistics library; inverses; refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library
from pipeline.scoring.mechanics import climate
from pipeline.scoring.mechanics.climate import GustClimate
from pipeline.scoring.parameters.mechanics import gust_climate
from tests.scoring.mechanics import world

REGIONS = ("as_nzs_a", "as_nzs_b", "en_recommended", "en_k011", "asce_7")


def test_a_citys_own_yearly_gusts_against_the_gumbel_distribution() -> None:
    one = gust_climate(Library(), region="gumbel", terrain="open", location_m_s=26.0, scale_m_s=3.5)
    v = np.linspace(15, 60, 46)
    library = stats.gumbel_r(loc=26.0, scale=3.5)
    assert climate.none_within(np.ones(46), climate.rate_above(v, one)) == pytest.approx(
        library.cdf(v), rel=1e-12
    )
    assert climate.none_within(np.full(46, 3.0), climate.rate_above(v, one)) == pytest.approx(
        library.cdf(v) ** 3, rel=1e-12
    )
    assert climate.gust_of_rate(-np.log1p(-np.array([0.02])), one) == pytest.approx(
        library.ppf(0.98)
    )


def test_a_region_with_a_greatest_gust_against_the_extreme_value_distribution() -> None:
    # exp(-((67 - v) / 41)^10) is the reversed Weibull law: shape 0.1, scale 0.1 x 41, mode 67 - 41.
    one = gust_climate(Library(), region="as_nzs_a", terrain="open")
    v = np.linspace(20, 66, 47)
    library = stats.genextreme(0.1, loc=67 - 41, scale=4.1)
    assert climate.none_within(np.ones(47), climate.rate_above(v, one)) == pytest.approx(
        library.cdf(v), rel=1e-9
    )
    assert climate.rate_above(np.array([67.0, 90.0]), one).tolist() == [0.0, 0.0]


def test_the_probability_factor_squared_is_a_gumbel_law() -> None:
    # EN 1991-1-4 with n 0.5: squared gusts follow Gumbel with scale K and location 1 over the
    # reference.
    reference = 1 - 0.2 * np.log(-np.log(0.98))
    p = np.array([0.5, 0.2, 0.02, 0.002])
    library = stats.gumbel_r(loc=1.0, scale=0.2).isf(p) / reference
    assert climate.probability_factor(p, shape=0.2, power=0.5) ** 2 == pytest.approx(library)


def test_encounters_against_the_binomial_law() -> None:
    n = np.arange(1, 60)
    assert climate.encounter(np.full(59, 0.02), n.astype(float)) == pytest.approx(
        stats.binom(n, 0.02).sf(0)
    )


@given(st.sampled_from(REGIONS), st.floats(1e-4, 0.2))
def test_gust_and_rate_are_inverse(region: str, rate: float) -> None:
    one = world.climate(region)
    gust = climate.gust_of_rate(np.array([rate]), one)
    assert climate.rate_above(gust, one) == pytest.approx([rate], rel=1e-6)


@given(st.sampled_from(REGIONS), st.floats(1, 90), st.floats(1, 90))
def test_stronger_gusts_are_rarer(region: str, v: float, u: float) -> None:
    low, high = climate.rate_above(np.sort(np.array([v, u])), world.climate(region))
    assert high <= low


def test_rougher_ground_meets_weaker_gusts() -> None:
    multipliers = [
        gust_climate(Library(), region="as_nzs_a", terrain=t).multiplier
        for t in ("open_water", "open", "suburban", "dense_city")
    ]
    assert multipliers == sorted(multipliers, reverse=True)


@pytest.mark.parametrize(
    ("given_", "said"),
    [
        ({"region": "atlantis"}, "0 rows"),
        ({"region": "en_recommended"}, "no gust of 50 years"),
        ({"region": "gumbel", "location_m_s": 20.0}, "no scale"),
        ({"region": "gumbel", "location_m_s": 20.0, "scale_m_s": -1.0}, "-1"),
        ({"region": "as_nzs_a", "terrain": "swamp"}, "0 rows"),
    ],
)
def test_a_place_that_says_too_little_is_refused(given_: dict[str, object], said: str) -> None:
    with pytest.raises(PublishedValueError) as fault:
        gust_climate(Library(), **{"terrain": "open", **given_})  # type: ignore[arg-type]
    assert said in str(fault.value)


def test_an_unknown_form_is_refused() -> None:
    with pytest.raises(PublishedValueError):
        GustClimate(7, 1.0, 1.0, 1.0, 1.0)
