"""The knots of the thread: their names, what each says where evidence is missing, and units."""

# Link, title, and what the knot says without evidence: the same as on the forester's page.
KNOTS = (
    ("seen", "Seen",
     "Nothing is recorded for this tree. Look at the root flare, the butt and the crown."),
    ("fungus", "Which fungus",
     ("No fungus is named here. A photograph of the underside and of the place where it sits "
      "helps most.")),
    ("wood", "Wood left",
     "Nothing tells how much sound wood is left. Sounding the butt is the first step."),
    ("failure", "Holds or fails", "No rule has spoken: there is no evidence to judge by."),
    ("target", "Whom it meets",
     "No target is recorded within reach. Check who is under the crown, and how often."),
    ("consequence", "What it would do",
     "Not judged without a part that may fail and a target that it may reach."),
    ("rating", "Rating", "Not rated. Not inspected is not low."),
    ("action", "What to do, by when", "No action follows from this run."),
)  # fmt: skip

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
