"""A tree of which only a remark speaks: no low rating without a look, no inspection given up."""

from types import SimpleNamespace
from typing import cast

import numpy as np

from pipeline.scoring.actions.inspection import NEVER, NOT_DUE
from pipeline.scoring.assembly.heard_only import (
    not_called_low,
    not_only_watched,
    still_inspected,
)
from pipeline.scoring.assembly.looked import Looked
from pipeline.scoring.assembly.ratings import Rated
from pipeline.scoring.assembly.works import Works
from pipeline.tables import inputs
from pipeline.terms import RatingWord
from tests.conftest import LarkmereRun

MONITOR, DRILL = (inputs.ACTIONS.index(name) for name in ("retain_monitor", "drill"))


def _rated(*words: RatingWord) -> Rated:
    zero = np.zeros(len(words))
    return Rated(
        np.zeros(len(words), np.int64), np.array(words, np.int8), zero, zero, zero,
        np.zeros(len(words), np.int64),
    )  # fmt: skip


def _looked(**columns: list[int] | list[bool]) -> Looked:
    return cast("Looked", SimpleNamespace(**{k: np.array(v) for k, v in columns.items()}))


def test_low_is_not_said_of_a_tree_that_nobody_assessed() -> None:
    low, moderate = RatingWord.LOW, RatingWord.MODERATE
    rated = not_called_low(
        _rated(low, low, low, moderate),
        np.array([True, True, False, True]),
        _looked(assessed=[False, True, False, False]),
    )
    assert rated.program.tolist() == [RatingWord.NOT_ASSESSED, low, low, moderate]


def test_monitoring_does_not_take_the_place_of_an_inspection_that_is_due() -> None:
    tree, action = np.array([0, 1, 2, 3]), np.array([MONITOR, MONITOR, DRILL, MONITOR])
    works = Works(
        tree, action, np.zeros(4, np.int8), np.zeros(4, np.int64), np.ones(4, np.bool_),
        np.zeros(4, np.int8), np.zeros(4),
    )  # fmt: skip
    heard = np.array([True, True, True, False])
    looked = _looked(standing=[NEVER, NOT_DUE, NEVER, NEVER])
    kept, main = still_inspected(works, np.arange(4), heard, looked)
    assert kept.chosen.tolist() == [False, True, True, True]
    assert main.tolist() == [-1, 1, 2, 3]


def test_no_remark_of_larkmere_ends_an_inspection_or_makes_a_tree_assessed(
    larkmere: LarkmereRun,
) -> None:
    """Trees whose remark is all that speaks of them, and that nobody inspected in time."""
    rows = larkmere.sql(
        """
        select r.rating, r.best_action, r.assessed
        from scoring.tree_ratings r
        where r.inspection_due_on is null and r.rated
          and exists (select 1 from ingest.defects d where d.tree_key = r.tree_key
                      and d.origin = 'note')
          and not exists (select 1 from ingest.defects d where d.tree_key = r.tree_key
                          and d.origin <> 'note')
          and not exists (select 1 from ingest.readings d where d.tree_key = r.tree_key)
          and not exists (select 1 from scoring.sighting_trees s where s.tree_key = r.tree_key)
        """
    )
    assert len(rows) > 0
    assert {row["best_action"] for row in rows} == {"inspect"}
    assert RatingWord.LOW not in {row["rating"] for row in rows}
    assert not any(row["assessed"] for row in rows)


def test_a_tree_above_the_accepted_rating_is_not_only_watched() -> None:
    keys = np.array([3, 5, 7])
    works = Works(
        tree=keys, action=np.array([MONITOR, MONITOR, DRILL]), part=np.zeros(3, np.int8),
        rule=np.zeros(3, np.int64), chosen=np.ones(3, np.bool_),
        residual_rating=np.full(3, 3, np.int8), residual_harm=np.zeros(3),
    )  # fmt: skip
    rating = np.zeros(8, np.int8)
    rating[keys] = RatingWord.HIGH, RatingWord.MODERATE, RatingWord.HIGH
    looked = _looked(standing=[NOT_DUE] * 8)
    left, main, standing = not_only_watched(
        works, np.arange(3), rating, looked, keys, accepted=int(RatingWord.MODERATE)
    )
    assert main.tolist() == [-1, 1, 2]
    assert left.chosen.tolist() == [False, True, True]
    assert np.flatnonzero(standing != NOT_DUE).tolist() == [3]
