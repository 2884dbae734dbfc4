"""Calendar quarters, written as 2027Q1."""

import re
from dataclasses import dataclass
from datetime import date, timedelta

MONTHS = 3
PER_YEAR = 4
FIRST_YEAR, LAST_YEAR = 1900, 2200  # what lies outside is a slip of the pen
_PATTERN = re.compile(r"(\d{4})Q([1-4])")


@dataclass(frozen=True, order=True, slots=True)
class Quarter:
    """One calendar quarter; `number` is 1 to 4."""

    year: int
    number: int

    @classmethod
    def parse(cls, text: str) -> "Quarter":
        """The quarter that a text such as 2027Q1 names.

        Raises
        ------
        ValueError
            If the text is no quarter of the years 1900 to 2200.
        """
        match = _PATTERN.fullmatch(text.strip().upper())
        if match is None:
            message = f"{text!r} is no quarter; write it as 2027Q1"
            raise ValueError(message)
        year = int(match[1])
        if not FIRST_YEAR <= year <= LAST_YEAR:
            message = f"{text!r} is no quarter of the years {FIRST_YEAR} to {LAST_YEAR}"
            raise ValueError(message)
        return cls(year, int(match[2]))

    @classmethod
    def of(cls, day: date) -> "Quarter":
        """The quarter in which a day lies."""
        return cls(day.year, (day.month - 1) // MONTHS + 1)

    @property
    def first_day(self) -> date:
        """Its first day."""
        return date(self.year, (self.number - 1) * MONTHS + 1, 1)

    @property
    def last_day(self) -> date:
        """Its last day."""
        return self.next.first_day - timedelta(days=1)

    @property
    def next(self) -> "Quarter":
        """The quarter after it."""
        if self.number == PER_YEAR:
            return Quarter(self.year + 1, 1)
        return Quarter(self.year, self.number + 1)

    def following(self, count: int) -> tuple["Quarter", ...]:
        """The quarter and those after it, `count` in all."""
        found = [self]
        while len(found) < count:
            found.append(found[-1].next)
        return tuple(found[:count])

    def __str__(self) -> str:
        """As people write it."""
        return f"{self.year}Q{self.number}"
