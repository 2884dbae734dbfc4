"""Plain sentences for the statements behind a rating, for reviews and for work left out.

Short, present tense, active; no alarm and no comfort. Numbers as people say them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.errors import RenderError
from pipeline.published.sentences import Texts, english, spoken
from pipeline.render.wording_actions import ACTIONS
from pipeline.render.wording_holding import HOLDING
from pipeline.render.wording_numbers import capital
from pipeline.render.wording_rating import RATING
from pipeline.render.wording_reviews import REVIEWS
from pipeline.render.wording_rot import FUNGUS
from pipeline.render.wording_seen import SEEN, Form
from pipeline.settings.model import RunSettings

Values = Mapping[str, Any]

# What puts values into words first; every other statement is a line of the table as it stands.
_FORMS: dict[str, Form] = {**SEEN, **FUNGUS, **HOLDING, **RATING, **ACTIONS}
# Variants that stand in the table beside the statements, under the name of none.
_SHARED = frozenset({"share"})


@dataclass(frozen=True)
class Wording:
    """Sentences of statements and reviews in one language.

    Parameters
    ----------
    texts : its table of sentences.
    """

    texts: Texts

    def sentence(self, statement: str, values: Values) -> str:
        """The sentence of a fact.

        Raises
        ------
        RenderError
            If the statement has no sentence.
        """
        if statement in _FORMS:
            return capital(_FORMS[statement](values, self.texts))
        if not self.texts.knows(statement):
            fault = _unknown("statement", statement)
            raise fault
        return capital(self.texts.say(statement))

    def review(self, code: str, detail: Values) -> str:
        """The sentence of a review.

        Raises
        ------
        RenderError
            If the code has no sentence.
        """
        if code not in REVIEWS:
            fault = _unknown("review", code)
            raise fault
        return capital(REVIEWS[code](detail, self.texts))


def wording(settings: RunSettings) -> Wording:
    """Sentences in the language of a run: the city's own, in English where it has none.

    Raises
    ------
    SettingsError
        If the city's file cannot be used.
    """
    return Wording(spoken(settings.sentences_path))


def sentence(statement: str, values: Values) -> str:
    """The sentence of a fact.

    Raises
    ------
    RenderError
        If the statement has no sentence.
    """
    return Wording(english()).sentence(statement, values)


def review_sentence(code: str, detail: Values) -> str:
    """The sentence of a review.

    Raises
    ------
    RenderError
        If the code has no sentence.
    """
    return Wording(english()).review(code, detail)


def statements() -> tuple[str, ...]:
    """Statements that have a sentence."""
    return tuple(sorted({*_FORMS, *(english().statements - _SHARED)}))


def reviews() -> tuple[str, ...]:
    """Review codes that have a sentence."""
    return tuple(REVIEWS)


def _unknown(what: str, key: str) -> RenderError:
    return RenderError(
        where=f"wording of {what}s",
        found=f"{what} {key!r}",
        expected="one that has a sentence",
        remedy="This is a fault of the program: report it.",
    )
