"""Section properties against worked values, limits of one shape in another, and laws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import TableError
from pipeline.scoring.decay import section
from pipeline.scoring.decay.section import Section
from pipeline.scoring.decay.strength import smiley_fraedrich
from pipeline.units import Floats
from tests.helpers import check_rows

radii = st.floats(1, 300)
shares = st.floats(0, 0.95)
INPUTS = ("radius", "hollow_radius", "offset_or_opening_deg")


def _closed_loss(radius: Floats, rho: Floats, e: Floats) -> Section:
    return section.loss(section.closed(radius, rho, e), section.solid(radius))


def _open(radius: Floats, rho: Floats, degrees: Floats) -> Section:
    return section.open_ring(radius, rho, np.radians(degrees) / 2)


FUNCTIONS = {
    "closed_kept": lambda radius, rho, e: 1 - _closed_loss(radius, rho, e).modulus,
    "closed_loss_of_i": lambda radius, rho, e: _closed_loss(radius, rho, e).second_moment,
    "closed_loss_of_z": lambda radius, rho, e: _closed_loss(radius, rho, e).modulus,
    "open_loss_of_i": lambda radius, rho, o: (
        section.loss(_open(radius, rho, o), section.solid(radius)).second_moment
    ),
    "open_loss_of_z": lambda radius, rho, o: (
        section.loss(_open(radius, rho, o), section.solid(radius)).modulus
    ),
    "open_area": lambda radius, rho, o: _open(radius, rho, o).area,
    "open_second_moment": lambda radius, rho, o: _open(radius, rho, o).second_moment,
    "smiley_fraedrich": lambda radius, rho, o: smiley_fraedrich(rho / radius, o / 360),
    "doubled": lambda radius, _rho, _e: (
        section.solid(2 * radius).modulus / section.solid(radius).modulus
    ),
    "ring_gain": lambda radius, _rho, _e: (
        section.solid(radius + 5).modulus / section.solid(radius).modulus - 1
    ),
}


@pytest.mark.published
@pytest.mark.parametrize("quantity", FUNCTIONS)
def test_sections_against_worked_values(quantity: str) -> None:
    check_rows("sections", FUNCTIONS[quantity], inputs=INPUTS, where={"quantity": quantity})


def _ring(radius: float, x: float = 0.0, *, clockwise: bool = False) -> tuple[Floats, Floats]:
    turn = np.linspace(0, 2 * math.pi, 4001)[:-1]
    turn = -turn if clockwise else turn
    return x + radius * np.cos(turn), radius * np.sin(turn)


@pytest.mark.parametrize(("rho", "e"), [(6, 0), (6, 1), (6, 3), (3, 5), (8.5, 1)])
def test_closed_section_against_greens_theorem(rho: float, e: float) -> None:
    exact = section.closed(np.array(10.0), np.array(rho), np.array(e))
    shape = section.polygon([_ring(10), _ring(rho, e, clockwise=True)], directions=720)
    for field in ("area", "second_moment", "modulus"):
        assert getattr(shape, field) == pytest.approx(getattr(exact, field), rel=2e-5), field


@pytest.mark.parametrize("degrees", [20, 60, 120, 200, 300])
def test_open_ring_against_greens_theorem(degrees: float) -> None:
    a = math.radians(degrees) / 2
    turn = np.linspace(a, 2 * math.pi - a, 4001)
    x = np.concatenate([10 * np.cos(turn), 7 * np.cos(turn[::-1])])
    y = np.concatenate([10 * np.sin(turn), 7 * np.sin(turn[::-1])])
    exact = section.open_ring(np.array(10.0), np.array(7.0), np.array(a))
    # Of the two axes of symmetry only: in between a lip can be the farthest fibre.
    shape = section.polygon([(x, y)], directions=2)
    for field in ("area", "second_moment", "modulus"):
        assert getattr(shape, field) == pytest.approx(getattr(exact, field), rel=2e-5), field


def test_polygon_does_not_care_how_it_is_turned() -> None:
    outer, hole = _ring(10), _ring(4, 5, clockwise=True)
    turned = []
    for ring in (outer, hole):
        c, s = math.cos(0.7), math.sin(0.7)
        turned.append((c * ring[0] - s * ring[1] + 30, s * ring[0] + c * ring[1] - 8))
    straight = section.polygon([outer, hole], directions=720)
    skew = section.polygon(turned, directions=720)
    assert skew.modulus == pytest.approx(straight.modulus, rel=1e-4)
    assert skew.second_moment == pytest.approx(straight.second_moment, rel=1e-4)


def test_polygon_against_a_rectangle() -> None:
    # b h^3 / 12 and b h^2 / 6 about the weak axis of symmetry; textbook formulae, from memory.
    x, y = np.array([0.0, 6, 6, 0]), np.array([0.0, 0, 2, 2])
    shape = section.polygon([(x, y)], directions=2)
    assert shape.area == pytest.approx(12)
    assert shape.second_moment == pytest.approx(6 * 2**3 / 12)
    assert shape.modulus == pytest.approx(6 * 2**2 / 6)


def test_polygon_without_area_is_refused() -> None:
    x, y = np.array([0.0, 0, 1]), np.array([0.0, 1, 0])
    with pytest.raises(TableError) as fault:
        section.polygon([(x, y)], directions=4)
    assert "wound against the clock" in fault.value.expected


@given(radii, shares, st.floats(0, 1), st.floats(1, 50))
def test_losses_do_not_depend_on_the_unit(radius: float, x: float, off: float, k: float) -> None:
    rho = x * radius
    e = off * (radius - rho) * 0.999
    small = _closed_loss(np.array(radius), np.array(rho), np.array(e))
    large = _closed_loss(np.array(k * radius), np.array(k * rho), np.array(k * e))
    assert large.modulus == pytest.approx(float(small.modulus), abs=1e-7)


@given(shares, shares, st.floats(0, 1))
def test_a_wider_hollow_loses_more(x: float, y: float, off: float) -> None:
    low, high = sorted((x, y))
    e = off * (1 - high) * 0.999
    one, two = (
        _closed_loss(np.array(1.0), np.array(rho), np.array(e)).modulus for rho in (low, high)
    )
    assert one <= two + 1e-12


@given(shares, st.floats(0, 1), st.floats(0, 1))
def test_a_hollow_further_off_loses_more(x: float, p: float, q: float) -> None:
    low, high = sorted((p, q))
    one, two = (
        _closed_loss(np.array(1.0), np.array(x), np.array(off * (1 - x) * 0.999)).modulus
        for off in (low, high)
    )
    assert one <= two + 1e-12


def test_open_where_the_hollow_passes_the_bark() -> None:
    assert np.isnan(section.closed(np.array(10.0), np.array(6.0), np.array(4.5)).modulus)
    assert np.isfinite(section.closed(np.array(10.0), np.array(6.0), np.array(4.0)).modulus)
