"""The ordered words of the trade, fixed once.

Numbers exist only to order and to index arrays; outputs print the words. Definitions follow the
published rating standard (ANSI A300 Part 9 and its best-management practice); the rules and
matrices that use the words are tables in config/published.
"""

from enum import IntEnum
from typing import TypeVar

T = TypeVar("T", bound=IntEnum)


class FailureWord(IntEnum):
    """Likelihood of failure within the time frame."""

    IMPROBABLE = 1
    POSSIBLE = 2
    PROBABLE = 3
    IMMINENT = 4


class ImpactWord(IntEnum):
    """Likelihood that the failing part strikes the target."""

    VERY_LOW = 1
    LOW = 2
    MEDIUM = 3
    HIGH = 4


class LikelihoodWord(IntEnum):
    """Likelihood of failure and impact together."""

    UNLIKELY = 1
    SOMEWHAT_LIKELY = 2
    LIKELY = 3
    VERY_LIKELY = 4


class ConsequenceWord(IntEnum):
    """What the impact would do."""

    NEGLIGIBLE = 1
    MINOR = 2
    SIGNIFICANT = 3
    SEVERE = 4


class RatingWord(IntEnum):
    """Risk rating of a tree; zero is kept for trees that nobody has assessed, which is not low."""

    NOT_ASSESSED = 0
    LOW = 1
    MODERATE = 2
    HIGH = 3
    EXTREME = 4


class OccupancyWord(IntEnum):
    """How much of the time the target zone is occupied."""

    RARE = 1
    OCCASIONAL = 2
    FREQUENT = 3
    CONSTANT = 4


class Part(IntEnum):
    """The part of the tree that may fail, from the ground up."""

    ROOTS = 0
    BUTT = 1
    STEM = 2
    BRANCH = 3


class RotType(IntEnum):
    """What the fungus takes from the wood."""

    NONE = 0
    WHITE = 1
    BROWN = 2
    SOFT = 3


class ActionCode(IntEnum):
    """How urgently a taxon asks for a look: standards note in config/published/action_codes.csv."""

    R0 = 0
    R1 = 1
    R2 = 2
    R3 = 3
    R4 = 4
    R5 = 5


def word(value: IntEnum) -> str:
    """The word as people write it, for example 'somewhat likely'."""
    return value.name.lower().replace("_", " ")


def from_word(kind: type[T], text: str) -> T:
    """The member that a word names; spaces, hyphens and case do not matter.

    Raises
    ------
    KeyError
        If no member has that name.
    """
    return kind[text.strip().upper().replace(" ", "_").replace("-", "_")]
