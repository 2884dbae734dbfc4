"""What to say of a tree file whose trees share points: the place is known only so well."""

from collections.abc import Mapping

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.units import Floats

# Fewer shared points than this are slips of single rows, which are flagged there.
_WORTH_SAYING = 0.05


def notes(trees: pa.Table) -> Mapping[int, str]:
    """Of each tree file in which many trees share a point: how many, and on how many points."""
    source = trees["source_key"].to_numpy()
    shares = trees["shares_place"].to_numpy()
    x, y = trees["x_m"].to_numpy(), trees["y_m"].to_numpy()
    rounded = pc.match_substring(trees["flags"].cast(pa.string()), "place_rounded").to_numpy()
    found: dict[int, str] = {}
    for key in np.unique(source).tolist():
        own = source == key
        shared = int((shares[own] > 1).sum())
        if shared <= _WORTH_SAYING * int(own.sum()):
            continue
        points = _different(x[own], y[own])
        why = "; coordinates are rounded" if rounded[own].all() else ""
        found[key] = (
            f"{shared:,} of {int(own.sum()):,} trees share a point with another, "
            f"{points:,} different points in all{why}: maps draw them apart, distances do not"
        )
    return found


def _different(x: Floats, y: Floats) -> int:
    order = np.lexsort((y, x))
    again = (np.diff(x[order]) == 0) & (np.diff(y[order]) == 0)
    return len(x) - int(np.count_nonzero(again))
