"""Words for what the notes of an inventory say, each with the words that it rests on."""

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.published.sentences import Texts

# These words say where it is.
_PLACED = frozenset({"dead_tree", "dead_branch", "hanging_branch", "crown_dieback", "root_damage",
                     "girdling_root", "lean"})  # fmt: skip


def notes_said(told: Sequence[Mapping[str, Any]], t: Texts) -> str:
    """Such as: perhaps decay at the butt (words), a crack on the stem (words)."""
    return t.word("join", "between").join(
        t.ask(
            "share",
            "perhaps" if one["doubted"] else "note",
            what=_named(one, t),
            quoted=one["quoted"],
        )
        for one in told
    )


def _named(one: Mapping[str, Any], t: Texts) -> str:
    """'a crack on the stem'; what says itself where it is stands alone."""
    named = str(one["name"]) if one["name"] else t.word("defect", one["word"])
    if not one["part"] or (not one["name"] and one["word"] in _PLACED):
        return named
    return t.say("seen_defect", "at", what=named, place=t.word("at", one["part"]))
