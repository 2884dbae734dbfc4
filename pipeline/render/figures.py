"""The numbers behind a sentence, as people read them: what it is, the number, its unit."""

from collections.abc import Mapping
from typing import Any

from pipeline.published.sentences import Texts, english
from pipeline.render.wording_numbers import figure

_LEAST_SHARE, _MOST_SHARE = 0.0001, 0.999
# Units that the name of the value says.
_UNSAID = frozenset({"share", "times"})
# Counts that the sentence itself tells in full.
_TOLD = frozenset({"count", "days", "years", "place", "trees", "points", "crew-hours"})


def figures(values: Mapping[str, Mapping[str, Any]], t: Texts | None = None) -> list[str]:
    """Values of a statement with a unit, such as 'diameter 55 cm'; no count that it tells itself.

    Parameters
    ----------
    values : by name `value` and `unit`, as an explanation has them.
    """
    return [
        _figure(name, one["value"], one["unit"], t or english())
        for name, one in values.items()
        if one["value"] is not None and one["unit"] is not None and one["unit"] not in _TOLD
    ]


def name_and_unit(name: str, unit: str | None, t: Texts | None = None) -> tuple[str, str]:
    """What a value is called, and its unit, '' where its name says it or it has none."""
    unit = unit or ""
    plain = name.removesuffix(f"_{unit.lower()}") if unit else name
    said = (t or english()).word("value", name, plain.replace("_", " "))
    return said, "" if unit in _UNSAID or unit == name else unit


def _figure(name: str, value: object, unit: str, t: Texts) -> str:
    several = value if isinstance(value, list) else [value]
    numbers = ", ".join(_near_nothing(one) if unit == "share" else figure(one) for one in several)
    plain, told = name_and_unit(name, unit, t)
    return f"{plain} {numbers} {told}".rstrip()


def _near_nothing(share: object) -> str:
    """A share; its digits say nothing any more near nothing, and near all it is not certain."""
    if isinstance(share, float) and 0.0 < share < _LEAST_SHARE:
        return f"below {_LEAST_SHARE}"
    if isinstance(share, float) and _MOST_SHARE < share < 1.0:
        return f"above {_MOST_SHARE}"
    return figure(share)


def basis_words(basis: str, t: Texts) -> str:
    """What a rule rests on, in words."""
    return t.word("basis", basis, basis)
