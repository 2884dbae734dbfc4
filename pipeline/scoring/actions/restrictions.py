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
    spans : row of `closed` of each piece of work.
    closed : different sets of closed days in the whole span, first and last of each run of days.
    """

    rule: Ints
    not_before: Ints
    lifted: Flags
    spans: Ints
    closed: tuple[tuple[tuple[int, int], ...], ...]


def seasons(
    rules: tuple[Restriction, ...],
    applies: Flags,
    rating: Words,
    *,
    first_day: date,
    last_day: date,
) -> Season:
    """What binds work that is planned between two days: what is closed on which of them.

    `not_before` is the first open day from the first day on; where nothing is closed then, but a
    season begins before `last_day`, the rule of the first of them is named, and the closed days say
    when.

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
    coming = np.full(count, last + 1, np.int64)
    holds = np.zeros((count, len(rules)), np.bool_)
    for _ in range(len(rules) + 1):
        before = free.copy()
        for number, rule in enumerate(rules):
            on = applies[:, number]
            lifted = rating >= rule.lifted_from
            for start, end in windows(rule, first_day):
                inside = (start <= last) & (end >= first) & on
                lifted_rule[inside & lifted & (lifted_rule < 0)] = number
                holds[:, number] |= inside & ~lifted
                held = on & ~lifted & (start <= free) & (end >= free)
                free[held], binding[held] = end + 1, number
                ahead = inside & ~lifted & (start > first) & (start < coming)
                coming[ahead] = start
        if (free == before).all():
            break
    now = binding >= 0
    for number, rule in enumerate(rules):
        for start, _ in windows(rule, first_day):
            binding[~now & holds[:, number] & (coming == start)] = number
    spans, closed = _closed(rules, holds, first_day, (first, last))
    is_held = binding >= 0
    return Season(
        rule=np.where(is_held, binding, lifted_rule),
        not_before=np.where(now, free, NO_DAY),
        lifted=~is_held & (lifted_rule >= 0),
        spans=spans,
        closed=closed,
    )


def _closed(
    rules: tuple[Restriction, ...], holds: Flags, first_day: date, days: tuple[int, int]
) -> tuple[Ints, tuple[tuple[tuple[int, int], ...], ...]]:
    """The different sets of closed days, runs that touch joined, and the one of each work."""
    kinds, place = np.unique(holds, axis=0, return_inverse=True)
    made = []
    for kind in kinds:
        runs: list[tuple[int, int]] = []
        every = [span for n in np.flatnonzero(kind) for span in windows(rules[n], first_day)]
        for begins, ends in sorted(every):
            if ends < days[0] or begins > days[1]:
                continue
            if runs and begins <= runs[-1][1] + 1:
                runs[-1] = (runs[-1][0], max(runs[-1][1], ends))
            else:
                runs.append((begins, ends))
        made.append(tuple(runs))
    return np.asarray(place, dtype=np.int64).reshape(holds.shape[0]), tuple(made)
