"""How cells of published tables become arrays; a cell that means nothing is refused by name."""

from collections.abc import Mapping
from enum import IntEnum
from typing import NoReturn

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.published.table import PublishedTable
from pipeline.terms import from_word
from pipeline.units import Flags, Ints, Words

NO_OTHER: Mapping[str, int] = {}


def integers(t: PublishedTable, column: str) -> Words:
    """A column of small whole numbers, shape (rows,)."""
    return t.numbers(column).astype(np.int8)


def flags(t: PublishedTable, column: str) -> Flags:
    """A column of 0 and 1, shape (rows,)."""
    told: Flags = t.numbers(column) == 1
    return told


def words(t: PublishedTable, column: str, kind: type[IntEnum]) -> Words:
    """A column of the trade's words as numbers, shape (rows,).

    Raises
    ------
    PublishedValueError
        If a cell holds no such word.
    """
    return np.array([one_word(t, column, text, kind) for text in t.texts(column)], np.int8)


def one_word(t: PublishedTable, column: str, text: str, kind: type[IntEnum]) -> int:
    """One word as its number.

    Raises
    ------
    PublishedValueError
        If it is no such word.
    """
    try:
        return int(from_word(kind, text))
    except KeyError:
        return _refuse(t, column, text, [m.name.lower().replace("_", " ") for m in kind])


def places(
    t: PublishedTable,
    column: str,
    among: tuple[str, ...],
    *,
    other: Mapping[str, int] = NO_OTHER,
) -> Ints:
    """Places of a column's cells in a list, or the number that `other` gives them, shape (rows,).

    Raises
    ------
    PublishedValueError
        If a cell is in neither.
    """
    return np.array([place(t, column, x, among, other=other) for x in t.texts(column)], np.int64)


def place(
    t: PublishedTable,
    column: str,
    text: str,
    among: tuple[str, ...],
    *,
    other: Mapping[str, int] = NO_OTHER,
) -> int:
    """Place of one cell in a list.

    Raises
    ------
    PublishedValueError
        If it is in neither.
    """
    if text in other:
        return other[text]
    if text not in among:
        return _refuse(t, column, text, [*among, *other])
    return among.index(text)


def several(t: PublishedTable, column: str, text: str, among: tuple[str, ...]) -> tuple[int, ...]:
    """Places of the words of a cell, joined with | in it; nothing where the cell is empty."""
    return tuple(place(t, column, x, among) for x in text.split("|") if x)


def bits(t: PublishedTable, column: str, text: str, among: tuple[str, ...]) -> int:
    """The words of a cell as bits of their places in a list."""
    return sum(1 << number for number in several(t, column, text, among))


def _refuse(t: PublishedTable, column: str, text: str, expected: list[str]) -> NoReturn:
    """Refuse a cell.

    Raises
    ------
    PublishedValueError
        Always.
    """
    raise PublishedValueError(
        where=f"table {t.name}, column {column}",
        found=repr(text),
        expected=f"one of {', '.join(expected)}",
        remedy="Mend the table or the override.",
    )
