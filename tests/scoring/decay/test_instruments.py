"""Likelihoods of signs and instruments: against scipy, and what they must never do."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from pipeline.errors import TableError
from pipeline.scoring.decay.instruments import (
    ROTS,
    Instrument,
    likelihoods,
    together,
)
from tests.scoring.decay.asking import LAW, NAN, Reading, reading, readings_of

Floats = npt.NDArray[np.float64]
EDGES = np.linspace(0, 1, 201)
# Means of x^(0.488 - 1) over the cells, as the prior has it.
X = np.append(0, 0.488 / 1.488 * np.diff(EDGES**1.488) / np.diff(EDGES**0.488))
WHITE, BROWN, SOFT = range(3)
SOUND = (Instrument.DRILL_NOTHING, Instrument.MALLET_SOUND, Instrument.CORE_NOTHING)


def likelihood(*rows: Reading, rot: int = WHITE) -> Floats:
    found = likelihoods(readings_of(rows), LAW.grid, LAW.instruments)[1][0, rot]
    return np.asarray(found / found.max(), np.float64)


def scaled(values: Floats) -> Floats:
    return np.asarray(values / values.max(), np.float64)


def one_shell(shell: float, diameter: float) -> Floats:
    """A single shell, numbers of the elicited law written here again."""
    centre = diameter / 2 * (1 - X)
    scale = np.hypot(2.6, np.where(X > 0, 0.25 * centre, 0))
    return np.asarray(stats.t.pdf(shell, 2.4, centre, scale), np.float64)


def by_eye(area: float) -> Floats:
    a, b = -(X**2) / 0.2, (1 - X**2) / 0.2
    return np.asarray(stats.truncnorm.pdf(area, a, b, X**2, 0.2), np.float64)


def several_shells(mean: float, diameter: float, n: int) -> Floats:
    centre = diameter / 2 * (1 - X)
    return np.asarray(stats.t.pdf(mean, 2.4, centre, 2.6 / n**0.5), np.float64)


HOLLOW = 0.10 + 0.60 / (1 + np.exp(-(X - 0.5) / 0.08))


def probed(found: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """By quadrature: a probe reaches a part u of the column, density 4 u^3, read with error."""

    def one(x: float) -> float:
        def joint(u: float) -> float:
            return float(4 * u**3 * stats.norm.pdf(found, u * x, 0.08))

        return 0.03 + 0.97 * float(integrate.quad(joint, 0, 1, points=[min(found / x, 1.0)])[0])

    return np.array([one(max(x, 1e-9)) for x in X])


CASES = {
    "sign": ([reading(Instrument.SIGN)], np.where(X > 0.69, 0.88, 0.533)),
    "by eye": ([reading(Instrument.VISUAL, 0.3)], by_eye(0.3)),
    "drill": ([reading(Instrument.DRILL, 8, section_cm=60)], one_shell(8, 60)),
    "core": ([reading(Instrument.CORE, 12, section_cm=40)], one_shell(12, 40)),
    "four azimuths": (
        [
            reading(Instrument.DRILL, t, section_cm=70, azimuth=a)
            for t, a in ((17, 0), (15, 90), (18, 180), (16, 270))
        ],
        several_shells(16.5, 70, 4),
    ),
    "nothing drilled": (
        [reading(Instrument.DRILL_NOTHING)],
        np.where(X > 0, 0.04 + 0.96 * np.exp(-32.01 * X), 1),
    ),
    "nothing cored": (
        [reading(Instrument.CORE_NOTHING)],
        np.where(X > 0, 0.04 + 0.96 * np.exp(-7.568 * X), 1),
    ),
    "tomogram": ([reading(Instrument.TOMOGRAM, 0.4)], stats.norm.pdf(0.4, X**2, 0.0125**0.5)),
    "two of one device": (
        [reading(Instrument.TOMOGRAM, 0.3), reading(Instrument.TOMOGRAM, 0.5)],
        stats.norm.pdf(0.4, X**2, 0.0075**0.5),
    ),
    "two of two devices": (
        [reading(Instrument.TOMOGRAM, 0.3), reading(Instrument.TOMOGRAM, 0.5, device=1)],
        stats.norm.pdf(0.3, X**2, 0.0125**0.5) * stats.norm.pdf(0.5, X**2, 0.0125**0.5),
    ),
    "hollow": ([reading(Instrument.MALLET_HOLLOW)], HOLLOW),
    "sound": ([reading(Instrument.MALLET_SOUND)], 1 - HOLLOW),
    "probe": (
        [reading(Instrument.PROBE, 20)],
        probed(0.4),
    ),
    "extensive": (
        [reading(Instrument.EXTENSIVE)],
        0.02 + 0.98 * stats.norm.cdf((X**2 - 0.35) / 0.15),
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_against_scipy(case: str) -> None:
    rows, expected = CASES[case]
    # The law of the probe is a mean over points of equal probability.
    rtol = 0.02 if case == "probe" else 1e-9
    np.testing.assert_allclose(likelihood(*rows), scaled(expected), rtol=rtol)


@given(st.lists(st.sampled_from(sorted(CASES)), min_size=2, max_size=5), st.randoms())
def test_order_of_evidence_changes_no_bit(names: list[str], random: object) -> None:
    rows = [row for name in names for row in CASES[name][0]]
    turned = list(rows)
    random.shuffle(turned)  # type: ignore[attr-defined]
    for rot in range(len(ROTS)):
        np.testing.assert_array_equal(likelihood(*rows, rot=rot), likelihood(*turned, rot=rot))


def test_what_tells_nothing_new_counts_once() -> None:
    for instrument in (Instrument.SIGN, Instrument.MALLET_HOLLOW, Instrument.MALLET_SOUND):
        one = reading(instrument)
        np.testing.assert_array_equal(likelihood(one, one, one), likelihood(one))
    twice = reading(Instrument.DRILL, 10, azimuth=90), reading(Instrument.DRILL, 12, azimuth=90)
    mean = reading(Instrument.DRILL, 11, azimuth=90)
    np.testing.assert_array_equal(likelihood(*twice), likelihood(mean))


def test_three_readings_of_one_azimuth_are_no_section() -> None:
    same = [reading(Instrument.DRILL, 10, azimuth=90)] * 3
    around = [reading(Instrument.DRILL, 10, azimuth=a) for a in (0, 120, 240)]
    assert together(readings_of(same)).count.tolist() == [1]
    assert together(readings_of(around)).count.tolist() == [3]
    untold = [reading(Instrument.DRILL, 10)] * 3
    assert together(readings_of(untold)).count.tolist() == [3]


@pytest.mark.parametrize("instrument", SOUND)
def test_a_sound_reading_lowers_white_rot_most_and_soft_rot_least(instrument: Instrument) -> None:
    white, brown, soft = (likelihood(reading(instrument), rot=rot) for rot in range(3))
    assert (white[1:] < brown[1:]).all()
    assert (brown[1:] < soft[1:] + 1e-12).all()


@pytest.mark.parametrize("instrument", [Instrument.DRILL_NOTHING, Instrument.MALLET_SOUND])
def test_neither_drill_nor_mallet_clears_soft_rot(instrument: Instrument) -> None:
    np.testing.assert_allclose(likelihood(reading(instrument), rot=SOFT), 1)
    # Half of brown rot is taken as early: the reading cannot halve it.
    assert likelihood(reading(instrument), rot=BROWN).min() >= 0.5


def test_a_thick_shell_does_not_clear_soft_rot_and_a_thin_one_still_tells() -> None:
    thick = likelihood(reading(Instrument.DRILL, 22), rot=SOFT)
    assert (np.diff(thick) >= 0).all()
    assert thick[-1] == 1
    thin = likelihood(reading(Instrument.DRILL, 4), rot=SOFT)
    assert thin[0] < 0.1


def test_a_hollow_sound_tells_the_same_of_every_rot() -> None:
    rows = reading(Instrument.MALLET_HOLLOW), reading(Instrument.EXTENSIVE)
    for rot in (BROWN, SOFT):
        np.testing.assert_allclose(likelihood(*rows, rot=rot), likelihood(*rows))


@given(
    st.sampled_from([Instrument.DRILL, Instrument.CORE, Instrument.TOMOGRAM, Instrument.VISUAL]),
    st.floats(0, 1),
)
def test_no_reading_is_proof(instrument: Instrument, share: float) -> None:
    value = share * 25 if instrument in {Instrument.DRILL, Instrument.CORE} else share
    found = likelihoods(readings_of([reading(instrument, value)]), LAW.grid, LAW.instruments)[1]
    assert (found > 0).all()
    assert np.isfinite(found).all()


def test_rows_that_were_read_come_in_order() -> None:
    rows, found = likelihoods(
        readings_of([reading(Instrument.SIGN, row=n) for n in (7, 2, 5)]), LAW.grid, LAW.instruments
    )
    assert rows.tolist() == [2, 5, 7]
    assert found.shape == (3, 3, 201)


def test_no_readings_at_all() -> None:
    rows, found = likelihoods(readings_of([]), LAW.grid, LAW.instruments)
    assert rows.size == 0
    assert found.shape == (0, 3, 201)


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (reading(Instrument.DRILL, 26), "drill"),
        (reading(Instrument.DRILL, -1), "drill"),
        (reading(Instrument.CORE, NAN), "core"),
        (reading(Instrument.DRILL, 3, section_cm=NAN), "drill"),
        (reading(Instrument.TOMOGRAM, 1.2), "tomogram"),
        (reading(Instrument.VISUAL, NAN), "visual"),
        (reading(Instrument.PROBE, 51), "probe"),
        (reading(Instrument.PROBE, 3, section_cm=0), "probe"),
    ],
)
def test_readings_that_cannot_be_are_refused(bad: Reading, said: str) -> None:
    with pytest.raises(TableError) as caught:
        likelihoods(readings_of([reading(Instrument.SIGN), bad]), LAW.grid, LAW.instruments)
    assert caught.value.where == f"reading 1, {said}"
