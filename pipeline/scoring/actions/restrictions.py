"""Closed seasons: which one binds a piece of work, until when, and what lifts it.

Danger lifts a disease window, with its hygiene; nothing but licensed advice lifts an active nest.
Days are counted from 1970-01-01.
"""

from calendar import isleap
from dataclasses import dataclass
from datetime import date

import numpy as np

from pipeline.units import Flags, Ints, Words

NEVER = 5  # above every rating word
NO_DAY = -1
EPOCH = date(1970, 1, 1).toordinal()
_YEARS_AHEAD = 3
_LEAP_DAY = (2, 29)


@dataclass(frozen=True, slots=True)
class Restriction:
    """One closed season.

    Parameters
    ----------
    genera : names it holds for; empty means all.
    closed_from, closed_to : month and day, both inside; may wrap the year; None: no window.
    actions : actions that it closes.
    lifted_from : rating word from which it is lifted, NEVER if none.
    lifted_by : what must be done where it is lifted.
    note_words : it holds only where a note says one of these; empty means always.
    defects : bits of defects, it holds only where the tree has one of these; 0 means always.
    """

    code: str
    genera: tuple[str, ...]
    closed_from: tuple[int, int] | None
    closed_to: tuple[int, int] | None
    actions: tuple[str, ...]
    lifted_from: int
    lifted_by: str
    note_words: tuple[str, ...]
    defects: int = 0


def windows(rule: Restriction, first_day: date) -> list[tuple[int, int]]:
    """Closed spans as first and last day, from the year before `first_day` on."""
    if rule.closed_from is None or rule.closed_to is None:
        return []
    spans = []
    wraps = rule.closed_to < rule.closed_from
    for year in range(first_day.year - 1, first_day.year + _YEARS_AHEAD):
        start = _day(year, rule.closed_from)
        spans.append((start, _day(year + wraps, rule.closed_to)))
    return spans


def _day(year: int, month_day: tuple[int, int]) -> int:
    month, day = month_day
    if month_day == _LEAP_DAY and not isleap(year):
        day -= 1
    return date(year, month, day).toordinal() - EPOCH


def is_closed(rule: Restriction, day: date) -> bool:
    """Whether a day lies inside the closed season; both ends are inside."""
    number = day.toordinal() - EPOCH
    return any(start <= number <= end for start, end in windows(rule, day))


@dataclass(frozen=True, slots=True)
class Season:
    """What binds each piece of work, each shape (work,).

    Parameters
    ----------
    rule : restriction that applies, -1 if none.
    not_before : first day after the closed season, NO_DAY where none binds.
    lifted : the season is on but lifted, under the restriction's condition.
    """

    rule: Ints
    not_before: Ints
    lifted: Flags


def seasons(
    rules: tuple[Restriction, ...],
    applies: Flags,
    rating: Words,
    *,
    first_day: date,
    last_day: date,
) -> Season:
    """What binds work that is wanted between two days; the latest end stands.

    A season that begins before `last_day` binds from the start, since nobody knows yet on which
    of the days the work will fall.

    Parameters
    ----------
    applies : the restriction concerns the work's genus, action and place, shape (work, rules).
    rating : rating of the tree, shape (work,).
    """
    count = applies.shape[0]
    first, last = first_day.toordinal() - EPOCH, last_day.toordinal() - EPOCH
    free = np.full(count, first, np.int64)
    binding = np.full(count, -1, np.int64)
    lifted_rule = np.full(count, -1, np.int64)
    for _ in range(len(rules) + 1):
        before = free.copy()
        for number, rule in enumerate(rules):
            on = applies[:, number]
            lifted = rating >= rule.lifted_from
            for start, end in windows(rule, first_day):
                reached = (start <= np.maximum(free, last)) & (end >= free) & on
                lifted_rule[reached & lifted & (lifted_rule < 0)] = number
                held = reached & ~lifted
                free[held], binding[held] = end + 1, number
        if (free == before).all():
            break
    is_held = binding >= 0
    return Season(
        rule=np.where(is_held, binding, lifted_rule),
        not_before=np.where(is_held, free, NO_DAY),
        lifted=~is_held & (lifted_rule >= 0),
    )
