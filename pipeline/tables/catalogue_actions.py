"""Tables of scoring on what is to be done: actions, the worth of tests, rounds of inspection."""

from pipeline.tables import inputs
from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

_TREE_KEY = Column("tree_key", Kind.INT64, "the tree", low=0)
_PART = Column("part", Kind.INT8, "0 roots, 1 butt, 2 stem, 3 branch", "word", low=0, high=3)
_TO_TREE = (ForeignKey("tree_key", "ingest.trees"),)

CANDIDATE_ACTIONS = TableSchema(
    "scoring",
    "candidate_actions",
    "what could be done to a tree, and what would be left",
    ("tree_key", "action"),
    (
        _TREE_KEY,
        Column("action", Kind.LABEL, "action", allowed=inputs.ACTIONS),
        _PART,
        Column("rule_id", Kind.LABEL, "row of config/rules/actions.csv"),
        Column("chosen", Kind.BOOL, "the rule table chose it"),
        Column("residual_rating", Kind.INT8, "rating that would be left", "word", low=0, high=4),
        Column("residual_harm_per_year", Kind.FLOAT, "expected harm left", "harm/year", low=0),
        Column("value_kept_share", Kind.FLOAT, "share of the tree's value that it keeps", "share",
               low=0, high=1),
        Column("deadline_days", Kind.INT32, "from the as-of date; empty means next cycle", "days",
               nullable=True, low=0),
        Column("crew_type", Kind.LABEL, "who can do it"),
        Column("machine", Kind.LABEL, "machine needed, 'none' if none"),
        Column("hours", Kind.FLOAT, "crew-hours at the tree", "hours", low=0),
        Column("season_code", Kind.LABEL, "restriction of config/rules/restrictions.csv that "
               "applies", nullable=True),
        Column("not_before", Kind.DATE, "earliest day outside the closed window that is on",
               nullable=True),
        Column("closed_days", Kind.LABEL, "closed days of the whole plan, first and last of each "
               "run as 2027-04-01/2027-08-31, parted by blanks", nullable=True),
        Column("overridden_by", Kind.LABEL, "what lifts the window here", nullable=True),
        Column("why", Kind.LABEL, "statement id of the reason"),
    ),
    _TO_TREE,
)  # fmt: skip

TESTS_THAT_PAY = TableSchema(
    "scoring",
    "tests_that_pay",
    "what each test that the rules list for a tree is worth",
    ("tree_key", "action"),
    (
        _TREE_KEY,
        Column("action", Kind.LABEL, "test", allowed=inputs.ACTIONS),
        _PART,
        *(
            Column(f"probability_{name}", Kind.FLOAT, meaning, "share", nullable=True, low=0,
                   high=1)
            for name, meaning in (
                ("changes", "that the result changes what is done"),
                ("spares", "that it calls for work that keeps more of the tree"),
                ("takes", "that it calls for work that keeps less of it"),
                ("together", "the first, if the other parts that can be tested prove sound"),
            )
        ),
        Column("harm_avoided_per_year", Kind.FLOAT, "expected harm avoided by acting on the "
               "result; below 0 where it spares a tree", "harm/year", nullable=True),
        Column("hours", Kind.FLOAT, "crew-hours of the test", "hours", low=0),
        Column("harm_avoided_per_hour", Kind.FLOAT, "the same for an hour of the test",
               "harm/year", nullable=True),
        Column("without", Kind.LABEL, "what would be done without any test", nullable=True,
               allowed=(*inputs.ACTIONS, "none")),
        Column("likeliest", Kind.LABEL, "what would most probably be done instead", nullable=True,
               allowed=(*inputs.ACTIONS, "none")),
        Column("chosen", Kind.BOOL, "it is to be done"),
        Column("also", Kind.TEXT, "other parts that the same test is to be set to, parted by |",
               nullable=True),
        Column("reason", Kind.LABEL, "why nothing was reckoned, or why it is worth nothing",
               nullable=True, allowed=("names_the_fungus", "no_mechanics", "cannot_see_rot")),
    ),
    _TO_TREE,
)  # fmt: skip

INSPECTION_ROUNDS = TableSchema(
    "scoring",
    "inspection_rounds",
    "the looks that are to be made, by ward and street; most harm for an hour first",
    ("round_key",),
    (
        Column("round_key", Kind.INT64, "row number from 0", low=0),
        Column("ward", Kind.TEXT, "ward", nullable=True),
        Column("street", Kind.TEXT, "street; empty where none is told: one square of the town",
               nullable=True),
        Column("trees", Kind.INT64, "trees to look at", low=1),
        Column("never", Kind.INT64, "of these, never inspected", low=0),
        Column("overdue", Kind.INT64, "of these, past their cycle", low=0),
        Column("due", Kind.INT64, "of these, due within the plan", low=0),
        Column("hours", Kind.FLOAT, "crew-hours at the trees", "hours", low=0),
        Column("harm_per_year", Kind.FLOAT, "expected harm of the trees, for ranking looks only",
               "harm/year", low=0),
        Column("earliest_due_on", Kind.DATE, "earliest due day among them", nullable=True),
        Column("x_m", Kind.FLOAT, "middle of the trees", "m"),
        Column("y_m", Kind.FLOAT, "middle of the trees", "m"),
    ),
)  # fmt: skip
