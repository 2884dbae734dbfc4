"""The canonical columns of every input, printed by `soundwood check --columns`.

A file that uses these names needs no column map. A city's own headers are mapped onto them by
config/columns/*.toml.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class InputColumn:
    """One canonical input column; `allowed` lists the words it takes, empty means free."""

    name: str
    kind: str  # text, number, integer, date, yes_no, word, words (several joined with |)
    meaning: str
    unit: str = ""
    allowed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class InputKind:
    """One kind of input file and its columns; `needs` names what a usable row must carry."""

    name: str
    meaning: str
    needs: str
    columns: tuple[InputColumn, ...]


TREE_STATUS = ("standing", "dead", "stump", "vacant", "removed", "habitat_pole")
CONDITIONS = ("good", "fair", "poor", "dead")
WIRES = ("none", "unknown", "communication", "low_voltage", "high_voltage")
PARTS = ("roots", "butt", "stem", "branch")
FORMS = (
    "shelf", "hoof", "stalked", "rosette", "crust", "club", "knob", "gilled_cluster", "tooth_mass",
    "ear", "cup", "ball",
)  # fmt: skip
COLOURS = (
    "white", "cream", "yellow", "orange", "salmon", "red", "red_brown", "tan", "brown", "grey",
    "black", "purple", "green",
)  # fmt: skip
UPPER_TEXTURES = (
    "smooth", "velvety", "hairy", "scaly", "zoned", "crusted", "cracked", "varnished", "waxy",
    "slimy",
)  # fmt: skip
UNDER_SURFACES = (
    "pores", "separate_tubes", "gills", "split_gills", "teeth", "maze", "smooth", "pimpled",
    "gleba",
)  # fmt: skip
FLESH = ("woody", "corky", "leathery", "fleshy", "brittle", "watery", "gelatinous")
ARRANGEMENTS = ("single", "few", "several", "overlapping", "cluster", "ring", "patch")
STALKS = ("none", "short", "lateral", "central")
BRUISING = ("none", "brown", "black", "red", "yellow")
ATTACHMENTS = ("attached", "soil_over_root", "free", "unknown")
POSITIONS = (
    "root_flare", "butt", "lower_stem", "stem", "fork", "branch", "branch_stub", "wound", "canker",
    "cavity", "stump", "soil_over_root", "soil", "mulch", "turf",
)  # fmt: skip
NAMED_BY = ("laboratory", "specialist", "trained_inspector", "public", "image_model", "unknown")
DEFECTS = (
    "none_seen", "decay", "cavity", "crack", "canker", "girth_wound", "crown_dieback",
    "weak_union", "girdling_root", "root_damage", "lean", "dead_tree", "dead_branch",
    "hanging_branch", "split", "obstruction",
)  # fmt: skip
READINGS = ("sounding", "probe", "drill", "core", "tomogram", "pull_test")
SOUNDING = ("sound", "hollow", "doubtful")
OCCUPANCY = ("rare", "occasional", "frequent", "constant")
ZONE_KINDS = (
    "school", "kindergarten", "hospital", "care_home", "playground", "market", "bus_stop", "path",
    "bridge", "square", "park", "sports", "car_park", "street", "railway", "building", "home",
    "cemetery", "water", "other",
)  # fmt: skip
DECISIONS = ("accept", "override", "pin", "defer", "acknowledge")
ACTIONS = (
    "make_safe", "remove", "habitat_pole", "prune_part", "reduce_crown", "dig_root_collar",
    "sound", "drill", "tomography", "pull_test", "expert_identification", "move_target",
    "retain_monitor", "inspect",
)  # fmt: skip

_T, _N, _D, _Y, _W = "text", "number", "date", "yes_no", "word"

TREES = InputKind(
    "trees",
    "the tree inventory, one row a tree or planting site",
    "a place: longitude and latitude, or x and y with a CRS, or geometry",
    (
        InputColumn("tree_id", _T, "the city's own id; one is made up where it is missing"),
        InputColumn("longitude", _N, "degrees east", "deg"),
        InputColumn("latitude", _N, "degrees north", "deg"),
        InputColumn("x", _N, "easting in the CRS of the settings"),
        InputColumn("y", _N, "northing in the CRS of the settings"),
        InputColumn("wkt", _T, "the place as well-known text, or as well-known binary in hex"),
        InputColumn("species", _T, "scientific or common name as the inventory writes it"),
        InputColumn("common_name", _T, "used where `species` says nothing"),
        InputColumn("dbh_cm", _N, "stem diameter at breast height", "cm"),
        InputColumn("girth_cm", _N, "girth at breast height; it checks the diameter", "cm"),
        InputColumn("height_m", _N, "total height", "m"),
        InputColumn("crown_width_m", _N, "mean crown diameter", "m"),
        InputColumn("crown_depth_m", _N, "from the lowest live branch to the top", "m"),
        InputColumn("stems", "integer", "number of stems"),
        InputColumn("condition", _W, "condition as the inventory states it", "", CONDITIONS),
        InputColumn("status", _W, "what stands there", "", TREE_STATUS),
        InputColumn("planted_on", _D, "planting date or year"),
        InputColumn("removed_on", _D, "date or year of removal; given means removed"),
        InputColumn("street", _T, "street name"),
        InputColumn("address", _T, "public address or place description"),
        InputColumn("ward", _T, "ward or district, where no ward polygons are given"),
        InputColumn("owner", _W, "whose land it is", "", ("public", "private", "unknown")),
        InputColumn("lean_deg", _N, "lean from the vertical", "deg"),
        InputColumn("wires", _W, "wires in or over the crown", "", WIRES),
        InputColumn("voltage_v", _N, "line voltage where known", "V"),
        InputColumn("notes", _T, "free text"),
        InputColumn("last_inspected_on", _D, "date of the last inspection"),
        InputColumn("last_pruned_on", _D, "date of the last pruning"),
    ),
)

SIGHTINGS = InputKind(
    "sightings",
    "fruiting bodies seen, one row a sighting",
    "a tree id or a place, and a date",
    (
        InputColumn("sighting_id", _T, "id of the sighting"),
        InputColumn("tree_id", _T, "the tree it was seen on, as the inventory names it"),
        InputColumn("longitude", _N, "degrees east", "deg"),
        InputColumn("latitude", _N, "degrees north", "deg"),
        InputColumn("x", _N, "easting in the CRS of the settings"),
        InputColumn("y", _N, "northing in the CRS of the settings"),
        InputColumn("accuracy_m", _N, "radius that holds the true place in 68 of 100 cases", "m"),
        InputColumn("seen_on", _D, "date of the sighting"),
        InputColumn("name", _T, "scientific or common name of the fungus"),
        InputColumn("name_certainty", _N, "0 to 1, as the observer states it", "share"),
        InputColumn("name_by", _W, "who named it", "", NAMED_BY),
        InputColumn("host", _T, "name of the host tree as told"),
        InputColumn("host_certain", _Y, "the host was certain"),
        InputColumn("attachment", _W, "attached to the tree or not", "", ATTACHMENTS),
        InputColumn("position", "words", "where it sits", "", POSITIONS),
        InputColumn("height_above_ground_m", _N, "height of the fruiting body", "m"),
        InputColumn("count", "integer", "number of fruiting bodies"),
        InputColumn("layers", "integer", "pore layers counted in a perennial conk"),
        InputColumn("width_cm", _N, "greatest width", "cm"),
        InputColumn("form", "words", "form", "", FORMS),
        InputColumn("upper_colour", "words", "colour above", "", COLOURS),
        InputColumn("under_colour", "words", "colour below", "", COLOURS),
        InputColumn("upper_texture", "words", "texture above", "", UPPER_TEXTURES),
        InputColumn("under_surface", "words", "what bears the spores", "", UNDER_SURFACES),
        InputColumn("flesh", "words", "flesh", "", FLESH),
        InputColumn("arrangement", "words", "arrangement", "", ARRANGEMENTS),
        InputColumn("stalk", "words", "stalk", "", STALKS),
        InputColumn("bruising", "words", "colour where bruised", "", BRUISING),
        InputColumn("photo", _T, "file name of a photograph"),
        InputColumn("observer", _T, "who saw it; becomes a pseudonym on reading"),
        InputColumn("notes", _T, "free text"),
        InputColumn("license", _T, "terms under which others may use the record"),
    ),
)

INSPECTIONS = InputKind(
    "inspections",
    "what an inspector found, one row a finding; `none_seen` says that somebody looked",
    "a tree id and a date",
    (
        InputColumn("inspection_id", _T, "rows with the same id are one inspection"),
        InputColumn("tree_id", _T, "the tree, as the inventory names it"),
        InputColumn("inspected_on", _D, "date"),
        InputColumn("part", _W, "part that the finding speaks of", "", PARTS),
        InputColumn("defect", _W, "what was seen", "", DEFECTS),
        InputColumn("extent_share", _N, "share of girth, crown or roots affected, 0 to 1", "share"),
        InputColumn("part_diameter_cm", _N, "diameter of the defective part", "cm"),
        InputColumn("side_deg", _N, "azimuth of the defect, clockwise from north", "deg"),
        InputColumn("lean_deg", _N, "lean from the vertical", "deg"),
        InputColumn("with_decay", _Y, "together with extensive decay"),
        InputColumn("with_crack", _Y, "together with a crack"),
        InputColumn("touches_soil", _Y, "a crack that reaches the soil"),
        InputColumn("soil_moved", _Y, "soil heaved, cracked or mounded on one side"),
        InputColumn("roots_broken", _Y, "fresh broken roots"),
        InputColumn("reading", _W, "kind of measurement", "", READINGS),
        InputColumn("reading_result", _W, "result of a sounding", "", SOUNDING),
        InputColumn("azimuth_deg", _N, "azimuth of the measurement", "deg"),
        InputColumn("section_diameter_cm", _N, "stem diameter at the measured section", "cm"),
        InputColumn("shell_cm", _N, "sound shell measured", "cm"),
        InputColumn("hollow_diameter_cm", _N, "diameter of the hollow or decayed core", "cm"),
        InputColumn("opening_cm", _N, "width of the opening along the girth", "cm"),
        InputColumn("decayed_share", _N, "decayed share of the section's area", "share"),
        InputColumn("topped", _Y, "the tree was topped"),
        InputColumn("dead_since", _D, "dead since"),
        InputColumn("wet_in_winter", _Y, "ground is wet in winter"),
        InputColumn("time_frame_years", _N, "time frame of the assessment", "years"),
        InputColumn("notes", _T, "free text"),
    ),
)

ZONES = InputKind(
    "zones",
    "who is under the trees: polygons, lines or points",
    "a geometry",
    (
        InputColumn("zone_id", _T, "id"),
        InputColumn("name", _T, "name that may be shown"),
        InputColumn("kind", _W, "kind of target", "", ZONE_KINDS),
        InputColumn("occupancy", _W, "the trade's word", "", OCCUPANCY),
        InputColumn("persons_per_h", _N, "mean persons passing per open hour", "persons/h"),
        InputColumn("open_hours", _T, "hours, as in OpenStreetMap: Mo-Fr 08:00-16:00"),
        InputColumn("months", _T, "months when it is used, as 9-6"),
        InputColumn("hours_per_day", _N, "hours of use a day, where open_hours is empty", "hours"),
        InputColumn("days_per_week", _N, "days of use in a week, with hours_per_day", "days"),
        InputColumn(
            "terms",
            _T,
            "first and last day of each term, in place of months: "
            "2026-09-07..2026-12-18; 2027-01-05..2027-06-24",
        ),
        InputColumn("vehicles_per_day", _N, "mean daily traffic", "vehicles/day"),
        InputColumn("speed_km_h", _N, "driven speed", "km/h"),
        InputColumn("longitude", _N, "degrees east", "deg"),
        InputColumn("latitude", _N, "degrees north", "deg"),
        InputColumn("wkt", _T, "geometry as well-known text"),
    ),
)

STREETS = InputKind(
    "streets",
    "street centre lines",
    "a line geometry",
    (
        InputColumn("street_id", _T, "id"),
        InputColumn("name", _T, "street name"),
        InputColumn("class", _T, "road class, as OpenStreetMap's highway values"),
        InputColumn("oneway", _T, "yes, no or -1 (against the line's direction)"),
        InputColumn("speed_km_h", _N, "driven speed", "km/h"),
        InputColumn("vehicles_per_day", _N, "mean daily traffic", "vehicles/day"),
    ),
)

WARDS = InputKind(
    "wards",
    "ward or district polygons",
    "a polygon geometry",
    (InputColumn("name", _T, "name of the ward"),),
)

BASEMAP = InputKind(
    "basemap",
    "water, parks and buildings; buildings also shelter and count as targets",
    "a geometry",
    (
        InputColumn("kind", _W, "what it is", "", ("water", "park", "building")),
        InputColumn("name", _T, "name that may be shown"),
    ),
)

DECISIONS_INPUT = InputKind(
    "decisions",
    "what people decided, append-only",
    "a tree id or a job id, a decision, a date and a role",
    (
        InputColumn("tree_id", _T, "the tree"),
        InputColumn("job_id", _T, "the job, as an earlier run named it"),
        InputColumn("decision", _W, "what was decided", "", DECISIONS),
        InputColumn("value", _T, "override: the action or rating word; pin: the quarter"),
        InputColumn("decided_on", _D, "date"),
        InputColumn("role", _T, "role of who decided; no names"),
        InputColumn("reason", _T, "why"),
        InputColumn("until", _D, "holds until"),
    ),
)

WORK_DONE = InputKind(
    "work_done",
    "what the crews brought back",
    "a tree id or a job id, a date and what was done",
    (
        InputColumn("job_id", _T, "the job, as an earlier run named it"),
        InputColumn("tree_id", _T, "the tree"),
        InputColumn("done_on", _D, "date"),
        InputColumn("action", _W, "what was done", "", ACTIONS),
        InputColumn("hours", _N, "crew-hours used", "hours"),
        InputColumn("decay_share_seen", _N, "decayed share of the cut surface", "share"),
        InputColumn("fungus_seen", _T, "fungus named at the cut"),
        InputColumn("notes", _T, "free text"),
    ),
)

INPUTS: dict[str, InputKind] = {
    kind.name: kind
    for kind in (
        TREES, SIGHTINGS, INSPECTIONS, ZONES, STREETS, WARDS, BASEMAP, DECISIONS_INPUT, WORK_DONE,
    )
}  # fmt: skip
