"""Statements of how much wood is left and whether it holds, beside what the eye says."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.assembly.chances import words_at as word_before
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.holding import Holding
from pipeline.scoring.assembly.reviews import ReviewList
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.wind_load import REASONS
from pipeline.scoring.assembly.wood import Wood, touched_rows
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.decay.instruments import SHELLS, Instrument
from pipeline.scoring.explanation import Facts, Many, words_at, words_of
from pipeline.scoring.mechanics.climate import gust_of_rate
from pipeline.scoring.parameters import Parameters
from pipeline.tables import inputs
from pipeline.terms import FailureWord, Part, word
from pipeline.units import Flags, Floats, Ints

_ELICITED = "project_elicited"
_GUST_YEARS = 50.0
_ABOVE = 0.1  # so much more of the diameter than was read asks for a word [share]
_MOSTLY = 0.5
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


def tell_wood(
    facts: Facts,
    balance: Balance,
    evidence: Evidence,
    read: Floats,
    serious_above: float,
    place: Place,
) -> None:
    """How much of each part that something speaks of is decayed, with its range.

    Parameters
    ----------
    read : share of the diameter that readings found decayed, NaN where none did, (rows of wood,).
    """
    wood = balance.wood
    rows = touched_rows(wood, evidence)
    found = wood.summary
    facts.tell(Many("wood_left", place(wood.tree[rows]), rows, {
        "part": words_at(wood.part[rows], inputs.PARTS),
        "median_share": found.middle[rows],
        "tenth_share": found.low[rows],
        "ninetieth_share": found.high[rows],
        "mean_share": found.mean[rows],
        "probability_beyond": found.serious[rows],
        "beyond_share": serious_above,
    }, source=_ELICITED, assumed=~wood.told.measured[rows]))  # fmt: skip
    above = rows[found.middle[rows] > read[rows] + _ABOVE]
    facts.tell(Many("wood_at_least", place(wood.tree[above]), above, {
        "part": words_at(wood.part[above], inputs.PARTS),
        "why_above": words_at(_why_above(wood, above), ("probe", "under_reads", "off_centre")),
    }, source=_ELICITED))  # fmt: skip


def _why_above(wood: Wood, rows: Ints) -> Ints:
    """Why the estimate stands above what was read: place in probe, under_reads, off_centre."""
    readings = wood.told.readings
    of_shell = np.isin(rows, readings.row[np.isin(readings.instrument, SHELLS)])
    probed = np.isin(rows, readings.row[readings.instrument == Instrument.PROBE])
    soft = np.zeros(len(wood.tree))
    soft[wood.evidence] = wood.by_rot[:, 1:].sum(axis=(1, 2))
    return np.select([probed & ~of_shell, soft[rows] > _MOSTLY], [0, 1], 2)


def tell_holding(
    facts: Facts, balance: Balance, evidence: Evidence, parameters: Parameters, place: Place
) -> None:
    """Whether each part holds in the gusts of the place, what was filled, and both witnesses."""
    wood, held = balance.wood, balance.held
    first, rows = np.arange(0, len(wood.tree), PARTS), touched_rows(wood, evidence)
    spoken = held.word > 0
    spoken[rows] |= wood.part[rows] == Part.BRANCH
    applicable = held.applicable[first]
    spoken &= np.repeat(applicable, PARTS)
    sets, sizes = place(wood.tree[first]), held.trees.sizes
    told = spoken.reshape(-1, PARTS).any(axis=1)
    either_way = parameters.spread.either_way
    filled = np.flatnonzero(told & (sizes.height_filled | sizes.crown_filled))
    never = np.flatnonzero(~applicable)
    # Of each tree its parts in turn, two statements a part, then what was filled and the winds.
    after = 2 * PARTS * np.arange(1, len(first) + 1) - 1
    facts.tell(
        Many("holds_not_applicable", sets[never], after[never],
             {"reason": words_at(held.reason[first[never]], REASONS)}),
        *_parts(np.flatnonzero(spoken), np.repeat(sets, PARTS), balance, either_way),
        Many("holds_filled", sets[filled], after[filled], {
            "height_m": sizes.height[filled],
            "crown_m": sizes.crown[filled],
            "height_filled": sizes.height_filled[filled],
            "crown_filled": sizes.crown_filled[filled],
        }, source=_ELICITED, assumed=True),
        Many("holds_climate", sets[told], after[told], _climate(parameters),
             assumed=parameters.site.assumed),
    )  # fmt: skip


def _parts(rows: Ints, sets: Ints, balance: Balance, either_way: float) -> list[Many]:
    """What is told of rows of `Wood`; `sets` of all of them, and how far a chance may be off."""
    wood, held = balance.wood, balance.held
    branch = wood.part[rows] == Part.BRANCH
    statements = []
    for statement, some in (("holds_branch", rows[branch]), ("holds_part", rows[~branch])):
        told: dict[str, object] = {
            "part": words_at(wood.part[some], inputs.PARTS),
            "p1": held.chance.mean[some],
            "p1_low": held.chance.low[some],
            "p1_high": held.chance.high[some],
            "p3": held.three[some],
        }
        if statement == "holds_part":
            told["failure"] = words_of(FailureWord, held.word[some])
            told["critical_gust_m_per_s"] = held.gust[some]
            told["factor_either_way"] = either_way
        statements.append(
            Many(statement, sets[some], 2 * some, told, source=_ELICITED, assumed=True)
        )
    before = word_before(balance.seen, wood.tree * PARTS + wood.part)
    both = rows[~branch & (before[rows] > 0)]
    apart = balance.apart[both]
    for statement, some in (
        ("holds_witnesses_apart", both[apart]), ("holds_witnesses", both[~apart]),
    ):  # fmt: skip
        statements.append(Many(statement, sets[some], 2 * some + 1, {
            "part": words_at(wood.part[some], inputs.PARTS),
            "seen": words_of(FailureWord, before[some]),
            "computed": words_of(FailureWord, held.word[some]),
        }))  # fmt: skip
    return statements


def _seen_word(balance: Balance, row: int) -> int:
    """Word of the other witness of a row of `Wood`, 0 where it does not speak."""
    key = balance.wood.tree[[row]] * PARTS + balance.wood.part[[row]]
    return int(word_before(balance.seen, key)[0])


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
