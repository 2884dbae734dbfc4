"""Depots in metres, and those that lie nowhere near the trees."""

from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import ManyFaults
from pipeline.planning.depots import depots_in_metres
from pipeline.settings.model import Depot
from tests.planning.small_town import EPSG, ORIGIN, Town

HERE = (np.array([ORIGIN[0]]), np.array([ORIGIN[1]]))
# EPSG:32618 is UTM zone 18 north: its central meridian is 75 degrees west, at 500 km east
CENTRAL = (np.array([500_000.0]), np.array([4_785_000.0]))


def test_a_depot_near_the_trees_is_taken() -> None:
    found = depots_in_metres(
        (Depot(name="Yard", longitude=-75.0, latitude=43.2),), CENTRAL, epsg=EPSG, limit_km=100
    )
    assert found["Yard"][0] == pytest.approx(500_000.0, abs=0.01)
    assert depots_in_metres((), HERE, epsg=EPSG, limit_km=100) == {}


@pytest.mark.parametrize(
    ("longitude", "latitude"),
    [
        pytest.param(-75.0, 45.0, id="two degrees north"),
        pytest.param(43.2, -75.0, id="swapped"),
        pytest.param(0.0, 0.0, id="null island"),
    ],
)
def test_a_depot_far_from_every_tree_is_refused(longitude: float, latitude: float) -> None:
    depot = Depot(name="Yard", longitude=longitude, latitude=latitude)
    with pytest.raises(ManyFaults) as caught:
        depots_in_metres((depot,), CENTRAL, epsg=EPSG, limit_km=100)
    assert "depot 'Yard'" in caught.value.where
    assert f"longitude {longitude:g}, latitude {latitude:g}" in caught.value.found
    assert caught.value.expected == "a place within 100 km of the trees"


def test_the_stage_refuses_a_depot_of_another_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    town = Town(trees=5)
    plain = town._settings
    settings = plain(tmp_path)
    far = (Depot(name="Yard", longitude=25.0, latitude=60.2),)
    city = settings.settings.model_copy(update={"depots": far})
    moved = settings.model_copy(update={"settings": city})
    monkeypatch.setattr(town, "_settings", lambda _: moved)
    with pytest.raises(ManyFaults, match="from the nearest tree"):
        town.plan(tmp_path)
    assert not (tmp_path / "tables" / "planning").exists()
