"""The look, in one place: colours, outlines, type and measures of every page.

Ratings are four steps of one warm ramp from sand to oxblood whose lightness falls strictly, each
with its own outline, so that they survive grey print and colour-blind eyes. There is no green:
nothing here says that a tree is sound. Pages take the values as CSS variables; scripts read those.
"""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from pipeline.terms import RatingWord, word

Outline = Literal["dashed", "none", "thin", "double", "ticks"]


@dataclass(frozen=True, slots=True)
class RatingLook:
    """How a rating looks: the ground under the ring, text on that ground, and the outline."""

    colour: str
    text: str
    outline: Outline


RATINGS: dict[RatingWord, RatingLook] = {
    RatingWord.NOT_ASSESSED: RatingLook("#e9e2d6", "#2a221b", "dashed"),
    RatingWord.LOW: RatingLook("#ddb98d", "#2a221b", "none"),
    RatingWord.MODERATE: RatingLook("#cd8a45", "#1d1712", "thin"),
    RatingWord.HIGH: RatingLook("#a3432d", "#fffaf2", "double"),
    RatingWord.EXTREME: RatingLook("#571019", "#fffaf2", "ticks"),
}

LIGHT: dict[str, str] = {
    "paper": "#f7f2e8",
    "card": "#fffcf6",
    "sunk": "#efe8db",
    "ink": "#231d17",
    "muted": "#62564a",
    "line": "#d5c9b7",
    "edge": "#857766",  # borders of what can be pressed: 3:1 on paper
    "bark": "#5f4936",
    "bark-soft": "#b59f88",
    "accent": "#1d4f7c",
    "on-accent": "#ffffff",
    "alarm": "#8a1f1a",
    "alarm-ground": "#f6e2d8",
    "map": "#f0ebe1",
    "map-soft": "#e4ded2",
    "map-mid": "#d3cbbc",
    "map-strong": "#fffdf8",
    "map-text": "#5d5245",
    "outline": "#231d17",
    "zone": "#3f5f8a",
}

DARK: dict[str, str] = {
    "paper": "#1b1714",
    "card": "#25201b",
    "sunk": "#131110",
    "ink": "#f1e9dc",
    "muted": "#b9ab99",
    "line": "#443a31",
    "edge": "#8c7d6c",
    "bark": "#c9ae91",
    "bark-soft": "#6f5c4a",
    "accent": "#9cc6ea",
    "on-accent": "#10202e",
    "alarm": "#f2a58e",
    "alarm-ground": "#3d211b",
    "map": "#2b2621",
    "map-soft": "#352f29",
    "map-mid": "#443c34",
    "map-strong": "#554b41",
    "map-text": "#c2b5a4",
    "outline": "#fbf4e8",
    "zone": "#9db8dc",
    "rating-not-assessed": "#3d352d",  # no step of the ramp: it lies back on either ground
    "on-rating-not-assessed": "#f1e9dc",
}

BODY_FONT = (
    'ui-sans-serif, system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", '
    "Arial, sans-serif"
)
TITLE_FONT = (
    'ui-serif, "Iowan Old Style", "Palatino Linotype", Palatino, "Noto Serif", "Liberation Serif", '
    "Georgia, serif"
)
STEP_PX = 8
_TOE = 0.04045  # below it sRGB is linear (IEC 61966-2-1)

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def css_variables() -> str:
    """The variables of every page: light, dark by the reader's system, light again in print."""
    shared = [f"{variable(rating)}: {look.colour};" for rating, look in RATINGS.items()]
    shared += [f"{variable(rating, text=True)}: {look.text};" for rating, look in RATINGS.items()]
    shared += [
        f"--body: {BODY_FONT};",
        f"--title: {TITLE_FONT};",
        f"--step: {STEP_PX}px;",
    ]
    light = [f"--{name}: {colour};" for name, colour in LIGHT.items()]
    dark = [f"--{name}: {colour};" for name, colour in DARK.items()]
    return "\n".join(
        (
            ":root { color-scheme: light dark; " + " ".join((*shared, *light)) + " }",
            "@media screen and (prefers-color-scheme: dark) { :root { " + " ".join(dark) + " } }",
        )
    )


def variable(rating: RatingWord, *, text: bool = False) -> str:
    """The CSS variable of a rating's ground, or of text on it."""
    return f"--{'on-' if text else ''}rating-{rating.name.lower().replace('_', '-')}"


def luminance(colour: str) -> float:
    """Relative luminance of a #rrggbb colour, 0 to 1 (WCAG 2.2)."""
    red, green, blue = (_linear(int(colour[at : at + 2], 16) / 255) for at in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two #rrggbb colours, 1 to 21 (WCAG 2.2)."""
    darker, lighter = sorted((luminance(first), luminance(second)))
    return (lighter + 0.05) / (darker + 0.05)


def number(value: float, decimals: int = 0) -> str:
    """A number as people write it, thousands parted by commas."""
    return f"{value:,.{decimals}f}"


def day(value: date) -> str:
    """A date as people write it: 3 March 2027."""
    return f"{value.day} {_MONTHS[value.month - 1]} {value.year}"


def rating_word(rating: RatingWord) -> str:
    """The word under the mark; not assessed is never called low."""
    return word(rating)


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= _TOE else ((channel + 0.055) / 1.055) ** 2.4
