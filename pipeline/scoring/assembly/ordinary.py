"""The yearly chance of trees of which nothing is known but their size, condition and species.

Summed once over a lattice of diameter, wood, condition and class of host, with height and crown
from the diameter and wood of middling strength; then looked up. The loads were set for a range of
diameters, and a tree outside it counts as one at its end. It gives no word: it only tells how
many trees without a sign lie over the lowest limit.
"""

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import dictionary, labels, optional
from pipeline.scoring.assembly.holding import (
    Holding,
    branch_states,
    holding_columns,
    season_loads,
)
from pipeline.scoring.assembly.holding_states import YEAR
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.wind_load import REASONS, Chances, beyond_mechanics, sound_trees
from pipeline.scoring.assembly.wood import Wood
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.decay.anchorage import anchorage_kept
from pipeline.scoring.decay.prior import CONDITIONS, HOSTS, bodies, nothing_decayed, priors
from pipeline.scoring.decay.residual import strength_kept
from pipeline.scoring.mechanics.allometry import BROADLEAF, CONIFER
from pipeline.scoring.mechanics.branches import large_branch_chance
from pipeline.scoring.mechanics.lookup import sound_parts, state_chances
from pipeline.scoring.mechanics.resistance import strength_rows
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import WOODS
from pipeline.terms import Part, RotType
from pipeline.units import Floats, Ints

_STEPS = 33


def ordinary_chances(keys: Ints, trees: Trees, parameters: Parameters) -> Floats:
    """Yearly chance of the four parts of trees, NaN where mechanics says nothing; (trees, 4)."""
    table = _lattice(parameters)
    least, most = parameters.site.set_from_cm, parameters.site.set_to_cm
    D = np.clip(np.nan_to_num(trees.dbh[keys], nan=least), least, most)
    step = np.log(D / least) / np.log(most / least) * (_STEPS - 1)
    below = np.minimum(step.astype(np.int64), _STEPS - 2)
    part = (step - below)[:, None]
    wood = np.where(trees.wood[keys] < 0, BROADLEAF, trees.wood[keys])
    kind = (wood * len(CONDITIONS) + trees.condition[keys]) * len(HOSTS)
    at = (kind + _hosts(keys, trees, parameters)) * _STEPS + below
    flat = table.reshape(-1, PARTS)
    found = np.exp(flat[at] * (1.0 - part) + flat[at + 1] * part)
    found[beyond_mechanics(keys, trees, parameters.mechanics) >= 0] = np.nan
    return np.asarray(found, np.float64)


def _hosts(keys: Ints, trees: Trees, parameters: Parameters) -> Ints:
    """Class of each tree as a host; each name is looked up once."""
    species, names = dictionary(trees.table, "species")
    first = [name.split(" ")[0] for name in names]
    by_species = np.append(parameters.decay.hosts(names, first), HOSTS.index("middle"))
    none = [None] * len(trees.genera)
    by_genus = np.append(parameters.decay.hosts(none, trees.genera), HOSTS.index("middle"))
    own = species[keys]
    return np.where(own >= 0, by_species[own], by_genus[trees.genus[keys]]).astype(np.int64)


def _lattice(parameters: Parameters) -> Floats:
    """Logarithm of the chance by wood, condition, host, diameter and part; (2, 5, 3, steps, 4)."""
    law, site = parameters.decay.law, parameters.site
    D = np.geomspace(site.set_from_cm, site.set_to_cm, _STEPS)
    given = bodies(law.grid, law.prior)
    states = np.stack([_states(wood, D, parameters) for wood in (BROADLEAF, CONIFER)])
    found = np.empty((len(WOODS), len(CONDITIONS), len(HOSTS), _STEPS, PARTS))
    for condition in range(len(CONDITIONS)):
        for part in Part:
            same = np.full(_STEPS, condition)
            nothing = nothing_decayed(np.full(_STEPS, part), D, same, law.prior)
            for host in range(len(HOSTS)):
                masses = priors(nothing, np.full(_STEPS, host), given)
                found[:, condition, host, :, part] = (states[:, part] * masses).sum(axis=-1)
    return np.log(np.maximum(found, np.finfo(np.float64).tiny))


def _states(wood: int, D: Floats, parameters: Parameters) -> Floats:
    """Chance of each part in each state of decay, (4, steps, cells)."""
    mechanics, site, x = parameters.mechanics, parameters.site, parameters.decay.law.grid.x
    woods, unknown = np.full(len(D), wood, np.int8), np.full(len(D), np.nan)
    row = strength_rows(("",), woods[:1], mechanics.strength)
    sound = sound_trees(
        D, woods, np.full(len(D), mechanics.strength.rupture[row[0]]),
        height_m=unknown, crown_m=unknown, wet=site.wet, mechanics=mechanics,
    )  # fmt: skip
    chances, stood = Chances(site.gusts, mechanics.wind), mechanics.fragility.stood
    rot, zone = np.array([RotType.WHITE], np.int8), mechanics.zone
    kept = (
        (np.log(anchorage_kept(x, mechanics.anchorage))[None, :, None], np.ones(1)),
        (np.log(strength_kept(x, rot, zone))[None], zone.weights),
    )
    each = [
        state_chances(
            chances.seasons(float(sound.spread[0, n]), stood, YEAR), season_loads(wood, parameters),
            sound_parts(sound.capacity[:, n], np.exp(sound.ln_profile), mechanics.wind),
            ln_kept, weights, mechanics.wind,
        )
        for n, (ln_kept, weights) in enumerate(kept)
    ]  # fmt: skip
    ln_kept, told = branch_states(wood, parameters)[0]
    limb = np.interp(kept[1][0][0], ln_kept, told) @ zone.weights
    limb = large_branch_chance(limb, mechanics.branches)
    branch = np.broadcast_to(limb, each[0].shape)
    return np.stack([each[0], each[1], each[1], branch])


def mechanics_table(
    wood: Wood, held: Holding, trees: Trees, with_evidence: Ints, parameters: Parameters
) -> pa.Table:
    """Rows of scoring.mechanics: all rated trees, in the order of the keys."""
    rated = trees.rated.copy()
    rated[with_evidence] = False
    keys = np.flatnonzero(rated)
    p = ordinary_chances(keys, trees, parameters).reshape(-1)
    part = np.tile(np.arange(PARTS, dtype=np.int8), len(keys))
    known = ~np.isnan(p)
    reason = np.repeat(beyond_mechanics(keys, trees, parameters.mechanics), PARTS)
    reason = np.where((part == Part.BRANCH) & known, REASONS.index("branch_rate"), reason)
    filled = np.ones(len(part), np.bool_)
    told = {
        "tree_key": np.repeat(keys, PARTS),
        "part": part,
        "applicable": known,
        "reason": labels(reason, REASONS),
        "p1": optional(p, known),
        # Taken from the diameter for all, whatever was measured: it is a figure of the city.
        "height_filled": filled,
        "crown_filled": filled,
    }
    own = pa.table(holding_columns(wood, held))
    key = np.concatenate([wood.tree, np.repeat(keys, PARTS)])
    # Both are in order of tree and part, so a stable order by tree keeps the parts in theirs.
    order = pa.array(np.argsort(key, kind="stable"))
    # Column by column: the whole of it twice is the most that a run would hold at once.
    return pa.table({name: _one_column(own[name], told.get(name), len(part), order)
                     for name in own.column_names})  # fmt: skip


def _one_column(own: pa.ChunkedArray, rest: object, count: int, order: pa.Array) -> pa.Array:
    """A column of trees with evidence and of `count` rows of the rest, empty where not told."""
    others = pa.nulls(count, own.type) if rest is None else pa.array(rest)
    if isinstance(others, pa.ChunkedArray):
        others = others.combine_chunks()
    both = pa.chunked_array([*own.chunks, others.cast(own.type)]).unify_dictionaries()
    return both.take(order).combine_chunks()
