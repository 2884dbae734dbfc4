"""Likelihood of impact from occupancy and exposure."""

import numpy as np
import pytest

from pipeline.published.table import Library
from pipeline.scoring.impact.likelihood import exposure, impact_words
from pipeline.scoring.parameters.targets import EXPOSURES, target_parameters
from pipeline.terms import ImpactWord, OccupancyWord
from tests.scoring.changed import changed_library, changes_of

TABLE = target_parameters(Library()).impact
SHARES = np.array([0.01, 0.1, 0.3, 0.7])


def _words(library: Library) -> list[list[int]]:
    table = target_parameters(library).impact
    return [
        impact_words(np.full(4, word, np.int8), SHARES, table=table).tolist()
        for word in OccupancyWord
    ]


# Definitions of the rating standard's best-management practice (2nd edition, 2017), as read in
# summaries: which occupancy and exposure it calls very low, low, medium and high.
@pytest.mark.parametrize(
    ("occupancy", "share", "impact"),
    [
        (OccupancyWord.RARE, 1.0, ImpactWord.VERY_LOW),
        (OccupancyWord.OCCASIONAL, 0.1, ImpactWord.VERY_LOW),
        (OccupancyWord.OCCASIONAL, 1.0, ImpactWord.LOW),
        (OccupancyWord.FREQUENT, 0.1, ImpactWord.LOW),
        (OccupancyWord.CONSTANT, 0.01, ImpactWord.LOW),
        (OccupancyWord.FREQUENT, 0.3, ImpactWord.MEDIUM),
        (OccupancyWord.CONSTANT, 0.1, ImpactWord.MEDIUM),
        (OccupancyWord.CONSTANT, 1.0, ImpactWord.HIGH),
        (OccupancyWord.FREQUENT, 1.0, ImpactWord.HIGH),
    ],
)
def test_the_handbooks_own_examples(
    occupancy: OccupancyWord, share: float, impact: ImpactWord
) -> None:
    got = impact_words(np.array([occupancy], np.int8), np.array([share]), table=TABLE)
    assert got[0] == impact


def test_more_use_and_more_exposure_never_lower_the_word() -> None:
    assert (np.diff(TABLE.words.astype(int), axis=0) >= 0).all()
    assert (np.diff(TABLE.words.astype(int), axis=1) >= 0).all()


def test_a_share_at_a_cut_off_takes_the_higher_class() -> None:
    assert exposure(TABLE.share_from, table=TABLE).tolist() == list(range(len(EXPOSURES)))


@pytest.mark.parametrize(
    "change", changes_of("impact_matrix", {"impact": {"very low": "high", "": "very low"}})
)
def test_every_row_of_the_matrix_is_read(change: tuple[str, int, str, str]) -> None:
    assert _words(changed_library(change)) != _words(Library())
