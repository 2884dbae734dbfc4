"""Tables that the scoring stage writes."""

from pipeline.tables import inputs
from pipeline.tables.catalogue_actions import (
    CANDIDATE_ACTIONS,
    INSPECTION_ROUNDS,
    TESTS_THAT_PAY,
)
from pipeline.tables.catalogue_wood import DECAY, MECHANICS, STRENGTH
from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

_TREE_KEY = Column("tree_key", Kind.INT64, "the tree", low=0)
_PART = Column("part", Kind.INT8, "0 roots, 1 butt, 2 stem, 3 branch", "word", low=0, high=3)
_ZONE = Column("zone_key", Kind.INT32, "the zone, or -1 for an assumed target", low=-1)
_TO_TREE = (ForeignKey("tree_key", "ingest.trees"),)
_PLACES = {"first": 1, "second": 2, "third": 3}


def _word(name: str, meaning: str, *, nullable: bool = False, low: float = 1) -> Column:
    return Column(name, Kind.INT8, meaning, "word", nullable=nullable, low=low, high=4)


TAXON_POSTERIORS = TableSchema(
    "scoring",
    "taxon_posteriors",
    "which fungus a sighting is, with its probability; sums to one over a sighting",
    ("sighting_key", "taxon_id"),
    (
        Column("sighting_key", Kind.INT64, "the sighting", low=0),
        Column(
            "taxon_id",
            Kind.LABEL,
            "taxon of the catalogue; 'unlisted', any fungus that is not "
            "in it; 'other', all taxa of it less probable than 0.01 together",
        ),
        Column("probability", Kind.FLOAT, "posterior", "share", low=0, high=1),
    ),
    (ForeignKey("sighting_key", "ingest.sightings"),),
)

SIGHTING_TREES = TableSchema(
    "scoring",
    "sighting_trees",
    "candidate trees of each sighting by place, id, host and fungus together; sums to one",
    ("sighting_key", "tree_key"),
    (
        Column("sighting_key", Kind.INT64, "the sighting", low=0),
        Column("tree_key", Kind.INT64, "the tree, or -1 for one that is not in the inventory",
               low=-1),
        Column("named", Kind.BOOL, "the sighting names this tree"),
        Column("distance_m", Kind.FLOAT, "from the told place", "m", nullable=True, low=0),
        Column("distance_weight", Kind.FLOAT, "probability by distance alone, 0 where the place "
               "says nothing", "share", low=0, high=1),
        Column("probability", Kind.FLOAT, "that this report is of this tree", "share",
               low=0, high=1),
        Column("attached", Kind.BOOL, "the sighting counts for this tree alone; a report may "
               "follow another of the same body"),
    ),
    (ForeignKey("sighting_key", "ingest.sightings"), ForeignKey("tree_key", "ingest.trees")),
)  # fmt: skip

IDENTIFICATIONS = TableSchema(
    "scoring",
    "identifications",
    "what each sighting is found to be; sightings of one fruiting fungus share what is found",
    ("sighting_key",),
    (
        Column("sighting_key", Kind.INT64, "the sighting", low=0),
        Column("body_key", Kind.INT64, "lowest sighting_key of the same fungus on the same tree",
               low=0),
        Column("decay_evidence", Kind.LABEL, "evidence of decay in this tree",
               allowed=("no", "yes", "unsure")),
        *(
            column
            for place in ("first", "second", "third")
            for column in (
                Column(f"taxon_{_PLACES[place]}", Kind.LABEL,
                       f"{place} in probability; 'unlisted' is any fungus not in the catalogue"),
                Column(f"probability_{_PLACES[place]}", Kind.FLOAT, f"of the {place}", "share",
                       low=0, high=1),
            )
        ),
        Column("probability_unlisted", Kind.FLOAT, "of a fungus not in the catalogue", "share",
               low=0, high=1),
        Column("rot_type", Kind.LABEL, "most probable rot",
               allowed=("none", "white", "brown", "soft", "unknown")),
        Column("probability_rot", Kind.FLOAT, "of that rot", "share", low=0, high=1),
        *(
            Column(f"probability_{part}", Kind.FLOAT, f"that it rots the {part}", "share",
                   low=0, high=1)
            for part in inputs.PARTS
        ),
        Column("significance", Kind.FLOAT, "for the stability of a tree, mean over the taxa 0-5",
               low=0, high=5),
        Column("probability_serious", Kind.FLOAT, "of action code R4 or R5", "share",
               low=0, high=1),
        Column("needs_expert", Kind.BOOL, "photographs belong before somebody who knows"),
        Column("next_look", Kind.LABEL, "character to look at next", nullable=True),
        Column("least_years", Kind.FLOAT, "least age of the infection", "years", low=1),
        Column("years_running", Kind.INT32, "years running in which it was seen", low=0),
        Column("decided_by", Kind.LABEL, "up to three that speak most for the first taxon beside "
               "the second, characters or 'name', joined with |", nullable=True),
        Column("against", Kind.LABEL, "up to three that speak most against the first taxon, "
               "likewise", nullable=True),
    ),
    (ForeignKey("sighting_key", "ingest.sightings"),),
)  # fmt: skip

FAILURE = TableSchema(
    "scoring",
    "failure",
    "likelihood of failure of a part by each rule that spoke",
    ("tree_key", "part", "witness", "rule_id"),
    (
        _TREE_KEY,
        _PART,
        Column("witness", Kind.LABEL, "visual criteria or mechanics",
               allowed=("visual", "strength", "fungus", "mechanics")),
        Column("rule_id", Kind.LABEL, "row of config/published/failure_criteria.csv, of another "
               "table of rules, or how the mechanics found it"),
        _word("failure", "likelihood of failure"),
        Column("points", Kind.INT8, "points of the community guide", "points", nullable=True,
               low=1, high=4),
        Column("seen_on", Kind.DATE, "when the evidence was seen", nullable=True),
        Column("detail", Kind.LABEL, "the evidence in short: defect, reading or taxon"),
    ),
    _TO_TREE,
)  # fmt: skip

IMPACTS = TableSchema(
    "scoring",
    "impacts",
    "tree x part x target within reach, for trees with evidence",
    ("tree_key", "part", "zone_key"),
    (
        _TREE_KEY,
        _PART,
        _ZONE,
        Column("reach_m", Kind.FLOAT, "how far the part reaches", "m", low=0),
        Column("distance_m", Kind.FLOAT, "to the target", "m", low=0),
        Column("occupied_share", Kind.FLOAT, "share of time occupied", "share", low=0, high=1),
        _word("occupancy", "occupancy of the target"),
        Column("direction_share", Kind.FLOAT, "share of fall directions that reach it", "share",
               low=0, high=1),
        _word("impact", "likelihood of impact"),
        Column("assumed", Kind.BOOL, "occupancy assumed, no zone known here"),
        Column("occupancy_from", Kind.LABEL, "what the occupancy rests on",
               allowed=("count", "word", "tag default", "always there", "assumed")),
        Column("vehicles_run_in", Kind.FLOAT, "expected vehicles too near to stop before the "
               "fallen part", low=0),
        Column("storm_share", Kind.FLOAT, "people there when trees fail over those of a mean day; "
               "in harm only", "share", low=0, high=1),
        Column("fall_toward_deg", Kind.FLOAT, "likeliest azimuth of the fall; empty: any way",
               "deg", nullable=True, low=0, high=360),
        Column("fall_resultant", Kind.FLOAT, "how sharp: 0 any way, 1 one way only", low=0,
               high=1),
        Column("counts_with_zone_key", Kind.INT32, "the same place told twice: harm counts there",
               nullable=True, low=0),
    ),
    _TO_TREE,
)  # fmt: skip

PART_RATINGS = TableSchema(
    "scoring",
    "part_ratings",
    "rating of each part over each target, for trees with evidence",
    ("tree_key", "part", "zone_key"),
    (
        _TREE_KEY,
        _PART,
        _ZONE,
        _word("failure", "likelihood of failure"),
        _word("impact", "likelihood of impact"),
        _word("likelihood", "failure and impact together"),
        _word("consequence", "consequences"),
        _word("rating", "risk rating"),
        Column("points", Kind.INT8, "3-12 points of the community guide", "points", nullable=True,
               low=3, high=12),
        Column("harm_per_year", Kind.FLOAT, "expected harm, equivalent fatalities", "harm/year",
               low=0),
    ),
    _TO_TREE,
)  # fmt: skip

TREE_RATINGS = TableSchema(
    "scoring",
    "tree_ratings",
    "one row for each tree of ingest.trees, in its order",
    ("tree_key",),
    (
        _TREE_KEY,
        Column("rated", Kind.BOOL, "standing or dead tree; stumps and vacant sites are not rated"),
        Column("assessed", Kind.BOOL, "looked at inside the cycle, or a sighting is in"),
        Column("evidence", Kind.BOOL, "a sighting, defect or reading speaks of it"),
        _word("rating", "0 not assessed, 1 low, 2 moderate, 3 high, 4 extreme", low=0),
        Column("points", Kind.INT8, "3-12 points where the method is points", "points",
               nullable=True, low=3, high=12),
        Column("worst_part", Kind.INT8, "part of the worst pair", "word", nullable=True,
               low=0, high=3),
        Column("worst_zone", Kind.INT32, "target of the worst pair, -1 assumed", nullable=True,
               low=-1),
        _word("failure", "of the worst pair", nullable=True),
        _word("impact", "of the worst pair", nullable=True),
        _word("likelihood", "of the worst pair", nullable=True),
        _word("consequence", "of the worst pair", nullable=True),
        Column("harm_per_year", Kind.FLOAT, "expected harm over all pairs, equivalent fatalities",
               "harm/year", low=0),
        Column("harm_low", Kind.FLOAT, "10 %", "harm/year", low=0),
        Column("harm_high", Kind.FLOAT, "90 %", "harm/year", low=0),
        *(
            Column(f"share_{name}", Kind.FLOAT, f"probability of the word {name}, trees with "
                   "evidence", "share", nullable=True, low=0, high=1)
            for name in ("low", "moderate", "high", "extreme")
        ),
        *(
            Column(f"variance_{name}", Kind.FLOAT, f"share of {what} in the variance of ln harm",
                   "share", nullable=True, low=0, high=1)
            for name, what in (
                ("fungus", "not knowing the fungus"), ("extent", "not knowing how far it went"),
                ("wind", "wind and strength, or what a word stands for"),
                ("occupancy", "who is there"),
            )
        ),
        Column("unknown_most", Kind.LABEL, "what matters most of these", nullable=True,
               allowed=("fungus", "extent", "wind", "occupancy")),
        Column("rank", Kind.INT32, "by expected harm among trees with evidence, 1 the most",
               nullable=True, low=1),
        Column("rank_low", Kind.INT32, "10 % of that rank", nullable=True, low=1),
        Column("rank_high", Kind.INT32, "90 %", nullable=True, low=1),
        Column("harm_over_words", Kind.INT32, "trees with a worse word and less harm",
               nullable=True, low=0),
        Column("harm_under_words", Kind.INT32, "trees with a better word and more harm",
               nullable=True, low=0),
        Column("harm_by", Kind.LABEL, "link that makes most of that difference", nullable=True,
               allowed=("failure", "impact", "consequence", "parts")),
        Column("taxon_id", Kind.LABEL, "fungus of the highest action code", nullable=True),
        Column("action_code", Kind.INT8, "R0-R5 of that fungus", nullable=True, low=0, high=5),
        Column("no_climb", Kind.BOOL, "must not be climbed until assessed"),
        Column("make_safe", Kind.BOOL, "on the make-safe list"),
        Column("acknowledged_on", Kind.DATE, "make-safe acknowledged by a person", nullable=True),
        Column("advanced_assessment", Kind.BOOL, "a closer assessment is called for"),
        Column("last_looked_on", Kind.DATE, "latest inspection or sighting", nullable=True),
        Column("inspection_due_on", Kind.DATE, "next inspection by the cycle", nullable=True),
        Column("height_used_m", Kind.FLOAT, "height used, measured or filled", "m", nullable=True),
        Column("height_filled", Kind.BOOL, "the height was filled by allometry"),
        Column("occupancy_assumed", Kind.BOOL, "no target zone is known here"),
        Column("best_action", Kind.LABEL, "the action chosen", allowed=(*inputs.ACTIONS, "none")),
        Column("program_action", Kind.LABEL, "what the program alone would choose",
               allowed=(*inputs.ACTIONS, "none")),
        Column("program_rating", Kind.INT8, "rating before a person's override", "word",
               low=0, high=4),
        Column("decision", Kind.LABEL, "a person's standing decision", nullable=True,
               allowed=inputs.DECISIONS),
        Column("fact_set", Kind.INT64, "its statements in scoring.facts; trees without evidence "
               "share sets", low=0),
    ),
    _TO_TREE,
)  # fmt: skip

REVIEWS = TableSchema(
    "scoring",
    "reviews",
    "what needs a person, most urgent first",
    ("review_key",),
    (
        Column("review_key", Kind.INT64, "row number from 0", low=0),
        Column("urgency", Kind.INT8, "0 now, 1 this week, 2 this quarter, 3 when there is time",
               low=0, high=3),
        Column("code", Kind.LABEL, "kind of review"),
        Column("tree_key", Kind.INT64, "the tree, or -1", low=-1),
        Column("sighting_key", Kind.INT64, "the sighting, or -1", low=-1),
        Column("quarantine_key", Kind.INT64, "the row set aside, or -1", low=-1),
        Column("detail", Kind.TEXT, "values for the sentence, as JSON"),
    ),
    (ForeignKey("tree_key", "ingest.trees"), ForeignKey("sighting_key", "ingest.sightings"),
     ForeignKey("quarantine_key", "ingest.quarantine")),
)  # fmt: skip

FACTS = TableSchema(
    "scoring",
    "facts",
    "the statements behind a rating: raw material of every explanation",
    ("fact_set", "seq"),
    (
        Column("fact_set", Kind.INT64, "see scoring.tree_ratings.fact_set", low=0),
        Column("seq", Kind.INT32, "order from 0", low=0),
        Column("link", Kind.LABEL, "link of the chain",
               allowed=("seen", "fungus", "wood", "failure", "target", "consequence", "rating",
                        "action")),
        Column("statement", Kind.LABEL, "statement id; render.wording makes the sentence"),
        Column("values", Kind.TEXT, "values of the statement, as JSON with sorted keys"),
        Column("source", Kind.LABEL, "source id", nullable=True),
        Column("assumed", Kind.BOOL, "rests on an assumption"),
    ),
)  # fmt: skip

KEY_PARAMETERS = TableSchema(
    "scoring",
    "key_parameters",
    "the key to the fungi as one long table, for a page without a network; the sections are told "
    "in scoring.assembly.key_table",
    ("section", "taxon_id", "character", "state", "region"),
    (
        Column("section", Kind.LABEL, "what the row is",
               allowed=("taxon", "state", "region", "likelihood", "alike", "prior", "trait",
                        "attacks", "genus", "look", "look_order", "cost", "limit", "name",
                        "look_alike", "same_genus", "tell_apart")),
        Column("taxon_id", Kind.LABEL, "taxon, or ''"),
        Column("character", Kind.LABEL, "character, or ''"),
        Column("state", Kind.LABEL, "state or other member of a pair, or ''"),
        Column("region", Kind.LABEL, "region, or ''"),
        Column("number", Kind.FLOAT, "number of the section", nullable=True),
        Column("words", Kind.LABEL, "words of the section, or ''"),
    ),
)  # fmt: skip

SCORING_TABLES = (
    SIGHTING_TREES, TAXON_POSTERIORS, IDENTIFICATIONS, DECAY, STRENGTH, MECHANICS, FAILURE,
    IMPACTS,
    PART_RATINGS, TREE_RATINGS, CANDIDATE_ACTIONS, TESTS_THAT_PAY, INSPECTION_ROUNDS, REVIEWS,
    FACTS, KEY_PARAMETERS,
)  # fmt: skip
