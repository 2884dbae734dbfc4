"""The knots of the thread: their names, what each says where evidence is missing, and units."""

from pipeline.published.sentences import Texts

LINKS = ("seen", "fungus", "wood", "failure", "target", "consequence", "rating", "action")


def knots(t: Texts) -> tuple[tuple[str, str, str], ...]:
    """Link, title, and what the knot says without evidence, in the order of the thread."""
    return tuple((link, t.word("knot", link), t.word("missing", link)) for link in LINKS)


# Units of values whose name does not end in one.
_UNITS = {
    "count": "count",
    "apart": "words",
    "sightings": "count",
    "running": "years",
    "years": "years",
    "days": "days",
    "hours": "crew-hours",
    "points": "points",
    "share": "share",
    "probability": "share",
    "probabilities": "share",
    "unlisted": "share",
    "harm": "equivalent deaths per year",
    "harm_low": "equivalent deaths per year",
    "harm_high": "equivalent deaths per year",
    "factor": "times",
    "factor_either_way": "times",
    "rank": "place",
    "rank_low": "place",
    "rank_high": "place",
    "ranked": "trees",
    "over": "trees",
    "under": "trees",
}
# The longest ending that fits decides.
_ENDINGS = {
    "_share": "share",
    "_per_year": "per year",
    "_kn_m": "kN m",
    "_m_s": "m/s",
    "_m_per_s": "m/s",
    "_cm": "cm",
    "_deg": "degrees",
    "_days": "days",
    "_years": "years",
    "_m": "m",
    "_v": "V",
}


# Chances, whatever they are of.
_BEGINNINGS = ("p1", "p3", "probability_", "share_", "variance_")


def unit_of(name: str) -> str | None:
    """Unit of a value by its name; None where it is a word, a day or a yes."""
    if name in _UNITS:
        return _UNITS[name]
    if name.startswith(_BEGINNINGS):
        return "share"
    fitting = [ending for ending in _ENDINGS if name.endswith(ending)]
    return _ENDINGS[max(fitting, key=len)] if fitting else None
