"""Posterior of a part's decay: worked values, quadrature, and laws that must hold."""

from dataclasses import fields

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from pipeline.errors import TableError
from pipeline.scoring.decay import grid as grids
from pipeline.scoring.decay.grid import Summary
from pipeline.scoring.decay.instruments import Instrument, likelihoods
from pipeline.scoring.decay.spread import LIFESPANS
from pipeline.scoring.decay.update import (
    PartRows,
    no_fungus,
    no_readings,
    posteriors,
    summaries,
)
from pipeline.terms import Part
from tests.helpers import check_values
from tests.scoring.decay.asking import (
    LAW,
    NAN,
    Entry,
    Reading,
    entries_of,
    finer,
    parts_of,
    posterior,
    reading,
    readings_of,
)

Floats = npt.NDArray[np.float64]
WHITE, BROWN, SOFT = range(3)


def kind(letter: str, lifespan: str = "perennial") -> int:
    return len(LIFESPANS) * LAW.spread.classes.index(letter) + LIFESPANS.index(lifespan)


def body(letter: str, *, weight: float = 1, rot: int = WHITE, years: float = NAN) -> Entry:
    return (0, 0, kind(letter), rot, weight, years)


def said(masses: Floats) -> Summary:
    return grids.summary(masses, LAW.grid, LAW.levels)


@pytest.mark.published
@pytest.mark.parametrize("row", check_values("decay/updates"), ids=lambda row: row["case"])
def test_worked_updates_of_the_prior_of_a_butt(row: dict[str, str]) -> None:
    instrument = Instrument[row["instrument"].upper()]
    found = said(posterior(parts_of([50]), (), [reading(instrument, float(row["value"] or "nan"))]))
    value = getattr(found, row["quantity"])[0]
    assert value == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_nine_layers_and_four_azimuths() -> None:
    # Worked out apart from this code with scipy.stats on 200 cells: mean .5381, serious .0241.
    shells = [
        reading(Instrument.DRILL, t, section_cm=70, azimuth=a)
        for t, a in ((17, 10), (15, 100), (18, 190), (16, 280))
    ]
    found = said(posterior(parts_of([70]), [body("A", years=9)], shells))
    assert found.mean == pytest.approx(0.5381, rel=0.01)
    assert found.serious == pytest.approx(0.0241, rel=0.01)


# Likelihoods written again with scipy.stats and the elicited numbers; each with its reading.
def shell(t: float, diameter: float, x: float) -> float:
    centre = diameter / 2 * (1 - x)
    scale = np.hypot(2.6, 0.25 * centre if x > 0 else 0)
    return float(stats.t.pdf(t, 2.4, centre, scale))


def eye(area: float, x: float) -> float:
    a, b = -(x**2) / 0.2, (1 - x**2) / 0.2
    return float(stats.truncnorm.pdf(area, a, b, x**2, 0.2))


def tomogram(area: float, x: float) -> float:
    return float(stats.norm.pdf(area, x**2, 0.0125**0.5))


def nothing(k: float, x: float) -> float:
    return 0.04 + 0.96 * float(np.exp(-k * x)) if x > 0 else 1.0


def hollow(x: float) -> float:
    return 0.10 + 0.60 / (1 + float(np.exp(-(x - 0.5) / 0.08)))


QUADRATURE = [
    (diameter, name, value)
    for diameter in (22, 38, 55, 75, 110)
    for name, value in (
        ("drill", 0.3), ("visual", 0.35), ("tomogram", 0.25),
        ("core_nothing", NAN), ("mallet_sound", NAN), ("mallet_hollow", NAN),
    )
]  # fmt: skip


def exact(name: str, value: float, diameter: float, x: float) -> float:
    if name == "drill":
        return shell(value * diameter / 2, diameter, x)
    if name == "visual":
        return eye(value, x)
    if name == "tomogram":
        return tomogram(value, x)
    if name.endswith("nothing"):
        return nothing(32.01 if name.startswith("drill") else 7.568, x)
    return hollow(x) if name == "mallet_hollow" else 1 - hollow(x)


@pytest.mark.parametrize(("diameter", "name", "value"), QUADRATURE)
def test_posterior_against_quadrature(diameter: float, name: str, value: float) -> None:
    """Prior of a butt, one reading: 30 cases to 1e-4 of probability and of the mean."""
    assert len(QUADRATURE) == 30
    _compare_with_quadrature(diameter, name, value, within=1e-4)


@pytest.mark.parametrize("diameter", [22, 55, 110])
def test_the_steepest_reading_against_quadrature(diameter: float) -> None:
    """Nothing drilled falls by a seventh within a cell: 200 cells give it to 2.5e-4."""
    _compare_with_quadrature(diameter, "drill_nothing", NAN, within=2.5e-4)


def _compare_with_quadrature(diameter: float, name: str, value: float, *, within: float) -> None:
    hazard = 1.1 * np.log1p(np.exp(0.128 + 1.1 * np.log(diameter / 38)))
    none = float(np.exp(-0.55 * hazard))
    a, b = 0.488, 1.895

    def density(x: float, power: int) -> float:
        # Without the factor x^(a - 1), which the rule of integration takes.
        return float((1 - x) ** (b - 1) * x**power * exact(name, value, diameter, x))

    norm = 1 / float(special.beta(a, b))

    def part(low: float, power: int) -> float:
        if low == 0:
            whole = integrate.quad(
                density, 0, 1, args=(power,), weight="alg", wvar=(a - 1, 0), limit=200
            )[0]
            return (1 - none) * norm * float(whole)
        cut = integrate.quad(lambda x: x ** (a - 1) * density(x, power), low, 1, limit=200)[0]
        return (1 - none) * norm * float(cut)

    at_none = none * exact(name, value, diameter, 0)
    total = at_none + part(0, 0)
    rows = [reading(Instrument[name.upper()], _in_unit(name, value, diameter), section_cm=diameter)]
    found = said(posterior(parts_of([diameter]), (), rows))
    assert found.nothing[0] == pytest.approx(at_none / total, abs=within)
    assert found.mean[0] == pytest.approx(part(0, 1) / total, abs=within)
    assert found.serious[0] == pytest.approx(part(0.69, 0) / total, abs=within)


def _in_unit(name: str, value: float, diameter: float) -> float:
    return value * diameter / 2 if name == "drill" else value


@pytest.mark.parametrize("entries", [[], [body("B")], [body("C", rot=SOFT, weight=0.5)]])
def test_two_hundred_cells_are_enough(entries: list[Entry]) -> None:
    rows = [reading(Instrument.DRILL, 9, section_cm=60), reading(Instrument.VISUAL, 0.4)]
    parts = parts_of([60])
    coarse = said(posterior(parts, entries, rows))
    fine = grids.summary(
        posterior(parts, entries, rows, law=finer(400)), finer(400).grid, LAW.levels
    )
    for field in ("nothing", "mean", "mean_area", "serious"):
        found, twice = getattr(coarse, field), getattr(fine, field)
        assert found == pytest.approx(twice, rel=0.005, abs=1e-6), field
    # Quantiles are read off at the ends of cells: half a cell apart.
    for field in ("low", "middle", "high"):
        assert getattr(coarse, field) == pytest.approx(getattr(fine, field), abs=0.0025), field


evidence = st.lists(
    st.sampled_from([
        reading(Instrument.SIGN), reading(Instrument.VISUAL, 0.5), reading(Instrument.DRILL, 9),
        reading(Instrument.DRILL_NOTHING), reading(Instrument.CORE_NOTHING),
        reading(Instrument.TOMOGRAM, 0.3), reading(Instrument.MALLET_SOUND),
        reading(Instrument.PROBE, 12),
    ]),
    max_size=5,
)  # fmt: skip
sound_readings = st.lists(
    st.sampled_from([
        reading(Instrument.DRILL, 9), reading(Instrument.DRILL, 21),
        reading(Instrument.DRILL_NOTHING), reading(Instrument.CORE_NOTHING),
        reading(Instrument.MALLET_SOUND), reading(Instrument.TOMOGRAM, 0.1),
    ]),
    max_size=4,
)  # fmt: skip
signs = st.sampled_from([
    reading(Instrument.SIGN), reading(Instrument.MALLET_HOLLOW), reading(Instrument.EXTENSIVE)
])  # fmt: skip
fungi = st.sampled_from([
    [], [body("A")], [body("C", rot=BROWN)], [body("C", rot=SOFT, weight=0.5)],
    [body("M", weight=0.3), body("L", weight=0.3), body("C", rot=BROWN, weight=0.4)],
])  # fmt: skip


@settings(max_examples=40)
@given(fungi, evidence, st.permutations(range(5)))
def test_the_order_of_evidence_never_matters(
    entries: list[Entry], rows: list[Reading], turn: list[int]
) -> None:
    turned = [rows[n] for n in turn if n < len(rows)]
    plain = posterior(parts_of([50]), entries, rows)
    np.testing.assert_array_equal(posterior(parts_of([50]), entries[::-1], turned), plain)


@settings(max_examples=40)
@given(fungi, evidence)
def test_step_by_step_is_all_at_once(entries: list[Entry], rows: list[Reading]) -> None:
    """Readings of different instruments one after the other, by hand, give the posterior."""
    kinds = {row[1]: row for row in rows}
    once = list(kinds.values())
    (block,) = posteriors(parts_of([50]), entries_of(entries), readings_of(once), LAW, single=False)
    by_rot = _before(entries)
    for row in once:
        by_rot = by_rot * likelihoods(readings_of([row]), LAW.grid, LAW.instruments)[1]
        by_rot = by_rot / by_rot.sum()
    np.testing.assert_allclose(block.masses, by_rot.sum(axis=1), atol=1e-12)


def _before(entries: list[Entry]) -> Floats:
    (block,) = posteriors(parts_of([50]), entries_of(entries), no_readings(), LAW, single=False)
    if block.by_rot.size:
        return block.by_rot
    return np.concatenate([block.masses[:, None], np.zeros((1, 2, 201))], axis=1).astype(np.float64)


@settings(max_examples=40)
@given(
    st.sampled_from("ABCMLU"),
    st.floats(3, 150),
    st.floats(0, 1),
    st.sampled_from(["good", "poor", "dead"]),
    st.sampled_from(["poor", "good"]),
    evidence,
)
def test_a_body_never_means_less_decay(
    letter: str, diameter: float, weight: float, condition: str, host: str, rows: list[Reading]
) -> None:
    parts = parts_of([diameter], condition=condition, host=host)
    without = np.cumsum(posterior(parts))
    with_body = posterior(parts, [body(letter, weight=weight)])
    assert (np.cumsum(with_body) <= without + 1e-9).all()
    more = posterior(parts, [body(letter, weight=weight), (0, 1, kind("M"), WHITE, 0.5, NAN)])
    assert (np.cumsum(more) <= np.cumsum(with_body) + 1e-9).all()
    assert posterior(parts, [body(letter, weight=weight)], _fit(rows, diameter)).sum() == (
        pytest.approx(1)
    )


def _fit(rows: list[Reading], diameter: float) -> list[Reading]:
    """Readings cut to what a section can give."""
    return [
        (0, kind_of, min(value, diameter / 2) if value > 1 else value, diameter, azimuth, device)
        for _, kind_of, value, _, azimuth, device in rows
    ]


@settings(max_examples=40)
@given(fungi, sound_readings, signs)
def test_one_more_sign_never_means_less_decay(
    entries: list[Entry], rows: list[Reading], sign: Reading
) -> None:
    less = np.cumsum(posterior(parts_of([50]), entries, rows))
    more = np.cumsum(posterior(parts_of([50]), entries, [*rows, sign]))
    assert (more <= less + 1e-9).all()


@settings(max_examples=40)
@given(sound_readings, st.floats(0.05, 1))
def test_a_taxon_that_hides_never_means_less_than_one_that_does_not(
    rows: list[Reading], weight: float
) -> None:
    white, brown, soft = (
        np.cumsum(posterior(parts_of([50]), [body("C", rot=rot, weight=weight)], rows))
        for rot in range(3)
    )
    assert (brown <= white + 1e-9).all()
    assert (soft <= brown + 1e-9).all()


@settings(max_examples=40)
@given(fungi)
def test_a_poor_host_never_has_less(entries: list[Entry]) -> None:
    poor, middle, good = (
        np.cumsum(posterior(parts_of([50], host=host), entries))
        for host in ("poor", "middle", "good")
    )
    assert (poor <= middle + 1e-9).all()
    assert (middle <= good + 1e-9).all()


def test_neither_the_order_of_rows_nor_the_size_of_blocks_matters() -> None:
    rng = np.random.default_rng(17)
    n = 40
    parts = PartRows(
        rng.integers(0, 4, n).astype(np.int8), rng.uniform(8, 140, n),
        rng.integers(0, 5, n), rng.integers(0, 3, n),
    )  # fmt: skip
    entries = [
        (row, 0, int(rng.integers(0, 6)), int(rng.integers(0, 3)), 0.7, float(rng.integers(1, 9)))
        for row in range(0, n, 3)
    ]
    rows = [
        reading(Instrument.DRILL, 3 + 0.02 * row, row=row, section_cm=parts.diameter_cm[row] + 10)
        for row in range(0, n, 4)
    ]
    whole = posterior(parts, entries, rows)
    np.testing.assert_allclose(whole.sum(axis=1), 1)
    np.testing.assert_array_equal(posterior(parts, entries, rows, rows_at_once=3), whole)
    turn = rng.permutation(n)
    place = np.argsort(turn)
    turned = posterior(
        PartRows(*(getattr(parts, field.name)[turn] for field in fields(parts))),
        [(int(place[row]), *rest) for row, *rest in entries],  # type: ignore[misc]
        [(int(place[row]), *rest) for row, *rest in rows],  # type: ignore[misc]
    )
    np.testing.assert_array_equal(turned, whole[turn])


def test_a_sound_reading_makes_the_hiding_fungus_likelier() -> None:
    entries = [body("C", weight=0.4), body("C", rot=SOFT, weight=0.4)]
    rows = readings_of([reading(Instrument.DRILL_NOTHING)])
    (block,) = posteriors(parts_of([50]), entries_of(entries), rows, LAW)
    rots = block.by_rot.sum(axis=2)[0]
    assert block.evidence.tolist() == [0]
    assert rots.sum() == pytest.approx(1)
    assert rots[SOFT] > 0.45
    np.testing.assert_allclose(block.masses[0], block.by_rot[0].sum(axis=0), rtol=1e-6)


def test_several_bodies_count_as_the_worst_of_them() -> None:
    parts = parts_of([50])
    stem, brown = body("M"), (0, 1, kind("C", "annual"), BROWN, 1.0, NAN)
    each = [posterior(parts, [one]) for one in (stem, brown)]
    entries = entries_of([stem, brown])
    (block,) = posteriors(parts, entries, no_readings(), LAW, single=False)
    np.testing.assert_allclose(block.masses, grids.worse(each[0], each[1]), atol=1e-12)
    rots = block.by_rot[0].sum(axis=1)
    assert rots[WHITE] > 0.3
    assert rots[BROWN] > 0.3
    assert rots[SOFT] == 0
    again = posterior(parts, [stem, (0, 1, *stem[2:])])
    np.testing.assert_allclose(again, each[0], atol=1e-12)


def test_half_class_and_half_prior() -> None:
    parts = parts_of([55])
    half = said(posterior(parts, [body("B", weight=0.5)]))
    whole, prior = said(posterior(parts, [body("B")])), said(posterior(parts))
    assert half.mean[0] == pytest.approx((whole.mean[0] + prior.mean[0]) / 2)
    assert half.nothing[0] == pytest.approx(prior.nothing[0] / 2)


def test_roots_take_the_grid_of_roots() -> None:
    parts = parts_of([80], part=Part.ROOTS, host="poor")
    found = said(posterior(parts, [(0, 0, 4, WHITE, 1.0, NAN)]))
    # Worked out apart from this code: significance 5 alone .600 (.287-.879).
    assert found.mean[0] == pytest.approx(0.600, rel=0.01)
    assert found.low[0] == pytest.approx(0.287, rel=0.01)
    assert found.high[0] == pytest.approx(0.879, rel=0.01)


def test_without_evidence_nothing_is_by_rot() -> None:
    found = list(posteriors(parts_of([20] * 10), no_fungus(), no_readings(), LAW, rows_at_once=4))
    assert [(b.start, b.stop) for b in found] == [(0, 4), (4, 8), (8, 10)]
    assert all(b.evidence.size == 0 and b.by_rot.shape == (0, 3, 201) for b in found)
    assert found[0].masses.dtype == np.float32


def test_no_parts_at_all() -> None:
    found = summaries(parts_of([]), no_fungus(), no_readings(), LAW)
    assert found.mean.shape == (0,)


def test_summaries_are_those_of_the_grids() -> None:
    parts, rows = parts_of([30, 60]), [reading(Instrument.SIGN, row=1)]
    found = summaries(parts, no_fungus(), readings_of(rows), LAW)
    np.testing.assert_allclose(found.mean, said(posterior(parts, (), rows)).mean, rtol=1e-5)


def test_weights_of_a_body_that_pass_one_are_refused() -> None:
    with pytest.raises(TableError, match=r"1\.2"):
        posterior(parts_of([50]), [body("A", weight=0.6), body("M", weight=0.6)])


@pytest.mark.parametrize(
    ("entry", "row", "said"),
    [
        ((0, 0, 0, 0, 0.5, NAN), 1, "row of a reading"),
        ((-1, 0, 0, 0, 0.5, NAN), 0, "row of a fruiting body"),
        ((0, 0, -1, 0, 0.5, NAN), 0, "kind of a class of spread"),
        ((0, 0, LAW.spread.kinds, 0, 0.5, NAN), 0, "kind of a class of spread"),
        ((0, 0, 0, 3, 0.5, NAN), 0, "rot of a fruiting body"),
    ],
)
def test_evidence_of_what_is_not_there_is_refused(entry: Entry, row: int, said: str) -> None:
    with pytest.raises(TableError) as caught:
        posterior(parts_of([50]), [entry], [reading(Instrument.SIGN, row=row)])
    assert said in caught.value.where


def test_a_kind_of_roots_is_not_a_class_of_spread() -> None:
    with pytest.raises(TableError, match="kind of a root rot"):
        posterior(parts_of([50], part=Part.ROOTS), [(0, 0, 6, WHITE, 0.5, NAN)])


@pytest.mark.parametrize(
    ("letter", "lifespan", "diameter", "mean", "low", "high"),
    [("A", 1, 55, 0.7363, 0.3541, 0.9456), ("B", 0, 55, 0.512, 0.172, 0.942)],
)
def test_the_prior_moves_a_class_grid_by_less_than_a_hundredth(
    letter: str, lifespan: int, diameter: float, mean: float, low: float, high: float
) -> None:
    """What is worse of prior and class is the class for the grave ones: worked apart, 1 %."""
    entry = (0, 0, 2 * LAW.spread.classes.index(letter) + lifespan, WHITE, 1.0, NAN)
    found = said(posterior(parts_of([diameter]), [entry]))
    assert found.mean[0] == pytest.approx(mean, rel=0.01)
    assert found.low[0] == pytest.approx(low, rel=0.01)
    assert found.high[0] == pytest.approx(high, rel=0.01)
