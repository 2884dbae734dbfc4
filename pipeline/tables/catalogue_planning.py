"""Tables that the planning stage writes."""

from pipeline.tables import inputs
from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

_JOB = Column("job_id", Kind.TEXT, "id of the job: tree id and action, stable from run to run")
_CREW = Column("crew_id", Kind.LABEL, "crew of the settings")

# A test of a tree may lift a cut that is presumed: it comes before it.
TESTS = ("dig_root_collar", "sound", "drill", "tomography", "pull_test", "expert_identification")
CUTS = ("remove", "habitat_pole")
# What falls or is pulled while people pass: kept out of the times when children come and go.
OVER_PATHS = (*CUTS, "prune_part", "reduce_crown", "pull_test")
SCHOOLS = ("school", "kindergarten")

JOBS = TableSchema(
    "planning",
    "jobs",
    "all work that follows from the chosen actions, inspections included",
    ("job_key",),
    (
        Column("job_key", Kind.INT64, "row number from 0", low=0),
        _JOB,
        Column("tree_key", Kind.INT64, "the tree", low=0),
        Column("action", Kind.LABEL, "what", allowed=inputs.ACTIONS),
        Column("part", Kind.INT8, "part it is done to", "word", low=0, high=3),
        Column(
            "crew_type", Kind.LABEL, "crew asked for; config/rules/crew_types.csv: who else can"
        ),
        Column("machine", Kind.LABEL, "machine, 'none' if none"),
        Column(
            "hours",
            Kind.FLOAT,
            "crew-hours at the tree; set-up and travel come on top",
            "hours",
            low=0,
        ),
        Column(
            "cost", Kind.FLOAT, "hours by the crew's hourly rate", "money", nullable=True, low=0
        ),
        Column("deadline_on", Kind.DATE, "to be done by", nullable=True),
        Column("not_before", Kind.DATE, "closed window ends", nullable=True),
        Column(
            "closed_days",
            Kind.LABEL,
            "closed days of the whole plan, see scoring.candidate_actions",
            nullable=True,
        ),
        Column("season_code", Kind.LABEL, "restriction that applies", nullable=True),
        Column("rating", Kind.INT8, "rating of the tree", "word", low=0, high=4),
        Column(
            "harm_removed",
            Kind.FLOAT,
            "expected harm removed; for looks and tests by them and what follows from them",
            "harm/year",
            low=0,
        ),
        Column("make_safe", Kind.BOOL, "first on every list"),
        Column("no_climb", Kind.BOOL, "must not be climbed"),
        Column("pinned_quarter", Kind.LABEL, "a person pinned it there", nullable=True),
        Column("deferred_until", Kind.DATE, "a person deferred it", nullable=True),
        Column("ward", Kind.LABEL, "ward", nullable=True),
        Column("x_m", Kind.FLOAT, "easting", "m"),
        Column("y_m", Kind.FLOAT, "northing", "m"),
    ),
    (ForeignKey("tree_key", "ingest.trees"),),
)

QUEUE = TableSchema(
    "planning",
    "queue",
    "jobs placed in a quarter, in the order of the list",
    ("queue_rank",),
    (
        Column("queue_rank", Kind.INT64, "place in the list from 1", low=1),
        Column("job_key", Kind.INT64, "the job", low=0),
        Column(
            "quarter", Kind.LABEL, "as 2027Q1; before the first planned one: at once, or lead-in"
        ),
        _CREW,
        Column(
            "day",
            Kind.DATE,
            "first day of the work up to the end of the first quarter, empty in later ones",
            nullable=True,
        ),
        Column(
            "late_days",
            Kind.INT32,
            "days after the deadline, from the day or the later quarter's first day",
            "days",
            low=0,
        ),
    ),
    (ForeignKey("job_key", "planning.jobs"),),
)

UNSCHEDULED = TableSchema(
    "planning",
    "unscheduled",
    "jobs left out, each with one binding reason",
    ("job_key",),
    (
        Column("job_key", Kind.INT64, "the job", low=0),
        Column("reason", Kind.LABEL, "the binding reason",
               allowed=("no_crew_of_type", "no_machine", "no_hours_left", "out_of_season",
                        "deferred", "longer_than_shift", "do_not_climb_no_lift",
                        "no_money_left", "no_machine_hours_left")),
        Column("detail", Kind.TEXT, "in words, with numbers"),
    ),
    (ForeignKey("job_key", "planning.jobs"),),
)  # fmt: skip

ROUTES = TableSchema(
    "planning",
    "routes",
    "one row a crew and day up to the end of the first quarter",
    ("day", "crew_id"),
    (
        Column("day", Kind.DATE, "day"),
        _CREW,
        Column("depot", Kind.LABEL, "start and end"),
        Column("stops", Kind.INT32, "number of stops", low=1),
        Column("start_min", Kind.FLOAT, "leaves the depot, minutes after midnight", "min"),
        Column("end_min", Kind.FLOAT, "back at the depot, minutes after midnight", "min"),
        Column("drive_min", Kind.FLOAT, "driving", "min", low=0),
        Column("work_min", Kind.FLOAT, "work and set-up", "min", low=0),
        Column("wait_min", Kind.FLOAT, "waiting for a time that work keeps free", "min", low=0),
        Column("break_start_min", Kind.FLOAT, "break, minutes after midnight; empty: none", "min",
               nullable=True),
        Column("break_min", Kind.FLOAT, "length of the break", "min", low=0),
        Column("length_m", Kind.FLOAT, "driven", "m", low=0),
        Column("searched", Kind.BOOL, "the routing library ordered the stops, not insertion alone"),
        Column("how", Kind.LABEL, "how travel was found",
               allowed=("streets", "straight_line", "mixed")),
        Column("geometry", Kind.WKB, "line driven, in the run's metric CRS"),
    ),
)  # fmt: skip

STOPS = TableSchema(
    "planning",
    "stops",
    "stops in driving order; a job longer than a shift stands on several days",
    ("day", "crew_id", "seq"),
    (
        Column("day", Kind.DATE, "day"),
        _CREW,
        Column("seq", Kind.INT32, "from 1", low=1),
        Column("job_key", Kind.INT64, "the job", low=0),
        Column("arrive_min", Kind.FLOAT, "minutes after midnight", "min"),
        Column("begin_min", Kind.FLOAT, "work begins, after set-up and any wait", "min"),
        Column("leave_min", Kind.FLOAT, "minutes after midnight", "min"),
        Column("drive_min", Kind.FLOAT, "from the stop before", "min", low=0),
        Column("drive_m", Kind.FLOAT, "from the stop before", "m", low=0),
        Column("how", Kind.LABEL, "how the leg was found", allowed=("streets", "straight_line")),
    ),
    (ForeignKey("job_key", "planning.jobs"),),
)

FIGURES = TableSchema(
    "planning",
    "figures",
    "what the plan comes to, and what is certain about it; routine looks are not among it",
    ("plan",),
    (
        Column("plan", Kind.LABEL, "the selection, by order of urgency, by habit (worst rating "
               "first, then first come first served), a what-if, or a bound that none can beat"),
        Column("kind", Kind.LABEL, "what it is",
               allowed=("plan", "urgency", "habit", "what_if", "hours", "bound")),
        Column("how", Kind.LABEL, "how it was found",
               allowed=("solved", "stopped early", "greedy", "by prices")),
        Column("hours", Kind.FLOAT, "hours of all crews in all quarters", "hours", low=0),
        Column("weighted_late_days", Kind.FLOAT, "days late, weighed by config/rules/late_days.csv",
               "days", low=0),
        Column("late_jobs", Kind.INT64, "jobs that miss their deadline, or are left out after it",
               nullable=True, low=0),
        Column("harm_avoided", Kind.FLOAT, "expected harm avoided in the years counted", "harm",
               low=0),
        Column("harm_first_quarter", Kind.FLOAT, "expected harm a year removed by the end of the "
               "first quarter", "harm/year", nullable=True, low=0),
        Column("cost", Kind.FLOAT, "money", "money", nullable=True, low=0),
        Column("jobs", Kind.INT64, "jobs in the plan", nullable=True, low=0),
    ),
)  # fmt: skip

PRICES = TableSchema(
    "planning",
    "prices",
    "what one more unit of a limit would bring, as the selection prices it",
    ("limit", "what", "quarter"),
    (
        Column("limit", Kind.LABEL, "kind of limit", allowed=("hours", "machine", "money")),
        Column("what", Kind.LABEL, "crews or machine; 'money'"),
        Column("quarter", Kind.LABEL, "as 2027Q1; 'lead-in' before the first, 'all' for money"),
        Column("harm_avoided", Kind.FLOAT, "expected harm avoided by one more unit", "harm", low=0),
        Column("weighted_late_days", Kind.FLOAT, "saved by one more unit", "days", low=0),
        Column("unit", Kind.LABEL, "of the limit", allowed=("hour", "money")),
    ),
)  # fmt: skip

PLANNING_TABLES = (JOBS, QUEUE, UNSCHEDULED, ROUTES, STOPS, FIGURES, PRICES)
