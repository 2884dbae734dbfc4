"""A crew's day as a clock that stands still in its break, and the times that work keeps free.

Everybody stops at the break, wherever they are: who is driving takes it on arrival, who is at work
goes on afterwards. So a clock that stands still meanwhile, the working clock, makes a day a plain
sum of ways and work, and each time of day has one place on it. Times are minutes after midnight.
"""

import re
from dataclasses import dataclass

from pipeline.units import MINUTES_PER_HOUR

Span = tuple[float, float]
Week = tuple[tuple[Span, ...], ...]  # Monday first

DAY_MIN = 24 * MINUTES_PER_HOUR
_EVEN = 1e-6
_NAMES = ("mo", "tu", "we", "th", "fr", "sa", "su")
_RULE = re.compile(
    r"(?:(?P<first>[a-z]{2})(?:\s*-\s*(?P<last>[a-z]{2}))?\s+)?"
    r"(?P<from_h>\d{1,2}):(?P<from_m>\d{2})\s*-\s*(?P<to_h>\d{1,2}):(?P<to_m>\d{2})"
)


@dataclass(frozen=True, slots=True)
class Pause:
    """A break: when it begins and how long it is; none where it has no length."""

    at: float = 0.0
    minutes: float = 0.0

    def begins(self, moment: float) -> float:
        """Time of day of work that begins at a moment of the working clock."""
        return moment if moment < self.at - _EVEN else moment + self.minutes

    def ends(self, moment: float) -> float:
        """Time of day of work or a way that ends at a moment of the working clock."""
        return moment if moment <= self.at + _EVEN else moment + self.minutes

    def earliest(self, time: float) -> float:
        """The first moment of the working clock that begins at a time of day or after it."""
        return time if time <= self.at else max(self.at, time - self.minutes)

    def latest(self, time: float) -> float:
        """The last moment of the working clock that ends at a time of day or before it."""
        return time if time <= self.at else max(self.at, time - self.minutes)


NO_PAUSE = Pause()


def weekday(day: int) -> int:
    """Weekday of a day number, Monday 0; 1970-01-01 was a Thursday."""
    return (day + 3) % 7


def quiet_week(hours: str | None, *, margin: float) -> Week:
    """The times about opening and closing by weekday; none where the hours are not plain.

    Parameters
    ----------
    hours : as 'Mo-Fr 07:30-16:00; Sa 09:00-12:00'; anything else keeps nothing free, and the crew's
        sheet gives the words as they stand.
    margin : minutes before and after each.
    """
    found: list[list[Span]] = [[] for _ in _NAMES]
    for rule in filter(None, (part.strip() for part in (hours or "").lower().split(";"))):
        read = _RULE.fullmatch(rule)
        if read is None:
            return ((),) * len(_NAMES)
        first, last = read["first"] or _NAMES[0], read["last"] or read["first"] or _NAMES[-1]
        if first not in _NAMES or last not in _NAMES:
            return ((),) * len(_NAMES)
        begin = _NAMES.index(first)
        count = (_NAMES.index(last) - begin) % len(_NAMES) + 1
        times = [
            int(read[f"{end}_h"]) * MINUTES_PER_HOUR + int(read[f"{end}_m"])
            for end in ("from", "to")
        ]
        for step in range(count):
            found[(begin + step) % len(_NAMES)] = [(t - margin, t + margin) for t in times]
    return tuple(tuple(sorted(spans)) for spans in found)


def free_spans(quiet: tuple[Span, ...], pause: Pause) -> list[Span]:
    """What the quiet times of a day leave, on the working clock, first to last moment."""
    begins = [0.0, *(end for _, end in quiet)]
    ends = [*(begin for begin, _ in quiet), DAY_MIN]
    spans = [(pause.earliest(a), pause.latest(b)) for a, b in zip(begins, ends, strict=True)]
    return [(a, b) for a, b in spans if b > a]


def first_fit(spans: list[Span], moment: float, minutes: float) -> float | None:
    """The first moment from which work of so many minutes lies in one span, or none."""
    for begin, end in spans:
        start = max(moment, begin)
        if start + minutes <= end + _EVEN:
            return start
    return None
