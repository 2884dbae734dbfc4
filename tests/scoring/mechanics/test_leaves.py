"""Which trees meet winter winds in leaf."""

import numpy as np
import pytest

from pipeline.errors import PublishedValueError
from pipeline.scoring.mechanics.allometry import BROADLEAF, CONIFER
from pipeline.scoring.mechanics.leaves import LeafHabit, leafless_rows, told_habits
from tests.scoring.mechanics.world import parameters


@pytest.mark.parametrize(
    ("name", "wood", "keeps"),
    # What every flora says of them; from memory.
    [
        ("Quercus ilex", BROADLEAF, True),
        ("Quercus robur", BROADLEAF, False),
        ("Eucalyptus globulus", BROADLEAF, True),
        ("Larix decidua", CONIFER, False),
        ("Taxodium distichum", CONIFER, False),
        ("Picea abies", CONIFER, True),
        ("", BROADLEAF, False),
        ("", CONIFER, True),
    ],
)
def test_evergreens_keep_the_load_of_leaves(name: str, wood: int, *, keeps: bool) -> None:
    told = told_habits([name], parameters().leaves)
    row = leafless_rows(told, np.array([wood], np.int8))
    load = parameters().wind.leafless[row[0]]
    assert (load == 1.0) == keeps


def test_a_taxon_told_twice_is_refused() -> None:
    with pytest.raises(PublishedValueError):
        LeafHabit(("Ilex", "Ilex"), np.array([True, False]))
