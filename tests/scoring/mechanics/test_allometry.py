"""Height and crown against measured street trees; laws; gaps filled jointly."""

import csv
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.mechanics.allometry import (
    BROADLEAF,
    CONIFER,
    curve_crown,
    curve_height,
    tree_sizes,
)
from pipeline.units import Floats
from tests.helpers import CHECK_VALUES
from tests.scoring.mechanics.world import parameters

MEASURED = "data/allometry/usfs-urban-tree-raw/TS3_Raw_tree_data.csv"


def _measured(path: Path) -> dict[str, Floats]:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    kept = [
        row for row in rows
        if row["TreeType"][:1] in {"B", "C"} and 5 <= float(row["DBH (cm)"]) <= 200
        and float(row["TreeHt (m)"]) > 1.3 and float(row["AvgCdia (m)"]) > 0
    ]  # fmt: skip
    assert len(rows) == 14_487
    return {
        "genus": np.array([row["ScientificName"].split(" ")[0] for row in kept]),
        "wood": np.array([CONIFER if row["TreeType"][0] == "C" else BROADLEAF for row in kept]),
        "D": np.array([float(row["DBH (cm)"]) for row in kept]),
        "H": np.array([float(row["TreeHt (m)"]) for row in kept]),
        "W": np.array([float(row["AvgCdia (m)"]) for row in kept]),
    }


def _residuals(told: dict[str, Floats]) -> tuple[Floats, Floats]:
    wood, curves = told["wood"].astype(np.int8), parameters().curves
    tall = np.log((told["H"] - 1.3) / (curve_height(told["D"], wood, curves) - 1.3))
    return tall, np.log(told["W"] / curve_crown(told["D"], wood, curves))


@pytest.mark.published
@pytest.mark.parametrize(("wood", "count"), [(BROADLEAF, 12_022), (CONIFER, 1_259)])
def test_curves_against_measured_street_trees(
    wood: int, count: int, shared_file: Callable[[str], Path]
) -> None:
    # McPherson, van Doorn & Peper 2016, raw measurements. The curves are fitted to the same trees,
    # so bias near nothing shows the fit; the scatter and correlation are what is carried on.
    told = _measured(shared_file(MEASURED))
    tall, wide = (r[told["wood"] == wood] for r in _residuals(told))
    curves = parameters().curves
    assert len(tall) == pytest.approx(count, rel=0.02)
    assert abs(np.median(tall)) < 0.06
    assert abs(np.median(wide)) < 0.06
    assert tall.std() == pytest.approx(curves.height_spread[wood], rel=0.15)
    assert wide.std() == pytest.approx(curves.crown_spread[wood], rel=0.25)
    assert np.corrcoef(tall, wide)[0, 1] == pytest.approx(curves.correlation[wood], abs=0.1)


@pytest.mark.published
def test_bias_and_scatter_by_genus_are_as_stated(shared_file: Callable[[str], Path]) -> None:
    told = _measured(shared_file(MEASURED))
    tall, wide = _residuals(told)
    path = CHECK_VALUES / "mechanics" / "allometry_by_genus.csv"
    with path.open(encoding="utf-8", newline="") as file:
        stated = list(csv.DictReader(file))
    names, counts = np.unique(told["genus"], return_counts=True)
    assert {row["genus"] for row in stated} == set(names[counts >= 100].tolist())
    for row in stated:
        of = told["genus"] == row["genus"]
        found = (tall[of].mean(), tall[of].std(), wide[of].mean(), wide[of].std())
        columns = ("height_bias_ln", "height_sd_ln", "crown_bias_ln", "crown_sd_ln")
        assert int(of.sum()) == int(row["trees"])
        assert found == pytest.approx([float(row[c]) for c in columns], abs=0.006), row["genus"]
    # A genus is off by no more than its trees are apart, in either size.
    worst = max(abs(float(row["height_bias_ln"])) for row in stated)
    assert worst < 0.85


@given(st.floats(0.1, 400), st.floats(0.1, 400), st.sampled_from([BROADLEAF, CONIFER]))
def test_no_tree_shrinks_as_it_grows(a: float, b: float, wood: int) -> None:
    dbh, kind = np.sort(np.array([a, b])), np.full(2, wood, np.int8)
    for curve in (curve_height, curve_crown):
        small, large = curve(dbh, kind, parameters().curves)
        assert small <= large


def _filled(height: float, crown: float, diameter: float = 40.0) -> tuple[float, float]:
    told = tree_sizes(
        np.array([diameter]), np.array([BROADLEAF], np.int8), height_m=np.array([height]),
        crown_m=np.array([crown]), curves=parameters().curves,
    )  # fmt: skip
    assert told.height_filled[0] == math.isnan(height)
    assert told.crown_filled[0] == math.isnan(crown)
    return float(told.height[0]), float(told.crown[0])


def test_what_was_measured_stays_and_a_gap_leans_on_it() -> None:
    height, crown = _filled(math.nan, math.nan)
    assert _filled(20.0, 5.0) == (20.0, 5.0)
    taller = _filled(1.5 * height, math.nan)
    assert taller[0] == 1.5 * height
    # Regression of one residual on the other: correlation times the ratio of the spreads.
    assert taller[1] == pytest.approx(crown * 1.5 ** (0.37 * 0.25 / 0.36))
    assert _filled(math.nan, 1.5 * crown)[0] > height


def test_diameters_outside_the_fit_are_told() -> None:
    dbh, none = np.array([3.0, 40.0, 250.0, 250.0]), np.array([np.nan, np.nan, np.nan, 30.0])
    told = tree_sizes(
        dbh, np.zeros(4, np.int8), height_m=none, crown_m=none, curves=parameters().curves
    )
    assert told.outside.tolist() == [True, False, True, False]
    assert told.height[2] == curve_height(np.array([200.0]), np.zeros(1, np.int8),
                                          parameters().curves)[0]  # fmt: skip


def test_no_diameter_gives_no_size() -> None:
    none = np.array([np.nan])
    told = tree_sizes(
        none, np.zeros(1, np.int8), height_m=none, crown_m=none, curves=parameters().curves
    )
    assert np.isnan(told.height[0])
    assert np.isnan(told.crown[0])
