"""Published tables of identification, decay, failure and rating, as the objects of the maths."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.decay.strength import StrengthLimits
from pipeline.scoring.failure.bands import FailureBands
from pipeline.scoring.failure.fungus import ATTACHMENTS, CODES, MATCHES, FungusRules
from pipeline.scoring.failure.hearsay import HearsayLimit
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
from pipeline.scoring.parameters.read import flags, integers, places, words
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
from pipeline.units import Flags, Words

DEFECTS = (*inputs.DEFECTS, *DEFECTS_FROM_READINGS)
WOODS = ("broadleaf", "conifer")
ROTS = ("none", "white", "brown", "soft")


@dataclass(frozen=True)
class FailureParameters:
    """What the witnesses need.

    Parameters
    ----------
    names : accepted names of the taxa, 'unlisted' last.
    positions : words of position_parts.csv, and `parts_of_position`, shape (positions, 4).
    fungus_measured, fungus_measured_points : the most that a fungus says of a part that was
        measured since it was seen.
    rule_sources : source of each visual rule, fungus rule and formula by its id.
    """

    catalogue: Catalogue
    names: tuple[str, ...]
    trust: NameCertainty
    positions: tuple[str, ...]
    parts_of_position: Flags
    limits: StrengthLimits
    measured: MeasuredWords
    visual: VisualRules
    kinds: DefectKinds
    fungus: FungusRules
    fungus_measured: int
    fungus_measured_points: int
    bands: FailureBands
    matrices: RiskMatrices
    points: PointsScheme
    hearsay: HearsayLimit
    rule_sources: dict[str, str]


def failure_parameters(library: Library) -> FailureParameters:
    """Everything from the library.

    Raises
    ------
    PublishedValueError
        If a table does not hold what the maths needs.
    """
    taxa = library.table("taxa")
    positions = library.table("position_parts")
    criteria = library.table("failure_criteria")
    fungus = library.table("fungus_failure", key=("action_code", "attachment", "position_match"))
    limits = library.table("strength_limits")
    measured_part = library.table("fungus_measured")
    return FailureParameters(
        catalogue=_catalogue(taxa),
        names=(*taxa.texts("accepted_name"), "another fungus"),
        trust=_trust(library.table("name_certainty")),
        positions=positions.texts("position"),
        parts_of_position=_parts(positions),
        limits=_limits(limits),
        measured=_measured(limits),
        visual=_visual(criteria),
        kinds=DefectKinds(
            none_seen=DEFECTS.index("none_seen"),
            crack=DEFECTS.index("crack"),
            split=DEFECTS.index("split"),
            dead_tree=DEFECTS.index("dead_tree"),
            decay=DEFECTS.index("decay"),
            cavity=DEFECTS.index("cavity"),
        ),
        fungus=_fungus(fungus),
        fungus_measured=int(words(measured_part, "failure", FailureWord)[0]),
        fungus_measured_points=int(integers(measured_part, "points")[0]),
        bands=_bands(library.table("failure_bands")),
        matrices=_matrices(library),
        points=_points(library),
        hearsay=_hearsay(library.table("notes_certainty"), library.table("notes_meanings")),
        rule_sources={
            row[key]: row["source"]
            for table, key in ((criteria, "rule_id"), (fungus, "rule_id"), (limits, "formula"))
            for row in table.rows
        },
    )


def _hearsay(sure: PublishedTable, meant: PublishedTable) -> HearsayLimit:
    """The limit of what is stated outright, and that of each word where it is lower."""
    names = (*DEFECTS, "fungus")
    stated = sure.texts("polarity").index("stated")
    word = np.full(len(names), words(sure, "failure_at_most", FailureWord)[stated], np.int8)
    points = np.full(len(names), integers(sure, "points_at_most")[stated], np.int8)
    at_most = zip(
        meant.texts("word"), meant.texts("failure_at_most"), meant.numbers("points_at_most"),
        strict=True,
    )  # fmt: skip
    for name, failure, most in at_most:
        if failure:
            at = names.index(name)
            word[at] = min(word[at], from_word(FailureWord, failure))
            points[at] = min(points[at], int(most))
    return HearsayLimit(word, points)


def _catalogue(t: PublishedTable) -> Catalogue:
    attacks = np.stack([flags(t, f"attacks_{word(part)}") for part in Part], axis=1)
    return Catalogue(
        taxon_id=(*t.texts("taxon_id"), "unlisted"),
        action_code=np.array([*(int(c[1]) for c in t.texts("action_code")), 0], dtype=np.int8),
        attacks=np.vstack([attacks, np.zeros((1, len(Part)), dtype=np.bool_)]),
        rot=np.array([*(ROTS.index(r) for r in t.texts("rot_type")), 0], dtype=np.int8),
    )


def _trust(t: PublishedTable) -> NameCertainty:
    return NameCertainty(
        t.texts("name_by"), t.numbers("certainty_cap_share"), t.numbers("heard_from_share")
    )


def _parts(t: PublishedTable) -> Flags:
    return np.stack([flags(t, word(part)) for part in Part], axis=1)


def _limits(t: PublishedTable) -> StrengthLimits:
    return StrengthLimits(
        formula=t.texts("formula"),
        passed_when=t.texts("passed_when"),
        act=t.numbers("act_share"),
        caution=t.numbers("caution_share"),
        for_closed=flags(t, "for_closed"),
        for_open=flags(t, "for_open"),
    )


def _measured(t: PublishedTable) -> MeasuredWords:
    return MeasuredWords(
        within=words(t, "failure_within", FailureWord),
        passed=words(t, "failure_passed", FailureWord),
        passed_with_crack=words(t, "failure_passed_with_crack", FailureWord),
        points_within=integers(t, "points_within"),
        points_passed=integers(t, "points_passed"),
        points_passed_with_crack=integers(t, "points_passed_with_crack"),
    )


def _visual(t: PublishedTable) -> VisualRules:
    parts = tuple(word(part) for part in Part)
    return VisualRules(
        rule_id=t.texts("rule_id"),
        defect=places(t, "defect", DEFECTS),
        part=places(t, "part", parts, other={"any": ANY}),
        fails=places(t, "fails", parts, other={"same": SAME_PART}),
        wood=places(t, "wood", WOODS, other={"any": ANY}),
        extent_from=t.numbers("extent_from_share"),
        extent_above=t.numbers("extent_above_share"),
        diameter_from=t.numbers("diameter_from_cm"),
        if_unknown=places(t, "if_unknown", UNKNOWN),
        needs=np.stack([flags(t, need) for need in NEEDS], axis=1),
        word=words(t, "failure", FailureWord),
        points=integers(t, "points"),
        act_at_once=flags(t, "act_at_once"),
    )


def _fungus(t: PublishedTable) -> FungusRules:
    at = (
        places(t, "action_code", CODES),
        places(t, "attachment", ATTACHMENTS),
        places(t, "position_match", MATCHES),
    )
    shape = (len(CODES), len(ATTACHMENTS), len(MATCHES))
    word_of = np.zeros(shape, dtype=np.int8)
    points = np.zeros(shape, dtype=np.int8)
    row = np.full(shape, -1, dtype=np.int64)
    word_of[at], points[at] = words(t, "failure", FailureWord), integers(t, "points")
    row[at] = np.arange(len(t))
    return FungusRules(word_of, points, row, t.texts("rule_id"), t.texts("advice"))


def _bands(t: PublishedTable) -> FailureBands:
    order = [t.texts("failure").index(word(w)) for w in FailureWord]
    return FailureBands(
        t.numbers("probability_low_per_year")[order], t.numbers("probability_high_per_year")[order]
    )


def _matrices(library: Library) -> RiskMatrices:
    likelihood = library.table("likelihood_matrix", key=("failure", "impact"))
    risk = library.table("risk_matrix", key=("likelihood", "consequence"))
    return RiskMatrices(
        _matrix(likelihood, ("failure", "impact", "likelihood"), (FailureWord, ImpactWord)),
        _matrix(risk, ("likelihood", "consequence", "rating"), (LikelihoodWord, ConsequenceWord)),
    )


def _matrix(
    t: PublishedTable, columns: tuple[str, str, str], keys: tuple[type[IntEnum], type[IntEnum]]
) -> Words:
    rows, across, value = columns
    results: type[IntEnum] = LikelihoodWord if value == "likelihood" else RatingWord
    cells = t.matrix(
        rows=rows,
        columns=across,
        value=value,
        row_order=[word(w) for w in keys[0]],
        order=[word(w) for w in keys[1]],
    )
    named = {word(w): int(w) for w in results}
    return np.array([[named[cell] for cell in row] for row in cells], dtype=np.int8)


def _points(library: Library) -> PointsScheme:
    failure, size = library.table("points_failure"), library.table("points_size")
    target, rating = library.table("points_target"), library.table("points_rating")
    by_word = [failure.texts("failure").index(word(w)) for w in FailureWord]
    by_use = [target.texts("occupancy").index(word(w)) for w in OccupancyWord]
    order = np.argsort(rating.numbers("points"))
    return PointsScheme(
        failure=integers(failure, "points")[by_word],
        size_above=size.numbers("diameter_above_cm"),
        size_from=size.numbers("diameter_from_cm"),
        size=integers(size, "points"),
        target=integers(target, "points")[by_use],
        rating=words(rating, "rating", RatingWord)[order],
    )
