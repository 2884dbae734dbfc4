"""What all witnesses say of each tree and part, joined; and which trees have evidence at all."""

from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from pipeline.scoring.actions.rules import PartEvidence
from pipeline.scoring.assembly.bodies import FungusParts, Sightings, finding_taxon, fungus_parts
from pipeline.scoring.assembly.columns import (
    NO_DAY,
    codes,
    days,
    labels,
    latest,
    place_of,
    small,
    whole,
)
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.measured_since import (
    Fungal,
    leading,
    measured_since,
    most_that_is_told,
)
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.failure.bands import PartWords, worst_per_part
from pipeline.scoring.failure.words import Findings, one_a_rule
from pipeline.scoring.parameters.failure import DEFECTS, FailureParameters
from pipeline.tables import inputs
from pipeline.terms import FailureWord, Part
from pipeline.units import Flags, Floats, Ints, Words

WITNESSES = ("visual", "strength", "fungus", "mechanics")
VISUAL, STRENGTH, FUNGUS, MECHANICS = range(len(WITNESSES))
# How the mechanics found its word, in place of a rule; its detail.
CRITICAL_GUST = "critical_gust"
_WIND = "wind"
_PARTS = len(inputs.PARTS)


@dataclass(frozen=True)
class Spoken:
    """Findings of all witnesses, one a tree, part, witness and rule; each shape (findings,).

    Parameters
    ----------
    rule_id, detail : numbers into `rule_ids` and `details`.
    says_none : a look that found nothing.
    """

    tree: Ints
    part: Words
    witness: Words
    rule: Ints
    word: Words
    points: Words
    act_at_once: Flags
    seen_on: Ints
    detail: Ints
    says_none: Flags
    rule_ids: tuple[str, ...]
    details: tuple[str, ...]

    def take(self, rows: Ints | Flags) -> "Spoken":
        """Some of the findings."""
        return Spoken(
            self.tree[rows],
            self.part[rows],
            self.witness[rows],
            self.rule[rows],
            self.word[rows],
            self.points[rows],
            self.act_at_once[rows],
            self.seen_on[rows],
            self.detail[rows],
            self.says_none[rows],
            self.rule_ids,
            self.details,
        )


@dataclass(frozen=True)
class Evidence:
    """All evidence.

    Parameters
    ----------
    spoken : findings of the trees in `trees` only.
    trees : keys of the trees with evidence, sorted.
    parts : what is known of each tree and part.
    words : worst word of each tree and part that a witness spoke of; trees are keys.
    doubtful : rows of `parts` that rest on a fungus which may be of another tree, and nothing else.
    lent : rows of `parts` whose fungus may be of another tree.
    branch_cm : diameter of the thickest failing branch told, NaN if none, (trees with evidence,).
    latest_on : day of the newest evidence of each tree, (trees with evidence,).
    none_seen : trees on which an inspector noted that there is no defect, (trees,).
    dug_on : last day on which each tree's root collar was laid bare, NO_DAY if never, (trees,).
    """

    spoken: Spoken
    trees: Ints
    parts: PartEvidence
    part_seen_on: Ints
    words: PartWords
    fungi: FungusParts
    doubtful: Flags
    lent: Flags
    branch_cm: Floats
    latest_on: Ints
    none_seen: Flags
    dug_on: Ints


@dataclass(frozen=True)
class Said:
    """Words of the mechanics, each shape (words,): tree key, part, word, points for the word."""

    tree: Ints
    part: Words
    word: Words
    points: Words


def gather(
    sightings: Sightings,
    looks: Looks,
    work_done: pa.Table,
    trees: Trees,
    parameters: FailureParameters,
) -> Evidence:
    """Join the witnesses; a branch pruned since its defect was seen no longer speaks."""
    spoken = _spoken(sightings, looks, parameters)
    pruned = _last_done(work_done, "prune_part", len(trees))
    gone = (spoken.part == Part.BRANCH) & (spoken.seen_on >= 0)
    gone &= pruned[spoken.tree] >= spoken.seen_on
    spoken = spoken.take(~gone)
    none_seen = np.zeros(len(trees), np.bool_)
    none_seen[spoken.tree[spoken.says_none]] = True
    speaks = ~spoken.says_none | (spoken.word > FailureWord.IMPROBABLE)
    keys = np.unique(np.concatenate([spoken.tree[speaks], sightings.tree[sightings.speaks]]))
    spoken = spoken.take(np.isin(spoken.tree, keys))
    dug_on = _last_done(work_done, "dig_root_collar", len(trees))
    at_most = (parameters.fungus_measured, parameters.fungus_measured_points)
    return _joined(keys, spoken, none_seen, sightings, looks, dug_on, at_most)


def with_mechanics(evidence: Evidence, said: Said, sightings: Sightings, looks: Looks) -> Evidence:
    """The same trees with what mechanics says beside the other witness; the worse word counts.

    What a fungus may say of a part that was measured has been held down by `gather`.
    """
    told, rules = evidence.spoken, len(evidence.spoken.rule_ids)
    count = len(said.tree)
    last = np.full(count, len(told.details))
    spoken = Spoken(
        tree=np.concatenate([told.tree, said.tree]),
        part=np.concatenate([told.part, said.part]),
        witness=np.concatenate([told.witness, np.full(count, MECHANICS, np.int8)]),
        rule=np.concatenate([told.rule, np.full(count, rules)]),
        word=np.concatenate([told.word, said.word]),
        points=np.concatenate([told.points, said.points]),
        act_at_once=np.concatenate([told.act_at_once, np.zeros(count, np.bool_)]),
        seen_on=np.concatenate([told.seen_on, np.full(count, NO_DAY)]),
        detail=np.concatenate([told.detail, last]),
        says_none=np.concatenate([told.says_none, np.zeros(count, np.bool_)]),
        rule_ids=(*told.rule_ids, CRITICAL_GUST),
        details=(*told.details, _WIND),
    )
    return _joined(evidence.trees, spoken, evidence.none_seen, sightings, looks, evidence.dug_on)


def _joined(
    keys: Ints,
    spoken: Spoken,
    none_seen: Flags,
    sightings: Sightings,
    looks: Looks,
    dug_on: Ints,
    at_most: tuple[int, int] | None = None,
) -> Evidence:
    """Everything joined; `at_most` is the word and the points of a fungus on a measured part."""
    fungi = fungus_parts(sightings)
    told = spoken.tree * _PARTS + spoken.part
    place = np.unique(np.concatenate([told, fungi.tree * _PARTS + fungi.part]))
    fungal = leading(place, fungi)
    measured = measured_since(place, fungal, looks, dug_on)
    if at_most is not None:
        of_fungus = spoken.witness == FUNGUS
        since = measured[place_of(told, place)]
        spoken = replace(
            spoken,
            word=most_that_is_told(spoken.word, of_fungus, since, at_most[0]),
            points=most_that_is_told(spoken.points, of_fungus, since, at_most[1]),
        )
    words = worst_per_part(spoken.tree, spoken.part, spoken.word, spoken.points, spoken.act_at_once)
    parts, part_seen_on = _parts(keys, place, words, fungi, fungal, measured, spoken, looks)
    part = np.asarray(keys[parts.tree] * _PARTS + parts.part, np.int64)
    at = place_of(part, fungi.tree * _PARTS + fungi.part)
    lent = np.append(fungi.lent, np.False_)[at]
    seen = np.maximum(
        latest(place_of(spoken.tree, keys), spoken.seen_on, len(keys)),
        latest(place_of(sightings.tree, keys), sightings.seen_on, len(keys)),
    )
    return Evidence(
        spoken=spoken,
        trees=keys,
        parts=parts,
        part_seen_on=part_seen_on,
        words=words,
        fungi=fungi,
        doubtful=lent & (parts.defects == 0) & ~parts.measured,
        lent=lent,
        branch_cm=_branches(keys, looks),
        latest_on=seen,
        none_seen=none_seen,
        dug_on=dug_on,
    )


def _last_done(work_done: pa.Table, action: str, count: int) -> Ints:
    """Last day on which that was done to each tree, NO_DAY if never; shape (trees,)."""
    tree = whole(work_done, "tree_key")
    did = codes(work_done, "action", (action,)) == 0
    return latest(np.where(did, tree, -1), days(work_done, "done_on"), count)


def sighted(sightings: Sightings, evidence: Evidence, count: int) -> Flags:
    """Trees that a sighting lets one judge, shape (count,).

    A sighting that may be of another tree counts where it makes a failure more than improbable:
    it can make a tree worse than nobody knows, but not call it low.
    """
    found = np.zeros(count, np.bool_)
    own = sightings.attached[sightings.speaks & ~sightings.hearsay]
    found[own[own >= 0]] = True
    worse = np.zeros(count, np.bool_)
    worse[evidence.words.tree[evidence.words.word > FailureWord.IMPROBABLE]] = True
    lent = sightings.tree[sightings.speaks & (sightings.share < 1)]
    found[lent[worse[lent]]] = True
    return found


def looked_on(
    sightings: Sightings, looks: Looks, work_done: pa.Table, trees: Trees
) -> tuple[Ints, Ints]:
    """Last inspection, and last look of any kind, of each tree; days, each shape (trees,)."""
    inspected = np.maximum(trees.last_inspected, _last_done(work_done, "inspect", len(trees)))
    told = np.where(looks.hearsay, NO_DAY, looks.defect_day)
    inspected = np.maximum(inspected, latest(looks.defects.tree, told, len(trees)))
    told = np.where(sightings.hearsay, NO_DAY, sightings.seen_on)
    seen = latest(sightings.attached, told, len(trees))
    return inspected, np.maximum(inspected, seen)


def _spoken(sightings: Sightings, looks: Looks, parameters: FailureParameters) -> Spoken:
    visual = one_a_rule(looks.seen)
    strength = one_a_rule(looks.strength_said)
    fungus = one_a_rule(sightings.findings)
    rules = (
        *parameters.visual.rule_id,
        *parameters.limits.formula,
        *parameters.fungus.rule_id,
    )
    after_visual = len(parameters.visual.rule_id)
    after_strength = after_visual + len(parameters.limits.formula)
    formulas, taxa = parameters.limits.formula, parameters.catalogue.taxon_id
    details = (*DEFECTS, *formulas, *taxa)
    told_of = finding_taxon(fungus, sightings.loud, parameters.fungus)
    taxon = np.where(told_of < 0, len(taxa) - 1, told_of)
    detail = (
        looks.defects.defect[visual.evidence],
        len(DEFECTS) + strength.rule,
        len(DEFECTS) + len(formulas) + taxon,
    )
    day = (
        looks.defect_day[visual.evidence],
        looks.section_day[strength.evidence],
        sightings.seen_on[sightings.voices[fungus.evidence]],
    )
    three = (visual, strength, fungus)
    says_none = looks.defects.defect[visual.evidence] == parameters.kinds.none_seen
    return Spoken(
        tree=np.concatenate([f.tree for f in three]),
        part=small(np.concatenate([f.part for f in three])),
        witness=small(np.repeat(np.arange(len(three)), [len(f.tree) for f in three])),
        rule=np.concatenate(
            [visual.rule, after_visual + strength.rule, after_strength + fungus.rule]
        ),
        word=small(np.concatenate([f.word for f in three])),
        points=small(np.concatenate([f.points for f in three])),
        act_at_once=np.concatenate([f.act_at_once for f in three]),
        seen_on=np.concatenate(day),
        detail=np.concatenate(detail),
        says_none=np.concatenate([says_none, _no(strength), _no(fungus)]),
        rule_ids=rules,
        details=details,
    )


def _no(findings: Findings) -> Flags:
    return np.zeros(len(findings.tree), np.bool_)


def _parts(
    keys: Ints,
    place: Ints,
    words: PartWords,
    fungi: FungusParts,
    fungal: Fungal,
    measured: Flags,
    spoken: Spoken,
    looks: Looks,
) -> tuple[PartEvidence, Ints]:
    by_word = words.tree * _PARTS + words.part
    by_fungus = fungi.tree * _PARTS + fungi.part
    word_at, fungus_at = place_of(place, by_word), place_of(place, by_fungus)
    known = fungus_at >= 0

    def from_fungus(values: Ints | Words | Floats, empty: float) -> Floats:
        taken = values[np.maximum(fungus_at, 0)] if len(values) else np.zeros(len(place))
        return np.where(known, taken, empty)

    bits = np.zeros(len(place), np.int64)
    speaks = looks.defects.latest & ~looks.hearsay
    told = np.flatnonzero(speaks & (looks.defects.defect < len(inputs.DEFECTS)))
    at = place_of(looks.defects.tree[told] * _PARTS + looks.defects.part[told], place)
    np.bitwise_or.at(bits, at[at >= 0], np.int64(1) << looks.defects.defect[told[at >= 0]])
    seen_on = latest(
        place_of(spoken.tree * _PARTS + spoken.part, place), spoken.seen_on, len(place)
    )
    seen_on = np.maximum(seen_on, fungal.seen_on)
    failure = words.word[np.maximum(word_at, 0)] if len(by_word) else np.zeros(len(place), np.int8)
    made = PartEvidence(
        tree=place_of(place // _PARTS, keys),
        part=small(place % _PARTS),
        failure=small(np.where(word_at >= 0, failure, 0)),
        code=small(from_fungus(fungi.code, 0)),
        certainty=from_fungus(fungi.probability, 0.0),
        rot=small(fungal.rot),
        taxon=fungal.taxon,
        measured=measured,
        defects=bits,
    )
    return made, seen_on


def _branches(keys: Ints, looks: Looks) -> Floats:
    """Diameter of the thickest branch told in the latest inspection; (trees with evidence,)."""
    rows = looks.defects
    told = np.flatnonzero(
        rows.latest & (rows.part == Part.BRANCH) & ~np.isnan(rows.diameter) & (rows.diameter > 0)
    )
    at = place_of(rows.tree[told], keys)
    thickest = np.full(len(keys), -np.inf)
    np.maximum.at(thickest, at[at >= 0], rows.diameter[told[at >= 0]])
    return np.where(np.isinf(thickest), np.nan, thickest)


def failure_table(spoken: Spoken) -> dict[str, object]:
    """Columns of scoring.failure."""
    return {
        "tree_key": spoken.tree,
        "part": spoken.part,
        "witness": labels(spoken.witness, WITNESSES),
        "rule_id": labels(spoken.rule, spoken.rule_ids),
        "failure": spoken.word,
        "points": pa.array(spoken.points, mask=spoken.points == 0),
        "seen_on": pa.array(spoken.seen_on.astype(np.int32), mask=spoken.seen_on < 0).cast(
            pa.date32()
        ),
        "detail": labels(spoken.detail, spoken.details),
    }
