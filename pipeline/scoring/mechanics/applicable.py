"""For which trees wind mechanics says nothing, and why."""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.units import Flags, Floats, Words

KINDS = ("palm", "multi_stem", "pole", "topped", "no_diameter")
APPLIES = -1


@dataclass(frozen=True)
class Applicability:
    """From config/published/mechanics_applies.csv: `applies` by KINDS, shape (5,)."""

    applies: Flags

    def __post_init__(self) -> None:
        """Refuse a table that lets a tree without a diameter through.

        Raises
        ------
        PublishedValueError
            If it says that mechanics applies where no diameter is known, or lacks a kind.
        """
        if len(self.applies) != len(KINDS) or self.applies[KINDS.index("no_diameter")]:
            raise PublishedValueError(
                where="published table mechanics_applies",
                found=f"{len(self.applies)} kinds, no_diameter among those that apply",
                expected=f"{', '.join(KINDS)}, the last never",
                remedy="Mend the table or the override.",
            )


def not_applicable(
    *,
    palm: Flags,
    multi_stem: Flags,
    pole: Flags,
    topped: Flags,
    diameter_cm: Floats,
    rules: Applicability,
) -> Words:
    """First of KINDS for which mechanics says nothing of the tree, APPLIES (-1) if none; (trees,).

    Parameters
    ----------
    palm, multi_stem, pole, topped : what the tree is; a pole is a stem without a crown.
    diameter_cm : NaN, 0 or less where not known.
    """
    unknown = ~(np.asarray(diameter_cm, dtype=np.float64) > 0)
    told = np.stack([palm, multi_stem, pole, topped, unknown], axis=-1) & ~rules.applies
    return np.where(told.any(axis=-1), told.argmax(axis=-1), APPLIES).astype(np.int8)
