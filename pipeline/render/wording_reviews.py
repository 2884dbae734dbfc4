"""Sentences of reviews, and of the reasons why work was left out."""

from collections.abc import Callable, Mapping
from typing import Any

from pipeline.render.wording_actions import decision_contradicted
from pipeline.render.wording_holding import HOLDING_REVIEWS
from pipeline.render.wording_notes import notes_said
from pipeline.render.wording_numbers import capital, count_word, day, in_hundred

Values = Mapping[str, Any]


def _name(values: Values) -> str:
    return str(values.get("name") or "a fungus without a name")


def _seen(values: Values) -> str:
    """The fungus and the sighting, so that whoever reads the list can find the record."""
    return f"{_name(values)} (sighting {values['sighting']})"


def _named(values: Values) -> str:
    """What a row set aside names; nothing where it names nothing."""
    return f" (the row names {values['about']})" if values.get("about") else ""


_WHY_NO_TREE = {
    "id_unknown": "the tree id is not in the inventory",
    "id_and_place_disagree": "tree id and place disagree",
    "no_place": "no place was told",
    "accuracy_unknown": "the accuracy of the place is not known",
    "accuracy_beyond_cap": "the place is too inaccurate to name a tree",
    "no_tree_near": "no listed tree is near",
    "several_trees_near": "several trees are near",
    "free_in_soil": "it grows free in soil or mulch",
    "tree_not_standing": "the tree is not standing",
}


def _in_no_inventory(values: Values) -> str:
    """The id that a sighting tells and no inventory has, as a sentence."""
    told = values.get("told_id")
    return f" It names tree {told}, which is in no inventory." if told else ""


def _why(values: Values) -> str:
    if values.get("told_id"):
        return f"it names tree {values['told_id']}, which is in no inventory"
    return _WHY_NO_TREE.get(str(values.get("why")), "no reason was told")


def _to_expert(values: Values) -> str:
    pairs = list(zip(values["names"], values["probabilities"], strict=True))
    told = " or ".join(f"{name} ({share:.0%})" for name, share in pairs[:2])
    look = f" Look next: {values['next_look']}" if values["next_look"] else ""
    return f"{told}. Send photographs of {', '.join(values['photographs'])}.{look}"


def _who(named_by: list[str]) -> str:
    """Who gave a name, as 'named by: laboratory'."""
    return "named by: " + ", ".join(word.replace("_", " ") for word in named_by)


def _apart(values: Values) -> str:
    told = values["tell_apart"]
    return f"How to tell: {told}. " if told else ""


def _fits(values: Values) -> str:
    trees = values["trees"]
    number = int(values["reports"])
    merged = f" ({count_word(number)} reports of one body)" if number > 1 else ""
    host = f", on {values['host']} as told" if values.get("host") else ""
    what = "which tree is it on?" if values["candidates"] > 1 else "is it on this tree?"
    told = [f"in {in_hundred(tree['probability'])} {_candidate(tree)}" for tree in trees]
    if told:
        told[0] = (
            f"in {in_hundred(trees[0]['probability'])} such cases it is {_candidate(trees[0])}"
        )
    more = values["candidates"] - len(trees)
    if more > 0:
        told.append(f"{count_word(more)} more {'is' if more == 1 else 'are'} less likely")
    told.append(f"in {in_hundred(values['unlisted'])} a tree that is not in the inventory")
    odds = capital("; ".join(told))
    return f"{_seen(values)}{merged}{host}: {what}{_in_no_inventory(values)} {odds}."


def _candidate(tree: Values) -> str:
    away = tree["distance_m"]
    about = [
        tree["genus"] or "genus unknown",
        "" if away is None else f"{away:.0f} m off",
        "named by the sighting" if tree["named"] else "",
    ]
    return f"tree {tree['tree_id']} ({', '.join(word for word in about if word)})"


REVIEWS: dict[str, Callable[[Values], str]] = {
    **HOLDING_REVIEWS,
    "quarantine_danger": lambda v: (
        f"A row that could not be used speaks of danger ({v['words']}): find the tree today"
        f"{_named(v)}. Why it was set aside: {v['reason']}"
    ),
    "make_safe": lambda v: (
        f"Make-safe is open for tree {v['tree_id']}: failure {v['failure']}, rating {v['rating']}."
    ),
    "sighting_serious_unmatched": lambda v: (
        f"{_seen(v)}, {v['code']}, was seen and no tree is known for it: {_why(v)}. Find it now."
    ),
    "sighting_serious_ambiguous": lambda v: f"{_fits(v)} This fungus cannot wait: find it now.",
    "sighting_ambiguous": _fits,
    "sighting_conflict": lambda v: (
        f"{_seen(v)}: the tree named and the place told are farther apart than the errors allow."
    ),
    "sighting_host_conflict": lambda v: (
        f"{_seen(v)}: the host told is {v['host'] or 'another'}, but tree {v['tree_id']} is "
        f"listed as {v['genus']}. One of them is wrong: look which."
    ),
    "name_serious_uncertain": lambda v: f"{_seen(v)}, {v['code']}: {_to_expert(v)}",
    "name_does_not_fit": lambda v: (
        f"{_seen(v)}: the name given by a laboratory or a specialist does not fit what was seen: "
        f"samples or records may be mixed up. Check both. {_to_expert(v)}"
    ),
    "fungus_reports_disagree": lambda v: (
        f"Reports of tree {v['tree_id']} disagree: {v['serious']}, {v['code']} "
        f"({_who(v['serious_by'])}), and {v['other']} ({_who(v['other_by'])}), which are taken "
        "for each other. Both are kept and the serious one counts until somebody has looked. "
        f"{_apart(v)}Send photographs of {', '.join(v['photographs'])}."
    ),
    "decision_contradicted": decision_contradicted,
    "decision_ended": lambda v: (
        f"Tree {v['tree_id']}: the decision ({v['decision']}) held until {day(v['until'])} and "
        "has ended; what the program says stands again. Decide anew where it should not."
    ),
    "presumed_removal": lambda v: (
        f"Tree {v['tree_id']} with {_name(v)}: removal is presumed until a check lifts it."
    ),
    "decision_unread": lambda v: (
        f"An override names {v['value']!r}, which is neither an action nor a rating."
    ),
    "sighting_unmatched": lambda v: f"{_seen(v)}: no tree was found, {_why(v)}.",
    "sighting_id_unknown": lambda v: (
        f"{_seen(v)}: {_why({**v, 'why': 'id_unknown'})}; by its place it is taken to be on tree "
        f"{v['tree_id']}. See which tree it is."
    ),
    "tree_not_standing": lambda v: f"{_seen(v)} was seen on a tree that is not standing.",
    "season_region_unknown": lambda _: (
        "No region is set: the strictest closed seasons are used. Set city.region."
    ),
    "place_doubtful": lambda v: (
        f"{capital(count_word(int(v['count'])))} trees have a place in doubt: outside the wards, "
        "swapped or rounded."
    ),
    "name_uncertain": lambda v: f"{_seen(v)}: {_to_expert(v)}",
    "note_danger": lambda v: (
        f"The notes of tree {v['tree_id']} speak of danger: {notes_said(v['told'])}. A program "
        "read them and they count for little in the rating: see the tree now."
    ),
    "note_read": lambda v: (
        f"The notes of tree {v['tree_id']} were read by a program: {notes_said(v['told'])}. See "
        "whether it read them rightly, and look."
    ),
    "sighting_not_decay": lambda v: f"{_seen(v)} is kept and not counted as decay: {_why(v)}.",
}

UNSCHEDULED = {
    "no_crew_of_type": "No crew of this kind is set.",
    "no_machine": "No crew has the machine.",
    "no_hours_left": "The crews' hours are used up by work that comes first.",
    "no_money_left": "The money is used up by work that comes first.",
    "no_machine_hours_left": "The machine's hours are used up by work that comes first.",
    "out_of_season": "The closed season leaves no day in the plan.",
    "deferred": "A person put it off.",
    "longer_than_shift": "The job takes longer than one shift.",
    "do_not_climb_no_lift": "The tree must not be climbed and no crew has a lift.",
}
