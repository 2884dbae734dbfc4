"""Published results on decay in trees that the grids must give again, or miss and say so.

A row of the table is asserted to lie in its band, or, as a known miss, to lie outside it at the
value that is recorded.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from pipeline.scoring.decay import grid as grids
from pipeline.scoring.decay.instruments import Instrument, likelihoods
from pipeline.scoring.decay.prior import CONDITIONS
from pipeline.scoring.decay.spread import LIFESPANS
from pipeline.terms import Part
from tests.helpers import check_values
from tests.scoring.decay.asking import LAW, NAN, parts_of, posterior, reading, readings_of

Floats = npt.NDArray[np.float64]
# Conditions of a real city's trees, by share; diameters of its trees over 30 cm, by equal shares.
MIX = {"good": 0.65, "fair": 0.22, "poor": 0.125, "dead": 0.005}
OVER_30 = 30 + 20 * -np.log1p(-(np.arange(40) + 0.5) / 40)


def survey(diameters: Floats) -> tuple[float, float]:
    """Share of trees with any decay in butt or stem, and with serious decay in either."""
    none, calm = 0.0, 0.0
    for condition, share in MIX.items():
        butt, stem = (
            posterior(parts_of(list(diameters), part=part, condition=condition))
            for part in (Part.BUTT, Part.STEM)
        )
        none += share * float(np.mean(butt[:, 0] * stem[:, 0]))
        below = [1 - grids.mass_above(m, LAW.grid, LAW.grid.serious_above) for m in (butt, stem)]
        calm += share * float(np.mean(below[0] * below[1]))
    return 1 - none, 1 - calm


def serious_with(instrument: Instrument) -> float:
    """Chance that butt or stem is serious where the sign was seen on the tree, 50 cm, fair."""
    chance = [
        grids.mass_above(
            posterior(parts_of([50], part=part), (), [reading(instrument)]),
            LAW.grid,
            LAW.grid.serious_above,
        )[0]
        for part in (Part.BUTT, Part.STEM)
    ]
    return float(1 - (1 - chance[0]) * (1 - chance[1]))


def serious_with_shelf() -> float:
    kind = len(LIFESPANS) * LAW.spread.unnamed + LIFESPANS.index("perennial")
    masses = posterior(parts_of([50]), [(0, 0, kind, 0, 1.0, NAN)])
    return float(grids.mass_above(masses, LAW.grid, LAW.grid.serious_above)[0])


def plain_likelihood(instrument: Instrument, value: float = NAN) -> Floats:
    found = likelihoods(readings_of([reading(instrument, value)]), LAW.grid, LAW.instruments)
    return np.asarray(found[1][0, 0], np.float64)


def sign_ratio() -> float:
    sign = plain_likelihood(Instrument.SIGN)
    return float(sign[-1] / sign[0])


def visual_quartiles() -> float:
    """Quartiles of the guesses where half the area is decayed, from the likelihood itself."""
    at = int(np.argmin(np.abs(LAW.grid.x**2 - 0.5)))
    guesses = np.linspace(0.005, 0.995, 100)
    density = [_unscaled_visual(guess, at) for guess in guesses]
    cumulative = np.cumsum(density) / np.sum(density)
    low, high = np.interp([0.25, 0.75], cumulative, guesses)
    return float(high - low)


def _unscaled_visual(guess: float, at: int) -> float:
    """Ratio to the column of no decay, times that column's own density."""
    found = plain_likelihood(Instrument.VISUAL, guess)
    error = LAW.instruments.visual_error
    return float(found[at] / found[0] * np.exp(-0.5 * (guess / error) ** 2))


def shell_errors(beyond_cm: float) -> float:
    """Chance that a drilled depth is farther off than this, where no eccentricity enters.

    From the likelihood of readings around a column whose shell is 50 cm, in a stem of 200 cm.
    """
    readings = np.arange(0.0, 100.01, 0.25)
    # Three azimuths with the same depth: their mean is the depth, its error 1/sqrt(3) of one's.
    rows = [
        reading(Instrument.DRILL, t, row=n, section_cm=200, azimuth=a)
        for n, t in enumerate(readings.tolist())
        for a in (0, 120, 240)
    ]
    found = likelihoods(readings_of(rows), LAW.grid, LAW.instruments)[1][:, 0]
    centre = 100 * (1 - LAW.grid.x)
    at = int(np.argmin(np.abs(centre - 50)))
    off = np.abs(readings - centre[at]) * 3**0.5
    # Rows are scaled to 1 at their best; away from the ends of the scale that is the same factor.
    return float(found[off > beyond_cm, at].sum() / found[:, at].sum())


def missed(instrument: Instrument) -> float:
    """Chance of finding nothing in a decayed butt of 50 cm."""
    masses = posterior(parts_of([50]))[0]
    found = plain_likelihood(instrument)
    return float((masses[1:] * found[1:]).sum() / masses[1:].sum() / found[0])


def mean_area() -> float:
    masses = posterior(parts_of([50]))
    return float(grids.means(masses, LAW.grid, power=2)[0] / (1 - masses[0, 0]))


def sound_called_sound() -> float:
    """Chance of a tomogram below 0.2 of the area where nothing is decayed, from the likelihood."""
    areas = np.linspace(0, 1, 201)
    at_none = np.array([plain_likelihood(Instrument.TOMOGRAM, area)[0] for area in areas])
    at_none[0] /= 2
    # Readings below none are told as none: the half of the error that lies there.
    return float((at_none[areas < 0.2].sum() + at_none.sum()) / (2 * at_none.sum()))


def left_after_tomogram() -> float:
    return float(1 - posterior(parts_of([50]), (), [reading(Instrument.TOMOGRAM, 0.0)])[0, 0])


def any_at(diameter: float) -> float:
    parts = [posterior(parts_of([diameter], part=p))[0, 0] for p in (Part.BUTT, Part.STEM)]
    return float(1 - parts[0] * parts[1])


MEASURES: dict[str, Callable[[], float]] = {
    "any_over_30": lambda: survey(OVER_30)[0],
    "serious_over_30": lambda: survey(OVER_30)[1],
    "any_at_38": lambda: survey(np.array([38.0]))[0],
    "serious_with_sign": lambda: serious_with(Instrument.SIGN),
    "sign_ratio": sign_ratio,
    "serious_with_shelf": serious_with_shelf,
    "visual_quartiles": visual_quartiles,
    # Depths were told in whole centimetres.
    "within_5": lambda: 1 - shell_errors(5.5),
    "beyond_10": lambda: shell_errors(10.5),
    "drill_finds": lambda: 1 - missed(Instrument.DRILL_NOTHING),
    "core_finds": lambda: 1 - missed(Instrument.CORE_NOTHING),
    "mean_area": mean_area,
    "any_at_20": lambda: any_at(20),
    "sound_called_sound": sound_called_sound,
    "left_after_tomogram": left_after_tomogram,
}


@pytest.mark.published
@pytest.mark.parametrize("row", check_values("decay/anchors"), ids=lambda row: row["case"])
def test_published_results(row: dict[str, str]) -> None:
    found = MEASURES[row["quantity"]]()
    inside = float(row["low"]) <= found <= float(row["high"])
    assert inside == (row["known_miss"] != "yes"), f"{row['line']}: {found:.4g}"
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_the_mix_of_conditions_is_whole_and_its_mean_factor_is_one() -> None:
    assert sum(MIX.values()) == pytest.approx(1)
    factor = [LAW.prior.condition[CONDITIONS.index(c)] for c in MIX]
    assert np.dot(factor, list(MIX.values())) == pytest.approx(1, abs=0.01)


def test_the_lines_that_are_missed_are_the_recorded_two() -> None:
    missed_lines = [r["quantity"] for r in check_values("decay/anchors") if r["known_miss"]]
    assert missed_lines == ["serious_with_shelf", "any_at_20"]
