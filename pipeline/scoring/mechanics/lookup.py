"""The same chances for many trees: summed once over all gusts, then looked up.

For one spread and one climate the chance of failing depends on two numbers of a part: the speed at
the crown that fells half of such trees, and how much more wind the crown meets than the reference
height. The logarithm of the chance is tabulated over the logarithms of both for one season
(`ChanceTable`) and interpolated: straight along the first, by parabolas along the second. The error
of a mean over states is below 0.5 %, which the tests measure.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.mechanics.fragility import Gusts, averaged, chance_of_capacity
from pipeline.scoring.mechanics.wind import WindLoad, ln_critical_speed, shape
from pipeline.units import Floats, Ints

# Logarithms of the critical speeds at the crown that are tabulated [ln m/s]: 1 to 400 m/s.
# A part beyond them is taken as the nearest: a stronger one then fails more often than it should.
_WEAKEST, _STRONGEST, _PER_UNIT = 0, 6, 64
_REACH, _PROFILES = 0.5, 11
_FEW = 64
_LEAST = float(np.log(np.finfo(np.float64).tiny))


@dataclass(frozen=True)
class ChanceTable:
    """Logarithms of the chances of failing and of having stood, for one season.

    Both of shape (critical speeds, profiles).
    """

    ln_p: Floats
    ln_stood: Floats


@dataclass(frozen=True)
class SoundParts:
    """What the tables are read at, all shape (n,): the part as if nothing were decayed.

    Parameters
    ----------
    capacity : `ln_capacity` in leaf [ln (m/s)^2]; ln_profile : logarithm of `CrownLoad.profile`.
    ln_speed : logarithm of the critical speed at the crown [ln m/s].
    """

    capacity: Floats
    ln_profile: Floats
    ln_speed: Floats


@dataclass(frozen=True)
class Expected:
    """What the states of decay of each tree's part give, all shape (trees,) but `words`.

    Parameters
    ----------
    mean : chance of failing averaged over the states.
    low, median, high : 10, 50 and 90 % over the states: of what is not known of decay only.
    words : share of the states that lie in each word's band, shape (trees, 4).
    """

    mean: Floats
    low: Floats
    median: Floats
    high: Floats
    words: Floats


def sound_parts(capacity: Floats, profile: Floats, wind: WindLoad) -> SoundParts:
    """Parts from `ln_capacity` and `CrownLoad.profile`, both of shape (n,)."""
    c, g = np.asarray(capacity, dtype=np.float64), np.log(profile)
    return SoundParts(c, g, ln_critical_speed(c, wind))


def chance_table(
    gusts: Gusts, wind: WindLoad, *, spread: float, stood: float, years: float, season: float
) -> ChanceTable:
    """Tabulated `chance_of_capacity`; a stronger part never fails more often than a weaker."""
    parts = _grid(wind)
    told = chance_of_capacity(
        parts.capacity, parts.ln_profile, gusts, wind,
        spread=spread, stood=stood, years=years, season=season,
    )  # fmt: skip
    of = (-1, _PROFILES)
    falling = np.minimum.accumulate(told.fails.reshape(of), axis=0)
    return ChanceTable(_ln(falling), _ln(told.stood.reshape(of)))


def look_up(table: ChanceTable, ln_speed: Floats, ln_profile: Floats) -> tuple[Floats, Floats]:
    """Chance of failing, and logarithm of that of having stood; the arguments are broadcast."""
    v, g = np.broadcast_arrays(ln_speed, ln_profile)
    ln_p, ln_stood = np.zeros(v.shape), np.zeros(v.shape)
    for i, j, share in _corners(v, g, table.ln_p.shape[1]):
        ln_p += table.ln_p[i, j] * share
        ln_stood += table.ln_stood[i, j] * share
    return np.exp(ln_p), ln_stood


def state_chances(
    seasons: tuple[ChanceTable, ...],
    season_loads: Floats,
    parts: SoundParts,
    ln_kept: Floats,
    zone_weights: Floats,
    wind: WindLoad,
) -> Floats:
    """Chance of failing in each state of decay, zones averaged, seasons joined; shape (n, cells).

    The width of the weak zone is lack of knowledge, so having stood speaks of it; the states of
    decay are not weighed anew, since what is known of them was found on standing trees. For parts
    whose section is their own (opened, or read by azimuths). More decay never fails less often:
    where a wide weak zone is ruled out by having stood, the chance stays as at less decay.

    Parameters
    ----------
    seasons, season_loads : a table for each season, and its load over that in leaf [share], (s,).
    ln_kept : logarithm of the strength kept, cells from least to most decayed, shape
        (n, cells, zones) or (1, cells, zones).
    zone_weights : shape (zones,).
    """
    shared = len(ln_kept) == 1
    batches = [np.zeros((0, ln_kept.shape[1]))]
    for start in range(0, len(parts.capacity), _FEW):
        s = slice(start, start + _FEW)
        kept = ln_kept if shared else ln_kept[s]
        fails = np.zeros((len(parts.capacity[s]), ln_kept.shape[1]))
        rows: dict[int, ChanceTable] = {}  # seasons may share their table
        for table, load in zip(seasons, season_loads, strict=True):
            left = parts.capacity[s, None, None] + (kept - np.log(load))
            if id(table) not in rows:
                rows[id(table)] = _own_profile(table, parts.ln_profile[s])
            told = _along(rows[id(table)], ln_critical_speed(left, wind))
            fails += (1.0 - fails) * averaged(*told, zone_weights)
        batches.append(np.maximum.accumulate(fails, axis=1))
    return np.concatenate(batches)


def summarise(p: Floats, weights: Floats, limits: Floats) -> Expected:
    """`Expected` from the chances and weights of the states, both of shape (n, cells)."""
    passed = np.cumsum(weights, axis=1)
    rows = np.arange(len(p))
    tenth = 1.0 / 10
    at = [
        p[rows, np.minimum((passed < q).sum(axis=1), p.shape[1] - 1)]
        for q in (tenth, 0.5, 1.0 - tenth)
    ]
    above = [(weights * (p >= limit)).sum(axis=1) for limit in limits]
    edges = np.stack([np.ones(len(p)), *above, np.zeros(len(p))], axis=1)
    bands = np.clip(-np.diff(edges, axis=1), 0.0, 1.0)
    return Expected((weights * p).sum(axis=1), at[0], at[1], at[2], bands)


def _own_profile(table: ChanceTable, ln_profile: Floats) -> ChanceTable:
    """The table at the profile of each part: a row for each, shape (n, speeds)."""
    columns = _across(ln_profile, table.ln_p.shape[1])
    ln_p, ln_stood = np.zeros((2, len(ln_profile), len(table.ln_p)))
    for j, share in columns:
        ln_p += table.ln_p.T[j] * share[:, None]
        ln_stood += table.ln_stood.T[j] * share[:, None]
    return ChanceTable(ln_p, ln_stood)


def _along(own: ChanceTable, ln_speed: Floats) -> tuple[Floats, Floats]:
    """Chance of failing and logarithm of having stood; row n of `own` for ln_speed[n], (n, ...)."""
    i, u = _between(ln_speed)
    i += (np.arange(len(ln_speed)) * own.ln_p.shape[1]).reshape(-1, *(1,) * (ln_speed.ndim - 1))
    told = []
    for field in (own.ln_p, own.ln_stood):
        if not field.any():  # nothing is known of the past: every chance of having stood is 1
            told.append(np.zeros(ln_speed.shape))
            continue
        low = field.take(i)
        told.append(low + (field.take(i + 1) - low) * u)
    return np.exp(told[0], out=told[0]), told[1]


def _grid(wind: WindLoad) -> SoundParts:
    """Every tabulated part: critical speeds slowest, profiles fastest."""
    speeds = np.linspace(_WEAKEST, _STRONGEST, (_STRONGEST - _WEAKEST) * _PER_UNIT + 1)
    lines = np.linspace(-_REACH, _REACH, _PROFILES)
    v, g = np.repeat(speeds, len(lines)), np.tile(lines, len(speeds))
    return SoundParts(np.log(shape(np.exp(v), wind)), g, v)


def _corners(
    ln_speed: Floats, ln_profile: Floats, profiles: int
) -> list[tuple[Ints, Ints, Floats]]:
    """Rows, columns and shares of the tabulated parts around each: two rows, three columns."""
    i, u = _between(ln_speed)
    columns = _across(ln_profile, profiles)
    return [(i + di, j, wi * w) for di, wi in ((0, 1.0 - u), (1, u)) for j, w in columns]


def _between(ln_speed: Floats) -> tuple[Ints, Floats]:
    """Row below each speed, and the share of the one above; NaN shares where not a number."""
    last = (_STRONGEST - _WEAKEST) * _PER_UNIT
    within = np.clip((ln_speed - _WEAKEST) * _PER_UNIT, 0.0, last)
    i = np.minimum(np.fmax(within, 0.0).astype(np.int64), last - 1)
    return i, within - i


def _across(ln_profile: Floats, profiles: int) -> list[tuple[Ints, Floats]]:
    """Columns around each profile and their shares, by a parabola; all of it if there is one."""
    if profiles == 1:
        return [(np.zeros(ln_profile.shape, np.int64), np.ones(ln_profile.shape))]
    across = np.clip((ln_profile + _REACH) * (profiles - 1) / (2.0 * _REACH), 0.0, profiles - 1)
    j = np.clip(np.rint(np.fmax(across, 0.0)).astype(np.int64), 1, profiles - 2)
    t = across - j
    return [
        (j - 1, t * (t - 1.0) / 2.0),
        (j, 1.0 - t**2),
        (j + 1, t * (t + 1.0) / 2.0),
    ]


def _ln(p: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.maximum(np.log(p), _LEAST)
