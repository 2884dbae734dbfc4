"""Published visual criteria: each defect against every rule, the worst rule that fits is kept.

The points 1-4 are those of the community guide. That 1 to 4 points mean improbable, possible,
probable and imminent is this project's reading: the guide has points, the standard has words, and
no document joins them.
"""

from dataclasses import dataclass, fields

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.scoring.failure.words import Findings
from pipeline.units import Flags, Floats, Ints, Words

# Defects that are made from readings: a mallet's answer, where no shell was measured.
DEFECTS_FROM_READINGS = ("sounds_hollow", "sounds_doubtful")

# Words 1-4, points 1-4, act at once or not: ranked in that order.
_RANKS = (5, 5, 2)

ANY = -1
SAME_PART = -1


@dataclass(frozen=True)
class VisualRules:
    """Criteria, from config/published/failure_criteria.csv in its order, all shape (rules,).

    A rule fits a defect when all that it names is met; flags that it does not need do not matter.

    Parameters
    ----------
    rule_id : names.
    defect : index into the caller's list of defect codes.
    part : terms.Part that the defect must be on, or ANY.
    fails : terms.Part that fails, or SAME_PART as the defect ("same").
    wood : index into ("broadleaf", "conifer"), or ANY.
    extent_from, extent_above : inclusive and exclusive lower bound [share], NaN if none.
    diameter_from : inclusive lower bound of the part's diameter [cm], NaN if none.
    if_unknown : 0 nothing, 1 only if the extent is unknown, 2 only if the diameter is unknown.
    needs : decay, crack, touching soil, moved soil, broken roots, another defect on the part,
        another defect on the tree, another crack on the part, decay or a cavity of any extent
        beside it on the part, shape (rules, 9), see NEEDS.
    word, points, act_at_once : the answer.
    """

    rule_id: tuple[str, ...]
    defect: Ints
    part: Ints
    fails: Ints
    wood: Ints
    extent_from: Floats
    extent_above: Floats
    diameter_from: Floats
    if_unknown: Ints
    needs: Flags
    word: Words
    points: Words
    act_at_once: Flags


NEEDS = (
    "needs_decay",
    "needs_crack",
    "touches_soil",
    "soil_moved",
    "roots_broken",
    "other_on_part",
    "other_on_tree",
    "other_crack",
    "decay_beside",
)
UNKNOWN = ("", "extent", "diameter")


@dataclass(frozen=True)
class Defects:
    """What inspectors saw, one row a defect, all fields of shape (defects,).

    Parameters
    ----------
    tree : tree key.
    part : terms.Part.
    defect : index into the list of defect codes that the rules use.
    wood : index into ("broadleaf", "conifer"), -1 for any other or unknown.
    extent : share of girth, crown or roots, NaN if unknown.
    diameter : of the part [cm], NaN if unknown.
    with_decay, with_crack, touches_soil, soil_moved, roots_broken : as seen.
    latest : from the latest inspection of the tree; only these speak.
    look : the inspection, or other witness, that told it. What several looks tell of one part is
        one thing; what one look tells twice is two.
    """

    tree: Ints
    part: Words
    defect: Ints
    wood: Ints
    extent: Floats
    diameter: Floats
    with_decay: Flags
    with_crack: Flags
    touches_soil: Flags
    soil_moved: Flags
    roots_broken: Flags
    latest: Flags
    look: Ints


@dataclass(frozen=True)
class DefectKinds:
    """Codes that are no defect, cracks, decay, or of the whole tree: indices into the codes."""

    none_seen: int
    crack: int
    split: int
    dead_tree: int
    decay: int
    cavity: int


def visual_findings(defects: Defects, rules: VisualRules, kinds: DefectKinds) -> Findings:
    """The worst rule that fits each defect of the latest inspection, in the defects' order.

    Worst by word, then points, then acting at once, then the order of the table. `act_at_once` is
    true if any rule that fits says so; `points` is the highest of those that fit.

    Raises
    ------
    PublishedValueError
        If a defect meets no rule at all.
    """
    chosen = np.flatnonzero(defects.latest)
    d = _taken(defects, chosen)
    met = _conditions(d, kinds)
    best = np.full(chosen.size, -1, dtype=np.int64)
    rank = np.full(chosen.size, -1, dtype=np.int64)
    points = np.zeros(chosen.size, dtype=np.int8)
    act = np.zeros(chosen.size, dtype=np.bool_)
    ranks = np.ravel_multi_index(
        (rules.word, rules.points, rules.act_at_once.astype(np.int8)), _RANKS
    )
    for number in range(len(rules.rule_id)):
        fits = _fits(d, met, rules, number)
        better = fits & (ranks[number] > rank)
        best[better] = number
        rank[better] = ranks[number]
        points[fits] = np.maximum(points[fits], rules.points[number])
        act[fits] |= rules.act_at_once[number]
    if best.size and best.min() < 0:
        codes = sorted(set(d.defect[best < 0].tolist()))
        raise PublishedValueError(
            where="published table failure_criteria",
            found=f"no rule for defects numbered {codes}",
            expected="a rule without conditions for every kind of defect",
            remedy="Add such a row to the table or the override.",
        )
    fails = rules.fails[best] if best.size else best
    part = np.where(fails == SAME_PART, d.part, fails).astype(np.int8)
    return Findings(chosen, d.tree, part, best, rules.word[best], points, act)


def _taken(defects: Defects, rows: Ints) -> Defects:
    return Defects(**{f.name: getattr(defects, f.name)[rows] for f in fields(Defects)})


def _fits(d: Defects, met: Flags, rules: VisualRules, number: int) -> Flags:
    fits: Flags = (d.defect == rules.defect[number]) & met[:, rules.needs[number]].all(axis=1)
    for asked, found in ((rules.part, d.part), (rules.wood, d.wood)):
        if asked[number] != ANY:
            fits &= found == asked[number]
    # Comparisons with an unknown extent are false: its own rule speaks for it.
    if not np.isnan(rules.extent_from[number]):
        fits &= d.extent >= rules.extent_from[number]
    if not np.isnan(rules.extent_above[number]):
        fits &= d.extent > rules.extent_above[number]
    if not np.isnan(rules.diameter_from[number]):
        fits &= d.diameter >= rules.diameter_from[number]
    if rules.if_unknown[number]:
        measure = (d.extent, d.diameter)[rules.if_unknown[number] - 1]
        fits &= np.isnan(measure)
    return fits


def _conditions(d: Defects, kinds: DefectKinds) -> Flags:
    """Which of NEEDS each defect meets, shape (defects, 9).

    A root plate that lifts does so for the whole tree, whichever defect it was told with.
    """
    real = d.defect != kinds.none_seen
    crack = (d.defect == kinds.crack) | (d.defect == kinds.split)
    place = d.tree * np.int64(4) + d.part
    fact = _facts(d, kinds)
    other_on_part = _others(place, real, fact)
    other_on_tree = _others(d.tree, real, fact)
    cracks_beside = _others(place, crack, fact)
    decayed = (d.defect == kinds.decay) | (d.defect == kinds.cavity)
    # Decay and cracks may be told with the defect or be defects of their own on the same part.
    return np.stack(
        [
            d.with_decay | (_others(place, real & d.with_decay, fact) > 0),
            d.with_crack | ((cracks_beside > 0) & ~crack),
            d.touches_soil,
            d.soil_moved | (_others(d.tree, real & d.soil_moved, fact) > 0),
            d.roots_broken | (_others(d.tree, real & d.roots_broken, fact) > 0),
            other_on_part > 0,
            other_on_tree > 0,
            crack & (cracks_beside > 0),
            d.with_decay | (_others(place, decayed, fact) > 0),
        ],
        axis=1,
    )


def _facts(d: Defects, kinds: DefectKinds) -> Ints:
    """Number of the thing that each row tells: the same for rows of several looks at one thing.

    The first crack that one look tells of a part is the first that another tells of it. A tree is
    dead once, whatever the part that it is told of.
    """
    dead = d.defect == kinds.dead_tree
    place = d.tree * np.int64(4) + np.where(dead, 0, d.part)
    place = place * (d.defect.max(initial=0) + 1) + d.defect
    order = np.lexsort((d.look, place))
    starts = np.ones(len(order), np.bool_)
    starts[1:] = (np.diff(place[order]) != 0) | (np.diff(d.look[order]) != 0)
    run = np.flatnonzero(starts)
    nth = np.empty(len(order), np.int64)
    nth[order] = np.arange(len(order)) - run[np.cumsum(starts) - 1]
    nth[dead] = 0
    _, same = np.unique(place, return_inverse=True)
    return np.asarray(same.reshape(-1) * (nth.max(initial=0) + 1) + nth, np.int64)


def _others(group: Ints, counted: Flags, fact: Ints) -> Ints:
    """How many other things of the same group are counted, shape of `group`."""
    _, inverse = np.unique(group, return_inverse=True)
    pair = inverse.astype(np.int64) * (fact.max(initial=0) + 1) + fact
    told, first = np.unique(pair[counted], return_index=True)
    total = np.bincount(inverse[counted][first], minlength=inverse.max(initial=-1) + 1)
    others: Ints = total[inverse] - np.isin(pair, told)
    return others
