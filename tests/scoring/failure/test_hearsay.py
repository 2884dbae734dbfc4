"""A remark says at most what its limit allows, and changes nothing of what a person reported."""

from dataclasses import fields, replace

import numpy as np
import pytest

from pipeline.published.table import Library
from pipeline.scoring.failure.hearsay import told_and_heard
from pipeline.scoring.failure.visual import Defects, visual_findings
from pipeline.scoring.parameters.failure import DEFECTS, FailureParameters, failure_parameters
from pipeline.terms import FailureWord, Part


@pytest.fixture(scope="module")
def known() -> FailureParameters:
    return failure_parameters(Library())


def _defects(*names: str) -> Defects:
    count = len(names)
    no, blank = np.zeros(count, np.bool_), np.full(count, np.nan)
    made = dict.fromkeys([f.name for f in fields(Defects)], no)
    return Defects(
        **{
            **made,
            "tree": np.zeros(count, np.int64),
            "part": np.full(count, Part.STEM, np.int8),
            "defect": np.array([DEFECTS.index(name) for name in names]),
            "wood": np.zeros(count, np.int64),
            "extent": blank,
            "diameter": blank,
            "latest": ~no,
        }
    )


@pytest.mark.parametrize("name", [name for name in DEFECTS if name != "none_seen"])
def test_no_defect_of_a_remark_condemns_a_tree(known: FailureParameters, name: str) -> None:
    said = told_and_heard(
        _defects(name), np.ones(1, np.bool_), known.visual, known.kinds, known.hearsay
    )
    assert said.word.max() <= FailureWord.POSSIBLE
    assert said.points.max() <= 2
    assert not said.act_at_once.any()


@pytest.mark.parametrize(
    ("name", "heard", "told"),
    [
        ("girth_wound", FailureWord.IMPROBABLE, FailureWord.POSSIBLE),
        ("weak_union", FailureWord.IMPROBABLE, FailureWord.POSSIBLE),
        ("cavity", FailureWord.POSSIBLE, FailureWord.POSSIBLE),
        ("dead_branch", FailureWord.POSSIBLE, FailureWord.PROBABLE),
        ("split", FailureWord.POSSIBLE, FailureWord.IMMINENT),
    ],
)
def test_a_scrape_or_two_leaders_in_a_remark_ask_for_a_look_and_for_no_more(
    known: FailureParameters, name: str, heard: FailureWord, told: FailureWord
) -> None:
    # Common practice, no source: a remark in passing tells no size; what an inspector reported
    # keeps the points of the code sheet (NA-TP-03-03).
    for hearsay, word in ((True, heard), (False, told)):
        said = told_and_heard(
            _defects(name), np.array([hearsay]), known.visual, known.kinds, known.hearsay
        )
        assert said.word.tolist() == [word]


def test_a_report_is_judged_as_if_no_remark_were_there(known: FailureParameters) -> None:
    both = _defects("crack", "decay", "dead_tree")
    heard = np.array([False, True, True])
    said = told_and_heard(both, heard, known.visual, known.kinds, known.hearsay)
    alone = visual_findings(_defects("crack"), known.visual, known.kinds)
    mine = said.take(said.evidence == 0)
    assert mine.word.tolist() == alone.word.tolist() == [FailureWord.POSSIBLE]
    assert mine.act_at_once.tolist() == alone.act_at_once.tolist()
    # Two reported defects on one part are worse than one: the remark was kept out of that.
    worse = visual_findings(both, known.visual, known.kinds)
    assert worse.word[0] > alone.word[0]


def test_without_remarks_nothing_changes(known: FailureParameters) -> None:
    rows = _defects("crack", "decay", "split", "dead_tree")
    said = told_and_heard(rows, np.zeros(4, np.bool_), known.visual, known.kinds, known.hearsay)
    plain = visual_findings(rows, known.visual, known.kinds)
    for one in fields(plain):
        np.testing.assert_array_equal(getattr(said, one.name), getattr(plain, one.name))
    assert replace(rows).latest.all()
