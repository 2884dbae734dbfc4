"""Sentences on whom it meets, what it would do, and how that is rated."""

from pipeline.published.sentences import Texts
from pipeline.render.wording_numbers import capital, count_word, day, in_hundred, joined, percent
from pipeline.render.wording_seen import Form, Values, centimetres
from pipeline.terms import RatingWord, word

_HARDLY = 0.005
_INSIDE_M = 0.5
_RARE = 1e-8  # a year: rarer figures say no more
_WORDS = tuple(word(one) for one in RatingWord if one != RatingWord.NOT_ASSESSED)


def _target(v: Values, t: Texts) -> str:
    kind = t.word("kind", v["kind"], t.word("kind", "other"))
    if v.get("name"):
        kind = t.say("target_met", "named", kind=kind, name=v["name"])
    told = {
        "kind": kind,
        "occupancy": t.word("occupancy", v["occupancy"]),
        "occupied": in_hundred(v["occupied_share"], t),
        "directions": capital(in_hundred(v["direction_share"], t)),
        "impact": t.word("impact", v["impact"]),
    }
    if v["distance_m"] < _INSIDE_M:
        return t.say("target_met", "inside", **told)
    return t.say("target_met", "beside", **told, distance=f"{v['distance_m']:.0f}")


def _more(v: Values, t: Texts) -> str:
    number = int(v["count"])
    if number == 1:
        return t.say("target_more", "one")
    return t.say("target_more", "known", number=count_word(number, t))


def _consequence(v: Values, t: Texts) -> str:
    return t.say(
        "consequence_of_part",
        str(v["part"]),
        thick=centimetres(v["diameter_cm"], t),
        target=t.word("target", v["target"]),
        consequence=t.word("consequence", v["consequence"]),
    )


def _harm(v: Values, t: Texts) -> str:
    def years(harm: float) -> str:
        return f"{float(f'{1.0 / harm:.1g}'):,.0f}"

    harm, low, high = v["harm"], v["harm_low"], v["harm_high"]
    if not harm:
        return t.say("rating_harm", "none")
    if harm < _RARE:
        return t.say("rating_harm", "rare", years=years(_RARE))
    if not (low and high) or years(low) == years(high):
        return t.say("rating_harm", "same", years=years(harm))
    told = {"years": years(harm), "low": years(low), "high": years(high)}
    return t.say("rating_harm", "known", **told)


def _range(v: Values, t: Texts) -> str:
    chances = [(name, v[f"share_{name}"]) for name in _WORDS]
    told = sorted(chances, key=lambda one: -one[1])
    words = [
        t.say("rating_range", "one", word=t.word("rating", name), share=in_hundred(share, t))
        for name, share in told
        if share >= _HARDLY
    ]
    return t.say("rating_range", "known", words=joined(words, t))


def _rank(v: Values, t: Texts) -> str:
    told = {"rank": f"{v['rank']:,}", "trees": f"{v['ranked']:,}"}
    if v["rank_low"] == v["rank_high"]:
        return t.say("rating_rank", "same", **told)
    told |= {"low": f"{v['rank_low']:,}", "high": f"{v['rank_high']:,}"}
    return t.say("rating_rank", "known", **told)


def _unknown(v: Values, t: Texts) -> str:
    most = str(v["most"])
    share = percent(v[f"variance_{most}"])
    return t.say("rating_unknown", "known", most=t.word("unknown", most), percent=share)


def _apart(v: Values, t: Texts) -> str:
    over, under, link = int(v["over"]), int(v["under"]), str(v["link"])
    kind, number = ("over", over) if over else ("under", under)
    reason = t.word("above" if over else "below", link)
    # Two digits, never as a power of ten.
    factor = f"{float(format(v['factor'], '.2g')):,g}"
    told = {"link": reason, "factor": factor}
    if number == 1:
        return t.say("rating_apart", f"{kind}_one", **told)
    return t.say("rating_apart", kind, number=count_word(number, t), **told)


def _pair(v: Values, t: Texts) -> str:
    kinds = ("failure", "impact", "likelihood", "consequence", "rating")
    return t.say("rating_of_pair", **{kind: t.word(kind, v[kind]) for kind in kinds})


RATING: dict[str, Form] = {
    "target_met": _target,
    "target_more": _more,
    "target_busiest": lambda v, t: t.say(
        "target_busiest", occupancy=t.word("occupancy", v["occupancy"])
    ),
    "target_assumed": lambda v, t: t.say(
        "target_assumed", occupancy=t.word("occupancy", v["occupancy"])
    ),
    "consequence_of_part": _consequence,
    "consequence_size_filled": lambda v, t: t.say(
        "consequence_size_filled", diameter=centimetres(v["diameter_cm"], t)
    ),
    "rating_of_pair": _pair,
    "rating_points": lambda v, t: t.say(
        "rating_points", points=v["points"], rating=t.word("rating", v["rating"])
    ),
    "rating_harm": _harm,
    "rating_range": _range,
    "rating_rank": _rank,
    "rating_unknown": _unknown,
    "rating_apart": _apart,
    "rating_overridden": lambda v, t: t.say(
        "rating_overridden",
        rating=t.word("rating", v["rating"]),
        program=t.word("rating", v["program_rating"]),
        day=day(v["decided_on"], t),
    ),
}
