"""Tables of the scoring stage on the wood: how much is left, and whether it holds."""

from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

_TREE_KEY = Column("tree_key", Kind.INT64, "the tree", low=0)
_PART = Column("part", Kind.INT8, "0 roots, 1 butt, 2 stem, 3 branch", "word", low=0, high=3)
_TO_TREE = (ForeignKey("tree_key", "ingest.trees"),)

DECAY = TableSchema(
    "scoring",
    "decay",
    "decayed diameter over diameter at the critical section of a part, where evidence touches it",
    ("tree_key", "part"),
    (
        _TREE_KEY,
        _PART,
        Column("basis", Kind.LABEL, "what it rests on", allowed=("measured", "seen", "fungus")),
        Column("rot", Kind.INT8, "0 unknown, 1 white, 2 brown, 3 soft", "word", low=0, high=3),
        Column("taxon_id", Kind.LABEL, "most probable taxon at work", nullable=True),
        Column("decayed_share", Kind.FLOAT, "median of decayed / whole diameter", "share",
               nullable=True, low=0, high=1),
        Column("decayed_share_low", Kind.FLOAT, "10 %", "share", nullable=True, low=0, high=1),
        Column("decayed_share_high", Kind.FLOAT, "90 %", "share", nullable=True, low=0, high=1),
        Column("mean_share", Kind.FLOAT, "mean of decayed / whole diameter", "share",
               nullable=True, low=0, high=1),
        Column("probability_beyond", Kind.FLOAT, "that it is more than the serious share of "
               "config/published/decay_grid.csv", "share", nullable=True, low=0, high=1),
        Column("diameter_cm", Kind.FLOAT, "diameter of the section", "cm", nullable=True),
        Column("thinnest_shell_cm", Kind.FLOAT, "thinnest measured shell", "cm", nullable=True),
        Column("opening_share", Kind.FLOAT, "opening over girth", "share", nullable=True,
               low=0, high=1),
    ),
    _TO_TREE,
)  # fmt: skip

STRENGTH = TableSchema(
    "scoring",
    "strength",
    "published strength-loss formulae side by side for measured parts",
    ("tree_key", "part", "formula"),
    (
        _TREE_KEY,
        _PART,
        Column("formula", Kind.LABEL, "id of the formula in config/published/strength_limits.csv"),
        Column("loss_share", Kind.FLOAT, "strength lost, or the ratio the rule speaks of", "share"),
        Column("limit_share", Kind.FLOAT, "the rule's threshold", "share"),
        Column("passed", Kind.BOOL, "the threshold is passed: act"),
    ),
    _TO_TREE,
)

MECHANICS = TableSchema(
    "scoring",
    "mechanics",
    "chance of failing in the gusts of the place; trees without evidence by their size alone",
    ("tree_key", "part"),
    (
        _TREE_KEY,
        _PART,
        Column("applicable", Kind.BOOL, "wind mechanics speaks of such a tree"),
        Column("reason", Kind.LABEL, "why not, or 'branch_rate' where no part is computed",
               nullable=True,
               allowed=("palm", "multi_stem", "pole", "topped", "no_diameter", "branch_rate")),
        Column("critical_gust_m_per_s", Kind.FLOAT, "3-second gust at 10 m at the tree that fells "
               "half of such trees, at the mean decay", "m/s", nullable=True, low=0),
        Column("p1", Kind.FLOAT, "chance of failing within a year, mean over decay", "share",
               nullable=True, low=0, high=1),
        Column("p1_low", Kind.FLOAT, "10 % over decay", "share", nullable=True, low=0, high=1),
        Column("p1_high", Kind.FLOAT, "90 % over decay", "share", nullable=True, low=0, high=1),
        Column("p3", Kind.FLOAT, "chance within three years", "share", nullable=True,
               low=0, high=1),
        Column("failure", Kind.INT8, "its word, where something speaks of the part's decay",
               "word", nullable=True, low=1, high=4),
        *(
            Column(f"share_{name}", Kind.FLOAT, f"probability of the word {name}", "share",
                   nullable=True, low=0, high=1)
            for name in ("improbable", "possible", "probable", "imminent")
        ),
        Column("height_filled", Kind.BOOL, "the height was filled from the diameter"),
        Column("crown_filled", Kind.BOOL, "the crown was filled from the diameter"),
    ),
    _TO_TREE,
)  # fmt: skip
