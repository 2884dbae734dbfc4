"""How often a gust is passed at the tree: yearly rates, return periods, chances within years.

A climate is one of three forms, for gusts at 10 m over open ground, times a multiplier for the
ground of the place. Rates are yearly rates of events, so that the chance of none in n years is
exp(-n rate), and the chance of one in a year is 1 - exp(-rate).
"""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.units import Floats

POWER, PROBABILITY_FACTOR, GUMBEL = 0, 1, 2
FORMS = ("power", "probability_factor", "gumbel")
_FIFTY_YEARS = 50.0


@dataclass(frozen=True)
class GustClimate:
    """Gusts at the tree, as one of three forms of (a, b, c) and a multiplier.

    Parameters
    ----------
    form : POWER, PROBABILITY_FACTOR or GUMBEL.
    a, b, c : POWER: V(R) = a - b R^-c [m/s] for a return period of R years. PROBABILITY_FACTOR:
        gust of 50 years [m/s], shape K and power n. GUMBEL: location and scale [m/s] of the
        largest gust of a year; c is not used.
    multiplier : gust at the tree over gust over open ground.
    """

    form: int
    a: float
    b: float
    c: float
    multiplier: float

    def __post_init__(self) -> None:
        """Refuse a climate without wind.

        Raises
        ------
        PublishedValueError
            If a number of the form is not above 0, or the form is unknown.
        """
        needed = (self.a, self.b, self.multiplier) if self.form == GUMBEL else (
            self.a, self.b, self.c, self.multiplier
        )  # fmt: skip
        if self.form not in (POWER, PROBABILITY_FACTOR, GUMBEL) or not min(needed) > 0:
            raise PublishedValueError(
                where="gust climate",
                found=f"form {self.form}: {self.a:g}, {self.b:g}, {self.c:g}, {self.multiplier:g}",
                expected="numbers above 0 of a known form: gusts in m/s",
                remedy="Give the region, or the place's gust of 50 years, or location and scale.",
            )


def rate_above(gust: Floats, climate: GustClimate) -> Floats:
    """Yearly rate of gusts above one at the tree [1/year], same shape; infinite for weak ones."""
    v = np.asarray(gust, dtype=np.float64) / climate.multiplier
    if climate.form == POWER:
        return np.maximum(0.0, (climate.a - v) / climate.b) ** (1.0 / climate.c)
    if climate.form == PROBABILITY_FACTOR:
        with np.errstate(over="ignore"):
            relative = _reference(climate.b) * (v / climate.a) ** (1.0 / climate.c)
        return np.exp((1.0 - relative) / climate.b)
    return np.exp(-(v - climate.a) / climate.b)


def gust_of_rate(rate: Floats, climate: GustClimate) -> Floats:
    """Gust at the tree [m/s] that is passed at a yearly rate, same shape: the inverse."""
    y = np.asarray(rate, dtype=np.float64)
    if climate.form == POWER:
        return climate.multiplier * np.maximum(0.0, climate.a - climate.b * y**climate.c)
    if climate.form == PROBABILITY_FACTOR:
        factor = np.maximum(0.0, 1.0 - climate.b * np.log(y)) / _reference(climate.b)
        return climate.multiplier * climate.a * factor**climate.c
    return climate.multiplier * np.maximum(0.0, climate.a - climate.b * np.log(y))


def none_within(years: Floats, rate: Floats, *, share: float = 1.0) -> Floats:
    """Chance that a gust is not passed within years, in a season of a share of the year's gusts."""
    # A season without gusts, and a gust that every wind passes: nothing times endless is nothing.
    spent = np.asarray(years, dtype=np.float64) * share
    with np.errstate(invalid="ignore"):
        return np.exp(-np.where(spent == 0, 0.0, spent * rate))


def encounter(yearly: Floats, years: Floats) -> Floats:
    """Chance of at least one event within years, from its yearly chance; broadcast."""
    p = np.asarray(yearly, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return -np.expm1(np.asarray(years, dtype=np.float64) * np.log1p(-p))


def probability_factor(yearly: Floats, *, shape: float, power: float) -> Floats:
    """Gust with a yearly chance over that with 1 in 50 (EN 1991-1-4, 4.2), same shape."""
    with np.errstate(divide="ignore"):
        reduced = np.log(-np.log1p(-np.asarray(yearly, dtype=np.float64)))
    return ((1.0 - shape * reduced) / _reference(shape)) ** power


def _reference(shape: float) -> float:
    return float(1.0 - shape * np.log(-np.log1p(-1.0 / _FIFTY_YEARS)))
