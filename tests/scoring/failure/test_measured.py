"""Measured sections: which words their limits give, with and without a crack."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.decay.strength import MeasuredSections, strength_table
from pipeline.scoring.failure.measured import measured_findings
from pipeline.terms import FailureWord, Part
from tests.scoring.from_tables import (
    NO_CHANGE,
    Change,
    measured_words,
    strength_limits,
    table,
)

LIMITS = strength_limits()


def say(
    diameter: float,
    shell: float,
    *,
    opening: float = 0.0,
    cracked: bool = False,
    change: Change = NO_CHANGE,
) -> dict[str, tuple[int, int]]:
    """Word and points by formula for one section."""
    limits, words = strength_limits(change), measured_words(change)
    sections = MeasuredSections(
        diameter=np.array([diameter]),
        thinnest_shell=np.array([shell]),
        mean_shell=np.array([shell]),
        opening=np.array([opening]),
        azimuths=np.array([2]),
    )
    found = measured_findings(
        np.array([7]),
        np.array([Part.STEM], dtype=np.int8),
        np.array([cracked]),
        sections=sections,
        table=strength_table(sections, limits),
        words=words,
    )
    assert set(found.tree) <= {7}
    assert set(found.part) <= {Part.STEM}
    return {
        limits.formula[rule]: (int(word), int(points))
        for rule, word, points in zip(found.rule, found.word, found.points, strict=True)
    }


@pytest.mark.published
@pytest.mark.parametrize(
    ("diameter", "shell", "cracked", "points"),
    [
        # NA-TP-03-03, code sheet: shell over one inch for six 2, at or under it 3, and a severe
        # crack 4; exactly one inch for six is at the limit.
        (60.0, 10.5, False, 2),
        (60.0, 10.5, True, 2),
        (60.0, 10.0, False, 3),
        (60.0, 9.0, False, 3),
        (60.0, 9.0, True, 4),
    ],
)
def test_shell_points_against_the_code_sheet(
    diameter: float, shell: float, cracked: bool, points: int
) -> None:
    word, given_points = say(diameter, shell, cracked=cracked)["usfs_shell"]
    assert given_points == points
    assert word == FailureWord(points)


@pytest.mark.parametrize(
    ("formula", "shell", "word"),
    [
        # Words beside the limits are elicited: within possible, passed probable.
        ("wagener", 16.0, FailureWord.POSSIBLE),
        ("wagener", 15.0, FailureWord.PROBABLE),
        ("shell_ratio", 15.0, FailureWord.POSSIBLE),
        ("shell_ratio", 14.9, FailureWord.PROBABLE),
        ("smiley_fraedrich", 15.0, FailureWord.PROBABLE),
        ("coder", 15.0, FailureWord.POSSIBLE),
    ],
)
def test_words_at_the_limits(formula: str, shell: float, word: FailureWord) -> None:
    assert say(100, shell)[formula][0] == word


def test_a_section_without_decay_says_nothing_and_so_clears_nothing() -> None:
    assert say(60, 30) == {}
    assert set(say(60, 30, opening=0.05)) >= {"smiley_fraedrich", "exact_section"}


@given(st.floats(10, 300), st.floats(0, 0.999), st.floats(0, 0.999), st.booleans())
def test_a_thinner_shell_never_gives_a_better_word(
    diameter: float, p: float, q: float, cracked: bool
) -> None:
    thin, thick = sorted((p * diameter / 2, q * diameter / 2))
    worse, better = (say(diameter, shell, cracked=cracked) for shell in (thin, thick))
    for formula, (word, _) in better.items():
        assert worse[formula][0] >= word


ROWS = table("strength_limits").rows


def _outcome(change: Change) -> list[object]:
    said: list[object] = []
    for shell in (
        1.0,
        2.5,
        3.15,
        5.0,
        9.0,
        10.0,
        13.2,
        13.8,
        15.2,
        16.0,
        16.6,
        17.0,
        20.0,
        30.0,
        35.0,
    ):
        for opening in (0.0, 0.02, 0.31, 0.32, 0.34):
            said += [
                say(100, shell, opening=opening, cracked=c, change=change) for c in (False, True)
            ]
    return said


AS_IS = _outcome(NO_CHANGE)


@pytest.mark.parametrize("number", range(len(ROWS)), ids=[row["formula"] for row in ROWS])
@pytest.mark.parametrize(
    "column",
    [
        "act_share", "for_closed", "for_open", "failure_within", "failure_passed",
        "failure_passed_with_crack", "points_within", "points_passed", "points_passed_with_crack",
    ],
)  # fmt: skip
def test_every_row_of_the_limits_matters(number: int, column: str) -> None:
    text = ROWS[number][column]
    if column == "act_share":
        changed = str(float(text) * 1.1)
    elif column.startswith("failure"):
        changed = "improbable"
    else:
        changed = "0" if text != "0" else "1"
    assert _outcome({("strength_limits", number): {column: changed}}) != AS_IS
