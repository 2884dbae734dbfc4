"""What the catalogue of fungi says, as arrays; the last taxon is 'unlisted'."""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Flags, Ints, Words


@dataclass(frozen=True)
class Catalogue:
    """Properties of the taxa, from config/published/taxa.csv in its order, plus 'unlisted' last.

    Parameters
    ----------
    taxon_id : ids, length taxa; the last is 'unlisted'.
    action_code : R0-R5 as 0-5, shape (taxa,); 'unlisted' carries 0 and is never read by it.
    attacks : roots, butt, stem, branch, shape (taxa, 4); none for 'unlisted'.
    rot : see terms.RotType, shape (taxa,).
    """

    taxon_id: tuple[str, ...]
    action_code: Words
    attacks: Flags
    rot: Words

    @property
    def unlisted(self) -> int:
        """Index of 'unlisted'."""
        return len(self.taxon_id) - 1

    def index(self, taxon_id: tuple[str | None, ...]) -> Ints:
        """Indices of taxa by id, shape (n,); -1 where the id is missing or not in the catalogue."""
        at = {name: number for number, name in enumerate(self.taxon_id[:-1])}
        return np.array([at.get(name or "", -1) for name in taxon_id], dtype=np.int64)
