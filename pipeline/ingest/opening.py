"""How much of the year a place is open, from opening hours as OpenStreetMap writes them.

Understood: rules parted by ';', each with months, weekdays and times, all optional; '24/7'; 'off'
and 'closed'; times past midnight. A later rule replaces an earlier one on the days that it names.
Holidays (PH, SH) are passed over: they move the share by a few days in a hundred at most. Sunrise,
weeks of the year, comments and anything else is not guessed at.
"""

import re
from functools import cache

import numpy as np
import numpy.typing as npt

Mask = npt.NDArray[np.bool_]

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAYS = ("mo", "tu", "we", "th", "fr", "sa", "su")
_DAYS_IN_MONTH = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
_MINUTES_PER_DAY = 1440
_LAST_HOUR, _LAST_MINUTE = 48, 59
_TIME = re.compile(r"(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})\+?")
_HOLIDAYS = re.compile(r"\b(ph|sh)\b\s*,?")


@cache
def open_share(hours: str | None, months: str | None = None) -> float | None:
    """Share of the year's hours when a place is open, 0 to 1; None where a text is not understood.

    Parameters
    ----------
    hours : as 'Mo-Fr 08:00-16:00; Sa 09:00-12:00'; None means around the clock.
    months : as '9-6', 'Sep-Jun' or '1,3-5'; None means all the year.
    """
    open_minutes = np.zeros((len(_MONTHS), len(_DAYS)))
    rules = [rule.strip() for rule in (hours or "24/7").lower().split(";")]
    for rule in rules:
        if not rule:
            continue
        read = _rule(rule)
        if read is None:
            return None
        where, minutes = read
        open_minutes[where] = minutes
    in_use = _months((months or "").lower().strip())
    if in_use is None:
        return None
    open_minutes[~in_use] = 0.0
    of_month = open_minutes.mean(axis=1) / _MINUTES_PER_DAY
    return float(of_month @ _DAYS_IN_MONTH / _DAYS_IN_MONTH.sum())


def _rule(rule: str) -> tuple[Mask, float] | None:
    """The months and weekdays that a rule names, shape (12, 7), and its open minutes a day."""
    rest, holidays = _HOLIDAYS.subn("", rule)
    rest = rest.strip()
    minutes, rest = _times(rest)
    if minutes is None:
        return None
    if holidays and not rest and "24/7" not in rule:
        return np.zeros((len(_MONTHS), len(_DAYS)), dtype=np.bool_), 0.0
    words = [word for word in re.split(r"\s+", re.sub(r"\s*([-,])\s*", r"\1", rest)) if word]
    months: Mask = np.ones(len(_MONTHS), dtype=np.bool_)
    days: Mask = np.ones(len(_DAYS), dtype=np.bool_)
    for word in words:
        plain = word.strip(",:")
        as_days, as_months = _span(plain, _DAYS), _span(plain, _MONTHS)
        if as_days is not None:
            days = as_days
        elif as_months is not None:
            months = as_months
        else:
            return None
    return months[:, None] & days[None, :], minutes


def _times(rule: str) -> tuple[float | None, str]:
    """Open minutes a day of a rule, and the rule without its times; None where unreadable."""
    for word, minutes in (("24/7", _MINUTES_PER_DAY), ("off", 0), ("closed", 0)):
        if rule.endswith(word):
            return float(minutes), rule[: -len(word)]
    spans: list[tuple[int, int]] = []
    for one in _TIME.finditer(rule):
        first, first_minute, last, last_minute = (int(text) for text in one.groups())
        if max(first, last) > _LAST_HOUR or max(first_minute, last_minute) > _LAST_MINUTE:
            return None, rule
        start, end = first * 60 + first_minute, last * 60 + last_minute
        spans.append((start, end if end > start else end + _MINUTES_PER_DAY))
    rest = _TIME.sub(" ", rule).strip(" ,")
    if not spans:
        # Days or months alone mean all of those days.
        return float(_MINUTES_PER_DAY), rest
    return float(min(_union(spans), _MINUTES_PER_DAY)), rest


def _union(spans: list[tuple[int, int]]) -> int:
    total, reached = 0, -1
    for start, end in sorted(spans):
        total += max(0, end - max(start, reached))
        reached = max(reached, end)
    return total


def _months(text: str) -> Mask | None:
    """Months that a text names by number or name; all for none."""
    if not text:
        return np.ones(len(_MONTHS), dtype=np.bool_)
    named = re.sub(
        r"\d+", lambda m: _MONTHS[int(m[0]) - 1] if 1 <= int(m[0]) <= len(_MONTHS) else "?", text
    )
    return _span(re.sub(r"\s", "", named), _MONTHS)


def _span(text: str, names: tuple[str, ...]) -> Mask | None:
    """The members that a list of names and ranges names, wrapping past the end; None if odd."""
    mask = np.zeros(len(names), dtype=np.bool_)
    for part in filter(None, text.split(",")):
        ends = part.split("-")
        if len(ends) not in {1, 2} or any(end not in names for end in ends):
            return None
        first, last = names.index(ends[0]), names.index(ends[-1])
        count = (last - first) % len(names) + 1
        mask[(first + np.arange(count)) % len(names)] = True
    return mask if text else None
