"""Does what is left of a tree hold in the winds of its place: witness B of trees with evidence.

Rows are those of `wood.Wood`: the four parts of each tree. Roots, butt and stem are computed, over
every state of decay and rot; a branch fails by a base rate that its decay raises. Mechanics speaks
a word only of parts whose decay something tells, of dead stems, and of roots seen cut: of the rest
it knows nothing that it does not know of any tree. Of branches it speaks none: a base rate is one
of all trees, and by itself lies near the lowest limit.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import NO_DAY, day_number, labels, optional, small
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.holding_states import (
    ROT_OF,
    YEAR,
    YEARS,
    Rows,
    alike_rows,
    over_states,
    roots_lost,
    state_kinds,
    summed,
    take,
    weights_of,
)
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.wind_load import (
    REASONS,
    Chances,
    SoundTrees,
    beyond_mechanics,
    of_inventory,
    season_shares,
)
from pipeline.scoring.assembly.wood import Wood
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.decay.anchorage import anchorage_kept, dead_kept
from pipeline.scoring.decay.instruments import ROTS
from pipeline.scoring.decay.residual import strength_kept
from pipeline.scoring.failure.hearsay import FUNGUS
from pipeline.scoring.mechanics.branches import branch_chance, large_branch_chance
from pipeline.scoring.mechanics.fragility import critical_gust
from pipeline.scoring.mechanics.lookup import (
    Expected,
    sound_parts,
)
from pipeline.scoring.mechanics.words import words_of
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import DEFECTS
from pipeline.terms import FailureWord, Part
from pipeline.units import Flags, Floats, Ints, Words

_ROOTS, _STEM = 0, 1
_BATCH = 512
_DAYS_A_YEAR = 365.25
_LEAST_KEPT, _STEPS = 1e-3, 241


@dataclass(frozen=True)
class Holding:
    """What mechanics finds of each row of `Wood`, each shape (rows,).

    Parameters
    ----------
    reason : place in REASONS, -1 where the part is computed.
    gust : that fells half of such trees at the mean decay [m/s], NaN for branches.
    chance : within a year, over the states of decay; NaN where not applicable.
    three : within three years.
    word : FailureWord, 0 where it does not speak.
    trees : loads of the trees, by place in Evidence.trees.
    dead : trees that are dead, likewise.
    rows, load, chances : what is computed, see `holding_states.over_states`.
    """

    reason: Words
    gust: Floats
    chance: Expected
    three: Floats
    word: Words
    trees: SoundTrees
    dead: Flags
    rows: Rows
    load: Ints
    chances: Chances

    @property
    def applicable(self) -> Flags:
        """Rows of which mechanics speaks at all."""
        return ~np.isnan(self.chance.mean)


def holding(
    wood: Wood, evidence: Evidence, looks: Looks, trees: Trees, parameters: Parameters
) -> Holding:
    """Chances and words of all parts of trees with evidence."""
    keys, site, mechanics = evidence.trees, parameters.site, parameters.mechanics
    sound = of_inventory(keys, trees, parameters)
    beyond = beyond_mechanics(keys, trees, mechanics)
    years = _years_dead(keys, looks, trees, parameters)
    rows = _computed(wood, sound, beyond, years, _changed(keys, looks), parameters)
    count = len(wood.tree)
    # Mean, 10 %, median, 90 %, in three years, and the share of each word.
    found = np.full((count, 9), np.nan)
    chances = Chances(site.gusts, mechanics.wind)
    load = np.where(rows.dead, 2, sound.leaf[rows.place].astype(np.int64))
    found[rows.at] = over_states(
        rows, wood, load, lambda kind: season_loads(kind, parameters), chances, parameters
    )
    branch = np.flatnonzero((wood.part == Part.BRANCH) & (beyond[np.arange(count) // PARTS] < 0))
    found[branch] = _branches(branch, wood, sound.leaf, ~np.isnan(years), looks, evidence,
                              parameters)  # fmt: skip
    gust = np.full(count, np.nan)
    gust[rows.at] = _critical(rows, wood, parameters)
    reason = np.repeat(beyond, PARTS)
    reason[branch] = REASONS.index("branch_rate")
    # Clipping leaves zeros with a sign, which no table should show.
    found += 0.0
    chance = Expected(found[:, 0], found[:, 1], found[:, 2], found[:, 3], found[:, 5:])
    limits = mechanics.limits
    word = words_of(chance.mean, chance.median, limits.yearly, limits.imminent_median)
    at_most = parameters.failure.hearsay.word[FUNGUS]
    word = np.where(wood.told.heard, np.minimum(word, at_most), word)
    # An assumption of how long a tree has been dead makes nothing imminent.
    guessed = np.repeat(~np.isnan(years) & (trees.died[keys] == NO_DAY), PARTS)
    word = np.where(guessed, np.minimum(word, FailureWord.PROBABLE), word)
    speaks = _speaks(wood, evidence, ~np.isnan(years))
    return Holding(
        reason=reason,
        gust=gust,
        chance=chance,
        three=found[:, 4],
        word=small(np.where(speaks, word, 0)),
        trees=sound,
        dead=~np.isnan(years),
        rows=rows,
        load=load,
        chances=chances,
    )


def states_of(at: Ints, wood: Wood, held: Holding, parameters: Parameters) -> tuple[Floats, Floats]:
    """Yearly chance in every state and weight of the state of rows that are computed.

    Parameters
    ----------
    at : rows of `Wood` among `held.rows.at`, (n,); both answers are (n, rots, cells).
    """
    here = np.searchsorted(held.rows.at, at)
    rows, load = take(held.rows, here), held.load[here]
    by = (lambda kind: season_loads(kind, parameters), held.chances, parameters)
    p, weights, which = state_kinds(rows, wood, load, alike_rows(rows, wood, load), by)
    return p[0][which], weights


def _speaks(wood: Wood, evidence: Evidence, dead: Flags) -> Flags:
    """Rows of which mechanics says a word: something loud enough speaks of their decay."""
    count, parts = len(wood.tree), evidence.parts
    spoken = np.zeros(count, np.bool_)
    spoken[parts.tree * PARTS + parts.part] = True
    found = wood.told.cut > 0
    found[wood.evidence] = True
    found |= (wood.part == Part.STEM) & np.repeat(dead, PARTS)
    found &= spoken & (wood.part != Part.BRANCH)
    return found


def _years_dead(keys: Ints, looks: Looks, trees: Trees, parameters: Parameters) -> Floats:
    """Years since each tree died, NaN where it lives, shape (trees with evidence,)."""
    rows = looks.defects
    told = (rows.defect == DEFECTS.index("dead_tree")) & rows.latest & ~looks.hearsay
    dead = trees.dead[keys] | np.isin(keys, rows.tree[told])
    # The inventory does not say since when: the day of its row is that of another look.
    told &= rows.look >= 0
    today = day_number(parameters.as_of)
    first = np.full(len(trees), today)
    dated = told & (looks.defect_day != NO_DAY)
    np.minimum.at(first, rows.tree[dated], looks.defect_day[dated])
    since = parameters.site.dead_years + np.maximum(today - first[keys], 0) / _DAYS_A_YEAR
    died = trees.died[keys]
    # A day that an inspector told, and that has come, stands over what is assumed.
    told_since = np.where((died != NO_DAY) & (died <= today), today - died, 0) / _DAYS_A_YEAR
    return np.where(dead, np.where(died == NO_DAY, since, told_since), np.nan)


def _changed(keys: Ints, looks: Looks) -> Flags:
    """Rows whose strength changed of late: that they stood so far says little, (rows,)."""
    rows = looks.defects
    fresh = np.isin(rows.defect, [DEFECTS.index(name) for name in ("crack", "split")])
    roots = rows.soil_moved | rows.roots_broken | (rows.defect == DEFECTS.index("root_damage"))
    told = rows.latest & ~looks.hearsay & (fresh | roots)
    found = np.zeros(len(keys) * PARTS, np.bool_)
    part = np.where(roots & ~fresh, Part.ROOTS, rows.part)
    at = np.flatnonzero(told & np.isin(rows.tree, keys))
    found[np.searchsorted(keys, rows.tree[at]) * PARTS + part[at]] = True
    return found


def _computed(
    wood: Wood,
    sound: SoundTrees,
    beyond: Words,
    years: Floats,
    changed: Flags,
    parameters: Parameters,
) -> Rows:
    mechanics = parameters.mechanics
    place = np.arange(len(wood.tree)) // PARTS
    at = np.flatnonzero((wood.part != Part.BRANCH) & (beyond[place] < 0))
    place = place[at]
    roots = wood.part[at] == Part.ROOTS
    column = np.where(roots, _ROOTS, _STEM)
    dead = ~np.isnan(years[place])
    kept = dead_kept(years[place], roots=roots, loss=mechanics.anchorage)
    capacity = sound.capacity[place, column] + np.log(kept)
    stood = np.where(dead | changed[at], 0.0, mechanics.fragility.stood)
    return Rows(
        at=at,
        place=place,
        roots=roots,
        dead=dead,
        stood=stood,
        parts=sound_parts(capacity, np.exp(sound.ln_profile[place]), mechanics.wind),
        spread=sound.spread[place, column],
    )


def season_loads(kind: int, parameters: Parameters) -> Floats:
    """Load of the two seasons over that in leaf; kind 2 is a dead tree."""
    mechanics = parameters.mechanics
    if kind > 1:
        return np.full(2, mechanics.anchorage.dead_load)
    return np.array([1.0, mechanics.wind.leafless[kind]])


def _critical(rows: Rows, wood: Wood, parameters: Parameters) -> Floats:
    """Gust that fells half of such trees at the mean decay [m/s], (rows,)."""
    mechanics, mean = parameters.mechanics, wood.summary.mean[rows.at]
    rot = _likeliest_rot(wood)[rows.at]
    zone, offset = mechanics.zone, wood.offset[rows.at]
    stem = strength_kept(
        mean, ROT_OF[rot], zone, opening=wood.opening[rows.at],
        offset=np.where(np.isnan(offset), zone.eccentricity, offset),
    )  # fmt: skip
    lost = roots_lost(rows.at, wood, mean[:, None])[:, 0]
    kept = np.where(
        rows.roots,
        np.log(anchorage_kept(lost, mechanics.anchorage)),
        np.log(stem) @ zone.weights,
    )
    load = np.where(rows.dead, np.log(mechanics.anchorage.dead_load), 0.0)
    return critical_gust(rows.parts.capacity + kept - load, rows.parts.ln_profile, mechanics.wind)


def _likeliest_rot(wood: Wood) -> Ints:
    """Place in ROTS of each row of `Wood`; the prior's is white."""
    found = np.zeros(len(wood.tree), np.int64)
    found[wood.evidence] = wood.by_rot.sum(axis=2).argmax(axis=1)
    return found


def _branches(
    at: Ints,
    wood: Wood,
    woods: Words,
    dead: Flags,
    looks: Looks,
    evidence: Evidence,
    parameters: Parameters,
) -> Floats:
    """Chance of losing a large branch, as `_over_states`; at each strength kept once."""
    mechanics, grid = parameters.mechanics, parameters.decay.law.grid
    place = at // PARTS
    weak = looks.defects.latest & ~looks.hearsay
    weak &= looks.defects.defect == DEFECTS.index("weak_union")
    loose = np.isin(evidence.trees[place], looks.defects.tree[weak])
    zone = mechanics.zone
    kept = [np.log(strength_kept(grid.x, ROT_OF[[n]], zone)) for n in range(len(ROTS))]
    kind = np.where(dead[place], 2, woods[place].astype(np.int64))
    out = np.empty((len(at), 9))
    for one, is_loose in product(np.unique(kind), (False, True)):
        mine = np.flatnonzero((kind == one) & (loose == is_loose))
        factor = mechanics.branches.weak_union if is_loose else 1.0
        # All of a kind share the chances of the states; their weights are their own.
        states = [
            np.stack([np.interp(k, table[0], table[1]) @ zone.weights for k in kept])
            for table in branch_states(int(one), parameters)
        ]
        year, years = (
            large_branch_chance(np.minimum(chance * factor, 1.0), mechanics.branches).ravel()
            for chance in states
        )
        order = np.argsort(year, kind="stable")
        for start in range(0, len(mine), _BATCH):
            some = mine[start : start + _BATCH]
            weights = weights_of(at[some], wood).reshape(len(some), -1)
            out[some] = summed(year, years, weights, order, mechanics.limits.yearly)
    return out


def branch_states(kind: int, parameters: Parameters) -> list[tuple[Floats, Floats]]:
    """Chance of losing a branch in one and in three years by the logarithm of strength kept."""
    mechanics = parameters.mechanics
    kept = np.geomspace(_LEAST_KEPT, 1.0, _STEPS)
    no = np.zeros(len(kept), np.bool_)
    loads = np.broadcast_to(season_loads(kind, parameters), (len(kept), 2))
    return [
        (
            np.log(kept),
            branch_chance(
                kept, no | (kind > 1), loads, parameters.site.gusts, mechanics.branches,
                season_shares=season_shares(mechanics.wind), years=years, weak_union=no,
            ),
        )
        for years in (YEAR, YEARS)
    ]  # fmt: skip


def holding_columns(wood: Wood, held: Holding) -> dict[str, object]:
    """Columns of scoring.mechanics for trees with evidence."""
    known = held.applicable
    place = np.arange(len(wood.tree)) // PARTS
    words = [word.name.lower() for word in FailureWord]
    return {
        "tree_key": wood.tree,
        "part": wood.part,
        "applicable": known,
        "reason": labels(held.reason, REASONS),
        "critical_gust_m_per_s": optional(held.gust, ~np.isnan(held.gust)),
        "p1": optional(held.chance.mean, known),
        "p1_low": optional(held.chance.low, known),
        "p1_high": optional(held.chance.high, known),
        "p3": optional(held.three, known),
        "failure": pa.array(held.word, mask=held.word == 0),
        **{
            f"share_{name}": optional(held.chance.words[:, n], known)
            for n, name in enumerate(words)
        },
        "height_filled": held.trees.sizes.height_filled[place],
        "crown_filled": held.trees.sizes.crown_filled[place],
    }
