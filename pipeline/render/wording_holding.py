"""Sentences of how much wood is left, and of whether it holds."""

from pipeline.published.sentences import Texts
from pipeline.render.wording_numbers import (
    band,
    count_word,
    in_hundred,
    parts,
    percent,
)
from pipeline.render.wording_seen import Form, Values, centimetres

_KM_H_OF_M_S = 3.6
_NOTHING = "0"
# The strongest gust ever measured outside of a tornado, 408 km/h on Barrow Island in 1996 (World
# Meteorological Organization, archive of extremes): beyond it a speed says nothing to a reader.
_STRONGEST_M_PER_S = 113.3


def _left(v: Values, t: Texts) -> str:
    part = str(v["part"])
    of = t.say("wood_left", "of_part", part=parts(part, t))
    if part == "roots":
        of = t.say("wood_left", "of_roots")
    told = {
        "of": of,
        "beyond": in_hundred(v["probability_beyond"], t),
        "limit": percent(v["beyond_share"]),
    }
    median, most = percent(v["median_share"]), percent(v["ninetieth_share"])
    if most == _NOTHING:
        return t.say("wood_left", "hardly", **told)
    if median == _NOTHING:
        return t.say("wood_left", "little", **told, ninetieth=most)
    tenth = percent(v["tenth_share"])
    return t.say("wood_left", "share", **told, median=median, tenth=tenth, ninetieth=most)


def _measured(v: Values, t: Texts) -> str:
    return t.say(
        "wood_measured",
        percent=percent(v["decayed_share"]),
        part=parts(v["part"], t),
        diameter=centimetres(v["diameter_cm"], t),
        shell=f"{v['shell_cm']:.1f}",
    )


def _formula(v: Values, t: Texts) -> str:
    return t.say(
        "wood_formula",
        "reached" if v["passed"] else "not_reached",
        what=t.word("formula", v["formula"]),
        value=percent(v["value_share"]),
        limit=percent(v["limit_share"]),
        part=parts(v["part"], t),
    )


def _rule(v: Values, t: Texts) -> str:
    rule = str(v["rule"])
    known = t.words("rule") | t.words("formula")
    told = {
        "part": parts(v["part"], t),
        "failure": t.word("failure", v["failure"]),
        "witness": t.word("witness", v["witness"]),
    }
    if rule in known:
        return t.say("failure_rule", "known", **told, rule=known[rule])
    return t.say("failure_rule", "own", **told, rule=rule.replace("_", " "))


def _frequency(v: Values, t: Texts) -> str:
    years = float(v["years"])
    number = count_word(int(years), t) if years.is_integer() else f"{years:g}"
    return t.say(
        "failure_frequency",
        "known",
        failure=t.word("failure", v["failure"]),
        band=band(v["low_share"], v["high_share"], t),
        years=t.say("failure_frequency", "year" if years == 1 else "years", number=number),
    )


def _chances(v: Values, t: Texts) -> dict[str, str]:
    low, high = v["p1_low"], v["p1_high"]
    within = low is None or high is None or low <= v["p1"] <= high
    return {
        "p1": in_hundred(v["p1"], t),
        "band": t.say("holds_part", "band" if within else "low", band=band(low, high, t)),
        "p3": in_hundred(v["p3"], t),
    }


def _part(v: Values, t: Texts) -> str:
    part = str(v["part"])
    told = {"part": parts(part, t)} if "|" in part else {}
    return t.say(
        "holds_part",
        "each" if "|" in part else part,
        **told,
        **_chances(v, t),
        failure=t.word("failure", v["failure"]),
        gust=_gust(v["critical_gust_m_per_s"], f"{v['factor_either_way']:.2g}", t),
    )


def _gust(gust: float, factor: str, t: Texts) -> str:
    if gust > _STRONGEST_M_PER_S:
        return t.say("holds_part", "beyond", factor=factor)
    km_h = f"{gust * _KM_H_OF_M_S:.0f}"
    return t.say("holds_part", "gust", gust=f"{gust:.0f}", km_h=km_h, factor=factor)


def _filled(v: Values, t: Texts) -> str:
    filled = {
        name: f"{v[f'{name}_m']:.0f}"
        for name in ("height", "crown")
        if v[f"{name}_filled"] and v[f"{name}_m"] is not None
    }
    kind = "both" if len(filled) > 1 else next(iter(filled), "size")
    said = "both_known" if kind == "both" else "known"
    return t.say("holds_filled", said, what=t.say("holds_filled", kind, **filled))


def _climate(v: Values, t: Texts) -> str:
    gust = v["gust_50_m_per_s"]
    return t.say(
        "holds_climate",
        "told" if v["told"] else "assumed",
        gust=f"{gust:.0f}",
        km_h=f"{gust * _KM_H_OF_M_S:.0f}",
        terrain=t.word("terrain", v["terrain"]),
        ground=t.say("holds_climate", "wet") if v["wet"] else "",
    )


def _witnesses(v: Values, t: Texts) -> str:
    told = {"part": parts(v["part"], t), "seen": t.word("failure", v["seen"])}
    if v["seen"] == v["computed"]:
        return t.say("holds_witnesses", "same", **told)
    return t.say("holds_witnesses", "differ", **told, computed=t.word("failure", v["computed"]))


def _witnesses_apart(v: Values, t: Texts) -> str:
    seen, computed = (t.word("failure", v[name]) for name in ("seen", "computed"))
    part = parts(v["part"], t)
    return t.say("holds_witnesses", "apart", part=part, seen=seen, computed=computed)


HOLDING: dict[str, Form] = {
    "wood_left": _left,
    "wood_measured": _measured,
    "wood_formula": _formula,
    "wood_not_measured": lambda v, t: t.say("wood_not_measured", part=parts(v["part"], t)),
    "wood_at_least": lambda v, t: t.say(
        "wood_at_least", str(v["why_above"]), part=parts(v["part"], t)
    ),
    "failure_rule": _rule,
    "failure_act_at_once": lambda v, t: t.say("failure_act_at_once", part=parts(v["part"], t)),
    "failure_frequency": _frequency,
    "holds_part": _part,
    "holds_branch": lambda v, t: t.say("holds_branch", "known", **_chances(v, t)),
    "holds_filled": _filled,
    "holds_climate": _climate,
    "holds_not_applicable": lambda v, t: t.say(
        "holds_not_applicable", what=t.word("not_applicable", v["reason"])
    ),
    "holds_witnesses": _witnesses,
    "holds_witnesses_apart": _witnesses_apart,
}
