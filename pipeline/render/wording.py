"""Plain sentences for the statements behind a rating, for reviews and for work left out.

Short, present tense, active; no alarm and no comfort. Numbers as people say them.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.errors import RenderError
from pipeline.published.sentences import Texts, english, translated
from pipeline.render.wording_actions import (
    INSPECT,
    chosen,
    deadline,
    do,
    kept,
    make_safe,
    program_would,
    test_worth,
    worse_since,
)
from pipeline.render.wording_holding import HOLDING
from pipeline.render.wording_numbers import capital, day, parts
from pipeline.render.wording_rating import RATING
from pipeline.render.wording_reviews import REVIEWS, UNSCHEDULED
from pipeline.render.wording_rot import FUNGUS
from pipeline.render.wording_seen import SEEN, Form
from pipeline.render.wording_words import (
    ACTION_WORDS,
    LIFT_WORDS,
    REASONS,
    SEASON_WORDS,
    WIRE_WORDS,
)
from pipeline.settings.model import RunSettings

Values = Mapping[str, Any]


def _wires(v: Values) -> str:
    told, away = v.get("voltage_v"), v.get("distance_m")
    what = WIRE_WORDS[str(v["wires"])]
    if told is None:
        return (
            f"{capital(what)} in or over the crown, voltage not known: call the utility; "
            "line-clearance qualified crew only."
        )
    # A distance is never rounded down.
    keep = "" if away is None else f"; nobody else nearer than {math.ceil(away * 100) / 100:.2f} m"
    return (
        f"{capital(what)} in or over the crown, {told:,.0f} V: call the utility; line-clearance "
        f"qualified crew only{keep}."
    )


def _season(v: Values) -> str:
    what = SEASON_WORDS.get(_concern(v["code"]), "a closed season")
    return f"{capital(what)}: no cutting before {day(v['not_before'])}."


def _season_ahead(v: Values) -> str:
    what = SEASON_WORDS.get(_concern(v["code"]), "a closed season")
    return f"{capital(what)}: no cutting from {day(v['closed_from'])} to {day(v['closed_to'])}."


def _concern(code: object) -> str:
    text = str(code)
    return max((name for name in SEASON_WORDS if text.startswith(name)), key=len, default="")


def _lifted(v: Values) -> str:
    what = SEASON_WORDS.get(_concern(v["code"]), "a closed season")
    how = LIFT_WORDS.get(str(v["lifted_by"]), str(v["lifted_by"]).replace("_", " "))
    return f"{capital(what)}: the danger lifts it. What is asked then: {how}."


def _decision(v: Values, t: Texts) -> str:
    reason, until = v.get("reason"), v.get("until")
    value = str(v.get("value") or "")
    named = f": {ACTION_WORDS.get(value, value.replace('_', ' '))}" if value else ""
    who = t.say("decision_stands", "somebody")
    if v.get("role"):
        who = t.say("decision_stands", "role", role=str(v["role"]).replace("_", " "))
    return t.say(
        "decision_stands",
        "known",
        day=day(v["decided_on"], t),
        who=who,
        what=t.say("decision_stands", str(v["decision"])) + named,
        why=t.say("decision_stands", "why", reason=reason.strip().rstrip(".")) if reason else "",
        until=t.say("decision_stands", "until", day=day(until, t)) if until else "",
    )


def _constant(text: str) -> Callable[[Values], str]:
    return lambda _: text


# Sentences that are made of their values here; those of the table follow it.
_SENTENCES: dict[str, Callable[[Values], str]] = {
    "action_chosen": chosen,
    "action_beside": lambda v: (
        f"Besides: {ACTION_WORDS[str(v['action'])]}, {deadline(v['deadline_days'])}."
    ),
    "action_inspect": lambda v: INSPECT[str(v["state"])],
    "test_worth": test_worth,
    "test_none_pays": lambda _: (
        "No test is asked for: whatever one found here, the same would be done."
    ),
    "action_none": lambda _: "No work is due within the plan.",
    "action_make_safe": make_safe,
    "action_program_would": program_would,
    "decision_newer_evidence": worse_since,
    "season_ahead": _season_ahead,
    "season_closed": _season,
    "season_lifted": _lifted,
    "season_region_unknown": lambda _: (
        "No region with its own windows is set: the strictest window of any region is used."
    ),
    "wires_near": _wires,
    "wires_unknown": lambda _: (
        "Whether wires run here is not on record: look first. If there are any, call the utility; "
        "line-clearance qualified crew only."
    ),
    **{name: _constant(text) for name, text in REASONS.items()},
    "why_retain": kept,
    "why_decision": lambda v: f"A person decided: {do(v)}.",
}
_FORMS: dict[str, Form] = {
    **SEEN,
    **FUNGUS,
    **HOLDING,
    **RATING,
    "decision_stands": _decision,
    "no_climb_probable": lambda v, t: t.say(
        "no_climb_probable", part=parts(v["part"], t), failure=t.word("failure", v["failure"])
    ),
}
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
        if statement not in _SENTENCES and self.texts.knows(statement):
            return capital(self.texts.say(statement))
        return _made(_SENTENCES, statement, values, "statement")

    def review(self, code: str, detail: Values) -> str:
        """The sentence of a review.

        Raises
        ------
        RenderError
            If the code has no sentence.
        """
        return _made(REVIEWS, code, detail, "review")


def wording(settings: RunSettings) -> Wording:
    """Sentences in the language of a run: the city's own, in English where it has none.

    Raises
    ------
    SettingsError
        If the city's file cannot be used.
    """
    path = settings.sentences_path
    return Wording(english() if path is None else translated(path))


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


def unscheduled_sentence(reason: str) -> str:
    """The sentence of a reason why work was left out.

    Raises
    ------
    RenderError
        If the reason has no sentence.
    """
    return _made(
        {name: _constant(text) for name, text in UNSCHEDULED.items()}, reason, {}, "reason"
    )


def statements() -> tuple[str, ...]:
    """Statements that have a sentence."""
    constant = english().statements - _SHARED
    return tuple(sorted({*_SENTENCES, *_FORMS, *constant}))


def reviews() -> tuple[str, ...]:
    """Review codes that have a sentence."""
    return tuple(REVIEWS)


def _made(among: Mapping[str, Callable[[Values], str]], key: str, values: Values, what: str) -> str:
    if key not in among:
        raise RenderError(
            where=f"wording of {what}s",
            found=f"{what} {key!r}",
            expected="one that has a sentence",
            remedy="This is a fault of the program: report it.",
        )
    return capital(among[key](values))
