"""Sentences on what is to be done, by when, and what it leaves."""

from collections.abc import Mapping
from typing import Any

from pipeline.render.wording_numbers import capital, day, in_hundred
from pipeline.render.wording_words import ACTION_WORDS, CREW_WORDS, PART_WORDS, REASONS

Values = Mapping[str, Any]
INSPECT = {
    "never": (
        "Inspect: no inspection is on record. Of such trees those come first that would do the "
        "most harm."
    ),
    "overdue": "Inspect: the city's cycle has run out.",
    "due": "Inspect: the city's cycle runs out within the plan.",
    "not_due": "No inspection falls due within the plan.",
}
_AT_A_PART = ("prune_part", "sound", "drill", "tomography")


def the(part: str | None) -> str:
    """The parts that a value names, joined with | in it."""
    names = [PART_WORDS[name] for name in (part or "").split("|") if name in PART_WORDS]
    if not names:
        return "the tree"
    return " and ".join([", ".join(names[:-1]), names[-1]] if names[1:] else names)


def deadline(days: int | None) -> str:
    """By when, in words."""
    if days is None:
        return "in the next cycle"
    if days == 0:
        return "now"
    return "within one day" if days == 1 else f"within {days} days"


def _afterwards(v: Values) -> str:
    left = v["residual_rating"]
    return "rating afterwards not known" if left == "not assessed" else f"rating afterwards: {left}"


def chosen(v: Values) -> str:
    """What is done, where, by when, by whom, and the rating that it leaves."""
    action = ACTION_WORDS[str(v["action"])]
    crew = CREW_WORDS.get(str(v["crew"]), str(v["crew"]))
    at = f" ({the(v['part'])})" if v["action"] in _AT_A_PART else ""
    after = "" if v["action"] == "make_safe" else f"; {_afterwards(v)}"
    return (
        f"To do: {action}{at}, {deadline(v['deadline_days'])}; {crew}, about "
        f"{round(v['hours'], 1):g} crew-hours{after}."
    )


def make_safe(v: Values) -> str:
    """That people are kept away first, and whether anybody confirmed it."""
    if v.get("acknowledged_on"):
        return (
            f"Make-safe was acknowledged on {day(v['acknowledged_on'])}; keep people away until "
            "the work is done."
        )
    return (
        f"Make safe first, {deadline(v['days'])}: isolate, close or prop. Nobody has confirmed "
        "that it was done."
    )


def kept(v: Values) -> str:
    """Why a tree is kept: accepted by the city, or by a person."""
    if v.get("decided"):
        return f"A person decided to keep it; the rating stays {v['rating']}."
    if v.get("rating"):
        return (
            f"The rating stays {v['rating']}, above what the city accepts: keep the tree under "
            "watch and look again."
        )
    return REASONS["why_retain"]


def do(values: Values) -> str:
    """The action in words."""
    return ACTION_WORDS[str(values["action"])]


_WORSE = {
    "fungus": "a fruiting body that nobody knew of, or more of them",
    "finding": "a worse finding",
}


def program_would(v: Values) -> str:
    """What the program says beside a person's decision."""
    says = f"{ACTION_WORDS[str(v['action'])]}, rating {v['rating']}"
    if v["differs"]:
        return f"The program alone would say: {says}."
    return f"The program says the same: {says}."


def worse_since(v: Values) -> str:
    """What was seen after a decision that speaks against it."""
    return (
        f"On {day(v['seen_on'])}, after the decision of {day(v['decided_on'])}, "
        f"{_WORSE[str(v['what'])]} was told: look at the decision again."
    )


def decision_contradicted(v: Values) -> str:
    """The same on the list of what needs a person."""
    return f"Tree {v['tree_id']}: {worse_since(v)[0].lower()}{worse_since(v)[1:]}"


_LEAST_TOLD = 0.01


def test_worth(v: Values) -> str:
    """What a test may change, as a frequency, and what is done without it."""
    what = f"{ACTION_WORDS[str(v['action'])]} ({the(v['part'])})"
    without = ACTION_WORDS[str(v["without"])]
    alone, together = float(v["changes_share"]), float(v["together_share"])
    if alone < _LEAST_TOLD:
        if together < _LEAST_TOLD:
            return f"{capital(what)}: without it, {without}; nothing else shows this part."
        return (
            f"{capital(what)}: in {in_hundred(together)} cases it changes what is done if the "
            "other parts that can be tested prove sound; alone it changes nothing. Without it: "
            f"{without}."
        )
    other = ACTION_WORDS[str(v["likeliest"])]
    return (
        f"{capital(what)}: in {in_hundred(alone)} cases its result changes what is done, most "
        f"often to: {other}. Without it: {without}."
    )
