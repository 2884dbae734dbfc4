"""Faults of settings in plain words: what was expected of a value, and which key it is."""

from collections.abc import Mapping, Sequence
from typing import Any

_MADE = {
    "greater_than": "a number above {gt:g}",
    "greater_than_equal": "a number of at least {ge:g}",
    "less_than": "a number below {lt:g}",
    "less_than_equal": "a number of at most {le:g}",
    "string_too_short": "a text that is not empty",
    "too_short": "a list of at least {min_length}",
    "literal_error": "one of {expected}",
}
_EXPECTED = {
    "finite_number": "a number with an end, neither inf nor nan",
    "float": "a number",
    "int": "a whole number",
    "string": "a text, in quotes",
    "bool": "true or false",
    "date": "a date such as 2026-11-15",
    "time": "a time of day such as 07:30",
    "tuple": "a list, in square brackets",
    "model": "a section of keys",
}
_REMEDIES = {
    "extra_forbidden": ("no such key", "Remove it or mend its spelling."),
    "missing": ("a value", "Add the key."),
}


def key_of(steps: Sequence[int | str]) -> str:
    """A key as people find it, as crews 1.hours_per_day: places in a list count from 1."""
    text = ""
    for step in steps:
        text += f" {step + 1}" if isinstance(step, int) else f".{step}"
    return text.lstrip(".")


def expected_of(error: Mapping[str, Any]) -> tuple[str, str]:
    """What was expected in place of a value that a check refused, and what to do."""
    kind = str(error["type"])
    if kind in _REMEDIES:
        return _REMEDIES[kind]
    if kind in _MADE:
        return _MADE[kind].format(**error.get("ctx", {})), "Mend the value."
    plain = _EXPECTED.get(kind) or _EXPECTED.get(kind.split("_", maxsplit=1)[0])
    return plain or str(error["msg"]), "Mend the value."
