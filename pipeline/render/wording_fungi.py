"""How sure a fungus is, in words; what spoke for it; what to photograph."""

from collections.abc import Sequence
from math import floor

from pipeline.render.wording_numbers import HUNDRED

UNLISTED = "another fungus"
# What belongs on the photographs: the same five that the review list asks for.
PHOTOGRAPHS = (
    "the upper side",
    "the pore side",
    "where it is attached",
    "a cut through it",
    "the whole tree",
)
ROTS = {
    "none": "no rot of living wood",
    "white": "white rot",
    "brown": "brown rot",
    "soft": "soft rot",
    "unknown": "rot of unknown kind",
}
_SPEAKERS = {
    "form": "the shape",
    "upper_colour": "the colour of the top",
    "under_colour": "the colour of the underside",
    "upper_texture": "the feel of the top",
    "under_surface": "the pores, gills or teeth below",
    "flesh": "the flesh",
    "arrangement": "how many grow together",
    "stalk": "the stalk",
    "bruising": "the colour of a scratch",
    "attachment": "how it is attached",
    "position": "where it sits",
    "host": "the host tree",
    "month": "the month",
    "region": "the region",
    "name": "the name given",
}
_TENTH, _NEARLY, _CERTAIN, _FEW = 0.095, 0.95, 0.995, 0.005
_TEN = 10.0


def how_often(share: float) -> str:
    """A probability as people say it, 'about 7 in 10'; never 'certain', never 'none'."""
    if share >= _CERTAIN:
        return "more than 99 in 100"
    if share < _FEW:
        return "less than 1 in 100"
    if _TENTH <= share < _NEARLY:
        return f"about {floor(share * _TEN + 0.5)} in 10"
    return f"about {floor(share * HUNDRED + 0.5)} in 100"


def speak(characters: str | None) -> str:
    """Characters joined with | as what speaks: 'the shape and the month speak'; '' for none."""
    if not characters:
        return ""
    words = [_SPEAKERS.get(name, name.replace("_", " ")) for name in characters.split("|")]
    return f"{joined(words)} {'speaks' if len(words) == 1 else 'speak'}"


def joined(words: Sequence[str]) -> str:
    """Words as a list in a sentence."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
