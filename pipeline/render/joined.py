"""How sightings were joined to trees in the end: ingest's join, weighed again by scoring."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.render.context import RenderContext


@dataclass(frozen=True)
class Joined:
    """In the order of ingest.sightings.

    Parameters
    ----------
    match : how it was joined, the words of ingest.sightings.
    tree : the tree that it counts for alone, -1 without one.
    """

    match: tuple[str, ...]
    tree: npt.NDArray[np.int64]


def joined(context: RenderContext) -> Joined:
    """The join of each sighting; one that scoring did not weigh again stands as ingest has it."""
    table = context.table("ingest.sightings", columns=("sighting_key", "tree_key", "match"))
    which = context.table("scoring.sighting_trees")
    match = table["match"].cast(pa.string()).to_numpy().astype(object)
    tree = np.array(table["tree_key"].to_numpy(), np.int64)
    sighting, key = which["sighting_key"].to_numpy(), which["tree_key"].to_numpy()
    attached = np.asarray(which["attached"].to_numpy(), np.bool_)
    open_ = np.setdiff1d(sighting, sighting[attached])
    tree[open_], match[open_] = -1, "unmatched"
    match[sighting[(key >= 0) & np.isin(sighting, open_)]] = "ambiguous"
    at = sighting[attached]
    tree[at] = key[attached]
    match[at[match[at] != "by_id"]] = "by_place"
    return Joined(tuple(match.tolist()), tree)
