"""Sentences of reviews: what a person is asked to look at."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from pipeline.published.sentences import Texts
from pipeline.render.wording_actions import worse
from pipeline.render.wording_notes import notes_said
from pipeline.render.wording_numbers import capital, count_word, day, in_hundred, joined, parts
from pipeline.render.wording_seen import Form, Values, named

_LISTED = 2  # names that are told of those that a fungus may have


def _seen(v: Values, t: Texts) -> str:
    """The fungus and the sighting, so that whoever reads the list can find the record."""
    return t.ask("share", "seen", fungus=named(v.get("name"), t), sighting=v["sighting"])


def _why(v: Values, t: Texts) -> str:
    """Why no tree is known."""
    if v.get("told_id"):
        return t.ask("share", "why_unlisted", tree=v["told_id"])
    return t.word("no_tree", v.get("why"), t.word("no_tree", "other"))


def _photographs(v: Values, t: Texts) -> str:
    return t.word("join", "between").join(v["photographs"])


def _expert(v: Values, t: Texts) -> str:
    """What to ask an expert: the likeliest names, what to photograph, where to look."""
    pairs = list(zip(v["names"], v["probabilities"], strict=True))[:_LISTED]
    names = [
        t.ask("share", "name", name=name, percent=f"{share:.0%}".removesuffix("%"))
        for name, share in pairs
    ]
    return t.ask(
        "share",
        "expert",
        names=joined(names, t, "or"),
        photographs=_photographs(v, t),
        look=t.ask("share", "look", look=v["next_look"]) if v["next_look"] else "",
    )


def _aside(v: Values, t: Texts) -> str:
    about = t.ask("quarantine_danger", "about", about=v["about"]) if v.get("about") else ""
    told = {"words": v["words"], "reason": v["reason"]}
    return t.ask("quarantine_danger", "known", **told, about=about)


def _host(v: Values, t: Texts) -> str:
    return t.ask(
        "sighting_host_conflict",
        "known",
        seen=_seen(v, t),
        host=v["host"] or t.ask("sighting_host_conflict", "another"),
        tree=v["tree_id"],
        genus=v["genus"],
    )


def _who(by: Sequence[str], t: Texts) -> str:
    """Who gave a name, as 'named by: laboratory'."""
    words = t.word("join", "between").join(t.word("named_by", one) for one in by)
    return t.ask("fungus_reports_disagree", "by", who=words)


def _disagree(v: Values, t: Texts) -> str:
    apart = ""
    if v["tell_apart"]:
        apart = t.ask("fungus_reports_disagree", "apart", told=v["tell_apart"])
    return t.ask(
        "fungus_reports_disagree",
        "known",
        tree=v["tree_id"],
        serious=v["serious"],
        code=v["code"],
        serious_by=_who(v["serious_by"], t),
        other=v["other"],
        other_by=_who(v["other_by"], t),
        apart=apart,
        photographs=_photographs(v, t),
    )


def _fits(v: Values, t: Texts) -> str:
    """Which trees a sighting may belong to, with how likely each is."""

    def say(variant: str, **told: object) -> str:
        return t.ask("sighting_ambiguous", variant, **told)

    number = int(v["reports"])
    told = [
        say(
            "next" if at else "first",
            share=in_hundred(tree["probability"], t),
            tree=_candidate(tree, say),
        )
        for at, tree in enumerate(v["trees"])
    ]
    more = v["candidates"] - len(v["trees"])
    if more == 1:
        told.append(say("more_one"))
    elif more > 0:
        told.append(say("more", number=count_word(more, t)))
    told.append(say("none", share=in_hundred(v["unlisted"], t)))
    return say(
        "known",
        seen=_seen(v, t),
        merged=say("merged", number=count_word(number, t)) if number > 1 else "",
        host=say("host", host=v["host"]) if v.get("host") else "",
        what=say("which" if v["candidates"] > 1 else "this"),
        unlisted=t.ask("share", "unlisted", tree=v["told_id"]) if v.get("told_id") else "",
        odds=capital(say("between").join(told)),
    )


def _candidate(tree: Mapping[str, Any], say: Callable[..., str]) -> str:
    away = tree["distance_m"]
    about = [
        tree["genus"] or say("genus_unknown"),
        "" if away is None else say("off", metres=f"{away:.0f}"),
        say("named") if tree["named"] else "",
    ]
    return say("tree", tree=tree["tree_id"], about=", ".join(word for word in about if word))


def _of_sighting(code: str, /, **more: Form) -> Form:
    """A sentence that names the sighting and what these say."""
    return lambda v, t: t.ask(
        code, seen=_seen(v, t), **{name: form(v, t) for name, form in more.items()}
    )


def _of_tree(code: str, /, **more: Form) -> Form:
    """A sentence that names the tree and what these say."""
    return lambda v, t: t.ask(
        code, tree=v["tree_id"], **{name: form(v, t) for name, form in more.items()}
    )


def _notes(v: Values, t: Texts) -> str:
    return notes_said(v["told"], t)


def _code(v: Values, _: Texts) -> str:
    return str(v["code"])


def _tree(v: Values, _: Texts) -> str:
    return str(v["tree_id"])


REVIEWS: dict[str, Form] = {
    "quarantine_danger": _aside,
    "make_safe": _of_tree(
        "make_safe",
        failure=lambda v, t: t.word("failure", v["failure"]),
        rating=lambda v, t: t.word("rating", v["rating"]),
    ),
    "sighting_serious_unmatched": _of_sighting("sighting_serious_unmatched", code=_code, why=_why),
    "sighting_serious_ambiguous": lambda v, t: t.ask(
        "sighting_serious_ambiguous", fits=_fits(v, t)
    ),
    "sighting_ambiguous": _fits,
    "sighting_conflict": _of_sighting("sighting_conflict"),
    "sighting_host_conflict": _host,
    "name_serious_uncertain": _of_sighting("name_serious_uncertain", code=_code, expert=_expert),
    "name_does_not_fit": _of_sighting("name_does_not_fit", expert=_expert),
    "name_uncertain": _of_sighting("name_uncertain", expert=_expert),
    "fungus_reports_disagree": _disagree,
    "decision_contradicted": lambda v, t: t.ask(
        "decision_contradicted", tree=v["tree_id"], **worse(v, t)
    ),
    "decision_ended": _of_tree(
        "decision_ended",
        decision=lambda v, t: t.word("decision", v["decision"]),
        day=lambda v, t: day(v["until"], t),
    ),
    "decision_unread": lambda v, t: t.ask("decision_unread", value=repr(v["value"])),
    "presumed_removal": _of_tree("presumed_removal", fungus=lambda v, t: named(v.get("name"), t)),
    "sighting_unmatched": _of_sighting("sighting_unmatched", why=_why),
    "sighting_id_unknown": _of_sighting(
        "sighting_id_unknown",
        why=lambda v, t: _why({**v, "why": "id_unknown"}, t),
        tree=_tree,
    ),
    "tree_not_standing": _of_sighting("tree_not_standing"),
    "season_region_unknown": lambda _, t: t.ask("season_region_unknown"),
    "place_doubtful": lambda v, t: t.ask("place_doubtful", number=count_word(int(v["count"]), t)),
    "note_danger": _of_tree("note_danger", told=_notes),
    "note_read": _of_tree("note_read", told=_notes),
    "sighting_not_decay": _of_sighting("sighting_not_decay", why=_why),
    "witnesses_apart": _of_tree(
        "witnesses_apart",
        part=lambda v, t: parts(v["part"], t),
        seen=lambda v, t: t.word("failure", v["seen"]),
        computed=lambda v, t: t.word("failure", v["computed"]),
    ),
    "wind_unknown": lambda v, t: t.ask(
        "wind_unknown",
        region=t.word("region", v["region"]),
        terrain=t.word("terrain", v["terrain"]),
    ),
}
