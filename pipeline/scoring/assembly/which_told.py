"""What is told of the trees that a sighting may be of: columns, and values of reviews."""

import numpy as np

from pipeline.scoring.assembly.columns import optional
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.which_tree import Joined

# Trees that a sentence names.
_TOLD = 3
# Less probable ones are counted, not named, unless there is no other.
_WORTH_NAMING = 0.01


def sighting_tree_columns(joined: Joined) -> dict[str, object]:
    """Columns of scoring.sighting_trees."""
    rows = joined.candidates
    return {
        "sighting_key": rows.sighting,
        "tree_key": rows.tree,
        "named": rows.named,
        "distance_m": optional(joined.distance_m, ~np.isnan(joined.distance_m)),
        "distance_weight": np.clip(joined.weight, 0.0, 1.0),
        "probability": np.clip(joined.probability, 0.0, 1.0),
        "attached": (rows.tree >= 0) & (joined.tree[rows.sighting] == rows.tree),
    }


class WhichTree:
    """What is told of the candidates where a person must find the tree."""

    def __init__(self, joined: Joined, trees: Trees, hosts: list[str | None]) -> None:
        """Hold the candidates of each sighting, the most probable first, and the hosts told."""
        self._hosts = hosts
        self._joined, self._trees = joined, trees
        rows = joined.candidates
        self._order = np.lexsort((rows.tree, -joined.probability, rows.sighting))
        count = len(joined.tree)
        self._start = np.searchsorted(rows.sighting[self._order], np.arange(count + 1))
        self._reports = np.bincount(joined.leader, minlength=count)

    def told(self, row: int) -> dict[str, object]:
        """Values of the reviews of a sighting that may be of several trees."""
        joined, at = self._joined, self._order[self._start[row] : self._start[row + 1]]
        listed = at[joined.candidates.tree[at] >= 0]
        worth = listed[joined.probability[listed] >= _WORTH_NAMING]
        named = worth[:_TOLD] if len(worth) else listed[:1]
        return {
            "reports": int(self._reports[row]),
            "candidates": len(listed),
            "host": self._hosts[row],
            "trees": [self._tree(place) for place in named.tolist()],
            "unlisted": float(joined.probability[at[joined.candidates.tree[at] < 0]].sum()),
        }

    def _tree(self, place: int) -> dict[str, object]:
        tree = int(self._joined.candidates.tree[place])
        away = self._joined.distance_m[place]
        return {
            "tree_id": self._trees.table["tree_id"][tree].as_py(),
            "genus": self._genus(tree),
            "distance_m": None if np.isnan(away) else round(float(away), 1),
            "named": bool(self._joined.candidates.named[place]),
            "probability": round(float(self._joined.probability[place]), 4),
        }

    def host(self, row: int) -> dict[str, object]:
        """The tree that a sighting is attached to, and its genus."""
        tree = int(self._joined.tree[row])
        return {"tree_id": self._trees.table["tree_id"][tree].as_py(), "genus": self._genus(tree)}

    def _genus(self, tree: int) -> str | None:
        genus = self._trees.genus[tree]
        return self._trees.genera[genus] if genus >= 0 else None
