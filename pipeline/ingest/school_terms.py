"""How much of the year a place is in use, from its terms: '2026-09-07..2026-12-18; 2027-01-05..'.

Terms are written as first and last day, parted by ';'. Days in several terms count once; terms of
several school years are shared out over those years.
"""

import re
from datetime import date
from enum import IntEnum
from functools import cache

_TERM = re.compile(r"(\d{4}-\d{2}-\d{2})\s*(?:\.\.|/|to)\s*(\d{4}-\d{2}-\d{2})").fullmatch
_DAYS_A_YEAR = 365.25


class Fault(IntEnum):
    """What is wrong with terms."""

    NONE = 0
    UNREADABLE = 1
    BACKWARDS = 2


@cache
def term_share(text: str) -> tuple[float, Fault]:
    """Share of the year's days that lie in some term, 0 to 1, and what is wrong with the text.

    The share is 1 where something is wrong: what is not understood never makes a place emptier.
    """
    days: set[int] = set()
    for one in filter(None, (part.strip() for part in text.split(";"))):
        ends = _TERM(one)
        if ends is None:
            return 1.0, Fault.UNREADABLE
        try:
            first, last = (date.fromisoformat(end).toordinal() for end in ends.groups())
        except ValueError:
            return 1.0, Fault.UNREADABLE
        if last < first:
            return 1.0, Fault.BACKWARDS
        if last - first > _DAYS_A_YEAR:
            return 1.0, Fault.UNREADABLE
        days.update(range(first, last + 1))
    if not days:
        return 1.0, Fault.UNREADABLE
    years = max(1, -(-(max(days) - min(days) + 1) // 366))
    return min(len(days) / (years * _DAYS_A_YEAR), 1.0), Fault.NONE
