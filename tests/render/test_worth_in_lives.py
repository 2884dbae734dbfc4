"""The value of a prevented death against the figures of public appraisal."""

import pytest

from pipeline.published.table import Library
from pipeline.render.worth_in_lives import annuity, money_per_death, pays_above

TABLE = Library().table("prevented_fatality", key=("quantity",))
YEARS, DISCOUNT = (TABLE.number("value", quantity=name) for name in ("years", "discount"))
VALUE = TABLE.number("value", quantity="value")


def test_the_annuity_of_twenty_years_is_that_of_the_tables() -> None:
    # 20 years at 3.5 %: 14.212, any table of annuities
    assert annuity(YEARS, DISCOUNT) == pytest.approx(14.212, abs=5e-4)


def test_a_job_of_500_pays_above_one_in_46_400_a_year() -> None:
    # UK Department for Transport: GBP 1,632,892 a prevented fatality, 2010 prices
    one_in = 1.0 / pays_above(500.0, VALUE, years=YEARS, discount=DISCOUNT)
    assert one_in == pytest.approx(46_400, rel=1e-3)


@pytest.mark.parametrize(("risk", "spend"), [(1e-4, 2321), (1e-5, 232), (1e-6, 23)])
def test_spend_that_a_risk_justifies(risk: float, spend: float) -> None:
    # risk x value x annuity, by hand
    assert pays_above(spend, VALUE, years=YEARS, discount=DISCOUNT) == pytest.approx(risk, rel=0.02)
    assert money_per_death(spend, risk, years=YEARS, discount=DISCOUNT) == pytest.approx(
        VALUE, rel=0.02
    )


def test_work_that_avoids_nothing_costs_no_end() -> None:
    assert money_per_death(10.0, 0.0, years=YEARS, discount=DISCOUNT) == float("inf")
