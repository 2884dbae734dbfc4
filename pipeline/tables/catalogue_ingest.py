"""Tables that the ingest stage writes."""

from pipeline.tables import inputs
from pipeline.tables.catalogue_account import ACCOUNT_TABLES
from pipeline.tables.catalogue_notes import NOTES
from pipeline.tables.catalogue_places import PLACE_TABLES
from pipeline.tables.catalogue_reading import READING_TABLES
from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

_TREE_KEY = Column("tree_key", Kind.INT64, "row number of the tree in ingest.trees, from 0", low=0)
_ANY_TREE = Column(
    "tree_key", Kind.INT64, "the tree, or -1 for a tree that is not in the inventory", low=-1
)
_X = Column("x_m", Kind.FLOAT, "easting in the run's metric CRS", "m")
_Y = Column("y_m", Kind.FLOAT, "northing in the run's metric CRS", "m")
_X_OR_NONE = Column("x_m", Kind.FLOAT, "easting in the run's metric CRS", "m", nullable=True)
_Y_OR_NONE = Column("y_m", Kind.FLOAT, "northing in the run's metric CRS", "m", nullable=True)
_SOURCE = Column("source_key", Kind.INT32, "the file, see ingest.sources", low=0)
_ROW = Column(
    "row", Kind.INT64, "record number in the file, the first after the header is 1", low=1
)
_FLAGS = Column("flags", Kind.LABEL, "faults and fillings met in the row, codes joined with |")
ORIGINS = ("reported", "column", "note")
_ORIGIN = Column("origin", Kind.LABEL,
                 "reported by a person, or read from a column or a note of the tree's row",
                 allowed=ORIGINS)  # fmt: skip
_QUOTED = Column("quoted", Kind.TEXT, "the words on which it rests, where it was read from a row",
                 nullable=True)  # fmt: skip

TREES = TableSchema(
    "ingest",
    "trees",
    "every accepted tree or planting site",
    ("tree_key",),
    (
        _TREE_KEY,
        Column("tree_id", Kind.TEXT, "the city's id, unique; '<id>~2' where the city repeats one"),
        Column("id_made_up", Kind.BOOL, "the file carries no id"),
        _SOURCE,
        _ROW,
        _X,
        _Y,
        Column("shares_place", Kind.INT32, "rows with exactly this point, itself included", low=1),
        Column("place_doubtful", Kind.BOOL, "outside the wards, swapped back, or rounded"),
        Column("species_text", Kind.LABEL, "species as the file writes it", nullable=True),
        Column("species", Kind.LABEL, "accepted scientific name", nullable=True),
        Column("genus", Kind.LABEL, "genus, where at least that is known", nullable=True),
        Column(
            "wood",
            Kind.LABEL,
            "broadleaf, conifer, palm or other",
            nullable=True,
            allowed=("broadleaf", "conifer", "palm", "other"),
        ),
        Column(
            "species_how",
            Kind.LABEL,
            "how the name was resolved",
            allowed=(
                "exact",
                "synonym",
                "common_name",
                "misspelling",
                "genus_only",
                "unknown",
                "missing",
            ),
        ),
        Column(
            "dbh_cm",
            Kind.FLOAT,
            "stem diameter at breast height",
            "cm",
            nullable=True,
            low=0.1,
            high=1500,
        ),
        Column(
            "dbh_how",
            Kind.LABEL,
            "where the diameter comes from",
            allowed=("measured", "girth", "class", "missing", "impossible"),
        ),
        Column("height_m", Kind.FLOAT, "height", "m", nullable=True, low=0.1, high=130),
        Column("crown_width_m", Kind.FLOAT, "crown diameter", "m", nullable=True, low=0.1, high=80),
        Column(
            "crown_depth_m",
            Kind.FLOAT,
            "from the lowest live branch to the top",
            "m",
            nullable=True,
            low=0.1,
            high=130,
        ),
        Column("stems", Kind.INT16, "number of stems", nullable=True, low=1),
        Column(
            "condition",
            Kind.LABEL,
            "condition as the inventory states it",
            nullable=True,
            allowed=inputs.CONDITIONS,
        ),
        Column("status", Kind.LABEL, "what stands there", allowed=inputs.TREE_STATUS),
        Column("planted_year", Kind.INT16, "year of planting", nullable=True),
        Column("street", Kind.LABEL, "street name", nullable=True),
        Column("address", Kind.TEXT, "public address or place description", nullable=True),
        Column("ward", Kind.LABEL, "ward", nullable=True),
        Column("owner", Kind.LABEL, "whose land", allowed=("public", "private", "unknown")),
        Column("lean_deg", Kind.FLOAT, "lean from the vertical", "deg", nullable=True),
        Column("wires", Kind.LABEL, "wires in or over the crown", allowed=inputs.WIRES),
        Column("voltage_v", Kind.FLOAT, "line voltage", "V", nullable=True),
        Column("notes", Kind.TEXT, "free text of the file", nullable=True),
        Column(
            "last_inspected_on", Kind.DATE, "latest inspection known from any input", nullable=True
        ),
        Column("last_pruned_on", Kind.DATE, "last pruning", nullable=True),
        _FLAGS,
    ),
    (ForeignKey("source_key", "ingest.sources"),),
)

SIGHTINGS = TableSchema(
    "ingest",
    "sightings",
    "every accepted sighting of a fruiting body",
    ("sighting_key",),
    (
        Column("sighting_key", Kind.INT64, "row number from 0", low=0),
        Column("sighting_id", Kind.TEXT, "the file's id, or one made of file and row"),
        _SOURCE,
        _ROW,
        Column("tree_id_told", Kind.TEXT, "tree id as told", nullable=True),
        _X_OR_NONE,
        _Y_OR_NONE,
        Column("accuracy_m", Kind.FLOAT, "68 % radius", "m", nullable=True, low=0),
        Column("seen_on", Kind.DATE, "date", nullable=True),
        Column("name_text", Kind.LABEL, "name as told", nullable=True),
        Column("taxon_id", Kind.LABEL, "taxon of the catalogue that the name means", nullable=True),
        Column("name_how", Kind.LABEL, "how the name was resolved",
               allowed=("exact", "synonym", "common_name", "misspelling", "genus_only",
                        "unknown", "missing")),
        Column("name_certainty", Kind.FLOAT, "as the observer states it", "share", nullable=True,
               low=0, high=1),
        Column("name_by", Kind.LABEL, "who named it", allowed=inputs.NAMED_BY),
        Column("host_text", Kind.LABEL, "host as told", nullable=True),
        Column("host_certain", Kind.BOOL, "the host told is certain", nullable=True),
        Column("attachment", Kind.LABEL, "attached or not", allowed=inputs.ATTACHMENTS),
        Column("position", Kind.LABEL, "where it sits, words joined with |", nullable=True),
        Column("height_above_ground_m", Kind.FLOAT, "height", "m", nullable=True),
        Column("count", Kind.INT32, "fruiting bodies", nullable=True, low=0),
        Column("layers", Kind.INT32, "pore layers", nullable=True, low=0),
        Column("width_cm", Kind.FLOAT, "greatest width", "cm", nullable=True),
        *(
            Column(name, Kind.LABEL, f"{name}, words joined with |", nullable=True)
            for name in ("form", "upper_colour", "under_colour", "upper_texture", "under_surface",
                         "flesh", "arrangement", "stalk", "bruising")
        ),
        Column("photo", Kind.TEXT, "file name", nullable=True),
        Column("observer", Kind.LABEL, "pseudonym", nullable=True),
        Column("notes", Kind.TEXT, "free text", nullable=True),
        Column("license", Kind.LABEL, "terms under which others may use it", nullable=True),
        Column("match", Kind.LABEL, "how it was joined to a tree",
               allowed=("by_id", "by_place", "ambiguous", "unmatched", "not_decay")),
        Column("tree_key", Kind.INT64, "the tree it is attached to, or -1", low=-1),
        Column("match_weight", Kind.FLOAT, "weight of the best candidate", "share", low=0, high=1),
        Column("match_note", Kind.LABEL,
               "why it is ambiguous, unmatched or in conflict; a code", nullable=True,
               allowed=("id_unknown", "id_and_place_disagree", "no_place", "accuracy_unknown",
                        "accuracy_beyond_cap", "no_tree_near", "several_trees_near",
                        "free_in_soil", "tree_not_standing")),
        _ORIGIN,
        _QUOTED,
        _FLAGS,
    ),
    (ForeignKey("tree_key", "ingest.trees"), ForeignKey("source_key", "ingest.sources")),
)  # fmt: skip

SIGHTING_MATCHES = TableSchema(
    "ingest",
    "sighting_matches",
    "candidate trees of each sighting with a place, weights sum to one over a sighting",
    ("sighting_key", "tree_key"),
    (
        Column("sighting_key", Kind.INT64, "the sighting", low=0),
        _ANY_TREE,
        Column("distance_m", Kind.FLOAT, "from the told place", "m", nullable=True, low=0),
        Column("weight", Kind.FLOAT, "probability by distance alone", "share", low=0, high=1),
    ),
    (ForeignKey("sighting_key", "ingest.sightings"), ForeignKey("tree_key", "ingest.trees")),
)

INSPECTIONS = TableSchema(
    "ingest",
    "inspections",
    "one row an inspection of a tree",
    ("inspection_key",),
    (
        Column("inspection_key", Kind.INT64, "row number from 0", low=0),
        Column("inspection_id", Kind.TEXT, "the file's id, or tree and date"),
        _TREE_KEY,
        Column("inspected_on", Kind.DATE, "date"),
        Column("findings", Kind.INT32, "defects noted", low=0),
        Column("topped", Kind.BOOL, "topped", nullable=True),
        Column("dead_since", Kind.DATE, "dead since", nullable=True),
        Column("wet_in_winter", Kind.BOOL, "wet ground in winter", nullable=True),
        Column("time_frame_years", Kind.FLOAT, "time frame", "years", nullable=True),
        Column("notes", Kind.TEXT, "free text, several rows joined", nullable=True),
    ),
    (ForeignKey("tree_key", "ingest.trees"),),
)

DEFECTS = TableSchema(
    "ingest",
    "defects",
    "one row a defect that an inspector saw",
    ("defect_key",),
    (
        Column("defect_key", Kind.INT64, "row number from 0", low=0),
        Column(
            "inspection_key", Kind.INT64, "the inspection, or -1 if read from a tree's row", low=-1
        ),
        _TREE_KEY,
        Column("seen_on", Kind.DATE, "date of the inspection, or of the row", nullable=True),
        Column("part", Kind.LABEL, "part", allowed=inputs.PARTS),
        Column("defect", Kind.LABEL, "what", allowed=inputs.DEFECTS),
        Column(
            "extent_share",
            Kind.FLOAT,
            "share of girth, crown or roots",
            "share",
            nullable=True,
            low=0,
            high=1,
        ),
        Column("part_diameter_cm", Kind.FLOAT, "diameter of the part", "cm", nullable=True),
        Column("side_deg", Kind.FLOAT, "azimuth", "deg", nullable=True, low=0, high=360),
        Column("lean_deg", Kind.FLOAT, "lean", "deg", nullable=True),
        Column("with_decay", Kind.BOOL, "with extensive decay"),
        Column("with_crack", Kind.BOOL, "with a crack"),
        Column("touches_soil", Kind.BOOL, "reaches the soil"),
        Column("soil_moved", Kind.BOOL, "soil heaved or cracked"),
        Column("roots_broken", Kind.BOOL, "fresh broken roots"),
        Column("latest", Kind.BOOL, "from the latest inspection of this tree"),
        _ORIGIN,
        _QUOTED,
        _FLAGS,
    ),
    (ForeignKey("tree_key", "ingest.trees"), ForeignKey("inspection_key", "ingest.inspections")),
)

READINGS = TableSchema(
    "ingest",
    "readings",
    "one row a measurement of sound or decayed wood",
    ("reading_key",),
    (
        Column("reading_key", Kind.INT64, "row number from 0", low=0),
        Column(
            "inspection_key", Kind.INT64, "the inspection, or -1 if read from a tree's row", low=-1
        ),
        _TREE_KEY,
        Column("measured_on", Kind.DATE, "date", nullable=True),
        Column("part", Kind.LABEL, "part", allowed=inputs.PARTS),
        Column("reading", Kind.LABEL, "kind", allowed=inputs.READINGS),
        Column("reading_result", Kind.LABEL, "sounding", nullable=True, allowed=inputs.SOUNDING),
        Column("azimuth_deg", Kind.FLOAT, "azimuth", "deg", nullable=True, low=0, high=360),
        Column("section_diameter_cm", Kind.FLOAT, "diameter there", "cm", nullable=True),
        Column("shell_cm", Kind.FLOAT, "sound shell", "cm", nullable=True, low=0),
        Column("hollow_diameter_cm", Kind.FLOAT, "hollow", "cm", nullable=True, low=0),
        Column("opening_cm", Kind.FLOAT, "opening along the girth", "cm", nullable=True, low=0),
        Column("decayed_share", Kind.FLOAT, "of the section's area", "share", nullable=True,
               low=0, high=1),
        _ORIGIN,
        _QUOTED,
    ),
    (ForeignKey("tree_key", "ingest.trees"), ForeignKey("inspection_key", "ingest.inspections")),
)  # fmt: skip


DECISIONS = TableSchema(
    "ingest",
    "decisions",
    "what people decided, in file order; later rows stand over earlier ones",
    ("decision_key",),
    (
        Column("decision_key", Kind.INT64, "row number from 0", low=0),
        Column("tree_key", Kind.INT64, "the tree, or -1 if no longer in the inventory", low=-1),
        Column("tree_id", Kind.TEXT, "as told", nullable=True),
        Column("job_id", Kind.TEXT, "as told", nullable=True),
        Column("decision", Kind.LABEL, "what", allowed=inputs.DECISIONS),
        Column("value", Kind.TEXT, "action, rating word or quarter", nullable=True),
        Column("decided_on", Kind.DATE, "date"),
        Column("role", Kind.LABEL, "who, as a role", nullable=True),
        Column("reason", Kind.TEXT, "why", nullable=True),
        Column("until", Kind.DATE, "holds until", nullable=True),
        _ORIGIN,
        _QUOTED,
    ),
)

WORK_DONE = TableSchema(
    "ingest",
    "work_done",
    "what crews brought back",
    ("work_key",),
    (
        Column("work_key", Kind.INT64, "row number from 0", low=0),
        Column("tree_key", Kind.INT64, "the tree, or -1", low=-1),
        Column("tree_id", Kind.TEXT, "as told", nullable=True),
        Column("job_id", Kind.TEXT, "as told", nullable=True),
        Column("done_on", Kind.DATE, "date"),
        Column("action", Kind.LABEL, "what was done", allowed=inputs.ACTIONS),
        Column("hours", Kind.FLOAT, "crew-hours", "hours", nullable=True, low=0),
        Column("decay_share_seen", Kind.FLOAT, "decay at the cut", "share", nullable=True),
        Column("fungus_seen", Kind.LABEL, "fungus at the cut", nullable=True),
        Column("notes", Kind.TEXT, "free text", nullable=True),
    ),
)


INGEST_TABLES = (
    TREES, SIGHTINGS, SIGHTING_MATCHES, INSPECTIONS, DEFECTS, READINGS, DECISIONS, WORK_DONE,
    *PLACE_TABLES, *ACCOUNT_TABLES, *READING_TABLES, NOTES,
)  # fmt: skip
