"""Trees of which one report names a serious fungus and another what is taken for it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.columns import codes, texts
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.identification import meaning
from pipeline.scoring.parameters.identification import IdentificationParameters


@dataclass(frozen=True)
class Disagreement:
    """Two names of one tree that are taken for each other.

    Parameters
    ----------
    sighting : first row of the serious name.
    told : values of the review `fungus_reports_disagree`.
    """

    tree: int
    sighting: int
    told: dict[str, object]


def disagreements(
    sightings: Sightings, trees: Trees, ident: IdentificationParameters
) -> Iterator[Disagreement]:
    """Each pair once, in the order of trees and of the catalogue."""
    key, code = ident.key, ident.traits.action_code
    taxa, count = len(key.taxon_id), len(sightings.tree)
    taxon = codes(sightings.table, "taxon_id", key.taxon_id[:-1])
    rows = np.flatnonzero((taxon >= 0) & (sightings.tree >= 0))
    pairs, first = np.unique(sightings.tree[rows] * taxa + taxon[rows], return_index=True)
    tree, name = pairs // taxa, pairs % taxa
    serious = code[name] >= ident.limits.serious_from
    alike = key.names.look_alike + key.names.look_alike.T > 0
    both = np.intersect1d(tree[serious], tree[~serious])
    if not len(both):
        return
    by = np.array(texts(sightings.table, "name_by"), np.object_)
    ids = trees.table["tree_id"]
    number = np.full(count, -1, np.int64)
    number[rows] = np.searchsorted(pairs, sightings.tree[rows] * taxa + taxon[rows])
    for grave in np.flatnonzero(serious & np.isin(tree, both)).tolist():
        mates = np.flatnonzero((tree == tree[grave]) & ~serious & alike[name[grave], name])
        for mate in mates.tolist():
            pair = key.taxon_id[name[grave]], key.taxon_id[name[mate]]
            apart = ident.tell_apart.get(pair) or ident.tell_apart.get(pair[::-1])
            yield Disagreement(int(tree[grave]), int(rows[first[grave]]), {
                "tree_id": ids[int(tree[grave])].as_py(),
                "serious": ident.names[name[grave]],
                "serious_by": _who(by[number == grave]),
                "code": f"R{code[name[grave]]}",
                "other": ident.names[name[mate]],
                "other_by": _who(by[number == mate]),
                "tell_apart": apart,
                "photographs": list(meaning.PHOTOGRAPHS),
            })  # fmt: skip


def _who(told: np.ndarray) -> list[str]:
    """Who gave a name, each once."""
    return sorted({who or "unknown" for who in told})
