"""Chances that many trees share, looked up, against the sums over all gusts."""

import numpy as np
import pytest

from pipeline.scoring.mechanics import lookup, shared
from pipeline.scoring.mechanics.wind import ln_critical_speed
from tests.scoring.mechanics import world

STATED_ERROR = 0.005


@pytest.mark.parametrize("diameter", [12.0, 45.0, 110.0])
@pytest.mark.parametrize("roots", [False, True])
def test_a_looked_up_chance_is_that_of_the_sum_over_gusts(diameter: float, *, roots: bool) -> None:
    p, one = world.parameters(), world.part(diameter, 0, roots=roots)
    kept, zones = (
        (world.roots_kept(world.CELLS), world.ONE)
        if roots
        else (world.stem_kept(world.CELLS, 1), p.zone.weights)
    )
    states = np.stack([np.eye(1, len(world.CELLS))[0], world.prior(diameter, 0.55)])
    season = lookup.chance_table(
        world.gusts(), p.wind, spread=one.spread, stood=3.0, years=1.0, season=0.5
    )
    table = shared.shared_table(
        (season, season), np.array(world.loads(0)), kept[None], zones, states, p.wind
    )
    profile = np.array([one.ln_profile])
    gust = ln_critical_speed(np.array([one.capacity]), p.wind) - profile
    groups = (np.zeros(1, np.int64), np.ones(1, np.int64))
    found = np.concatenate(shared.look_up_shared(table, groups, gust, profile))
    assert found == pytest.approx(states @ world.yearly(one, kept, zones), rel=STATED_ERROR)


def test_what_is_not_known_stays_unknown() -> None:
    table = shared.SharedTable(np.zeros((1, 5000)))
    (found,) = shared.look_up_shared(
        table, (np.zeros(2, np.int64),), np.array([np.nan, 4.0]), np.zeros(2)
    )
    assert np.isnan(found).tolist() == [True, False]
