"""How sure a fungus is, in words; what spoke for it; what to photograph."""

from collections.abc import Sequence
from math import floor

from pipeline.published.sentences import Texts, english
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


def how_often(share: float, t: Texts | None = None) -> str:
    """A probability as people say it, 'about 7 in 10'; never 'certain', never 'none'."""
    t = t or english()
    if share >= _CERTAIN:
        return t.word("often", "certain")
    if share < _FEW:
        return t.word("often", "few")
    kind, of = ("tenths", _TEN) if _TENTH <= share < _NEARLY else ("known", HUNDRED)
    return t.word("often", kind).format_map({"number": floor(share * of + 0.5)})


def speak(characters: str | None) -> str:
    """Characters joined with | as what speaks: 'the shape and the month speak'; '' for none."""
    if not characters:
        return ""
    words = [_SPEAKERS.get(name, name.replace("_", " ")) for name in characters.split("|")]
    return f"{joined(words)} {'speaks' if len(words) == 1 else 'speak'}"


def joined(words: Sequence[str]) -> str:
    """Words as a list in a sentence."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
