"""The likelihood of impact as a word, from occupancy and from how many falls would hit."""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Floats, Words


@dataclass(frozen=True, slots=True)
class ImpactTable:
    """Classes of exposure and the word of each occupancy and exposure.

    Parameters
    ----------
    share_from : least share of fall directions of each class, rising from 0, shape (classes,).
    words : shape (4 occupancy words, classes), values of ImpactWord.
    """

    share_from: Floats
    words: Words


def exposure(direction_share: Floats, *, table: ImpactTable) -> Words:
    """Class of exposure from 0; a share at a cut-off takes the higher class; same shape."""
    place = np.searchsorted(table.share_from, direction_share, side="right") - 1
    return np.maximum(place, 0).astype(np.int8)


def impact_words(occupancy: Words, direction_share: Floats, *, table: ImpactTable) -> Words:
    """Likelihood of impact of each pair; same shape."""
    return table.words[occupancy - 1, exposure(direction_share, table=table)]
