"""Plain sentences for the statements behind a rating, for reviews and for work left out.

Short, present tense, active; no alarm and no comfort. Numbers as people say them.
"""

from collections.abc import Callable, Mapping
from typing import Any

from pipeline.errors import RenderError
from pipeline.render.wording_actions import INSPECT, chosen, deadline, do, kept, make_safe, the
from pipeline.render.wording_holding import HOLDING
from pipeline.render.wording_notes import note_defect
from pipeline.render.wording_numbers import HUNDRED, capital, count_word, day, in_hundred
from pipeline.render.wording_reviews import REVIEWS, UNSCHEDULED
from pipeline.render.wording_rot import at_work
from pipeline.render.wording_seen import height_assumed, read, sighting
from pipeline.render.wording_words import (
    ACTION_WORDS,
    DEFECT_WORDS,
    FORMULAE,
    KIND_WORDS,
    LIFT_WORDS,
    REASONS,
    SEASON_WORDS,
    STATUS_WORDS,
    TARGET_WORDS,
    WIRE_WORDS,
)

Values = Mapping[str, Any]


def _years(values: Values) -> str:
    years = float(values["years"])
    number = count_word(int(years)) if years.is_integer() else f"{years:g}"
    return f"{number} year" if years == 1 else f"{number} years"


def _cm(value: float | None) -> str:
    return "an unknown diameter" if value is None else f"{value:.0f} cm"


def _name(values: Values, key: str = "name") -> str:
    return str(values.get(key) or "a fungus without a name")


def _defect(v: Values) -> str:
    what = DEFECT_WORDS.get(str(v["defect"]), str(v["defect"]).replace("_", " "))
    share = v.get("extent_share")
    extent = f", over {share * HUNDRED:.0f} % of it" if share is not None else ""
    when = day(v.get("seen_on"))
    # A hanging branch is a branch: its part need not be named again.
    at = "" if v["part"] == "branch" and "branch" in what else f" on {the(v['part'])}"
    return f"An inspector notes {what}{at}{extent}, {when}."


def _column(v: Values) -> str:
    when = f", {day(v['seen_on'])}" if v.get("seen_on") else ", on a day that is not recorded"
    return (
        f"The inventory\u2019s own columns tell of {note_defect(v['defect'], v['part'])} "
        f"(\u201c{v['quoted']}\u201d){when}."
    )


def _section(v: Values) -> str:
    opening = v.get("opening_share") or 0.0
    cavity = f", open over {opening * HUNDRED:.0f} % of the girth" if opening > 0 else ""
    return (
        f"{capital(the(v['part']))} was measured on {day(v.get('seen_on'))}: thinnest sound "
        f"shell {v['shell_cm']:.1f} cm at {_cm(v['diameter_cm'])} diameter{cavity}."
    )


def _candidates(v: Values) -> str:
    told = [f"{n} ({share:.0%})" for n, share in zip(v["names"], v["probabilities"], strict=True)]
    times = int(v["sightings"])
    seen = f"From {count_word(times)} sightings together" if times > 1 else "From what was seen"
    return f"{seen} it is, in this order: {', '.join(told)}."


def _decided(v: Values) -> str:
    def words(text: str) -> str:
        return ", ".join(part.replace("_", " ") for part in text.split("|"))

    against = f" Against it: {words(v['against'])}." if v["against"] else ""
    if not v["decided_by"]:
        return f"Little speaks for {_name(v)} before {v['beside']}.{against}"
    return f"For {_name(v)} before {v['beside']} speaks: {words(v['decided_by'])}.{against}"


def _age(v: Values) -> str:
    years = f"The infection is at least {v['years']:.0f} years old"
    if v["established"]:
        return f"{years}: it fruited {v['running']} years running and is established."
    return f"{years}."


def _formula(v: Values) -> str:
    state = "reached" if v["passed"] else "not reached"
    return (
        f"For {the(v['part'])}, {FORMULAE[str(v['formula'])]}: {v['value_share']:.2f}; "
        f"the limit to act, {v['limit_share']:.2f}, is {state}."
    )


def _rule(v: Values) -> str:
    witness = {
        "visual": "by what was seen",
        "strength": "by what was measured",
        "fungus": "by the fungus",
        "mechanics": "by the wind",
    }[str(v["witness"])]
    rule = str(v["rule"]).replace("_", " ")
    return f"Failure of {the(v['part'])} is {v['failure']} {witness} (rule: {rule})."


def _frequency(v: Values) -> str:
    low, high = in_hundred(v["low_share"]), in_hundred(v["high_share"])
    return (
        f"The word {v['failure']} stands for {low} to {high} such trees over {_years(v)}; no "
        "standard puts numbers on the words, these are estimates."
    )


def _target(v: Values) -> str:
    kind = KIND_WORDS.get(str(v["kind"]), "a place where people may be")
    name = f" ({v['name']})" if v.get("name") else ""
    return (
        f"{capital(kind)}{name} lies {v['distance_m']:.0f} m away; its use is {v['occupancy']}, "
        f"occupied in {in_hundred(v['occupied_share'])} moments; "
        f"{in_hundred(v['direction_share'])} fall directions reach it. Impact is {v['impact']}."
    )


def _more(v: Values) -> str:
    number = int(v["count"])
    pairs = "pair of part and target is" if number == 1 else "pairs of part and target are"
    return f"{capital(count_word(number))} other {pairs} rated too."


def _consequence(v: Values) -> str:
    target = TARGET_WORDS[str(v["target"])]
    thick = _cm(v["diameter_cm"])
    falls = (
        f"The branch is {thick} thick"
        if v["part"] == "branch"
        else f"The tree may fall whole; its stem is {thick} thick"
    )
    return f"{falls}. If it hits {target}, the consequences are {v['consequence']}."


def _harm(v: Values) -> str:
    def one_in(harm: float | None) -> str:
        if not harm:
            return "none"
        rounded = float(f"{1.0 / harm:.1g}")
        return f"1 in {rounded:,.0f}"

    return (
        f"Expected harm for ranking: {one_in(v['harm'])} equivalent deaths a year, between "
        f"{one_in(v['low'])} and {one_in(v['high'])}. It orders the work and is no forecast."
    )


def _wires(v: Values) -> str:
    told = v.get("voltage_v")
    what = WIRE_WORDS[str(v["wires"])]
    if told is None:
        return (
            f"{capital(what)} in or over the crown, voltage not known: call the utility; "
            "line-clearance qualified crew only."
        )
    return (
        f"{capital(what)} in or over the crown, {told:,.0f} V: call the utility; line-clearance "
        "qualified crew only."
    )


def _season(v: Values) -> str:
    what = SEASON_WORDS.get(_concern(v["code"]), "a closed season")
    return f"{capital(what)}: no cutting before {day(v['not_before'])}."


def _concern(code: object) -> str:
    text = str(code)
    return max((name for name in SEASON_WORDS if text.startswith(name)), key=len, default="")


def _lifted(v: Values) -> str:
    what = SEASON_WORDS.get(_concern(v["code"]), "a closed season")
    how = LIFT_WORDS.get(str(v["lifted_by"]), str(v["lifted_by"]).replace("_", " "))
    return f"{capital(what)} is on; the danger lifts it: {how}."


def _decision(v: Values) -> str:
    word = {
        "accept": "accepted what the program says",
        "override": "decided otherwise than the program",
        "pin": "fixed the quarter",
        "defer": "put the work off",
    }.get(str(v["decision"]), str(v["decision"]))
    return f"On {day(v['decided_on'])} a person {word}; that stands."


def _constant(text: str) -> Callable[[Values], str]:
    return lambda _: text


_SENTENCES: dict[str, Callable[[Values], str]] = {
    "seen_not_rated": lambda v: (
        f"The inventory calls this {STATUS_WORDS.get(str(v['status']), 'no tree')}: not rated."
    ),
    "seen_never": lambda _: "No inspection and no sighting of this tree is on record.",
    "seen_overdue": lambda _: "The last inspection is older than the city's cycle.",
    "seen_no_defect": lambda _: (
        "Inspected inside the city's cycle, no defect noted. That is not proof of sound wood."
    ),
    "seen_inspected_only": lambda _: (
        "Inspected inside the city's cycle by its date; what was found is not on record."
    ),
    "seen_sighting": sighting,
    "seen_told": read,
    "seen_defect": _defect,
    "seen_note": lambda v: (
        f"The notes of the inventory name {note_defect(v['defect'], v['part'])} "
        f"(\u201c{v['quoted']}\u201d). That alone is a reason to look, no more."
    ),
    "seen_column": _column,
    "seen_dead_by_inventory": lambda _: "The inventory says that the tree is dead.",
    "seen_section": _section,
    "seen_height_filled": lambda v: (
        f"The height is not on record; {v['height_m']:.0f} m is estimated from the diameter."
        if v.get("height_m") is not None
        else "The height is not on record; it is estimated from the diameter."
    ),
    "seen_height_assumed": height_assumed,
    "seen_dbh_filled": lambda v: (
        f"The stem diameter is not on record; {_cm(v['dbh_cm'])} is assumed."
    ),
    "fungus_at_work": at_work,
    "fungus_candidates": _candidates,
    "fungus_decided_by": _decided,
    "fungus_next_look": lambda v: f"Look next: {v['look']}",
    "fungus_least_age": _age,
    "fungus_no_decay": lambda v: f"{_name(v)} rots no wood of living trees.",
    "wood_measured": lambda v: (
        f"In {the(v['part'])} decay takes about {v['decayed_share'] * HUNDRED:.0f} % of the "
        f"diameter ({_cm(v['diameter_cm'])}); the thinnest sound shell is {v['shell_cm']:.1f} cm."
    ),
    "wood_formula": _formula,
    "wood_not_measured": lambda v: (
        f"How far the decay reaches in {the(v['part'])} has not been measured."
    ),
    "failure_rule": _rule,
    "failure_act_at_once": lambda v: (
        f"The pocket guide of 1996 lists this defect of {the(v['part'])} among those that call for "
        "attention at once; the rating decides what is done and by when."
    ),
    "failure_frequency": _frequency,
    **HOLDING,
    "failure_unknown": lambda _: "Nothing is on record that speaks of failure.",
    "target_met": _target,
    "target_more": _more,
    "target_busiest": lambda v: f"The busiest place within reach has {v['occupancy']} use.",
    "target_assumed": lambda v: (
        f"No target zone is known in this city: {v['occupancy']} use is assumed. A zone survey or "
        "a street map would change the rating."
    ),
    "target_none_in_reach": lambda _: "Nothing known lies within reach. Somebody may still pass.",
    "consequence_of_part": _consequence,
    "consequence_size_filled": lambda v: (
        f"Nobody has measured the part; {_cm(v['diameter_cm'])} is assumed."
    ),
    "rating_of_pair": lambda v: (
        f"Failure {v['failure']}, impact {v['impact']}: together {v['likelihood']}; with "
        f"{v['consequence']} consequences the rating is {v['rating']}."
    ),
    "rating_points": lambda v: f"{v['points']} of 12 points: the rating is {v['rating']}.",
    "rating_not_assessed": lambda _: (
        "Not assessed. That is not low: nobody has looked inside the city's cycle."
    ),
    "rating_low_no_defect": lambda _: "Low, as far as the inspection goes.",
    "rating_none": lambda _: "Not rated.",
    "rating_harm": _harm,
    "rating_overridden": lambda v: (
        f"A person rates it {v['rating']} (since {day(v['decided_on'])}); the program says "
        f"{v['program_rating']}."
    ),
    "action_chosen": chosen,
    "action_beside": lambda v: (
        f"Besides: {ACTION_WORDS[str(v['action'])]}, {deadline(v['deadline_days'])}."
    ),
    "action_inspect": lambda v: INSPECT[str(v["state"])],
    "action_none": lambda _: "No work is due within the plan.",
    "action_make_safe": make_safe,
    "action_program_would": lambda v: (
        f"The program alone would choose: {ACTION_WORDS[str(v['action'])]}."
    ),
    "decision_stands": _decision,
    "decision_newer_evidence": lambda v: (
        f"Evidence of {day(v['seen_on'])} is newer than the decision of {day(v['decided_on'])}: "
        "look at it again."
    ),
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
    "no_climb_probable": lambda v: f"Do not climb: failure of {the(v['part'])} is {v['failure']}.",
    "why_retain": kept,
    "why_decision": lambda v: f"A person decided: {do(v)}.",
}


def sentence(statement: str, values: Values) -> str:
    """The sentence of a fact.

    Raises
    ------
    RenderError
        If the statement has no sentence.
    """
    return _made(_SENTENCES, statement, values, "statement")


def review_sentence(code: str, detail: Values) -> str:
    """The sentence of a review.

    Raises
    ------
    RenderError
        If the code has no sentence.
    """
    return _made(REVIEWS, code, detail, "review")


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
    return tuple(_SENTENCES)


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
