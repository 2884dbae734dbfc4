"""Which trees meet the winds of winter in leaf.

Seasons are shares of the year's gusts, one in leaf and one without, wherever the place lies: no
month is asked for, so that the hemisphere does not matter.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.scoring.mechanics.allometry import BROADLEAF, CONIFER
from pipeline.units import Flags, Words

_UNKNOWN = -1


@dataclass(frozen=True)
class LeafHabit:
    """Taxa that differ from the most of their wood, from config/published/leaf_habit.csv.

    Parameters
    ----------
    taxon : species and genera.
    evergreen : by taxon.
    """

    taxon: tuple[str, ...]
    evergreen: Flags

    def __post_init__(self) -> None:
        """Refuse a taxon that is told twice.

        Raises
        ------
        PublishedValueError
            If a taxon stands in two rows.
        """
        if len(set(self.taxon)) < len(self.taxon):
            raise PublishedValueError(
                where="published table leaf_habit",
                found="a taxon twice",
                expected="each taxon once",
                remedy="Mend the table or the override.",
            )


def told_habits(names: list[str], known: LeafHabit) -> Words:
    """1 evergreen, 0 not, -1 not told, for each name of a list; the species, else its genus."""
    at = dict(zip(known.taxon, known.evergreen.astype(np.int8).tolist(), strict=True))
    told = [at.get(name, at.get(name.split(" ")[0], _UNKNOWN)) for name in names]
    return np.array(told, dtype=np.int8)


def leafless_rows(told: Words, wood: Words) -> Words:
    """Row of `WindLoad.leafless` of each tree, same shape: that of conifers keeps its leaves.

    Parameters
    ----------
    told : from `told_habits`; where -1, broadleaves shed their leaves and conifers keep them.
    wood : BROADLEAF or CONIFER.
    """
    keeps = np.where(told == _UNKNOWN, wood == CONIFER, told == 1)
    return np.where(keeps, CONIFER, BROADLEAF).astype(np.int8)
