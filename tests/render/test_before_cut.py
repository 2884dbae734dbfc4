"""What a crew is told of tests before it cuts."""

from datetime import date

from pipeline.published.sentences import english
from pipeline.render import before_cut
from pipeline.render.public_work import PublicJob

Tests = dict[int, list[tuple[str, date | None, str]]]


def test_a_planned_test_comes_first_and_a_missing_one_is_said() -> None:
    tests: Tests = {
        4: [("drill", date(2026, 11, 16), "2026Q4")],
        5: [("tomography", None, "")],
    }
    planned = before_cut.words(4, "remove", tests, english())
    assert planned.startswith("Test first: drill for sound wood, planned for 16 November 2026.")
    missing = before_cut.words(5, "habitat_pole", tests, english())
    assert missing.startswith("Test not done: presume")
    assert "Ask the office" in missing


def test_other_work_and_other_trees_are_told_nothing() -> None:
    tests: Tests = {4: [("drill", date(2026, 11, 16), "2026Q4")]}
    assert before_cut.words(4, "prune_part", tests, english()) == ""
    assert before_cut.words(6, "remove", tests, english()) == ""


def test_the_public_reads_that_a_test_may_lift_the_removal() -> None:
    cut = PublicJob(1, "remove", "2026Q4", date(2026, 12, 1), late=False, reason="", tested=True)
    assert "unless the test before it" in cut.words(english())
    left = PublicJob(1, "make_safe", None, None, late=False, reason="no crew-hours left")
    assert "no day was found (no crew-hours left)" in left.words(english())
