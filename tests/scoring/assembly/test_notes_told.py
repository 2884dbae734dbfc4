"""Remarks on the review list: one review a tree, danger first, with the words."""

import json

import pyarrow as pa
import pytest

from pipeline.scoring.assembly.notes_told import of_notes
from pipeline.scoring.assembly.reviews import ReviewList

IDS = pa.chunked_array([[f"T-{key}" for key in range(8)]])
NAMES = {"armillaria": "Armillaria"}


def _notes(*rows: tuple[int, str, str, str, bool, str]) -> pa.Table:
    tree, word, polarity, quoted, danger, used = zip(*rows, strict=True)
    return pa.table(
        {
            "tree_key": pa.array(tree, pa.int64()),
            "word": pa.array(word),
            "taxon_id": pa.array(
                ["armillaria" if one == "fungus" else None for one in word], pa.string()
            ),
            "part": pa.nulls(len(tree), pa.string()),
            "polarity": pa.array(polarity),
            "quoted": pa.array(quoted),
            "speaks_of_danger": pa.array(danger),
            "used": pa.array(used),
        }
    )


@pytest.fixture
def reviews() -> ReviewList:
    found = ReviewList()
    of_notes(
        found,
        _notes(
            (2, "crack", "stated", "Riss", False, "defect"),
            (2, "fungus", "suspected", "Hallimasch", False, "sighting"),
            (3, "decay", "negated", "Fäule", False, "counted"),
            (5, "danger", "stated", "Bruchgefahr", True, "review"),
            (7, "crack", "stated", "Riss", False, "defect"),
            (7, "fungus", "suspected", "Hallimasch", False, "sighting"),
        ),
        NAMES,
        IDS,
    )
    return found


def test_each_tree_whose_remark_said_something_has_one_review(reviews: ReviewList) -> None:
    told = dict(zip(reviews.tree, reviews.code, strict=True))
    assert told == {2: "note_read", 5: "note_danger", 7: "note_read"}


def test_a_review_tells_every_finding_with_its_words(reviews: ReviewList) -> None:
    detail = json.loads(reviews.detail[reviews.tree.index(7)])
    assert detail["tree_id"] == "T-7"
    keys = ("word", "name", "doubted", "quoted")
    assert [tuple(one[key] for key in keys) for one in detail["told"]] == [
        ("crack", None, False, "Riss"), ("fungus", "Armillaria", True, "Hallimasch"),
    ]  # fmt: skip


def test_danger_comes_before_what_was_only_read(reviews: ReviewList) -> None:
    columns = reviews.columns()
    assert list(columns["tree_key"]) == [5, 2, 7]  # type: ignore[call-overload]


def test_no_remarks_no_reviews() -> None:
    found = ReviewList()
    of_notes(found, _notes((3, "decay", "negated", "Fäule", False, "counted")), NAMES, IDS)
    assert found.code == []
