"""Which way a tree or a part of it falls: all ways alike, or rather to one side.

Around the likeliest direction falls lie as a wrapped Cauchy distribution: its tails are broad, no
direction is ever ruled out, and the probability of an arc has a closed form.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Flags, Floats, Ints

_DEGREES, _QUARTER = 360.0, 0.25


@dataclass(frozen=True, slots=True)
class FallDirections:
    """How falls are spread, each shape (groups,).

    Parameters
    ----------
    toward : likeliest direction [turns against the clock from east].
    resultant : mean resultant length, 0 (all ways alike) to below 1 (one way only).
    """

    toward: Floats
    resultant: Floats

    def take(self, rows: Ints | Flags) -> "FallDirections":
        """Some of the groups."""
        return FallDirections(self.toward[rows], self.resultant[rows])


@dataclass(frozen=True, slots=True)
class Sides:
    """What makes a part fall rather to one side, from fall_directions.csv, each shape (rows,).

    Parameters
    ----------
    defect : code of the defect whose azimuth was told.
    lean_from_deg : least lean; 0 where it does not matter.
    turn_deg : from the azimuth told to the likeliest azimuth of the fall.
    resultant : mean resultant length.
    """

    defect: Ints
    lean_from_deg: Floats
    turn_deg: Floats
    resultant: Floats


def sided(defect: Ints, azimuth_deg: Floats, lean_deg: Floats, *, sides: Sides) -> FallDirections:
    """Falls as each defect alone would have them, shape (defects,); any way where none is told.

    Parameters
    ----------
    azimuth_deg, lean_deg : NaN where not told; a lean of no told size is the least.
    """
    lean = np.nan_to_num(lean_deg)[:, None]
    fits = (defect[:, None] == sides.defect) & (lean >= sides.lean_from_deg)
    fits &= ~np.isnan(azimuth_deg)[:, None]
    best = np.where(fits, sides.lean_from_deg, -1.0).argmax(axis=1)
    any_fits = fits.any(axis=1)
    toward = turns_of_azimuth(np.nan_to_num(azimuth_deg) + sides.turn_deg[best])
    return FallDirections(toward, np.where(any_fits, sides.resultant[best], 0.0))


def any_way(groups: int) -> FallDirections:
    """All directions alike."""
    return FallDirections(np.zeros(groups), np.zeros(groups))


def turns_of_azimuth(azimuth_deg: Floats) -> Floats:
    """Turns against the clock from east of azimuths clockwise from north; same shape."""
    turns = _QUARTER - np.asarray(azimuth_deg, np.float64) / _DEGREES
    return turns - np.floor(turns)


def probability_up_to(turn: Floats, group: Ints, falls: FallDirections) -> Floats:
    """Probability of a fall between east and `turn`, against the clock; shape (turns,).

    Parameters
    ----------
    turn : 0 to 1. group : whose falls, a place in `falls`.
    """
    toward, resultant = falls.toward[group], falls.resultant[group]
    sharp = (1.0 + resultant) / (1.0 - resultant)
    return np.where(
        resultant > 0,
        _cumulated(turn - toward, sharp) - _cumulated(-toward, sharp),
        turn,
    )


def _cumulated(turn: Floats, sharp: Floats) -> Floats:
    """Wrapped Cauchy distribution function about 0, with whole turns counted on."""
    whole = np.rint(turn)
    return np.asarray(whole + np.arctan(sharp * np.tan(np.pi * (turn - whole))) / np.pi)
