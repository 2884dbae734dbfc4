"""Sentences of how much wood is left, and of whether it holds in the wind."""

from collections.abc import Callable, Mapping
from typing import Any

from pipeline.render.wording_numbers import HUNDRED, capital, in_hundred

Values = Mapping[str, Any]
_THE = {"roots": "the roots", "butt": "the butt", "stem": "the stem", "branch": "the branch"}
_NOT_APPLICABLE = {
    "palm": "a palm, or another stem without year rings",
    "multi_stem": "a tree of several stems",
    "pole": "a pole without a crown",
    "topped": "a topped tree",
    "no_diameter": "a tree whose diameter is not on record",
    "branch_rate": "a branch",
}
_TERRAIN = {
    "open_water": "open water",
    "open": "open land",
    "suburban": "streets and houses",
    "dense_city": "a dense city",
}


def _percent(share: float) -> str:
    return f"{share * HUNDRED:.0f} %"


def _left(v: Values) -> str:
    of = "root plate" if v["part"] == "roots" else f"diameter of {_THE[str(v['part'])]}"
    return (
        f"Of the {of} about {_percent(v['median_share'])} is decayed, by all that is known: in 8 "
        f"of 10 such trees between {_percent(v['tenth_share'])} and "
        f"{_percent(v['ninetieth_share'])}. More than two thirds is decayed in "
        f"{in_hundred(v['probability_beyond'])}."
    )


def _chances(v: Values) -> str:
    return (
        f"{in_hundred(v['p1'])} such trees a year ({in_hundred(v['p1_low'])} to "
        f"{in_hundred(v['p1_high'])} as decay is less or more), {in_hundred(v['p3'])} in three "
        f"years"
    )


def _part(v: Values) -> str:
    return (
        f"A gust of {v['critical_gust_m_per_s']:.0f} m/s would fell half of such trees by "
        f"{_THE[str(v['part'])]}. In the winds of this place {_THE[str(v['part'])]} would fail in "
        f"{_chances(v)}: {v['failure']}. Ranked, uncertain by about a factor of three either way."
    )


def _branch(v: Values) -> str:
    return (
        f"Nothing tells which branch fails; a large one breaks in {_chances(v)}. That is a rate of "
        "trees like this one, and gives no word."
    )


def _filled(v: Values) -> str:
    filled = [
        f"{name} of {v[f'{name}_m']:.0f} m"
        for name in ("height", "crown")
        if v[f"{name}_filled"] and v[f"{name}_m"] is not None
    ]
    told = " and a ".join(filled) or "size"
    return f"For the wind a {told} was taken from the diameter, which widens what is not known."


def _climate(v: Values) -> str:
    ground = "; the ground is taken as wet" if v["wet"] else ""
    gust = (
        f"once in 50 years a gust of {v['gust_50_m_per_s']:.0f} m/s meets the tree among "
        f"{_TERRAIN[str(v['terrain'])]}{ground}"
    )
    if v["told"]:
        return f"{capital(gust)}."
    return f"The winds of this place are not told: {gust}, as in a common region."


def _witnesses(v: Values) -> str:
    one = f"By what is known of {_THE[str(v['part'])]} failure is {v['seen']}"
    return f"{one}; by the wind it is {v['computed']}. The worse counts."


HOLDING: dict[str, Callable[[Values], str]] = {
    "wood_left": _left,
    "holds_part": _part,
    "holds_branch": _branch,
    "holds_filled": _filled,
    "holds_climate": _climate,
    "holds_not_applicable": lambda v: (
        f"What the wind does to {_NOT_APPLICABLE.get(str(v['reason']), 'such a tree')} cannot be "
        "computed; what was seen stands alone."
    ),
    "holds_witnesses": _witnesses,
    "holds_witnesses_apart": lambda v: (
        f"{_witnesses(v)} They lie so far apart that a closer assessment is called for."
    ),
}
HOLDING_REVIEWS: dict[str, Callable[[Values], str]] = {
    "witnesses_apart": lambda v: (
        f"Tree {v['tree_id']}: by what is known of {_THE[str(v['part'])]} failure is {v['seen']}, "
        f"by the wind {v['computed']}. Look closer."
    ),
    "wind_unknown": lambda v: (
        "The settings do not tell the winds of this place: those of a common region, "
        f"{str(v['region']).replace('_', ' ')} among {_TERRAIN[str(v['terrain'])]}, are assumed. "
        "Give them in the settings, under city.wind."
    ),
}
