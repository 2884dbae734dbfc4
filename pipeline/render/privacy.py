"""What may leave the office: which trees the public page shows, and how exactly.

A public page shows public trees only; a tree whose owner is not recorded is counted, not shown. It
carries no note, no address, no observer, and places rounded to about ten metres.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.units import Flags, Floats

_DECIMALS = 4  # of a degree: about 11 m north-south
PUBLIC_COLUMNS = ("tree_id", "species", "genus", "street", "ward")


def is_public(owner: pa.ChunkedArray) -> Flags:
    """True for trees on public land."""
    return _is(owner, "public")


def owner_unknown(owner: pa.ChunkedArray) -> Flags:
    """True for trees whose owner is not recorded."""
    return _is(owner, "unknown")


def rounded(degrees: Floats) -> Floats:
    """Longitudes or latitudes as a public page may show them."""
    return np.round(degrees, _DECIMALS)


def _is(column: pa.ChunkedArray, word: str) -> Flags:
    same = pc.equal(column.cast(pa.string()), word)
    return np.asarray(same.to_numpy(zero_copy_only=False), dtype=np.bool_)
