"""The parameter objects of the maths, built from the published tables as they lie.

`change` replaces cells before building: {(table, row number): {column: text}}. The stage has its
own builder; this one exists so that a test of the maths needs no stage.
"""

from collections.abc import Mapping
from functools import cache

import numpy as np
import numpy.typing as npt

from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.decay.strength import StrengthLimits
from pipeline.scoring.failure.bands import FailureBands
from pipeline.scoring.failure.fungus import ATTACHMENTS, CODES, MATCHES, FungusRules
from pipeline.scoring.failure.measured import MeasuredWords
from pipeline.scoring.failure.visual import (
    ANY,
    DEFECTS_FROM_READINGS,
    NEEDS,
    SAME_PART,
    UNKNOWN,
    DefectKinds,
    VisualRules,
)
from pipeline.scoring.identification.catalogue import Catalogue
from pipeline.scoring.identification.names import NameCertainty
from pipeline.scoring.rating.matrix import RiskMatrices
from pipeline.scoring.rating.points import PointsScheme
from pipeline.tables import inputs
from pipeline.terms import (
    ConsequenceWord,
    FailureWord,
    ImpactWord,
    LikelihoodWord,
    OccupancyWord,
    Part,
    RatingWord,
    from_word,
    word,
)
from pipeline.units import Flags, Ints, Words

Change = Mapping[tuple[str, int], Mapping[str, str]]
NO_CHANGE: Change = {}
DEFECTS = (*inputs.DEFECTS, *DEFECTS_FROM_READINGS)
WOODS = ("broadleaf", "conifer")


@cache
def _library() -> Library:
    return Library()


def table(name: str, change: Change = NO_CHANGE) -> PublishedTable:
    """A published table with some cells changed."""
    whole = _library().table(name)
    rows = tuple({**row, **change.get((name, n), {})} for n, row in enumerate(whole.rows))
    return PublishedTable(whole.name, whole.columns, rows)


def failure_words(texts: tuple[str, ...]) -> Words:
    """Failure words as numbers."""
    return np.array([from_word(FailureWord, text) for text in texts], dtype=np.int8)


def _integers(t: PublishedTable, column: str) -> Words:
    return t.numbers(column).astype(np.int8)


def _flags(t: PublishedTable, column: str) -> Flags:
    return np.asarray(t.numbers(column) == 1)


def _places(texts: tuple[str, ...], among: tuple[str, ...], other: int) -> Ints:
    return np.array([among.index(x) if x in among else other for x in texts], dtype=np.int64)


def name_certainty(change: Change = NO_CHANGE) -> NameCertainty:
    """From name_certainty.csv."""
    t = table("name_certainty", change)
    return NameCertainty(
        t.texts("name_by"), t.numbers("certainty_cap_share"), t.numbers("heard_from_share")
    )


def catalogue() -> Catalogue:
    """From taxa.csv, with 'unlisted' last."""
    t = table("taxa")
    attacks = np.stack([_flags(t, f"attacks_{word(part)}") for part in Part], axis=1)
    rots = ("none", "white", "brown", "soft")
    return Catalogue(
        taxon_id=(*t.texts("taxon_id"), "unlisted"),
        action_code=np.array([*(int(c[1]) for c in t.texts("action_code")), 0], dtype=np.int8),
        attacks=np.vstack([attacks, np.zeros((1, len(Part)), dtype=np.bool_)]),
        rot=np.array([*(rots.index(r) for r in t.texts("rot_type")), 0], dtype=np.int8),
    )


def position_parts(change: Change = NO_CHANGE) -> dict[str, npt.NDArray[np.bool_]]:
    """From position_parts.csv: position to flags of the four parts."""
    t = table("position_parts", change)
    flags = np.stack([_flags(t, word(part)) for part in Part], axis=1)
    return dict(zip(t.texts("position"), flags, strict=True))


def strength_limits(change: Change = NO_CHANGE) -> StrengthLimits:
    """From strength_limits.csv."""
    t = table("strength_limits", change)
    return StrengthLimits(
        formula=t.texts("formula"),
        passed_when=t.texts("passed_when"),
        act=t.numbers("act_share"),
        caution=t.numbers("caution_share"),
        for_closed=_flags(t, "for_closed"),
        for_open=_flags(t, "for_open"),
    )


def measured_words(change: Change = NO_CHANGE) -> MeasuredWords:
    """From strength_limits.csv."""
    t = table("strength_limits", change)
    return MeasuredWords(
        within=failure_words(t.texts("failure_within")),
        passed=failure_words(t.texts("failure_passed")),
        passed_with_crack=failure_words(t.texts("failure_passed_with_crack")),
        points_within=_integers(t, "points_within"),
        points_passed=_integers(t, "points_passed"),
        points_passed_with_crack=_integers(t, "points_passed_with_crack"),
    )


def visual_rules(change: Change = NO_CHANGE) -> VisualRules:
    """From failure_criteria.csv."""
    t = table("failure_criteria", change)
    parts = tuple(word(part) for part in Part)
    return VisualRules(
        rule_id=t.texts("rule_id"),
        defect=_places(t.texts("defect"), DEFECTS, -1),
        part=_places(t.texts("part"), parts, ANY),
        fails=_places(t.texts("fails"), parts, SAME_PART),
        wood=_places(t.texts("wood"), WOODS, ANY),
        extent_from=t.numbers("extent_from_share"),
        extent_above=t.numbers("extent_above_share"),
        diameter_from=t.numbers("diameter_from_cm"),
        if_unknown=_places(t.texts("if_unknown"), UNKNOWN, -1),
        needs=np.stack([_flags(t, need) for need in NEEDS], axis=1),
        word=failure_words(t.texts("failure")),
        points=_integers(t, "points"),
        act_at_once=_flags(t, "act_at_once"),
    )


def defect_kinds() -> DefectKinds:
    """Places of the codes that the rules treat apart."""
    return DefectKinds(
        dead_tree=DEFECTS.index("dead_tree"),
        decay=DEFECTS.index("decay"),
        cavity=DEFECTS.index("cavity"),
        none_seen=DEFECTS.index("none_seen"),
        crack=DEFECTS.index("crack"),
        split=DEFECTS.index("split"),
    )


def fungus_rules(change: Change = NO_CHANGE) -> FungusRules:
    """From fungus_failure.csv."""
    t = table("fungus_failure", change)
    at = (
        _places(t.texts("action_code"), CODES, -1),
        _places(t.texts("attachment"), ATTACHMENTS, -1),
        _places(t.texts("position_match"), MATCHES, -1),
    )
    shape = (len(CODES), len(ATTACHMENTS), len(MATCHES))
    words, points = np.zeros(shape, dtype=np.int8), np.zeros(shape, dtype=np.int8)
    row = np.full(shape, -1, dtype=np.int64)
    words[at], points[at] = failure_words(t.texts("failure")), _integers(t, "points")
    row[at] = np.arange(len(t))
    return FungusRules(words, points, row, t.texts("rule_id"), t.texts("advice"))


def failure_bands(change: Change = NO_CHANGE) -> FailureBands:
    """From failure_bands.csv."""
    t = table("failure_bands", change)
    order = [t.texts("failure").index(word(w)) for w in FailureWord]
    return FailureBands(
        t.numbers("probability_low_per_year")[order], t.numbers("probability_high_per_year")[order]
    )


def risk_matrices(change: Change = NO_CHANGE) -> RiskMatrices:
    """From likelihood_matrix.csv and risk_matrix.csv."""
    first = table("likelihood_matrix", change).matrix(
        rows="failure",
        columns="impact",
        value="likelihood",
        row_order=[word(w) for w in FailureWord],
        order=[word(w) for w in ImpactWord],
    )
    second = table("risk_matrix", change).matrix(
        rows="likelihood",
        columns="consequence",
        value="rating",
        row_order=[word(w) for w in LikelihoodWord],
        order=[word(w) for w in ConsequenceWord],
    )
    return RiskMatrices(
        np.array([[from_word(LikelihoodWord, c) for c in r] for r in first], dtype=np.int8),
        np.array([[from_word(RatingWord, c) for c in r] for r in second], dtype=np.int8),
    )


def points_scheme(change: Change = NO_CHANGE) -> PointsScheme:
    """From the four points tables."""
    failure, size = table("points_failure", change), table("points_size", change)
    target, rating = table("points_target", change), table("points_rating", change)
    by_word = [failure.texts("failure").index(word(w)) for w in FailureWord]
    by_use = [target.texts("occupancy").index(word(w)) for w in OccupancyWord]
    return PointsScheme(
        failure=_integers(failure, "points")[by_word],
        size_above=size.numbers("diameter_above_cm"),
        size_from=size.numbers("diameter_from_cm"),
        size=_integers(size, "points"),
        target=_integers(target, "points")[by_use],
        rating=np.array(
            [from_word(RatingWord, rating.row(points=str(p))["rating"]) for p in range(3, 13)],
            dtype=np.int8,
        ),
    )
