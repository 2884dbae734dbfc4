"""What may leave the office: which trees the public page shows, and how exactly.

A public page shows public trees only; a tree whose owner is not recorded is counted, not shown. It
carries no note, no address, no observer, and places rounded to about ten metres.
"""

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.units import Flags, Floats

_DECIMALS = 4  # of a degree: about 11 m north-south
PUBLIC_COLUMNS = ("tree_id", "species", "genus", "street", "ward")


def is_public(owner: pa.ChunkedArray) -> Flags:
    """True for trees on public land."""
    return np.asarray(_texts(owner) == "public", dtype=np.bool_)


def owner_unknown(owner: pa.ChunkedArray) -> Flags:
    """True for trees whose owner is not recorded."""
    return np.asarray(_texts(owner) == "unknown", dtype=np.bool_)


def rounded(degrees: Floats) -> Floats:
    """Longitudes or latitudes as a public page may show them."""
    return np.round(degrees, _DECIMALS)


def _texts(column: pa.ChunkedArray) -> npt.NDArray[np.str_]:
    return np.array(column.cast(pa.string()).to_pylist(), dtype=np.str_)
