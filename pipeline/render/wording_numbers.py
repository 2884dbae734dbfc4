"""Days, counts and shares as people say them."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from math import floor

from pipeline.published.sentences import Texts, english

HUNDRED = 100.0
_CERTAIN, _NEARLY_ONE = 0.995, 0.95
_MILLION = 1_000_000


def day(text: str | None, t: Texts | None = None) -> str:
    """A day as people write it, 'an unknown day' where none is known."""
    t = t or english()
    if not text:
        return t.word("day", "unknown")
    found = date.fromisoformat(text)
    return t.word("day", "known").format_map(
        {"day": found.day, "month": t.word("day", found.month), "year": found.year}
    )


def count_word(number: int, t: Texts | None = None) -> str:
    """Small numbers as words."""
    return (t or english()).word("number", number, f"{number:,}")


def in_hundred(share: float | None, t: Texts | None = None) -> str:
    """A share as a frequency: 'about 3 in 100', 'about 2 in 10,000'.

    Never 'none' and never 'all': what a model gives no chance may happen all the same.
    """
    t = t or english()
    if share is None:
        return t.word("share", "unknown")
    if share >= _CERTAIN:
        return t.word("share", "nearly_all")
    of = _of(share)
    if of > _MILLION:
        return t.word("share", "few").format_map({"of": f"{_MILLION:,}"})
    told = {"number": _rounded(share * of), "of": f"{of:,}"}
    return t.word("share", "about").format_map(told)


def band(low: float | None, high: float | None, t: Texts | None = None) -> str:
    """Two shares as one frequency: 'about 3 to 66 in 100'; once where they round to the same."""
    t = t or english()
    first, last = in_hundred(low, t), in_hundred(high, t)
    if first == last:
        return first
    if low is not None and high is not None and high < _CERTAIN:
        of = _of(high)
        if of == _of(low) and of <= _MILLION:
            told = {"low": _rounded(low * of), "high": _rounded(high * of), "of": f"{of:,}"}
            return t.word("share", "band").format_map(told)
    return t.word("share", "between").format_map({"low": first, "high": last})


def _of(share: float) -> int:
    """The round number of cases of which one or more are meant; beyond a million for hardly any."""
    of = int(HUNDRED)
    while of <= _MILLION and share * of < _NEARLY_ONE:
        of *= 10
    return of


def _rounded(number: float) -> int:
    """To the next whole number, halves up: no share above nothing becomes 0 by rounding to even."""
    return floor(number + 1 / 2)


def percent(share: float | None) -> str:
    """A share in whole hundredths, without the sign."""
    return "?" if share is None else f"{_rounded(share * HUNDRED)}"


_READ_FROM = 10.0**-9


def figure(value: object) -> str:
    """A number to three digits, never as a power of ten; what is no number as it stands.

    A number that nobody could tell from nothing is told as lying below one that can be read.
    """
    if not isinstance(value, float):
        return str(value)
    if 0.0 < value < _READ_FROM:
        return f"below {_READ_FROM:.9f}"
    return f"{Decimal(f'{value:.3g}'):f}"


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def joined(words: Sequence[str], t: Texts | None = None, last: str = "and") -> str:
    """Words as a list in a sentence."""
    t = t or english()
    if len(words) < 2:  # noqa: PLR2004 - a list needs two
        return "".join(words)
    return t.word("join", "between").join(words[:-1]) + t.word("join", last) + words[-1]


def parts(told: str | None, t: Texts | None = None, kind: str = "the") -> str:
    """The parts of a tree that a value names, joined with | in it; the tree where it names none."""
    t = t or english()
    names = [t.word(kind, part) for part in (told or "").split("|") if part] or [
        t.word(kind, "tree")
    ]
    return joined(names, t)
