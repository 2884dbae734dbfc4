"""A whole selection near the relaxation, from which the search goes on.

What the relaxation has whole stays, the rest is served by what it would lose. Where jobs that must
be done find no room so, these alone are packed first, each paying the relaxation's prices for the
hours that it takes; then the relaxation is solved again around them.
"""

from dataclasses import replace

import numpy as np

from pipeline.planning.selection.greedy import chosen_of, serve, taken
from pipeline.planning.selection.posed import Posed
from pipeline.planning.selection.programs import choose_whole
from pipeline.planning.selection.relaxation import INTEGER, TINY, relax
from pipeline.units import Floats

_OTHERS = 2_000  # jobs beside those of the relaxation that rounding tries
_NEAR = 6  # columns of a job that is packed
_PACKED_GAP = 1e-4
_CLOSE, _CLOSE_OF_MANY = 3.0, 6.0  # so many times the gap that is good enough may a beginning leave
_MANY = 20_000  # jobs for which the second relaxation takes long and pieces find what it would


def begin(posed: Posed, enough: float, nodes: int) -> tuple[Floats, Floats]:
    """A whole selection, and the relaxation that it comes from.

    Parameters
    ----------
    enough : gap that is good enough, for the relaxation.
    nodes : of the program that packs.

    Returns
    -------
    what is taken, and the share that the relaxation takes, both of shape (columns,).
    """
    columns, rows, goal = posed.columns, posed.rows, posed.goal
    whole = _rounded(posed, posed.part, posed.relaxed.extras, _whole(posed, posed.part))
    if not goal.undone(whole, columns):
        return whole, posed.part
    packed = _packed(posed, nodes)
    around = _rounded(posed, posed.part, posed.relaxed.extras, packed)
    close = _CLOSE_OF_MANY if posed.jobs > _MANY else _CLOSE
    if posed.relaxed.bound - posed.value(around) <= close * enough:
        return around, posed.part
    kept = np.flatnonzero(~goal.must[columns.job] | (packed > 0))
    fewer = replace(rows, limits=rows.limits[:, kept])
    some = replace(goal, gain=goal.gain[kept], saved=goal.saved[kept])
    again = relax(columns.only(kept), fewer, some, packed[kept], enough)
    part = np.zeros(len(columns))
    part[kept[again.of]] = again.x
    return _rounded(posed, part, again.extras, np.maximum(packed, _whole(posed, part))), part


def _whole(posed: Posed, part: Floats) -> Floats:
    """What the shares have whole, but for what a test ties to another, shape (columns,)."""
    return np.where((part > 1.0 - INTEGER) & ~posed.tied()[posed.columns.job], 1.0, 0.0)


def _rounded(posed: Posed, part: Floats, extras: Floats, begun: Floats) -> Floats:
    """Whole choices near shares: what is begun with stays, the others are served after it."""
    columns = posed.columns
    share = np.bincount(columns.job, part, posed.jobs)
    density = np.full(posed.jobs, -np.inf)
    np.maximum.at(density, columns.job, posed.paid / np.maximum(columns.hours, TINY))
    tied = posed.tied()
    near = posed.goal.must | (share > INTEGER) | tied  # the others are as good as left out
    near[np.argsort(-density, kind="stable")[: int((share > INTEGER).sum()) + _OTHERS]] = True
    order = np.lexsort((-density, -np.round(share, 6), ~posed.goal.must))
    prefer = np.where(posed.goal.gain > 0, -posed.paid - INTEGER * part, np.inf)
    chosen = chosen_of(columns, begun)
    for _ in range(2):  # a removal finds its test placed the second time
        chosen = serve(order[near[order]], columns, posed.rows, extras=extras, prefer=prefer,
                       begun=chosen)  # fmt: skip
    return taken(columns, chosen)


def _packed(posed: Posed, nodes: int) -> Floats:
    """The jobs that must be done alone, at the relaxation's prices; as begun with where none is."""
    columns, must = posed.columns, posed.goal.must
    of = np.flatnonzero(must[columns.job])
    first = np.where((posed.start > 0) | (posed.part > INTEGER), np.inf, posed.paid)
    order = of[np.lexsort((-first[of], columns.job[of]))]
    begins = np.searchsorted(columns.job[order], columns.job[order], side="left")
    of = np.sort(order[np.arange(order.size) - begins < _NEAR])
    priced = replace(posed.goal, gain=posed.paid, extra_gain=posed.extra_paid, least=-np.inf)
    found = choose_whole(posed, priced, np.zeros(len(columns)), of, gap=_PACKED_GAP, nodes=nodes)
    return np.where(must[columns.job], posed.start, 0.0) if found.taken is None else found.taken
