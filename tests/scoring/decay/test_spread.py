"""Decay behind an attached fruiting body: classes of taxa and their grids."""

import csv
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from pipeline.published.locate import config_dir
from pipeline.scoring.decay import grid as grids
from pipeline.scoring.decay.grid import Grid
from pipeline.scoring.decay.prior import HOSTS
from pipeline.scoring.decay.spread import LIFESPANS, SpreadTables, class_grids
from tests.helpers import check_values
from tests.scoring.decay.asking import LAW, NAN, PARAMETERS, finer

Floats = npt.NDArray[np.float64]
LETTERS = LAW.spread.classes
# Species that the catalogue has and the list of members, made from 109 species, had not.
LATER = {
    "A": {"ganoderma_brownii", "echinodontium_tinctorium"},
    "B": {"inocutis_dryophila"},
    "C": {"laricifomes_officinalis"},
}


def kind(letter: str, lifespan: str) -> int:
    return len(LIFESPANS) * LETTERS.index(letter) + LIFESPANS.index(lifespan)


def class_grid(
    letter: str,
    lifespan: str,
    diameter: float,
    *,
    host: str = "middle",
    layers: float = NAN,
    grid: Grid = LAW.grid,
) -> Floats:
    found = class_grids(
        np.array([kind(letter, lifespan)]),
        np.array([HOSTS.index(host)]),
        np.array([layers]),
        np.array([diameter], np.float64),
        grid,
        SpreadTables(LAW.spread),
    )
    return np.asarray(found, np.float64)


def taxa_rows() -> list[dict[str, str]]:
    with (config_dir() / "published" / "taxa.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def letters() -> dict[str, str]:
    """Letter of each taxon, '' for none."""
    return {
        row["taxon_id"]: LETTERS[k // len(LIFESPANS)] if k >= 0 else ""
        for row, k in zip(taxa_rows(), PARAMETERS.taxa.kind[:-1].tolist(), strict=True)
    }


@pytest.mark.published
@pytest.mark.parametrize("row", check_values("decay/classes"), ids=lambda row: row["case"])
def test_worked_class_grids(row: dict[str, str]) -> None:
    layers = float(row["layers"] or "nan")
    masses = class_grid(
        row["class"], row["lifespan"], float(row["diameter_cm"]), host=row["host"], layers=layers
    )
    found = getattr(grids.summary(masses, LAW.grid, LAW.levels), row["quantity"])[0]
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_members_of_the_classes() -> None:
    found = letters()
    for row in check_values("decay/members"):
        assert found[row["taxon_id"]] == row["expected"], row["taxon_id"]
    listed = {row["taxon_id"] for row in check_values("decay/members")}
    species = {row["taxon_id"] for row in taxa_rows() if row["rank"] == "species"}
    for letter in "ABC":
        others = {t for t in species - listed if found[t] == letter}
        assert others == LATER[letter]


def test_classes_of_the_lesser_and_of_those_that_do_not_rot_wood() -> None:
    found = letters()
    for row in taxa_rows():
        significance = int(row["significance"])
        if significance == 3:
            assert found[row["taxon_id"]] == "M"
        elif significance in {1, 2}:
            assert found[row["taxon_id"]] == "L"
        elif significance == 0:
            assert found[row["taxon_id"]] == ""
    assert "U" not in found.values()
    assert PARAMETERS.taxa.kind[-1] == kind("U", "perennial")


@pytest.mark.parametrize("diameter", [12, 55, 140])
@pytest.mark.parametrize(
    ("letter", "rate", "scatter", "median"),
    [("A", 1.45, 0.5, 4), ("C", 0.90, 0.6, 4), ("U", 0.26, 0.9, 4)],
)
def test_against_quadrature_over_the_rate(
    diameter: float, letter: str, rate: float, scatter: float, median: float
) -> None:
    # Numbers of the elicited law, written here again.
    lag = 10 * np.exp(0.54 * stats.norm.ppf((np.arange(10) + 0.5) / 10))
    fruiting = median * np.exp(0.9 * stats.norm.ppf((np.arange(5) + 0.5) / 5))
    years = np.add.outer(lag, fruiting).ravel()
    cap = 1 - 3 / diameter
    law = stats.lognorm(scatter, scale=rate * (diameter / 50) ** 0.5)
    mean = np.mean([
        integrate.quad(lambda r, t=t: min(cap, 2 * r * t / diameter) * law.pdf(r), 0, 40,
                       points=[cap * diameter / (2 * t)], limit=200)[0]
        for t in years
    ])  # fmt: skip
    masses = class_grid(letter, "perennial", diameter)
    assert grids.means(masses, LAW.grid)[0] == pytest.approx(mean, abs=1e-4)
    if cap > 0.69:
        serious = np.mean(law.sf(0.69 * diameter / (2 * years)))
        assert grids.mass_above(masses, LAW.grid, 0.69)[0] == pytest.approx(serious, abs=1e-6)


@pytest.mark.parametrize("letter", LETTERS)
def test_two_hundred_cells_are_enough(letter: str) -> None:
    for diameter in (20, 55, 110):
        coarse = class_grid(letter, "annual", diameter)
        fine = class_grid(letter, "annual", diameter, grid=finer(400).grid)
        said = grids.summary(coarse, LAW.grid, LAW.levels)
        twice = grids.summary(fine, finer(400).grid, LAW.levels)
        assert said.mean == pytest.approx(twice.mean, rel=0.005)
        assert said.serious == pytest.approx(twice.serious, rel=0.005, abs=1e-6)


def test_the_table_of_the_cumulative_is_fine_enough() -> None:
    coarse = class_grid("U", "annual", 40)
    fine = class_grids(
        np.array([kind("U", "annual")]), np.array([1]), np.array([NAN]), np.array([40.0]),
        LAW.grid, SpreadTables(replace(LAW.spread, step=LAW.spread.step / 10)),
    )  # fmt: skip
    np.testing.assert_allclose(coarse, fine, atol=1e-6)


@given(
    st.sampled_from("ABCMLU"),
    st.sampled_from(LIFESPANS),
    st.floats(1, 200),
    st.integers(1, 40),
    st.integers(1, 10),
)
def test_laws_of_spread(
    letter: str, lifespan: str, diameter: float, layers: int, more: int
) -> None:
    few = class_grid(letter, lifespan, diameter, layers=layers)
    assert (few >= 0).all()
    assert few.sum() == pytest.approx(1)
    assert few[0, 0] == 0
    many = class_grid(letter, lifespan, diameter, layers=layers + more)
    assert (np.cumsum(many) <= np.cumsum(few) + 1e-9).all()
    poor, middle, good = (
        np.cumsum(class_grid(letter, lifespan, diameter, layers=layers, host=host))
        for host in HOSTS
    )
    assert (poor <= middle + 1e-9).all()
    assert (middle <= good + 1e-9).all()


def test_decay_leaves_the_living_shell() -> None:
    masses = class_grid("A", "perennial", 60, layers=30, host="poor")[0]
    # 1.5 cm of 60: 0.95 of the diameter, which is an edge: half to each centre beside it.
    assert masses[LAW.grid.x > 0.9526].sum() == 0
    assert masses[190] == pytest.approx(masses[191], rel=0.05)
    assert masses[190:192].sum() > 0.8
