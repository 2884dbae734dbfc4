"""Height and crown of a tree from its diameter, where nobody measured them, and said so.

Both follow powers of the diameter and never shrink as it grows. What is known of one speaks of the
other: a tree that is tall for its diameter tends to have a wide crown, so a gap is filled from the
diameter and from the other measurement together, never from each alone.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.units import CM_PER_M, Flags, Floats, Words

BROADLEAF, CONIFER = 0, 1


@dataclass(frozen=True)
class SizeCurves:
    """From config/published/allometry.csv; arrays by wood (broadleaf, conifer), shape (2,).

    Parameters
    ----------
    height_at_zero : [m]; height = this + height_factor D^height_power, D and height in m.
    crown_factor, crown_power : crown diameter = factor D^power, in m.
    height_spread, crown_spread : sd of the logarithm of one tree against the curve.
    correlation : of the two residuals.
    fitted_from, fitted_to : diameters that the curves were fitted to [m].
    """

    height_at_zero: float
    height_factor: Floats
    height_power: Floats
    crown_factor: Floats
    crown_power: Floats
    height_spread: Floats
    crown_spread: Floats
    correlation: Floats
    fitted_from: float
    fitted_to: float

    def __post_init__(self) -> None:
        """Refuse curves that shrink as the tree grows.

        Raises
        ------
        PublishedValueError
            If a factor, power or spread is not above 0, or a correlation not within -1..1.
        """
        above = np.concatenate(
            [
                self.height_factor,
                self.height_power,
                self.crown_factor,
                self.crown_power,
                self.height_spread,
                self.crown_spread,
                [self.fitted_from, self.fitted_to - self.fitted_from],
            ]
        )
        if not ((above > 0).all() and (np.abs(self.correlation) < 1).all()):
            raise PublishedValueError(
                where="published table allometry",
                found="a factor, power or spread of 0 or less, or a correlation outside -1..1",
                expected="trees that grow taller and wider with their diameter",
                remedy="Mend the table or the override.",
            )


@dataclass(frozen=True)
class TreeSizes:
    """Sizes of trees [m], all shape (trees,); NaN where the diameter is not known either.

    `outside` marks diameters that the curves were not fitted to, where a curve was used.
    """

    height: Floats
    crown: Floats
    height_filled: Flags
    crown_filled: Flags
    outside: Flags


def curve_height(diameter_cm: Floats, wood: Words, curves: SizeCurves) -> Floats:
    """Median height [m] for a diameter, same shape; no taller than at `fitted_to`."""
    D = np.minimum(np.asarray(diameter_cm, dtype=np.float64) / CM_PER_M, curves.fitted_to)
    return curves.height_at_zero + curves.height_factor[wood] * D ** curves.height_power[wood]


def curve_crown(diameter_cm: Floats, wood: Words, curves: SizeCurves) -> Floats:
    """Median crown diameter [m] for a diameter, same shape; no wider than at `fitted_to`."""
    D = np.minimum(np.asarray(diameter_cm, dtype=np.float64) / CM_PER_M, curves.fitted_to)
    return curves.crown_factor[wood] * D ** curves.crown_power[wood]


def tree_sizes(
    diameter_cm: Floats, wood: Words, *, height_m: Floats, crown_m: Floats, curves: SizeCurves
) -> TreeSizes:
    """Measured sizes where there are any, else the median given all that was measured.

    Parameters
    ----------
    diameter_cm : at breast height [cm], shape (trees,).
    wood : BROADLEAF or CONIFER, shape (trees,).
    height_m, crown_m : measured [m], NaN if not, shape (trees,).
    """
    D = np.asarray(diameter_cm, dtype=np.float64)
    height, crown = curve_height(D, wood, curves), curve_crown(D, wood, curves)
    no_height, no_crown = np.isnan(height_m), np.isnan(crown_m)
    share = curves.correlation[wood]
    with np.errstate(divide="ignore", invalid="ignore"):
        taller = np.nan_to_num(np.log(height_m / height), posinf=0.0, neginf=0.0)
        wider = np.nan_to_num(np.log(crown_m / crown), posinf=0.0, neginf=0.0)
    per_height = share * curves.crown_spread[wood] / curves.height_spread[wood]
    per_crown = share * curves.height_spread[wood] / curves.crown_spread[wood]
    metres = D / CM_PER_M
    outside = (metres < curves.fitted_from) | (metres > curves.fitted_to)
    return TreeSizes(
        height=np.where(no_height, height * np.exp(per_crown * wider), height_m),
        crown=np.where(no_crown, crown * np.exp(per_height * taller), crown_m),
        height_filled=no_height,
        crown_filled=no_crown,
        outside=outside & (no_height | no_crown),
    )
