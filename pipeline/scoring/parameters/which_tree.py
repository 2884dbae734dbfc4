"""Published tables of what is told wrongly of trees, as the objects of identification.trees."""

import math
from dataclasses import dataclass

import numpy as np

from pipeline.published.table import Library
from pipeline.scoring.identification.merging import MergeLimits
from pipeline.scoring.identification.trees import TreeErrors
from pipeline.units import Floats

# The radius that holds as much of a round normal error as one sigma holds of a straight one, as
# ingest has it; coordinates are written to a centimetre at best.
_ACCURACY_PER_SIGMA = math.sqrt(-2 * math.log(1 - math.erf(1 / math.sqrt(2))))
_LEAST_SIGMA_M = 0.01


@dataclass(frozen=True)
class WhichTreeParameters:
    """All that joining needs.

    Parameters
    ----------
    attach_at : probability from which a tree is attached.
    inventory_error_m : 68 % radius of the trees' own places [m].
    """

    errors: TreeErrors
    merging: MergeLimits
    attach_at: float
    inventory_error_m: float

    def sigma_m(self, accuracy_m: Floats) -> Floats:
        """Standard deviation per axis of a place and a tree's own [m], shape as given."""
        both = np.hypot(accuracy_m, self.inventory_error_m)
        return np.maximum(both / _ACCURACY_PER_SIGMA, _LEAST_SIGMA_M)


def which_tree_parameters(
    library: Library, *, attach_at: float, cap_m: float, inventory_error_m: float
) -> WhichTreeParameters:
    """Everything from the library and the settings of matching.

    Raises
    ------
    PublishedValueError
        If a table lacks a value.
    """
    told, errors = library.table("which_tree"), library.table("observation_errors")

    def value(quantity: str) -> float:
        return told.number("value", quantity=quantity)

    return WhichTreeParameters(
        errors=TreeErrors(
            tree_id=value("id_error"),
            near=value("id_error_near"),
            place=value("place_error"),
            host=errors.number("error_share", character="host"),
            host_uncertain=errors.number("error_share", character="host_uncertain"),
        ),
        merging=MergeLimits(
            within=value("within_share"),
            cap_m=cap_m,
            same_tree=value("same_tree"),
            same_fungus=value("same_fungus"),
            season_days=value("season"),
            height_m=value("height_apart"),
            height_share=value("height_apart_share"),
        ),
        attach_at=attach_at,
        inventory_error_m=inventory_error_m,
    )
