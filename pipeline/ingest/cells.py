"""What one cell of text says: numbers with their units, dates, yes or no, words.

Readers of cells see each different text once, however many rows carry it.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial, reduce

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.sheet_dates import sheet_date
from pipeline.units import Ints

Reader = Callable[[str], tuple[object, str | None]]

_UNITS = {
    '"': "in", "''": "in", "in": "in", "in.": "in", "inch": "in", "inches": "in", "\u201d": "in",
    "'": "ft", "ft": "ft", "ft.": "ft", "feet": "ft", "foot": "ft", "\u2019": "ft",
    "cm": "cm", "cm.": "cm", "centimetres": "cm", "centimeters": "cm",
    "mm": "mm", "mm.": "mm", "m": "m", "m.": "m", "metres": "m", "meters": "m",
    "%": "%", "km/h": "km/h", "kmh": "km/h", "mph": "mph", "v": "V", "°": "deg", "deg": "deg",
    "h": "hours", "hours": "hours",
}  # fmt: skip
_NUMBER = re.compile(r"([+-]?)([\d.,]*\d[\d.,]*)\s*(\D*)")
_THOUSANDS_OF_COMMA = re.compile(r"\d{1,3}(,\d{3})+(\.\d+)?")
_THOUSANDS_OF_POINT = re.compile(r"\d{1,3}(\.\d{3})+(,\d+)?")
_GROUP = 3
_YES = frozenset({"yes", "y", "true", "t", "1", "x", "ja", "oui", "si", "sí"})
_NO = frozenset({"no", "n", "false", "f", "0", "nein", "non"})
_YEAR = re.compile(r"\d{4}(\.0)?")
_ISO = re.compile(r"(\d{4}-\d{2}-\d{2})([T ].*)?")
_COMPACT = re.compile(r"((?:1[5-9]|20)\d\d)(\d\d)(\d\d)")
_YEAR_MONTH = re.compile(r"\d{4}-\d{2}")
_POINTS = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})")
_SLASHES = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4})")
_MONTHS = 12


@dataclass(frozen=True, slots=True)
class Fault:
    """Rows (positions) whose cells show one kind of fault."""

    code: str
    rows: Ints


def as_text(data: pa.ChunkedArray | pa.Array) -> pa.Array:
    """A column as text, whole."""
    whole = data.combine_chunks() if isinstance(data, pa.ChunkedArray) else data
    if isinstance(whole, pa.ChunkedArray):  # no chunk at all
        return pa.nulls(0, pa.string())
    return whole if pa.types.is_string(whole.type) else whole.cast(pa.string())


def _not_a_number(mark: str) -> str:
    """A word for 'not a number' as most programs write it."""
    return "NaN" if mark == "nan" else mark


_WAYS: tuple[Callable[[str], str], ...] = (
    str, str.upper, str.capitalize, str.title, _not_a_number,
)  # fmt: skip


def clean(data: pa.ChunkedArray | pa.Array, missing: frozenset[str]) -> pa.Array:
    """Text stripped, with the words for 'missing' made null, in the usual ways to write them."""
    text = as_text(data)
    stripped = pc.utf8_trim_whitespace(text)
    cased = {way(mark) for mark in missing for way in _WAYS}
    marks = pa.array(sorted(cased), pa.string())
    gone = pc.is_in(stripped, value_set=marks)
    if not pc.any(gone).as_py():
        return stripped
    return pc.if_else(gone, pa.scalar(None, pa.string()), stripped)


def by_distinct(
    text: pa.Array, read: Reader, *, kind: pa.DataType | None = None
) -> tuple[pa.Array, list[Fault]]:
    """Read each different text once and spread the answers.

    Parameters
    ----------
    text : strings or a dictionary of strings, shape (n,); nulls stay null.
    read : gives the value (or None) and the code of a fault (or None).

    Returns
    -------
    Values of `kind` (text unless told), shape (n,), and the faults with their rows.
    """
    coded = text if pa.types.is_dictionary(text.type) else text.dictionary_encode()
    answers = [read(cell) for cell in coded.dictionary.to_pylist()]
    values = pa.array([value for value, _ in answers], kind or pa.string())
    codes = sorted({code for _, code in answers if code is not None})
    if not codes:
        return values.take(coded.indices), []
    indices = coded.indices.fill_null(-1).to_numpy(zero_copy_only=False)
    faults = []
    for code in codes:
        marked = np.array([*(c == code for _, c in answers), False])
        faults.append(Fault(code, np.flatnonzero(marked[indices]).astype(np.int64)))
    return values.take(coded.indices), faults


def odd_number(
    cell: str,
    *,
    decimal: str,
    scale: float,
    units: Callable[[str], float | None],
    sheet_year: int | None = None,
) -> tuple[float | None, str | None]:
    """A number that is not written plainly: decimal comma, thousands, a unit of its own.

    Parameters
    ----------
    decimal : '.', ',' or 'auto'.
    scale : what numbers of the column are multiplied by afterwards; a number with its own unit is
        divided by it here, so that its own unit stands.
    units : factor from a unit to the canonical one, None if it does not fit.
    sheet_year : the year that a spreadsheet added where it made dates of numbers; None: such a
        number is not guessed.

    Returns
    -------
    The number in the column's unit, or None and the code of the fault.
    """
    match = _NUMBER.fullmatch(cell.replace("\u00a0", "").replace("\u2009", "").strip())
    if match is None:
        return _of_sheet_date(cell, sheet_year)
    sign, digits, tail = match.groups()
    number, code = _digits(digits, decimal)
    if number is None:
        return _of_sheet_date(cell, sheet_year) if code == "number_unreadable" else (None, code)
    number = -number if sign == "-" else number
    tail = tail.strip().lower()
    if not tail:
        return number, None
    unit = _UNITS.get(tail)
    own = units(unit) if unit is not None else None
    if own is not None:
        return number * own / scale, None
    return (None, "unit_unknown") if sheet_date(cell) is None else _of_sheet_date(cell, sheet_year)


def _of_sheet_date(cell: str, sheet_year: int | None) -> tuple[float | None, str]:
    """The number that a date was, where the map says how it was made; else the fault."""
    found = sheet_date(cell)
    if found is None:
        return None, "number_unreadable"
    number = None if sheet_year is None else found.number(sheet_year)
    return (None, "spreadsheet_date") if number is None else (number, "spreadsheet_number")


def _digits(digits: str, decimal: str) -> tuple[float | None, str]:
    """The number that digits with commas and points write, or None and the code of the fault."""
    commas, points = digits.count(","), digits.count(".")
    if decimal == ",":
        return _with_decimal_comma(digits, commas, points)
    if commas and points:
        of_comma = digits.rfind(",") > digits.rfind(".") and decimal == "auto"
        return _grouped(digits, of_comma=of_comma)
    if commas == 1 and decimal == "auto":
        # "1,234" may be one and a bit or a thousand and more
        if len(digits) - digits.index(",") - 1 == _GROUP:
            return None, "number_ambiguous"
        return _plain(digits.replace(",", "."))
    return _grouped(digits, of_comma=False) if commas else _plain(digits)


def _with_decimal_comma(digits: str, commas: int, points: int) -> tuple[float | None, str]:
    if commas == 0 and points == 1 and not _THOUSANDS_OF_POINT.fullmatch(digits):
        return _plain(digits)
    return _grouped(digits, of_comma=True) if points else _plain(digits.replace(",", "."))


def _grouped(digits: str, *, of_comma: bool) -> tuple[float | None, str]:
    """A number with thousands marked, decimals after the comma or the point."""
    pattern = _THOUSANDS_OF_POINT if of_comma else _THOUSANDS_OF_COMMA
    if not pattern.fullmatch(digits):
        return None, "number_unreadable"
    thousands, mark = (".", ",") if of_comma else (",", ".")
    return _plain(digits.replace(thousands, "").replace(mark, "."))


def _plain(digits: str) -> tuple[float | None, str]:
    try:
        return float(digits), ""
    except ValueError:
        return None, "number_unreadable"


def dates(text: pa.Array, formats: tuple[str, ...]) -> tuple[pa.Array, list[Fault]]:
    """Dates: the formats told, else ISO, a plain year (its first day), day.month.year.

    Slashes without a told format are read only where one part cannot be a month.
    """

    def read(cell: str) -> tuple[date | None, str | None]:
        for told in formats:
            try:
                return datetime.strptime(cell, told).replace(tzinfo=UTC).date(), None
            except ValueError:
                continue
        return _usual_date(cell)

    return by_distinct(text, read, kind=pa.date32())


def _usual_date(cell: str) -> tuple[date | None, str | None]:
    readings = (shape(cell) for shape in _SHAPES)
    parts = next((read for read in readings if read is not None), None)
    if parts is None:
        return None, "date_unreadable"
    year, month, day = parts
    return (None, "date_ambiguous") if day is None else _date(year, month, day)


_Parts = tuple[int, int, int | None]


def _year_first(cell: str) -> _Parts | None:
    """A year, a year and month, or ISO; what is left out is the first."""
    match = _YEAR.fullmatch(cell) or _YEAR_MONTH.fullmatch(cell) or _ISO.fullmatch(cell)
    if match is None:
        return None
    numbers = [int(part) for part in cell[:10].removesuffix(".0").split("-")] + [1, 1]
    return numbers[0], numbers[1], numbers[2]


def _compact(cell: str) -> _Parts | None:
    """ISO 8601 without hyphens, as 20100821."""
    match = _COMPACT.fullmatch(cell)
    return None if match is None else (int(match[1]), int(match[2]), int(match[3]))


def _with_points(cell: str) -> _Parts | None:
    """day.month.year, as it is written where points are used."""
    match = _POINTS.fullmatch(cell)
    return None if match is None else (int(match[3]), int(match[2]), int(match[1]))


def _with_slashes(cell: str) -> _Parts | None:
    """Either order, where one part cannot be a month; day None where both orders fit."""
    match = _SLASHES.fullmatch(cell)
    if match is None:
        return None
    first, second, year = int(match[1]), int(match[2]), int(match[3])
    if first <= _MONTHS and second <= _MONTHS and first != second:
        return year, first, None
    return (year, second, first) if first > _MONTHS else (year, first, second)


_SHAPES = (_year_first, _compact, _with_points, _with_slashes)


def _date(year: int, month: int, day: int) -> tuple[date | None, str | None]:
    try:
        return date(year, month, day), None
    except ValueError:
        return None, "date_unreadable"


def yes_or_no(cell: str) -> tuple[bool | None, str | None]:
    """Yes or no in the languages met."""
    plain = cell.lower()
    if plain in _YES:
        return True, None
    return (False, None) if plain in _NO else (None, "yes_no_unreadable")


def word_reader(
    *,
    codes: Mapping[str, str],
    words: Mapping[str, str],
    allowed: tuple[str, ...],
    otherwise: str | None,
    several: bool,
) -> Reader:
    """A reader of word cells: the map's codes first, then canonical words, then usual words.

    Parameters
    ----------
    codes, words : lower-case word to canonical word.
    otherwise : what every other word means, as the map says; None: it is unknown.
    several : the cell may hold several words, parted by | , or ;
    """

    def one(word: str) -> str | None:
        """The canonical word, '' for a word that says nothing here, None for an unknown one."""
        plain = word.strip().lower()
        snake = plain.replace(" ", "_").replace("-", "_")
        if plain in codes:
            return codes[plain]
        if snake in allowed:
            return snake
        return words.get(plain, otherwise)

    def read(cell: str) -> tuple[str | None, str | None]:
        whole = one(cell)
        if whole is not None or not several:
            return whole or None, None if whole is not None else "word_unknown"
        parts = [one(part) for part in re.split(r"[|,;]", cell) if part.strip()]
        known = list(dict.fromkeys(part for part in parts if part))
        return ("|".join(known) or None), "word_unknown" if None in parts else None

    return read


# The end of a sentence and what follows; a short word before a full stop is an abbreviation.
_NEXT_SENTENCE = r"(\pL{4}\.\s+|[;!]\s+|\n\s*)(\S)"


def joined(before: pa.Array, values: pa.Array, mark: str = " ") -> pa.Array:
    """The text of one column and that of another after it; where one is empty, the other."""
    values = values.cast(pa.string())
    return pc.coalesce(pc.binary_join_element_wise(before, values, mark), before, values)


def labelled(texts: Mapping[str, pa.Array]) -> pa.Array:
    """Several columns as one text, each after its label; null where all are empty.

    The label stands before every sentence: it says of which part each of them speaks.
    """
    parts = [pc.binary_join_element_wise(label, _repeated(label, text), ": ")
             for label, text in texts.items()]  # fmt: skip
    return reduce(partial(joined, mark="; "), parts)


def _repeated(label: str, text: pa.Array) -> pa.Array:
    again = label.replace("\\", "\\\\")
    return pc.replace_substring_regex(text.cast(pa.string()), _NEXT_SENTENCE, rf"\1{again}: \2")
