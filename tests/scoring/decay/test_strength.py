"""Strength-loss formulae against printed and worked results, limits at their edges, laws."""

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.errors import PublishedValueError
from pipeline.scoring.decay import section, strength
from pipeline.scoring.decay.strength import MeasuredSections, StrengthLimits
from tests.helpers import check_rows, check_values
from tests.scoring.from_tables import strength_limits

shares = st.floats(0, 1)
FORMULAS = {
    "wagener": lambda x, _r: strength.wagener(x),
    "coder": lambda x, _r: strength.coder(x),
    "smiley_fraedrich": strength.smiley_fraedrich,
}


def measured(
    diameter: float, thinnest: float, mean: float | None = None, opening: float = 0.0
) -> MeasuredSections:
    return MeasuredSections(
        diameter=np.array([diameter], dtype=np.float64),
        thinnest_shell=np.array([thinnest], dtype=np.float64),
        mean_shell=np.array([thinnest if mean is None else mean], dtype=np.float64),
        opening=np.array([opening]),
        azimuths=np.array([1]),
    )


def column(limits: StrengthLimits, formula: str) -> int:
    return limits.formula.index(formula)


@pytest.mark.published
@pytest.mark.parametrize("formula", FORMULAS)
def test_formulae_against_printed_and_worked_examples(formula: str) -> None:
    check_rows(
        "strength_loss",
        FORMULAS[formula],
        inputs=("decayed", "opening"),
        where={"formula": formula},
    )


@pytest.mark.published
def test_printed_shell_ratio_of_section_a_does_not_follow_from_its_hollow() -> None:
    # Kane, Ryan & Bloniarz 2001, table 1 prints t/R 0.45 for A; its d/D of 0.60 gives 0.40:
    # t was measured on an irregular drawing. No formula here may be bent to give 0.45.
    limits = strength_limits()
    sections = measured(20, 4)
    ratio = strength.strength_table(sections, limits).value[0, column(limits, "shell_ratio")]
    assert sections.decayed_share[0] == pytest.approx(0.60)
    assert ratio == pytest.approx(0.40)
    assert abs(ratio - 0.45) > 0.04


@pytest.mark.published
def test_exact_section_sees_the_open_cavity_that_simple_formulae_miss() -> None:
    # Same table, B: simple formulae print 4, 9 and 14 %, the drawing lost 28 % of its second
    # moment. A centred ring with that opening already loses more than any of the three.
    radius, rho, a = np.array(10.0), np.array(4.5), np.array(3.5 / 20)
    cut = section.loss(section.open_ring(radius, rho, a), section.solid(radius))
    assert cut.second_moment > strength.smiley_fraedrich(np.array(0.45), np.array(3.5 / 62.83))


@pytest.mark.published
@pytest.mark.parametrize(
    "row",
    [r for r in check_values("sections") if r["quantity"].startswith("wall_")],
    ids=lambda r: r["quantity"],
)
def test_limits_of_thin_walls_against_huang_2017(row: dict[str, str]) -> None:
    limits = strength_limits()
    at = column(limits, row["quantity"])
    assert limits.act[at] == float(row["expected"])
    radius = 50.0
    for shell, passed in ((0.999, True), (1.0, False)):
        t = shell * float(row["expected"]) * radius
        table = strength.strength_table(measured(2 * radius, t), limits)
        assert table.passed[0, at] == passed


@pytest.mark.parametrize(
    ("formula", "diameter", "shell", "opening", "passed"),
    [
        # NA-TP-03-03: one inch for six; exactly 1:6 is at the limit, so high.
        ("usfs_shell", 36 * 2.54, 6 * 2.54, 0.0, True),
        ("usfs_shell", 60.0, 10.0, 0.0, True),
        ("usfs_shell", 60.0, 10.1, 0.0, False),
        # Two inches for six with an opening (from memory).
        ("usfs_shell_open", 20 * 2.54, 6.67 * 2.54, 0.1, False),
        ("usfs_shell_open", 60.0, 20.0, 0.1, True),
        # Mattheck: act below 0.30, so 0.30 itself does not act.
        ("shell_ratio", 100.0, 15.0, 0.0, False),
        ("shell_ratio", 100.0, 14.9, 0.0, True),
        # Over 120 degrees of the circumference.
        ("open_angle", 100.0, 30.0, 120 / 360, False),
        ("open_angle", 100.0, 30.0, 121 / 360, True),
        ("usfs_opening", 100.0, 30.0, 0.30, False),
        ("usfs_opening", 100.0, 30.0, 0.31, True),
        # Wagener 33 % is d/D 0.691.
        ("wagener", 100.0, (1 - 0.691) * 50, 0.0, False),
        ("wagener", 100.0, (1 - 0.692) * 50, 0.0, True),
        ("coder", 100.0, (1 - 0.814) * 50, 0.0, False),
        ("coder", 100.0, (1 - 0.815) * 50, 0.0, True),
        # The opening flips the call: 29.6 % closed, 40.8 % open (worked example 13).
        ("smiley_fraedrich", 36.0, 6.0, 0.0, False),
        ("smiley_fraedrich", 36.0, 6.0, 18 / (36 * math.pi), True),
        ("exact_section", 100.0, 12.2, 0.0, False),
        ("exact_section", 100.0, 12.0, 0.0, True),
    ],
)
def test_limits_at_their_edges(
    formula: str, diameter: float, shell: float, opening: float, passed: bool
) -> None:
    limits = strength_limits()
    table = strength.strength_table(measured(diameter, shell, opening=opening), limits)
    at = column(limits, formula)
    assert table.applies[0, at]
    assert table.passed[0, at] == passed


def test_caution_bands_of_coder_and_the_shell_ratio() -> None:
    limits = strength_limits()
    # Coder 1989: 20-44 % caution; d/D 0.70 gives 24 % (worked example 8). Shell ratio 0.30-0.35.
    table = strength.strength_table(measured(100, 15), limits)
    for formula in ("coder", "shell_ratio"):
        assert table.caution[0, column(limits, formula)]
        assert not table.passed[0, column(limits, formula)]
    thick = strength.strength_table(measured(100, 18), limits)
    assert not thick.caution[0, column(limits, "shell_ratio")]
    assert not thick.caution[0, column(limits, "coder")]


def test_rules_for_closed_stems_do_not_speak_of_open_ones() -> None:
    limits = strength_limits()
    is_open = strength.strength_table(measured(60, 5, opening=0.2), limits)
    closed = strength.strength_table(measured(60, 5), limits)
    for formula in ("wagener", "coder", "shell_ratio", "usfs_shell"):
        assert not is_open.applies[0, column(limits, formula)]
        assert closed.applies[0, column(limits, formula)]
    for formula in ("open_angle", "usfs_opening", "usfs_shell_open"):
        assert is_open.applies[0, column(limits, formula)]
        assert not closed.applies[0, column(limits, formula)]


@given(shares)
def test_coder_never_exceeds_wagener(x: float) -> None:
    at = np.array(x)
    assert 0 <= strength.coder(at) <= strength.wagener(at) <= 1
    assert strength.smiley_fraedrich(at, np.array(0.0)) == strength.wagener(at)


@given(shares, shares, shares, shares)
def test_formulae_rise_with_hollow_and_opening(x: float, y: float, r: float, s: float) -> None:
    (x, y), (r, s) = sorted((x, y)), sorted((r, s))
    small = strength.smiley_fraedrich(np.array(x), np.array(r))
    assert small <= strength.smiley_fraedrich(np.array(y), np.array(r)) + 1e-15
    assert small <= strength.smiley_fraedrich(np.array(x), np.array(s)) + 1e-15


@example(1.0, 1.0, 0.0, 0.9999999999999999)  # a sliver: once read as more than all lost
@given(st.floats(1, 300), shares, shares, st.floats(0, 1))
def test_exact_loss_is_a_share_and_at_least_that_of_a_centred_hollow(
    diameter: float, mean: float, thin: float, opening: float
) -> None:
    t = mean * diameter / 2
    sections = measured(diameter, t * thin, t, opening)
    loss = strength.exact_loss(sections)[0]
    assert -1e-9 <= loss <= 1 + 1e-9
    assert loss >= sections.decayed_share[0] ** 4 - 1e-9


def test_one_thin_reading_among_thick_ones_means_an_eccentric_hollow() -> None:
    even = strength.exact_loss(measured(20, 4, 4))
    uneven = strength.exact_loss(measured(20, 1, 4))
    # Hollow of radius 6 off by 3 in a stem of radius 10: 42.85 % (worked value).
    assert even[0] == pytest.approx(0.1296, abs=1e-4)
    assert uneven[0] == pytest.approx(0.4285, abs=1e-4)


def test_nothing_left_is_all_lost() -> None:
    assert strength.exact_loss(measured(20, 0, 0))[0] == 1
    assert strength.exact_loss(measured(20, 10, opening=1.0))[0] == 1
    wall_gone_on_one_side = strength.exact_loss(measured(20, 0, 4))[0]
    assert 0.4285 < wall_gone_on_one_side < 1


NAN = math.nan


@pytest.mark.parametrize(
    ("shell", "hollow", "area", "expected"),
    [
        (6.0, 10.0, 0.9, 6.0),
        (NAN, 24.0, 0.9, 8.0),
        (NAN, NAN, 0.36, 8.0),  # area 0.36 is diameter 0.60
        (25.0, NAN, NAN, 20.0),  # a shell cannot exceed the radius
        (NAN, 50.0, NAN, 0.0),
        (NAN, NAN, NAN, NAN),
    ],
)
def test_every_kind_of_reading_becomes_a_shell(
    shell: float, hollow: float, area: float, expected: float
) -> None:
    found = strength.shell_of_reading(
        np.array([40.0]),
        shell=np.array([shell]),
        hollow_diameter=np.array([hollow]),
        decayed_area=np.array([area]),
    )
    np.testing.assert_allclose(found, [expected])


def _gather(
    section_of: list[int], shell: list[float], opening: list[float], n: int
) -> MeasuredSections:
    diameter = np.full(len(shell), 40.0)
    return strength.sections_from_readings(
        np.array(section_of, dtype=np.int64),
        diameter,
        np.array(shell),
        np.array(opening),
        sections=n,
    )


def test_readings_gather_to_thinnest_and_mean() -> None:
    found = _gather([1, 0, 1, 1], [5.0, 9.0, 8.0, 11.0], [NAN, NAN, 4 * math.pi, 0.0], 2)
    np.testing.assert_allclose(found.thinnest_shell, [9, 5])
    np.testing.assert_allclose(found.mean_shell, [9, 8])
    np.testing.assert_allclose(found.opening, [0, 0.1])
    np.testing.assert_array_equal(found.azimuths, [1, 3])


@given(st.permutations([(0, 3.0), (0, 7.5), (1, 2.0), (1, 19.0), (1, 4.0)]))
def test_the_order_of_readings_does_not_matter(rows: list[tuple[int, float]]) -> None:
    found = _gather([r[0] for r in rows], [r[1] for r in rows], [0.0] * 5, 2)
    np.testing.assert_allclose(found.thinnest_shell, [3, 2])
    np.testing.assert_allclose(found.mean_shell, [5.25, 25 / 3])


def test_a_section_without_a_reading_is_refused() -> None:
    with pytest.raises(PublishedValueError) as fault:
        _gather([0, 2], [3.0, 4.0], [0.0, 0.0], 3)
    assert "1 sections" in fault.value.found


def test_unknown_formula_is_refused() -> None:
    with pytest.raises(PublishedValueError) as fault:
        strength_limits({("strength_limits", 0): {"formula": "guesswork"}})
    assert "guesswork" in fault.value.found
