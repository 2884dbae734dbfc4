"""The palette survives grey print, weak eyes and colour blindness; marks say what they show."""

import itertools
import re

import numpy as np
import pytest

from pipeline.render import marks, style
from pipeline.render.files import plain
from pipeline.tables import inputs
from pipeline.terms import RatingWord

RAMP = [style.RATINGS[word] for word in RatingWord if word is not RatingWord.NOT_ASSESSED]
TEXTS = ("ink", "muted", "accent", "alarm")
GROUNDS = ("paper", "card", "sunk")
# Machado, Oliveira and Fernandes 2009, "A physiologically-based model for simulation of color
# vision deficiency", severity 1.0, on linear RGB (from memory).
BLIND = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216),
               (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413),
               (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602),
               (0.004733, 0.691367, 0.303900)),
}  # fmt: skip


def _linear(colour: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    channels = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def _lab(rgb: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[float, float, float]:
    """CIELAB under D65 of linear sRGB (IEC 61966-2-1 and CIE 15, from memory)."""
    matrix = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
         [0.0193339, 0.1191920, 0.9503041]]
    )  # fmt: skip
    ratio = np.clip(matrix @ rgb / np.array([0.95047, 1.0, 1.08883]), 0, None)
    x, y, z = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return float(116 * y - 16), float(500 * (x - y)), float(200 * (y - z))


def test_lightness_falls_strictly_from_low_to_extreme() -> None:
    lightness = [_lab(_linear(look.colour))[0] for look in RAMP]
    assert all(a - b > 10 for a, b in itertools.pairwise(lightness)), lightness


@pytest.mark.parametrize("kind", BLIND)
def test_ratings_stay_apart_for_colour_blind_eyes(kind: str) -> None:
    seen = [_lab(np.array(BLIND[kind]) @ _linear(look.colour)) for look in RAMP]
    for one, other in itertools.pairwise(seen):
        # a colour difference of 10 is told apart at a glance (common practice, no source)
        assert np.linalg.norm(np.subtract(one, other)) > 10


def test_no_rating_colour_is_green() -> None:
    for look in style.RATINGS.values():
        _, a, b = _lab(_linear(look.colour))
        assert a > 0, f"{look.colour} leans to green"
        assert not (b < 0 < -a)


def test_every_rating_has_its_own_outline() -> None:
    outlines = [look.outline for look in style.RATINGS.values()]
    assert len(set(outlines)) == len(outlines)


@pytest.mark.parametrize("theme", [style.LIGHT, style.DARK], ids=["light", "dark"])
@pytest.mark.parametrize("text", TEXTS)
@pytest.mark.parametrize("ground", GROUNDS)
def test_text_reaches_the_contrast_of_wcag(theme: dict[str, str], text: str, ground: str) -> None:
    # WCAG 2.2, 1.4.3: 4.5 to 1 for text
    assert style.contrast(theme[text], theme[ground]) >= 4.5


@pytest.mark.parametrize("theme", [style.LIGHT, style.DARK], ids=["light", "dark"])
def test_edges_and_map_words_reach_the_contrast_of_wcag(theme: dict[str, str]) -> None:
    # WCAG 2.2, 1.4.11: 3 to 1 for what can be pressed
    assert all(style.contrast(theme["edge"], theme[ground]) >= 3 for ground in GROUNDS)
    assert style.contrast(theme["map-text"], theme["map"]) >= 4.5
    assert style.contrast(theme["outline"], theme["map"]) >= 3
    assert style.contrast(theme["alarm"], theme["alarm-ground"]) >= 4.5
    assert style.contrast(theme["on-accent"], theme["accent"]) >= 4.5


def test_words_on_ratings_reach_the_contrast_of_wcag() -> None:
    assert all(style.contrast(look.colour, look.text) >= 4.5 for look in style.RATINGS.values())


def test_contrast_of_black_on_white_is_21() -> None:
    # WCAG 2.2, definition of contrast ratio: from 1 to 21
    assert style.contrast("#000000", "#ffffff") == pytest.approx(21)
    assert style.contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


def test_stylesheets_use_only_variables_that_exist() -> None:
    declared = set(re.findall(r"--([a-z-]+):", style.css_variables()))
    for name in ("base.css", "map.css", "forester_map.css", "council_map.css"):
        text = plain(name)
        assert set(re.findall(r"var\(--([a-z-]+)\)", text)) <= declared, name
        assert not re.findall(r"#[0-9a-fA-F]{6}\b", text), f"{name}: colours belong to style.py"


def test_section_of_an_open_hollow_breaks_the_ring() -> None:
    closed = marks.section_mark(marks.Section(RatingWord.HIGH, 0.6, 0.5, 0.7))
    opened = marks.section_mark(marks.Section(RatingWord.HIGH, 0.6, 0.5, 0.7, 0.25))
    assert "stroke-dasharray" not in closed
    assert 'stroke-dasharray="75.0 25.0"' in opened
    assert "25% of the girth" in opened


def test_section_without_an_estimate_is_empty_and_says_so() -> None:
    mark = marks.section_mark(marks.Section(RatingWord.NOT_ASSESSED))
    assert 'class="unknown"' in mark
    assert 'class="wood"' not in mark
    assert "Nobody has estimated" in mark


def test_wall_of_the_section_is_the_wood_that_nine_in_ten_estimates_leave() -> None:
    mark = marks.section_mark(marks.Section(RatingWord.LOW, 0.5, 0.25, 0.75))
    # wall from 0.75 to 1 of the radius 36: middle 31.5, width 9
    assert 'r="31.5" class="wood" stroke-width="9.0"' in mark


def test_every_action_has_a_mark() -> None:
    assert set(marks.ACTIONS) == {*inputs.ACTIONS, "none"}
