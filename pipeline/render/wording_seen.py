"""Sentences on the fungi that were seen on a tree, or read in its row, and on sizes not told."""

from collections.abc import Mapping
from typing import Any

from pipeline.render.wording_numbers import capital, day, in_hundred

Values = Mapping[str, Any]
_AT = {
    "fork": "in the fork",
    "branch": "on a branch",
    "branch_stub": "on a branch stub",
    "wound": "on a wound",
    "canker": "on a canker",
    "cavity": "in a cavity",
    "soil_over_root": "on soil over a root",
    "soil": "in the soil",
    "mulch": "in mulch",
    "turf": "in turf",
}


def _where(position: str | None) -> str:
    """Such as: on the butt and in a cavity; with a space before it, nothing where untold."""
    if not position:
        return ""
    places = [_AT.get(word, f"on the {word.replace('_', ' ')}") for word in position.split("|")]
    return " " + " and ".join(places)


def sighting(v: Values) -> str:
    """Who was seen where and when, and why it is taken to be of this tree."""
    where = _where(v.get("position"))
    number = f", {v['count']} fruiting bodies" if (v.get("count") or 0) > 1 else ""
    how = {
        "by_id": "the sighting names this tree",
        "by_place": "the place of the sighting fits this tree",
    }.get(str(v.get("match")), "it may belong to another tree")
    if v.get("share") is not None:
        how = f"which tree is not known; this one is right in {in_hundred(v['share'])} such cases"
    tied = {
        "attached": "It is attached to the tree.",
        "soil_over_root": "It stands on soil over roots: dig and look.",
    }.get(str(v.get("attachment")), "Whether it is attached was not told.")
    name = v.get("name") or "a fungus without a name"
    return f"{capital(f'{name} was seen')}{where} on {day(v.get('seen_on'))}{number}; {how}. {tied}"


def read(v: Values) -> str:
    """A fungus that nobody reported: it stands in the tree's own row."""
    fungus = f"{v.get('name') or 'a fungus without a name'}{_where(v.get('position'))}"
    if v["origin"] == "column":
        when = f", {day(v['seen_on'])}" if v.get("seen_on") else ""
        return (
            f"The inventory\u2019s own columns tell of {fungus} (\u201c{v['quoted']}\u201d){when}."
        )
    when = f" of {day(v['seen_on'])}" if v.get("seen_on") else ""
    return (
        f"The inventory\u2019s remark{when} reads \u201c{v['quoted']}\u201d: a program takes it "
        f"for {fungus}. That alone is a reason to look, no more."
    )


def height_assumed(v: Values) -> str:
    """A height that rests on no diameter either."""
    if v.get("height_m") is None:
        return "Neither height nor stem diameter is on record; those of a usual tree are assumed."
    return (
        f"Neither height nor stem diameter is on record; {v['height_m']:.0f} m, the height of a "
        "usual tree, is assumed."
    )
