"""From which fungus it may be to the grids that count, part by part."""

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.published.table import Library
from pipeline.scoring.decay.taxa import Weights, weights
from pipeline.terms import Part
from tests.scoring.decay.asking import LAW, PARAMETERS

TAXA = PARAMETERS.taxa
IDS = (*Library().table("taxa").texts("taxon_id"), "unlisted")
Floats = npt.NDArray[np.float64]


def told(
    shares: dict[str, float], sits: tuple[Part, ...], *, soil: bool = False, attached: bool = True
) -> dict[tuple[Part, str], float]:
    """Weight by part and class letter, or 'q' with the place for the roots."""
    posterior = np.zeros((1, len(IDS)))
    for taxon, share in shares.items():
        posterior[0, IDS.index(taxon)] = share
    on = np.zeros((1, len(Part)), dtype=np.bool_)
    on[0, list(sits)] = True
    found = weights(posterior, on, np.array([soil]), np.array([attached]), TAXA)
    return _named(found)


def _named(found: Weights) -> dict[tuple[Part, str], float]:
    out: dict[tuple[Part, str], float] = {}
    for part, kind, weight in zip(found.part, found.kind, found.weight, strict=True):
        letter = f"q{kind}" if part == Part.ROOTS else LAW.spread.classes[kind // 2]
        key = (Part(int(part)), letter)
        out[key] = out.get(key, 0) + float(weight)
    return out


def test_a_shelf_on_the_butt_speaks_whole_there_and_half_of_the_roots() -> None:
    # Ganoderma sessile: class B, significance 4; fails butt and root plate.
    found = told({"ganoderma_sessile": 1.0}, (Part.BUTT,))
    assert found == {(Part.BUTT, "B"): 1.0, (Part.ROOTS, "q3"): 0.5}


def test_honey_fungus_acts_through_the_roots() -> None:
    found = told({"armillaria_mellea": 1.0}, (Part.ROOTS,))
    assert found == {(Part.ROOTS, "q3"): 1.0}


def test_a_body_on_soil_over_roots_counts_less_there() -> None:
    found = told({"meripilus_giganteus": 1.0}, (Part.ROOTS,), soil=True)
    assert found == {(Part.ROOTS, "q4"): 0.6}


def test_weights_follow_the_probabilities_of_the_taxa() -> None:
    found = told({"ganoderma_applanatum": 0.5, "ganoderma_sessile": 0.3, "unlisted": 0.2},
                 (Part.BUTT,))  # fmt: skip
    assert found[Part.BUTT, "A"] == pytest.approx(0.5)
    assert found[Part.BUTT, "B"] == pytest.approx(0.3)
    assert found[Part.BUTT, "U"] == pytest.approx(0.2)
    assert found[Part.STEM, "A"] == pytest.approx(0.25)
    assert (Part.STEM, "U") not in found


def test_what_has_no_name_speaks_only_where_it_sits() -> None:
    assert told({"unlisted": 1.0}, (Part.STEM,)) == {(Part.STEM, "U"): 1.0}
    assert told({"unlisted": 1.0}, (Part.ROOTS,)) == {(Part.ROOTS, "q5"): 1.0}


def test_mushrooms_that_rot_no_tree_leave_the_prior() -> None:
    assert told({"agrocybe_praecox": 1.0}, (Part.BUTT, Part.ROOTS)) == {}
    assert told({"ganoderma_applanatum": 1.0}, (Part.BUTT,), attached=False) == {}


def test_rot_goes_with_the_taxon() -> None:
    posterior = np.zeros((2, len(IDS)))
    posterior[0, IDS.index("kretzschmaria_deusta")] = 1
    posterior[1, IDS.index("laetiporus_sulphureus")] = 1
    sits = np.array([[False, True, False, False], [False, False, True, False]])
    found = weights(posterior, sits, np.zeros(2, bool), np.ones(2, bool), TAXA)
    assert set(found.rot[found.body == 0].tolist()) == {2}
    assert set(found.rot[found.body == 1].tolist()) == {1}


@given(st.integers(0, 2**32 - 1))
def test_the_weights_of_a_body_and_part_never_pass_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    posterior = rng.dirichlet(np.full(len(IDS), 0.05), size=6)
    sits = rng.random((6, 4)) < 0.5
    found = weights(posterior, sits, rng.random(6) < 0.5, np.ones(6, bool), TAXA)
    total = np.zeros((6, 4))
    np.add.at(total, (found.body, found.part.astype(np.int64)), found.weight)
    assert (found.weight > 0).all()
    assert (total <= 1 + 1e-9).all()
