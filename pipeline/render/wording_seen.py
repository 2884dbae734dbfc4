"""Sentences on what was seen on a tree, or read in its row, and on sizes that were not told."""

from collections.abc import Callable, Mapping
from typing import Any

from pipeline.published.sentences import Texts
from pipeline.render.wording_numbers import day, in_hundred, joined, parts, percent

Values = Mapping[str, Any]
Form = Callable[[Values, Texts], str]
# These words say where it is.
_PLACED = frozenset({"none_seen", "dead_tree", "dead_branch", "hanging_branch", "crown_dieback",
                     "root_damage", "girdling_root", "lean"})  # fmt: skip
_WHOLE = frozenset({"dead_tree", "none_seen"})  # of these no share says more
_CRACKS = frozenset({"crack", "split"})
_PRECISION = 1


def centimetres(value: float | None, t: Texts) -> str:
    """A diameter with its unit, or that it is not known."""
    if value is None:
        return t.say("share", "diameter_unknown")
    return t.say("share", "diameter", cm=f"{value:.0f}")


def named(name: str | None, t: Texts) -> str:
    """The fungus, or that it has no name."""
    return str(name or t.say("share", "name_unknown"))


def _where(position: str | None, t: Texts) -> str:
    """Such as: on the butt and in a cavity; with a space before it, nothing where untold."""
    if not position:
        return ""
    return " " + joined([_spot(word, t) for word in position.split("|")], t)


def _spot(position: str, t: Texts) -> str:
    if position == "branch":
        return t.word("at", "on_branch")
    spots = t.words("at")
    if position in spots and position not in t.words("the"):
        return spots[position]
    return spots["other"].format_map({"place": position.replace("_", " ")})


def _placed(defect: object, part: str | None, t: Texts) -> str:
    """'a crack on the stem'; what says itself where it is stands alone."""
    what = t.word("defect", defect)
    if part is None or defect in _PLACED:
        return what
    return t.say("seen_defect", "at", what=what, place=t.word("at", part))


def _sighting(v: Values, t: Texts) -> str:
    """Who was seen where and when, and why it is taken to be of this tree."""
    several = (v.get("count") or 0) > 1
    say = t.say
    match = str(v.get("match"))
    whose = say("seen_sighting", match if match in {"by_id", "by_place"} else "other")
    if v.get("share") is not None:
        whose = say("seen_sighting", "which", share=in_hundred(v["share"], t))
    attachment = str(v.get("attachment"))
    tied = attachment if attachment in {"attached", "soil_over_root"} else "unknown"
    return say(
        "seen_sighting",
        "known",
        name=named(v.get("name"), t),
        place=_where(v.get("position"), t),
        day=day(v.get("seen_on"), t),
        number=say("seen_sighting", "number", count=v["count"]) if several else "",
        whose=whose,
        tied=say("seen_sighting", tied),
    )


def _read(v: Values, t: Texts) -> str:
    """A fungus that nobody reported: it stands in the tree's own row."""
    origin = "column" if v["origin"] == "column" else "note"
    when = ""
    if v.get("seen_on"):
        when = t.say("seen_told", "on" if origin == "column" else "of", day=day(v["seen_on"], t))
    fungus = f"{named(v.get('name'), t)}{_where(v.get('position'), t)}"
    return t.say("seen_told", origin, fungus=fungus, quoted=v["quoted"], when=when)


def _defect(v: Values, t: Texts) -> str:
    defect, part = str(v["defect"]), str(v["part"])
    share, extent = v.get("extent_share"), ""
    if share is not None and defect not in _WHOLE:
        over = t.words("extent")
        extent = ", " + over.get(defect, over[part]).format_map({"percent": percent(share)})
    beside = [sign for sign in (v.get("signs") or "").split("|") if sign]
    if defect in _CRACKS:
        beside = [sign for sign in beside if sign != "with_crack"]
    signs = "".join(f", {t.word('sign', sign)}" for sign in beside)
    where = "on_branch" if part == "branch" else part
    told = {"what": _placed(defect, where, t), "extent": extent, "signs": signs}
    return t.say("seen_defect", "known", **told, day=day(v.get("seen_on"), t))


def _column(v: Values, t: Texts) -> str:
    told = {"what": _placed(v["defect"], v["part"], t), "quoted": v["quoted"]}
    if v.get("seen_on"):
        return t.say("seen_column", "known", **told, day=day(v["seen_on"], t))
    return t.say("seen_column", "unknown", **told)


def _section(v: Values, t: Texts) -> str:
    opening = v.get("opening_share") or 0.0
    cavity = t.say("seen_section", "cavity", percent=percent(opening)) if opening > 0 else ""
    return t.say(
        "seen_section",
        "known",
        part=parts(v["part"], t),
        day=day(v.get("seen_on"), t),
        shell=f"{v['shell_cm']:.{_PRECISION}f}",
        diameter=centimetres(v["diameter_cm"], t),
        cavity=cavity,
    )


def _height(statement: str) -> Form:
    def said(v: Values, t: Texts) -> str:
        if v.get("height_m") is None:
            return t.say(statement, "unknown")
        return t.say(statement, "known", height=f"{v['height_m']:.0f}")

    return said


SEEN: dict[str, Form] = {
    "seen_not_rated": lambda v, t: t.say("seen_not_rated", status=t.word("status", v["status"])),
    "seen_sighting": _sighting,
    "seen_told": _read,
    "seen_defect": _defect,
    "seen_note": lambda v, t: t.say(
        "seen_note", "known", what=_placed(v["defect"], v["part"], t), quoted=v["quoted"]
    ),
    "seen_column": _column,
    "seen_section": _section,
    "seen_height_filled": _height("seen_height_filled"),
    "seen_height_assumed": _height("seen_height_assumed"),
    "seen_dbh_filled": lambda v, t: t.say(
        "seen_dbh_filled", "known", diameter=centimetres(v["dbh_cm"], t)
    ),
}
