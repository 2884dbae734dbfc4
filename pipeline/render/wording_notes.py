"""Words for what the notes of an inventory say, each with the words that it rests on."""

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.published.sentences import english

_AT = {
    "roots": "at the roots",
    "butt": "at the butt",
    "stem": "on the stem",
    "branch": "in the crown",
}
# These words say where it is.
_PLACED = frozenset({"dead_tree", "dead_branch", "hanging_branch", "crown_dieback", "root_damage",
                     "girdling_root", "lean"})  # fmt: skip


def note_defect(word: str, part: str | None) -> str:
    """'a crack on the stem'."""
    named = english().word("defect", word)
    return named if part is None or word in _PLACED else f"{named} {_AT[part]}"


def notes_said(told: Sequence[Mapping[str, Any]]) -> str:
    """Such as: perhaps decay at the butt (words), a crack on the stem (words)."""
    return ", ".join(
        f"{'perhaps ' if one['doubted'] else ''}{_named(one)} (\u201c{one['quoted']}\u201d)"
        for one in told
    )


def _named(one: Mapping[str, Any]) -> str:
    if one["name"]:
        return f"{one['name']} {_AT[one['part']]}" if one["part"] else str(one["name"])
    return note_defect(str(one["word"]), one["part"])
