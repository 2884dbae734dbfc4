"""How much of what is not known of a part's failing is not knowing which fungus rots it.

The posterior of a part mixes what each possible fungus does. A state of decay is shared out among
them by how well each explains it; the chance of failing, averaged over the states of each, then
differs from fungus to fungus. The variance between those averages, over the whole variance, is
what a sure name would take away.
"""

import numpy as np

from pipeline.scoring.assembly.wood import Wood
from pipeline.scoring.decay.prior import CONDITIONS, HOSTS, bodies, nothing_decayed, priors
from pipeline.scoring.decay.roots import root_grids
from pipeline.scoring.decay.spread import SpreadTables, class_grids
from pipeline.scoring.decay.update import FungusRows
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.rating.spread import between
from pipeline.terms import Part
from pipeline.units import Floats, Ints

# Grids of entries are made for diameters that differ by no less than this share.
_PER_UNIT = 16
_HOST, _CONDITION = HOSTS.index("middle"), CONDITIONS.index("unknown")
_BATCH = 4096


def fungus_share(row: Ints, wood: Wood, ln_nodes: Floats, parameters: Parameters) -> Floats:
    """Share of the fungus in the variance of the logarithm of a part's chance, (rows,).

    Parameters
    ----------
    row : row of `Wood` of each part.
    ln_nodes : logarithm of its chance at the nodes of its states of decay, rising, (rows, nodes).

    The class of host, which moves all fungi alike, is taken as the middle one.
    """
    found = np.zeros(len(row))
    told = wood.told.fungus
    own = np.flatnonzero(np.isin(row, told.row))
    for start in range(0, len(own), _BATCH):
        some = own[start : start + _BATCH]
        entries = told.take(np.flatnonzero(np.isin(told.row, row[some])))
        found[some] = _of_rows(row[some], entries, wood, ln_nodes[some], parameters)
    return found


def _of_rows(
    row: Ints, entries: FungusRows, wood: Wood, ln_nodes: Floats, parameters: Parameters
) -> Floats:
    order = np.argsort(row, kind="stable")
    of = order[np.searchsorted(row[order], entries.row)]
    masses = wood.masses[row].astype(np.float64)
    masses /= masses.sum(axis=1, keepdims=True)
    ln_p = _at_levels(np.cumsum(masses, axis=1) - masses / 2.0, ln_nodes)
    explains = entries.weight[:, None] * _grids(entries, wood, parameters)
    left = np.maximum(1.0 - np.bincount(of, entries.weight, minlength=len(row)), 0.0)
    explains = np.concatenate([explains, left[:, None] * _prior(row, wood, parameters)])
    of = np.concatenate([of, np.arange(len(row))])
    # The kinds of one part: what several bodies bring of one kind is one.
    kind = np.concatenate([entries.kind, np.full(len(row), -1)])
    _, kinds = np.unique(of * (int(kind.max()) + 2) + kind + 1, return_inverse=True)
    whole = np.zeros(masses.shape)
    np.add.at(whole, of, explains)
    mine = np.divide(explains, whole[of], out=np.zeros_like(explains), where=whole[of] > 0)
    mine *= masses[of]
    weight, sums = mine.sum(axis=1), (mine * ln_p[of]).sum(axis=1)
    kinds = kinds.reshape(-1)
    count = int(kinds.max()) + 1
    of_kind = np.zeros(count, np.int64)
    of_kind[kinds] = of
    w, s = (np.asarray(np.bincount(kinds, v, minlength=count), np.float64) for v in (weight, sums))
    mean = np.divide(s, w, out=np.zeros(count), where=w > 0)
    middle = (masses * ln_p).sum(axis=1, keepdims=True)
    total = (masses * (ln_p - middle) ** 2).sum(axis=1)
    apart = between(w, mean, of_kind, len(row))
    known = total > np.finfo(np.float64).eps
    share = np.divide(apart, total, out=np.zeros(len(row)), where=known)
    return np.asarray(np.clip(share, 0.0, 1.0), np.float64)


def _at_levels(level: Floats, ln_nodes: Floats) -> Floats:
    """Logarithm of the chance at levels of the states of decay, (rows, cells)."""
    last = ln_nodes.shape[1] - 1
    at = np.clip(level * ln_nodes.shape[1] - 0.5, 0.0, last)
    below = np.minimum(at.astype(np.int64), last - 1)
    low = np.take_along_axis(ln_nodes, below, axis=1)
    high = np.take_along_axis(ln_nodes, below + 1, axis=1)
    return np.asarray(low + (high - low) * (at - below), np.float64)


def _grids(entries: FungusRows, wood: Wood, parameters: Parameters) -> Floats:
    """Decay that each entry's fungus does, (entries, cells + 1)."""
    law = parameters.decay.law
    roots = wood.part[entries.row] == Part.ROOTS
    size = np.rint(np.log(wood.diameter[entries.row]) * _PER_UNIT)
    alike = np.column_stack([entries.kind, roots, np.where(roots, 0.0, size),
                             np.nan_to_num(entries.years, nan=-1.0)])  # fmt: skip
    one, first, back = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    kind, years = entries.kind[first], entries.years[first]
    across = np.exp(one[:, 2] / _PER_UNIT)
    found = np.empty((len(first), law.grid.cells + 1))
    below, above = (np.flatnonzero(roots[first] == which) for which in (True, False))
    found[below] = root_grids(kind[below], years[below], law.grid, law.roots)
    found[above] = class_grids(
        kind[above], np.full(len(above), _HOST), years[above], across[above],
        law.grid, SpreadTables(law.spread),
    )  # fmt: skip
    return np.asarray(found[back.reshape(-1)])


def _prior(row: Ints, wood: Wood, parameters: Parameters) -> Floats:
    law, middle = parameters.decay.law, np.full(len(row), _HOST)
    condition = np.full(len(row), _CONDITION)
    nothing = nothing_decayed(
        wood.part[row].astype(np.int64), wood.diameter[row], condition, law.prior
    )
    return np.asarray(priors(nothing, middle, bodies(law.grid, law.prior)), np.float64)
