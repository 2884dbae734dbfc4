"""What the command says at its end, whatever there is to say."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from pipeline.cli import tell
from pipeline.tables.store import RunStore
from tests.planning.small_town import put

CAUTION = "A screening aid:"
NOT_ASSESSED = "No tree was assessed: that is not low."


def _rated(folder: Path, ratings: Sequence[int]) -> None:
    put(RunStore(folder), "scoring.tree_ratings", [
        {"tree_key": key, "rating": rating, "harm_per_year": 1e-4, "no_climb": False,
         "inspection_due_on": date(2027, 2, 1), "best_action": "none", "program_action": "none"}
        for key, rating in enumerate(ratings)
    ])  # fmt: skip


@pytest.mark.parametrize(
    ("ratings", "said"), [((0, 0), True), ((), True), ((0, 1), False), ((4,), False)]
)
def test_no_assessed_tree_is_said_to_be_no_good_news(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], ratings: Sequence[int], said: bool
) -> None:
    _rated(tmp_path, ratings)
    put(RunStore(tmp_path), "scoring.reviews", [])
    assert tell.summary(tmp_path) == 0
    told = capsys.readouterr().out
    assert (NOT_ASSESSED in told) is said
    assert told.splitlines()[-1].startswith(CAUTION)


def test_the_caution_stands_even_where_nothing_was_rated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tell.summary(tmp_path)
    told = capsys.readouterr().out
    assert CAUTION in told
    assert NOT_ASSESSED not in told
