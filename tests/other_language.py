"""Another language for tests: the English between marks that no input file holds.

What a program says without asking the table of sentences stands out: it lies outside of the marks.
"""

import json
from collections.abc import Mapping

from pipeline.published.sentences import WORDS, english

OPEN, SHUT = "\u00ab", "\u00bb"
# Words of which numbers, days and lists are made: they stand inside of the sentences that use them.
_PLAIN = {(WORDS, name) for name in ("join", "day", "value", "share", "number")}


def table(invented: Mapping[tuple[str, str, str], str]) -> str:
    """A city's own file of sentences, each line between marks.

    Parameters
    ----------
    invented : texts for some places of the table; every other is the English one.
    """
    groups: dict[str, list[str]] = {}
    for place, text in english().lines.items():
        group, name, variant = place
        keys = ".".join(json.dumps(word) for word in (name, variant) if word)
        said = text if (group, name) in _PLAIN else f"{OPEN}{invented.get(place, text)}{SHUT}"
        groups.setdefault(group, [f"[{group}]"]).append(f"{keys} = {json.dumps(said)}")
    return "\n".join(line for lines in groups.values() for line in lines)


def own(text: str) -> bool:
    """Whether all letters of a text stand between the marks."""
    depth = 0
    for mark in text:
        depth += {OPEN: 1, SHUT: -1}.get(mark, 0)
        if depth == 0 and mark.isalpha():
            return False
    return depth == 0 and OPEN in text
