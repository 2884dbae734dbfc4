"""The yearly chance of trees of which nothing is known but their size, condition and species.

The law is that of trees with evidence, with height and crown where they were measured; but of what
a measured size changes only a share counts, since on the whole tall trees are not seen to fail as
often as statics alone would have it (`size_response`). What makes it quick for a city: without
evidence a part is sound, or decayed as its class of host is, and the chances of both are looked up
at the load and resistance of each tree. It gives no word: it only tells how many trees without a
sign lie over the lowest limit.
"""

from dataclasses import dataclass

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
from pipeline.scoring.assembly.wind_load import REASONS, Chances, beyond_mechanics, of_inventory
from pipeline.scoring.assembly.wood import Wood
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.scoring.decay.anchorage import anchorage_kept
from pipeline.scoring.decay.prior import HOSTS, bodies, nothing_decayed
from pipeline.scoring.decay.residual import strength_kept
from pipeline.scoring.mechanics.allometry import TreeSizes
from pipeline.scoring.mechanics.branches import large_branch_chance
from pipeline.scoring.mechanics.shared import SharedTable, look_up_shared, shared_table
from pipeline.scoring.mechanics.wind import ln_critical_speed
from pipeline.scoring.parameters import Parameters
from pipeline.terms import Part, RotType
from pipeline.units import Floats, Ints, Words

_ATOM = np.zeros((), np.int64)
# Parts that bear by the same moment: roots; butt and stem.
_PARTS_OF = ((Part.ROOTS,), (Part.BUTT, Part.STEM))


@dataclass(frozen=True)
class Ordinary:
    """What mechanics finds of trees without evidence.

    Parameters
    ----------
    p : yearly chance of the four parts, NaN where mechanics says nothing, (trees, 4).
    sizes : height and crown that it rests on.
    beyond : place in REASONS of why it says nothing, -1 where it speaks, (trees,).
    """

    p: Floats
    sizes: TreeSizes
    beyond: Words


def ordinary_chances(keys: Ints, trees: Trees, parameters: Parameters) -> Ordinary:
    """Yearly chances of trees without evidence, by the same law as those with."""
    law, mechanics = parameters.decay.law, parameters.mechanics
    sound = of_inventory(keys, trees, parameters, of_city=True)
    beyond = beyond_mechanics(keys, trees, mechanics)
    grids = np.concatenate([np.eye(1, len(law.grid.x)), bodies(law.grid, law.prior)])
    host = 1 + _hosts(keys, trees, parameters)
    gust = ln_critical_speed(sound.capacity, mechanics.wind) - sound.ln_profile[:, None]
    calm, rotten = np.empty((2, len(keys), PARTS))
    chances = Chances(parameters.site.gusts, mechanics.wind)
    # Trees of one kind share their season loads and the spread of what is not known of them.
    kind = sound.leaf * 4 + sound.sizes.height_filled * 2 + sound.sizes.crown_filled
    for one in np.flatnonzero(np.bincount(kind)):
        mine = np.flatnonzero(kind == one)
        hosts, profile = host[mine], sound.ln_profile[mine]
        leaf = int(sound.leaf[mine[0]])
        for column, parts in enumerate(_PARTS_OF):
            table = _table(float(sound.spread[mine[0], column]), leaf, grids, chances, parameters,
                           roots=column == 0)  # fmt: skip
            none, some = look_up_shared(table, (_ATOM, hosts), gust[mine, column], profile)
            for part in parts:
                calm[mine, part], rotten[mine, part] = none, some
        limb = _limbs(leaf, grids, parameters)
        calm[mine, Part.BRANCH], rotten[mine, Part.BRANCH] = limb[0], limb[hosts]
    D = np.where(trees.dbh[keys] > 0, trees.dbh[keys], parameters.site.set_from_cm)
    nothing = nothing_decayed(
        np.arange(PARTS), D[:, None], trees.condition[keys][:, None], law.prior
    )
    p = rotten + (calm - rotten) * nothing
    p[beyond >= 0] = np.nan
    return Ordinary(p, sound.sizes, beyond)


def _hosts(keys: Ints, trees: Trees, parameters: Parameters) -> Ints:
    """Class of each tree as a host; each name is looked up once."""
    species, names = dictionary(trees.table, "species")
    first = [name.split(" ")[0] for name in names]
    by_species = np.append(parameters.decay.hosts(names, first), HOSTS.index("middle"))
    none = [None] * len(trees.genera)
    by_genus = np.append(parameters.decay.hosts(none, trees.genera), HOSTS.index("middle"))
    own = species[keys]
    return np.where(own >= 0, by_species[own], by_genus[trees.genus[keys]]).astype(np.int64)


def _table(
    spread: float,
    leaf: int,
    grids: Floats,
    chances: Chances,
    parameters: Parameters,
    *,
    roots: bool,
) -> SharedTable:
    """Mean chance over each of `grids`, (groups, cells), of roots, or of butt and stem."""
    mechanics, x = parameters.mechanics, parameters.decay.law.grid.x
    kept, zones = anchorage_kept(x, mechanics.anchorage)[:, None], np.ones(1)
    if not roots:
        rot = np.array([RotType.WHITE], np.int8)
        kept, zones = strength_kept(x, rot, mechanics.zone), mechanics.zone.weights
    return shared_table(
        chances.seasons(spread, mechanics.fragility.stood, YEAR), season_loads(leaf, parameters),
        np.log(kept)[None], zones, grids, mechanics.wind,
    )  # fmt: skip


def _limbs(leaf: int, grids: Floats, parameters: Parameters) -> Floats:
    """Mean yearly chance of losing a large branch over each of `grids`, (groups,)."""
    mechanics, x = parameters.mechanics, parameters.decay.law.grid.x
    kept = np.log(strength_kept(x, np.array([RotType.WHITE], np.int8), mechanics.zone))
    ln_kept, told = branch_states(leaf, parameters)[0]
    limb = np.interp(kept, ln_kept, told) @ mechanics.zone.weights
    return np.asarray(grids @ large_branch_chance(limb, mechanics.branches))


def mechanics_table(
    wood: Wood, held: Holding, trees: Trees, with_evidence: Ints, parameters: Parameters
) -> pa.Table:
    """Rows of scoring.mechanics: all rated trees, in the order of the keys."""
    rated = trees.rated.copy()
    rated[with_evidence] = False
    keys = np.flatnonzero(rated)
    found = ordinary_chances(keys, trees, parameters)
    p = found.p.reshape(-1)
    part = np.tile(np.arange(PARTS, dtype=np.int8), len(keys))
    known = ~np.isnan(p)
    reason = np.repeat(found.beyond, PARTS)
    reason = np.where((part == Part.BRANCH) & known, REASONS.index("branch_rate"), reason)
    told = {
        "tree_key": np.repeat(keys, PARTS),
        "part": part,
        "applicable": known,
        "reason": labels(reason, REASONS),
        "p1": optional(p, known),
        "height_filled": np.repeat(found.sizes.height_filled, PARTS),
        "crown_filled": np.repeat(found.sizes.crown_filled, PARTS),
    }
    own = pa.table(holding_columns(wood, held))
    key = np.concatenate([wood.tree, np.repeat(keys, PARTS)])
    # Both are in order of tree and part, so a stable order by tree keeps the parts in theirs.
    order = pa.array(np.argsort(key, kind="stable")) if len(wood.tree) else None
    # Column by column: the whole of it twice is the most that a run would hold at once.
    return pa.table({name: _one_column(own[name], told.get(name), len(part), order)
                     for name in own.column_names})  # fmt: skip


def _one_column(own: pa.ChunkedArray, rest: object, count: int, order: pa.Array | None) -> pa.Array:
    """A column of trees with evidence and of `count` rows of the rest, empty where not told.

    Without an order there are no trees with evidence.
    """
    others = pa.nulls(count, own.type) if rest is None else pa.array(rest)
    if isinstance(others, pa.ChunkedArray):
        others = others.combine_chunks()
    if order is None:
        return others.cast(own.type)
    both = pa.chunked_array([*own.chunks, others.cast(own.type)]).unify_dictionaries()
    return both.take(order).combine_chunks()
