"""Numbers that a spreadsheet took for dates: told from other text, and read back where it is known.

Where the comma or the point parts decimals and days alike, 2.5 typed into a cell becomes the second
of May of the year in which it was typed.
"""

import re
from dataclasses import dataclass

_MONTHS = 12
_MONTH_WORDS = {
    word: month
    for month, words in enumerate(
        ("jan ene janv", "feb fév fev", "mar mär mrz mars", "apr abr avr", "may mai", "jun juin",
         "jul juil", "aug ago août", "sep sept set", "oct okt", "nov", "dec dez dic déc"), start=1)
    for word in words.split()
}  # fmt: skip
_SHEET_DATES = (
    re.compile(r"(?P<year>\d{4})[-/](?P<month>\d{1,2})[-/](?P<day>\d{1,2})(?:[T ].*)?"),
    re.compile(r"(?P<day>\d{1,2})[-/.](?P<month>\d{1,2})[-/.](?P<year>\d{2}|\d{4})"),
    re.compile(r"(?P<month>\d{1,2})[-/](?P<year>\d{4})"),
    re.compile(
        r"(?:(?P<day>\d{1,2})[-/. ]+)?(?P<word>[^\W\d_]{3,5})\.?(?:[-/ ]+(?P<year>\d{4}|\d{2}))?"
    ),
)
_CENTURY, _MOST_DAYS = 100, 31


@dataclass(frozen=True, slots=True)
class SheetDate:
    """What is left of a number that a spreadsheet took for a date; None for what it lacks."""

    day: int | None
    month: int
    year: int | None
    month_first: bool = False

    def number(self, sheet_year: int) -> float | None:
        """The number that was typed, or None where that is open.

        Parameters
        ----------
        sheet_year : the year in which the sheet was filled. It was added to a day and a month, so
            that 2.5 became the second of May of that year; another year, on the first of a month,
            is itself what was typed: 1.75 became January 1975.
        """
        if self.month_first:
            return None
        if self.year is None or self.year % _CENTURY == sheet_year % _CENTURY:
            return None if self.day is None else float(f"{self.day}.{self.month}")
        if self.day in {None, 1}:
            return float(f"{self.month}.{self.year % _CENTURY:02d}")
        return None


def sheet_date(cell: str) -> SheetDate | None:
    """The parts of a date that stands where a number should, or None where it is no date."""
    plain = cell.strip().lower()
    for pattern in _SHEET_DATES:
        match = pattern.fullmatch(plain)
        if match is None:
            continue
        told = match.groupdict()
        month = _MONTH_WORDS.get(told["word"]) if "word" in told else int(told["month"])
        day, year = (int(told[k]) if told.get(k) else None for k in ("day", "year"))
        if month is None or (day, year) == (None, None):
            continue
        if day is not None and day <= _MONTHS < month <= _MOST_DAYS:
            return SheetDate(month, day, year, month_first=True)
        if 1 <= month <= _MONTHS and (day or 1) <= _MOST_DAYS:
            return SheetDate(day, month, year)
    return None
