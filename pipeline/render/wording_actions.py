"""Sentences on what is to be done, by when, and what it leaves."""

import math

from pipeline.published.sentences import Texts
from pipeline.render.wording_numbers import day, in_hundred, parts
from pipeline.render.wording_seen import Form, Values

_AT_A_PART = ("prune_part", "sound", "drill", "tomography")
_LEAST_TOLD = 0.01


def deadline(days: int | None, t: Texts) -> str:
    """By when, in words."""
    if days is None:
        return t.word("deadline", "cycle")
    if days == 0:
        return t.word("deadline", "now")
    if days == 1:
        return t.word("deadline", "one")
    return t.word("deadline", "known").format_map({"days": days})


def _done(v: Values, t: Texts) -> str:
    """The action in words."""
    return t.word("action", v["action"])


def _chosen(v: Values, t: Texts) -> str:
    """What is done, where, by when, by whom, and the rating that it leaves."""
    action = _done(v, t)
    if v["action"] in _AT_A_PART:
        action = t.say("action_chosen", "at", action=action, part=parts(v["part"], t, "part"))
    told = {
        "action": action,
        "deadline": deadline(v["deadline_days"], t),
        "crew": t.word("crew", v["crew"], str(v["crew"])),
        "hours": f"{round(v['hours'], 1):g}",
    }
    if v["action"] == "make_safe":
        return t.say("action_chosen", "make_safe", **told)
    left = v["residual_rating"]
    after = t.say("action_chosen", "after_unknown")
    if left != "not assessed":
        after = t.say("action_chosen", "after", rating=t.word("rating", left))
    return t.say("action_chosen", "known", **told, after=after)


def _make_safe(v: Values, t: Texts) -> str:
    """That people are kept away first, and whether anybody confirmed it."""
    if v.get("acknowledged_on"):
        return t.say("action_make_safe", "acknowledged", day=day(v["acknowledged_on"], t))
    return t.say("action_make_safe", "open", deadline=deadline(v["days"], t))


def _kept(v: Values, t: Texts) -> str:
    """Why a tree is kept: accepted by the city, or by a person."""
    if v.get("decided"):
        return t.say("why_retain", "decided", rating=t.word("rating", v["rating"]))
    if v.get("rating"):
        return t.say("why_retain", "above", rating=t.word("rating", v["rating"]))
    return t.say("why_retain", "known")


def _program_would(v: Values, t: Texts) -> str:
    """What the program says beside a person's decision."""
    said = "differs" if v["differs"] else "same"
    rating = t.word("rating", v["rating"])
    return t.say("action_program_would", said, action=_done(v, t), rating=rating)


def worse(v: Values, t: Texts) -> dict[str, str]:
    """What was seen after a decision that speaks against it, as the parts of a sentence."""
    return {
        "seen": day(v["seen_on"], t),
        "decided": day(v["decided_on"], t),
        "what": t.word("worse", v["what"]),
    }


def _test_worth(v: Values, t: Texts) -> str:
    """What a test may change, as a frequency, and what is done without it."""
    part = parts(v["part"], t, "part")
    also = t.say("test_worth", "also", part=parts(v["also"], t, "part")) if v["also"] else ""
    told = {
        "test": t.say("action_chosen", "at", action=_done(v, t), part=part) + also,
        "without": t.word("action", v["without"]),
    }
    alone, together = float(v["changes_share"]), float(v["together_share"])
    if alone >= _LEAST_TOLD:
        other = t.word("action", v["likeliest"])
        return t.say("test_worth", "known", **told, share=in_hundred(alone, t), other=other)
    if together >= _LEAST_TOLD:
        return t.say("test_worth", "together", **told, share=in_hundred(together, t))
    return t.say("test_worth", "only" if v["always"] else "idle", **told)


def _wires(v: Values, t: Texts) -> str:
    told, away = v.get("voltage_v"), v.get("distance_m")
    wires = t.word("wires", v["wires"])
    if told is None:
        return t.say("wires_near", "unknown", wires=wires)
    keep = ""
    if away is not None:  # a distance is never rounded down
        keep = t.say("wires_near", "keep", metres=f"{math.ceil(away * 100) / 100:.2f}")
    return t.say("wires_near", "known", wires=wires, volts=f"{told:,.0f}", keep=keep)


def _season(code: object, t: Texts) -> str:
    """The closed season of a rule: the longest of the table's codes with which its code begins."""
    words = t.words("season")
    return words[
        max((name for name in words if str(code).startswith(name)), key=len, default="other")
    ]


def _lifted(v: Values, t: Texts) -> str:
    return t.say(
        "season_lifted", season=_season(v["code"], t), asked=t.word("lifted", v["lifted_by"])
    )


def _decision(v: Values, t: Texts) -> str:
    reason, until = v.get("reason"), v.get("until")
    value = str(v.get("value") or "")
    named = f": {t.word('action', value)}" if value else ""
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


ACTIONS: dict[str, Form] = {
    "action_chosen": _chosen,
    "action_beside": lambda v, t: t.say(
        "action_beside", action=_done(v, t), deadline=deadline(v["deadline_days"], t)
    ),
    "action_inspect": lambda v, t: t.say("action_inspect", str(v["state"])),
    "action_make_safe": _make_safe,
    "action_program_would": _program_would,
    "test_worth": _test_worth,
    "decision_stands": _decision,
    "decision_newer_evidence": lambda v, t: t.say("decision_newer_evidence", **worse(v, t)),
    "season_closed": lambda v, t: t.say(
        "season_closed", season=_season(v["code"], t), day=day(v["not_before"], t)
    ),
    "season_ahead": lambda v, t: t.say(
        "season_ahead",
        season=_season(v["code"], t),
        first=day(v["closed_from"], t),
        last=day(v["closed_to"], t),
    ),
    "season_lifted": _lifted,
    "wires_near": _wires,
    "why_retain": _kept,
    "why_decision": lambda v, t: t.say("why_decision", action=_done(v, t)),
    "no_climb_probable": lambda v, t: t.say(
        "no_climb_probable", part=parts(v["part"], t), failure=t.word("failure", v["failure"])
    ),
}
