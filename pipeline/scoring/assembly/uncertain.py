"""What is not known of the harm and the word of each tree with evidence, and what matters most.

Nothing is drawn: the states of decay are worked through at few nodes, the rest is spread normally.
How much harm one impact does is not in the band: it is the same for all trees over such a target.
"""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from scipy.special import ndtri

from pipeline.scoring.assembly.chances import words_at as seen_words
from pipeline.scoring.assembly.columns import codes, numbers, place_of, truths
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.fungus_share import fungus_share
from pipeline.scoring.assembly.holding import Holding
from pipeline.scoring.assembly.judged import Judged
from pipeline.scoring.assembly.targets import Pairs
from pipeline.scoring.assembly.wood import Wood
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.failure.bands import YearlyProbability, yearly_probability
from pipeline.scoring.failure.hearsay import FUNGUS
from pipeline.scoring.impact.likelihood import impact_words
from pipeline.scoring.impact.occupancy import word_of_number
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.rating.points import (
    failure_points,
    points_rating,
    size_points,
    target_points,
)
from pipeline.scoring.rating.spread import (
    NODES,
    SOURCES,
    HarmSpread,
    at_least_by_chance,
    at_least_by_eye,
    harm_spread,
    middles,
    nodes_of,
    shares,
    words_at,
)
from pipeline.terms import FailureWord, ImpactWord, OccupancyWord, RatingWord
from pipeline.units import Floats, Ints, Words

UNKNOWNS = ("fungus", "extent", "wind", "occupancy")
_FAILURES, _PRESENCES = 20, 5
_WORDS = tuple(RatingWord)[1:]
_TINY = float(np.finfo(np.float64).tiny)


@dataclass(frozen=True)
class Uncertain:
    """What is not known of trees with evidence, each shape (trees,) or (trees, 4).

    Parameters
    ----------
    spread : of the expected harm.
    words : probability of low, moderate, high and extreme.
    variance : share of UNKNOWNS in the variance of ln harm.
    """

    spread: HarmSpread
    words: Floats
    variance: Floats


@dataclass(frozen=True)
class Known:
    """What is known of the failing of trees with evidence.

    Parameters
    ----------
    evidence, seen : all of it, and that before mechanics spoke.
    chance : yearly chance of each row of `evidence.words`.
    """

    evidence: Evidence
    seen: Evidence
    wood: Wood
    held: Holding
    chance: YearlyProbability


def uncertain(
    known: Known, pairs: Pairs, judged: Judged, zones: pa.Table, parameters: Parameters
) -> Uncertain:
    """Spread of harm, probability of the words, and the share of each unknown.

    Parameters
    ----------
    zones : the columns that tell how much is known of who is there.
    """
    evidence, chance, wood = known.evidence, known.chance, known.wood
    rows = _rows(known, parameters)
    sd = parameters.spread.occupancy[occupancy_source(pairs, zones)]
    count = len(evidence.trees)
    tree = place_of(evidence.words.tree, evidence.trees)
    part = judged.if_fails * chance.middle[judged.row]
    total = _sums(tree[judged.row], part, count)
    weight = np.divide(part, total[tree[judged.row]], out=np.zeros_like(part), where=part > 0)
    at_nodes = np.zeros((count, NODES))
    np.add.at(at_nodes, tree[judged.row], judged.if_fails[:, None] * rows.nodes[judged.row])

    def joint(each: Floats) -> Floats:
        return _sums(tree[judged.row], weight * each[judged.row], count)

    spread = harm_spread(
        at_nodes, wind=joint(rows.wind), common=joint(rows.common),
        occupancy=_by_occupancy(pairs, judged.harm, sd, total),
    )  # fmt: skip
    worst = _largest(tree[judged.row], part, judged.row, count)
    fungus = spread.extent * fungus_share(
        rows.wood_row[worst], wood, np.log(np.maximum(rows.nodes[worst], _TINY)), parameters
    )
    return Uncertain(
        spread=spread,
        words=_words(evidence, pairs, rows.at_least, sd, parameters),
        variance=shares(fungus, spread.extent - fungus, spread.wind, spread.occupancy),
    )


@dataclass(frozen=True)
class _Rows:
    """Of each row of Evidence.words: its row of Wood, chances at the nodes, spreads, words."""

    wood_row: Ints
    nodes: Floats
    wind: Floats
    common: Floats
    at_least: Floats


def _sums(of: Ints, values: Floats, count: int) -> Floats:
    return np.asarray(np.bincount(of, values, minlength=count), np.float64)


def _rows(known: Known, parameters: Parameters) -> _Rows:
    evidence, seen, chance = known.evidence, known.seen, known.chance
    wood, held = known.wood, known.held
    words, failure, spread = evidence.words, parameters.failure, parameters.spread
    row = place_of(words.tree, evidence.trees) * PARTS + words.part
    by_wind = held.applicable[row]
    before = seen_words(seen, words.tree * PARTS + words.part)
    limits = parameters.mechanics.limits.yearly
    nodes = np.repeat(chance.middle[:, None], NODES, axis=1)
    own = _nodes(held, row[by_wind], limits)
    # The bounds of the chance that counts: the word of the eye, and the most that a remark says.
    least = np.where(before > 0, failure.bands.low[np.maximum(before, 1) - 1], 0.0)[by_wind]
    at_most = int(failure.hearsay.word[FUNGUS])
    heard = wood.told.heard[row]
    most = np.where(heard, failure.bands.high[at_most - 1], 1.0)[by_wind]
    nodes[by_wind] = np.maximum(np.minimum(own, most[:, None]), least[:, None])
    band = yearly_probability(words.word, failure.bands)
    flat = np.log(band.high / band.low) / np.sqrt(len(FailureWord) * 3)  # a uniform spread
    wind = np.where(by_wind, spread.wind, flat)
    computed = np.zeros((len(row), len(limits)))
    speaks = held.word[row] > 0
    computed[speaks] = at_least_by_chance(
        _nodes(held, row[speaks], limits), np.full(int(speaks.sum()), spread.wind), limits
    )
    cap = np.where(np.repeat(held.dead, PARTS)[row], int(FailureWord.PROBABLE), len(FailureWord))
    cap = np.where(heard, np.minimum(cap, at_most), cap)
    computed *= np.arange(2, len(FailureWord) + 1) <= cap[:, None]
    either = 1.0 - (1.0 - computed) * (1.0 - at_least_by_eye(before, spread))
    common = np.where(by_wind, spread.wind_common, 0.0)
    return _Rows(row, nodes, wind, common, either)


def _nodes(held: Holding, at: Ints, limits: Floats) -> Floats:
    c = held.chance
    return nodes_of((c.low[at], c.median[at], c.high[at], c.mean[at]), c.words[at], limits)


def occupancy_source(pairs: Pairs, zones: pa.Table) -> Ints:
    """Row of RatingSpread.occupancy of each pair, (pairs,)."""
    by_word = len(SOURCES) + pairs.occupancy.astype(np.int64) - 1
    found = np.full(len(pairs.zone), len(SOURCES) + len(OccupancyWord))  # nothing known
    found[pairs.assumed] = SOURCES.index("assumed")
    at = np.flatnonzero(pairs.zone >= 0)
    if not at.size:
        return found
    zone = pairs.zone[at]
    vehicles = (numbers(zones, "vehicles_per_day") >= 0) & (numbers(zones, "speed_km_h") > 0)
    counted = ((numbers(zones, "persons_per_h") >= 0) | vehicles)[zone]
    by_class = (codes(zones, "how", ("street_class",)) == 0)[zone]
    found[at] = np.select(
        [truths(zones, "static")[zone], counted & by_class, counted],
        [SOURCES.index(name) for name in ("static", "street_class", "counted")],
        by_word[at],
    )
    return found


def _by_occupancy(pairs: Pairs, harm: Floats, sd: Floats, total: Floats) -> Floats:
    """Sd of ln harm by who is there; one target is the same for all parts of a tree, (trees,)."""
    key = pairs.tree * (int(pairs.zone.max(initial=0)) + 2) + pairs.zone + 1
    one, at = np.unique(key, return_inverse=True)
    off = _sums(at.reshape(-1), harm * sd, len(one)) ** 2
    tree = one // (int(pairs.zone.max(initial=0)) + 2)
    whole = np.sqrt(_sums(tree, off, len(total)))
    return np.divide(whole, total, out=np.zeros_like(total), where=total > 0)


def _largest(tree: Ints, harm: Floats, row: Ints, count: int) -> Ints:
    """Row of Evidence.words that does most harm, of each tree, (trees,)."""
    order = np.lexsort((row, -harm, tree))
    first = np.flatnonzero(np.r_[True, np.diff(tree[order]) != 0]) if len(order) else order
    found = np.zeros(count, np.int64)
    found[tree[order[first]]] = row[order[first]]
    return found


def _words(
    evidence: Evidence, pairs: Pairs, at_least: Floats, sd: Floats, parameters: Parameters
) -> Floats:
    """Probability of each rating word, (trees, 4).

    All parts of a tree stand at one level of what is not known of failure, all targets at one of
    what is not known of presence; the worst pair counts at each.
    """
    count = len(evidence.trees)
    if not len(pairs.tree):
        return np.zeros((count, len(_WORDS)))
    failure = words_at(at_least, middles(_FAILURES))[pairs.row]
    factor = np.exp(sd[:, None] * ndtri(middles(_PRESENCES)) - sd[:, None] ** 2 / 2.0)
    with np.errstate(divide="ignore"):
        number = -np.log1p(-pairs.occupied_share)
    number = np.minimum(number, 1.0 / np.finfo(np.float64).eps)
    limits, table = parameters.target.limits, parameters.target.impact
    # From the word that is printed, by as many words as the number would move it.
    moved = word_of_number(number[:, None] * factor, limits=limits).astype(np.int64)
    moved -= word_of_number(number, limits=limits)[:, None]
    there = np.clip(pairs.occupancy[:, None] + moved, 1, len(OccupancyWord)).astype(np.int8)
    share = np.broadcast_to(pairs.direction_share[:, None], there.shape)
    impact = pairs.impact[:, None] + (
        impact_words(there, share, table=table).astype(np.int64)
        - impact_words(pairs.occupancy, pairs.direction_share, table=table)[:, None]
    )
    impact = np.clip(impact, 1, len(ImpactWord)).astype(np.int8)
    rating = _ratings(evidence, pairs, failure, there, impact, parameters)
    first = np.flatnonzero(np.r_[True, np.diff(pairs.tree) != 0])
    worst = np.maximum.reduceat(rating, first, axis=0).reshape(len(first), -1)
    found = np.zeros((count, len(_WORDS)))
    found[pairs.tree[first]] = np.stack([(worst == w).mean(axis=1) for w in _WORDS], axis=1)
    return found


def _ratings(
    evidence: Evidence,
    pairs: Pairs,
    failure: Words,
    there: Words,
    impact: Words,
    parameters: Parameters,
) -> Words:
    """Rating of each pair at each level of failure and of presence, (pairs, levels, presences)."""
    if parameters.method == "points":
        scheme = parameters.failure.points
        told = evidence.words.points[pairs.row].astype(np.int64)
        printed = evidence.words.word[pairs.row]
        least, most = scheme.failure.min(), scheme.failure.max()
        own = np.where(told > 0, told, failure_points(printed, scheme))
        moved = failure.astype(np.int64) - printed[:, None]
        fails = np.clip(own[:, None] + moved, least, most).astype(np.int8)
        rest = size_points(pairs.diameter, scheme)[:, None] + target_points(there, scheme)
        total: Words = fails[:, :, None] + rest[:, None, :]
        return points_rating(total, scheme)
    matrices = parameters.failure.matrices
    words = np.arange(1, len(FailureWord) + 1)
    # Every cell once: failure x impact x consequence.
    cells = matrices.risk[matrices.likelihood - 1][..., words - 1]
    found: Words = cells[
        failure[:, :, None] - 1, impact[:, None, :] - 1, pairs.consequence[:, None, None] - 1
    ]
    return found
