"""Days, counts and shares as people say them."""

from datetime import date

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
HUNDRED, _CERTAIN, _FEW = 100.0, 0.995, 0.005
_COUNTS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
)  # fmt: skip


def day(text: str | None) -> str:
    """A day as people write it, 'an unknown day' where none is known."""
    if not text:
        return "an unknown day"
    found = date.fromisoformat(text)
    return f"{found.day} {_MONTHS[found.month - 1]} {found.year}"


def count_word(number: int) -> str:
    """Small numbers as words."""
    return _COUNTS[number] if 0 <= number < len(_COUNTS) else f"{number:,}"


def in_hundred(share: float | None) -> str:
    """A share as a frequency: 'about 3 in 100', 'about 2 in 10,000'."""
    if share is None:
        return "an unknown share"
    if share >= _CERTAIN:
        return "nearly all"
    if share >= _FEW:
        return f"about {share * HUNDRED:.0f} in 100"
    if share <= 0:
        return "none"
    over = 1_000
    while share * over < 1:
        over *= 10
    return f"about {share * over:.0f} in {over:,}"


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]
