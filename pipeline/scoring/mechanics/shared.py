"""Chances of trees that share their states of decay: averaged once, then looked up.

Where nobody has told anything of a tree, its grid of decay is one of a few with a weight. The mean
chance over each of these is tabulated over two numbers of the sound part, the gust at 10 m that
fells half of such trees and how much more wind the crown meets, both as logarithms, and is
interpolated straight along both in the logarithm of the chance.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.mechanics.lookup import ChanceTable, SoundParts, state_chances
from pipeline.scoring.mechanics.wind import WindLoad, shape
from pipeline.units import Floats, Ints

# Logarithms of the critical gusts that are tabulated [ln m/s]: 12 to 148 m/s, and of the wind at
# the crown, of crowns of 3 to 36 m. A part beyond them is taken as the nearest.
_WEAKEST, _STRONGEST, _PER_UNIT = 2.5, 5.0, 24
_REACH, _PROFILES = 0.32, 13
_LEAST = float(np.log(np.finfo(np.float64).tiny))


@dataclass(frozen=True)
class SharedTable:
    """Logarithm of the mean chance, shape (groups, critical gusts x profiles)."""

    ln_p: Floats


def shared_table(
    seasons: tuple[ChanceTable, ...],
    season_loads: Floats,
    ln_kept: Floats,
    zone_weights: Floats,
    states: Floats,
    wind: WindLoad,
) -> SharedTable:
    """Mean chance of a part of one spread over each of some grids of decay.

    Parameters
    ----------
    seasons, season_loads, zone_weights : as of `lookup.state_chances`.
    ln_kept : logarithm of the strength kept, shape (1, cells, zones).
    states : grids of decay, rows sum to 1, shape (groups, cells).
    """
    rows = round((_STRONGEST - _WEAKEST) * _PER_UNIT) + 1
    gusts = np.repeat(np.linspace(_WEAKEST, _STRONGEST, rows), _PROFILES)
    profiles = np.tile(np.linspace(-_REACH, _REACH, _PROFILES), rows)
    capacity = np.log(shape(np.exp(gusts + profiles), wind))
    parts = SoundParts(capacity, profiles, gusts + profiles)
    each = state_chances(seasons, season_loads, parts, ln_kept, zone_weights, wind)
    with np.errstate(divide="ignore"):
        return SharedTable(np.maximum(np.log(states @ each.T), _LEAST))


def look_up_shared(
    table: SharedTable, groups: tuple[Ints, ...], ln_gust: Floats, ln_profile: Floats
) -> tuple[Floats, ...]:
    """Mean chances of parts over their grids, one array of shape (n,) for each of `groups`.

    Parameters
    ----------
    groups : rows of the table, each of shape (n,) or ().
    ln_gust : logarithm of the gust at 10 m that fells half of such trees, sound [ln m/s], (n,).
    ln_profile : logarithm of the wind at the crown over that at 10 m, (n,).
    """
    last = round((_STRONGEST - _WEAKEST) * _PER_UNIT)
    i, u = _between((ln_gust - _WEAKEST) * _PER_UNIT, last)
    j, w = _between((ln_profile + _REACH) * ((_PROFILES - 1) / (2.0 * _REACH)), _PROFILES - 1)
    at = i * _PROFILES + j
    width = table.ln_p.shape[1]
    flat = table.ln_p.ravel()
    found = []
    for group in groups:
        start = np.asarray(group) * width + at
        low = flat.take(start)
        low += (flat.take(start + 1) - low) * w
        high = flat.take(start + _PROFILES)
        high += (flat.take(start + _PROFILES + 1) - high) * w
        low += (high - low) * u
        found.append(np.exp(low, out=low))
    return tuple(found)


def _between(place: Floats, last: int) -> tuple[Ints, Floats]:
    """Whole part of each place, below `last`, and the rest; NaN stays in the rest."""
    within = np.clip(place, 0.0, float(last))
    i = np.minimum(np.fmax(within, 0.0).astype(np.int64), last - 1)
    return i, within - i
