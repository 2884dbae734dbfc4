"""Statements of how much wood is left and whether it holds, beside what the eye says."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.assembly.chances import words_at
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.holding import Holding
from pipeline.scoring.assembly.reviews import ReviewList
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.wind_load import REASONS
from pipeline.scoring.assembly.wood import Wood, touched_rows
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.explanation import Facts
from pipeline.scoring.mechanics.climate import gust_of_rate
from pipeline.scoring.parameters import Parameters
from pipeline.tables import inputs
from pipeline.terms import FailureWord, Part, word
from pipeline.units import Flags, Floats, Ints

_ELICITED = "project_elicited"
_GUST_YEARS = 50.0
Place = Callable[[Ints], Ints]


@dataclass(frozen=True)
class Balance:
    """What is left and what the wind asks of it.

    Parameters
    ----------
    seen : the evidence before mechanics spoke.
    apart : rows of `wood` on which the witnesses lie two words or more apart.
    """

    wood: Wood
    held: Holding
    seen: Evidence
    apart: Flags

    def trees_apart(self) -> Flags:
        """Trees with such a part, shape (trees with evidence,)."""
        return np.asarray(self.apart.reshape(-1, PARTS).any(axis=1), np.bool_)


def tell_wood(facts: Facts, balance: Balance, evidence: Evidence, place: Place) -> None:
    """How much of each part that something speaks of is decayed, with its range."""
    wood = balance.wood
    rows = touched_rows(wood, evidence)
    for row, at in zip(rows, place(wood.tree[rows]), strict=True):
        facts.add(int(at), "wood_left", {
            "part": inputs.PARTS[wood.part[row]],
            "median_share": float(wood.summary.middle[row]),
            "tenth_share": float(wood.summary.low[row]),
            "ninetieth_share": float(wood.summary.high[row]),
            "mean_share": float(wood.summary.mean[row]),
            "probability_beyond": float(wood.summary.serious[row]),
        }, source=_ELICITED, assumed=not bool(wood.told.measured[row]))  # fmt: skip


def tell_holding(
    facts: Facts, balance: Balance, evidence: Evidence, parameters: Parameters, place: Place
) -> None:
    """Whether each part holds in the gusts of the place, what was filled, and both witnesses."""
    wood, held = balance.wood, balance.held
    first, rows = np.arange(0, len(wood.tree), PARTS), touched_rows(wood, evidence)
    sets = place(wood.tree[first])
    sizes, applicable = held.trees.sizes, held.applicable
    spoken = held.word > 0
    spoken[rows] |= wood.part[rows] == Part.BRANCH
    before = words_at(balance.seen, wood.tree * PARTS + wood.part)
    climate = _climate(parameters)
    for row, at in zip(first.tolist(), sets.tolist(), strict=True):
        if not applicable[row]:
            reason = REASONS[held.reason[row]]
            facts.add(at, "holds_not_applicable", {"reason": reason})
            continue
        told = np.flatnonzero(spoken[row : row + PARTS]) + row
        for one in told.tolist():
            _tell_part(facts, at, one, balance, int(before[one]))
        if not len(told):
            continue
        tree = row // PARTS
        if sizes.height_filled[tree] or sizes.crown_filled[tree]:
            facts.add(at, "holds_filled", {
                "height_m": float(sizes.height[tree]),
                "crown_m": float(sizes.crown[tree]),
                "height_filled": bool(sizes.height_filled[tree]),
                "crown_filled": bool(sizes.crown_filled[tree]),
            }, source=_ELICITED, assumed=True)  # fmt: skip
        facts.add(at, "holds_climate", climate, assumed=parameters.site.assumed)


def _tell_part(facts: Facts, at: int, row: int, balance: Balance, before: int) -> None:
    """One part; `before` is the word of the other witness, 0 where it does not speak."""
    wood, held = balance.wood, balance.held
    told: dict[str, object] = {
        "part": inputs.PARTS[wood.part[row]],
        "p1": float(held.chance.mean[row]),
        "p1_low": float(held.chance.low[row]),
        "p1_high": float(held.chance.high[row]),
        "p3": float(held.three[row]),
    }
    if wood.part[row] == Part.BRANCH:
        facts.add(at, "holds_branch", told, source=_ELICITED, assumed=True)
        return
    facts.add(at, "holds_part", {
        **told,
        "failure": word(FailureWord(held.word[row])),
        "critical_gust_m_per_s": float(held.gust[row]),
    }, source=_ELICITED, assumed=True)  # fmt: skip
    if before > 0:
        statement = "holds_witnesses_apart" if balance.apart[row] else "holds_witnesses"
        facts.add(at, statement, {
            "part": inputs.PARTS[wood.part[row]],
            "seen": word(FailureWord(before)),
            "computed": word(FailureWord(held.word[row])),
        })  # fmt: skip


def _seen_word(balance: Balance, row: int) -> int:
    """Word of the other witness of a row of `Wood`, 0 where it does not speak."""
    key = balance.wood.tree[[row]] * PARTS + balance.wood.part[[row]]
    return int(words_at(balance.seen, key)[0])


def _climate(parameters: Parameters) -> dict[str, object]:
    """What is told of the winds, the same for all trees."""
    site = parameters.site
    rate = np.asarray(-np.log1p(-1.0 / _GUST_YEARS))
    return {
        "region": site.region,
        "terrain": site.terrain,
        "gust_50_m_per_s": float(_gust(rate, parameters)),
        "wet": site.wet,
        "told": not site.assumed,
    }


def _gust(rate: Floats, parameters: Parameters) -> Floats:
    """Gust at the tree that is passed at a yearly rate [m/s]."""
    return gust_of_rate(rate, parameters.site.climate)


def of_witnesses(
    reviews: ReviewList, balance: Balance, trees: Trees, parameters: Parameters
) -> None:
    """Trees on which the witnesses lie apart, and a run without the winds of its place."""
    wood, ids = balance.wood, trees.table["tree_id"]
    for row in np.flatnonzero(balance.apart):
        tree = int(wood.tree[row])
        before = _seen_word(balance, int(row))
        reviews.add("witnesses_apart", {
            "tree_id": ids[tree].as_py(),
            "part": inputs.PARTS[wood.part[row]],
            "seen": word(FailureWord(before)),
            "computed": word(FailureWord(balance.held.word[row])),
        }, tree=tree)  # fmt: skip
    site = parameters.site
    if site.assumed and len(wood.tree):
        reviews.add("wind_unknown", {"region": site.region, "terrain": site.terrain})
