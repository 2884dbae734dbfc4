"""Sentences on the fungus at work, what it does, and what spoke for it."""

from typing import Any

from pipeline.published.sentences import Texts
from pipeline.render.wording_numbers import capital, count_word, in_hundred, joined, parts
from pipeline.render.wording_seen import Form, Values, named

_HARDLY, _EVEN, _SURE = 0.005, 0.5, 0.995


def _at_work(v: Values, t: Texts) -> str:
    """The fungus and its rot; the rot alone where the first name is of one that does another."""
    told: dict[str, Any] = {
        "rot": t.word("rot", v["rot"]),
        "part": parts(v["part"], t, "of_rot"),
        "code": v["code"],
        "meaning": t.word("code", v["code"]),
        "share": in_hundred(v["probability"], t),
    }
    if not v["name"]:
        return t.say("fungus_at_work", "unnamed", **told)
    return t.say("fungus_at_work", "named", name=v["name"], **told)


def _candidates(v: Values, t: Texts) -> str:
    pairs = list(zip(v["names"], v["probabilities"], strict=True))
    # What hardly anything speaks for is no candidate beside a first that is all but certain.
    pairs = [one for at, one in enumerate(pairs) if at == 0 or one[1] >= _HARDLY]
    first, *others = [
        t.say("fungus_candidates", "share", name=name, share=_chance(share, t))
        for name, share in pairs
    ]
    told = {"first": first}
    times = int(v["sightings"])
    if times > 1:
        told["number"] = count_word(times, t)
    if others:
        told["others"] = joined(others, t, "or")
        if pairs[0][1] < _EVEN:
            last = joined(others, t)
            return t.say("fungus_candidates", "open", first=first, others=last)
    kind = {(False, True): "one", (False, False): "several", (True, True): "together_one",
            (True, False): "together"}  # fmt: skip
    return t.say("fungus_candidates", kind[times > 1, not others], **told)


def _chance(share: float, t: Texts) -> str:
    return t.word("share", "nearly_sure") if share >= _SURE else in_hundred(share, t)


def _decided(v: Values, t: Texts) -> str:
    other = str(v["beside"])
    if str(v["name"]).split(" ", maxsplit=1)[0] == other:  # a species before the rest of its genus
        other = t.say("fungus_decided_by", "another", genus=other)
    beside = {"name": named(v["name"], t), "beside": other}
    known, what = _speak(v["decided_by"], t)
    said = t.say("fungus_decided_by", known, **beside, **what)
    against, those = _speak(v["against"], t)
    if against == "none":
        return said
    return f"{capital(said)} {capital(t.say('fungus_decided_by', f'against_{against}', **those))}"


def _speak(characters: str | None, t: Texts) -> tuple[str, dict[str, str]]:
    """How many characters speak (none, one, several), and which."""
    names = [t.word("speaker", name) for name in (characters or "").split("|") if name]
    if not names:
        return "none", {}
    return ("one" if len(names) == 1 else "several"), {"what": joined(names, t)}


def _age(v: Values, t: Texts) -> str:
    years = f"{v['years']:.0f}"
    if v["established"]:
        return t.say("fungus_least_age", "established", years=years, running=v["running"])
    if years == "1":
        return t.say("fungus_least_age", "one")
    return t.say("fungus_least_age", "known", years=years)


FUNGUS: dict[str, Form] = {
    "fungus_at_work": _at_work,
    "fungus_candidates": _candidates,
    "fungus_decided_by": _decided,
    "fungus_next_look": lambda v, t: t.say("fungus_next_look", look=v["look"]),
    "fungus_least_age": _age,
    "fungus_no_decay": lambda v, t: t.say("fungus_no_decay", name=named(v["name"], t)),
}
