"""Strength left of decayed sections: worked values, regimes of thin walls, laws."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.decay import anchorage, residual
from pipeline.terms import RotType
from pipeline.units import Floats, Words
from tests.helpers import check_rows
from tests.scoring.mechanics.world import parameters

shares = st.floats(0, 1)
rots = st.sampled_from(list(RotType))


def _rot(rot: Floats) -> Words:
    return rot.astype(np.int8)


def _kept(x: Floats, rot: Floats, degrees: Floats, zone: Floats) -> Floats:
    told = residual.strength_kept(x, _rot(rot), parameters().zone, opening=degrees / 360)
    return np.asarray(told[np.arange(len(x)), zone.astype(int)])


def _zone_kept(mass_loss: Floats, rot: Floats, _o: Floats, _z: Floats) -> Floats:
    return np.exp(-parameters().zone.decay_rate[_rot(rot)] * mass_loss)


FUNCTIONS: dict[str, Callable[..., Floats]] = {
    "kept_in_zone": lambda _x, rot, _o, _z: residual.kept_in_zone(
        parameters().zone.decay_rate[_rot(rot)], np.asarray(parameters().zone.edge_mass_loss)
    ),
    "lost_width": lambda _x, rot, _o, z: residual.lost_width(parameters().zone)[
        _rot(rot), z.astype(int)
    ],
    "strength_kept": _kept,
    "zone_kept": _zone_kept,
    "anchorage": lambda q, _r, _o, _z: anchorage.anchorage_kept(q, parameters().anchorage),
    "trench": lambda d, _r, _o, _z: anchorage.trench_kept(d, parameters().anchorage),
}


@pytest.mark.published
@pytest.mark.parametrize("quantity", FUNCTIONS)
def test_strength_left_against_worked_and_printed_values(quantity: str) -> None:
    check_rows(
        "mechanics/strength", FUNCTIONS[quantity], inputs=("x", "rot", "opening_deg", "zone"),
        where={"quantity": quantity},
    )  # fmt: skip


def _strength(x: float, rot: int, *, opening: float = 0.0, offset: float | None = None) -> Floats:
    return residual.strength_kept(
        np.array(x), np.array(rot, np.int8), parameters().zone, opening=opening,
        offset=None if offset is None else np.array(offset),
    )  # fmt: skip


@given(rots)
def test_a_hollow_of_nothing_is_solid(rot: RotType) -> None:
    assert _strength(0.0, rot).tolist() == [1.0, 1.0, 1.0]


@given(shares, shares, rots, st.floats(0, 0.9), st.floats(0, 1))
def test_more_decay_never_strengthens(
    x: float, y: float, rot: RotType, opening: float, off: float
) -> None:
    low, high = sorted((x, y))
    more = _strength(high, rot, opening=opening, offset=off)
    assert (more <= _strength(low, rot, opening=opening, offset=off) + 1e-9).all()


@given(shares, rots, st.floats(0, 1), st.floats(0, 1))
def test_a_wider_opening_never_strengthens(x: float, rot: RotType, a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert (_strength(x, rot, opening=high) <= _strength(x, rot, opening=low) + 1e-9).all()


@given(shares, rots, st.floats(0, 1), st.floats(0, 1))
def test_a_column_further_off_never_strengthens(x: float, rot: RotType, a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert (_strength(x, rot, offset=high) <= _strength(x, rot, offset=low) + 1e-9).all()


@given(shares, st.floats(0, 0.9))
def test_brown_and_soft_rot_never_keep_more_than_white(x: float, opening: float) -> None:
    white = _strength(x, RotType.WHITE, opening=opening)
    for worse in (RotType.BROWN, RotType.SOFT):
        assert (_strength(x, worse, opening=opening) <= white + 1e-12).all()


@given(st.floats(0, 100))
def test_brown_never_keeps_more_than_white_at_equal_mass_loss(mass_loss: float) -> None:
    rate = parameters().zone.decay_rate
    kept = residual.kept_in_zone(rate, np.asarray(mass_loss))
    assert kept[RotType.BROWN] <= kept[RotType.WHITE] <= 1.0


def test_walls_bend_split_and_buckle_where_the_article_says() -> None:
    thin = parameters().zone.thin
    # Huang et al. 2017, abstract: buckling below 0.06, splitting 0.06-0.27, bending above.
    walls = residual.thin_wall(np.array([0.5, 0.27, 0.2699, 0.06, 0.03, 0.0]), thin)
    assert walls[0] == walls[1] == 1.0
    assert walls[2] < 1.0
    assert walls[4] == pytest.approx(walls[3] / 2)
    assert walls[5] == 0.0
    assert (np.diff(walls) <= 0).all()


@given(shares, shares)
def test_more_roots_lost_never_hold_better(q: float, r: float) -> None:
    low, high = sorted((q, r))
    loss = parameters().anchorage
    few, many = anchorage.anchorage_kept(np.array([low, high]), loss)
    assert many <= few + 1e-12


def test_roots_cut_far_from_the_trunk_cost_less() -> None:
    loss = parameters().anchorage
    near = np.array([0.0, 1.0, 2.0, 3.0, 9.0, np.nan])
    counted = anchorage.roots_that_count(np.full(6, 0.5), near, loss)
    assert counted == pytest.approx([0.5, 1 / 3, 1 / 6, 0.0, 0.0, 0.5])


def test_dead_trees_decline_and_live_ones_do_not() -> None:
    # e^(-0.35 y) of stems, e^(-0.25 y) of roots: elicited, worked beforehand.
    years = np.array([np.nan, 0.0, 2.0, 2.0])
    roots = np.array([False, False, False, True])
    told = anchorage.dead_kept(years, roots=roots, loss=parameters().anchorage)
    assert told == pytest.approx([1.0, 1.0, np.exp(-0.7), np.exp(-0.5)])
