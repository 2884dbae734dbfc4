"""How much of the time a target is there, from counts where there are any, else from the word.

A count always stands over a word. The expected number of persons or vehicles in the stretch that a
falling part would cover is flow x length / speed; a target that stays counts by its stay.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.terms import OccupancyWord
from pipeline.units import SECONDS_PER_HOUR, Flags, Floats, Ints, Words

HOURS_PER_DAY = 24.0
M_PER_KM = 1000.0


@dataclass(frozen=True, slots=True)
class OccupancyLimits:
    """Cut-offs on the expected number, and the share that a word alone stands for.

    Parameters
    ----------
    number_from : least expected number of each word, rare to constant, shape (4,).
    share_of_word : share of time used where only the word is told, shape (4,).
    nothing_known_share : share where zones are known but none lies within reach.
    """

    number_from: Floats
    share_of_word: Floats
    nothing_known_share: float


@dataclass(frozen=True, slots=True)
class Movement:
    """Walking speed and the length that a vehicle adds to the stretch."""

    walking_m_s: float
    vehicle_length_m: float


@dataclass(frozen=True, slots=True)
class ZoneCounts:
    """What is told of each zone, each of shape (zones,); NaN where nothing is told.

    Parameters
    ----------
    word : trade's word, 0 where none is told.
    persons_per_h, open_share, vehicles_per_day, speed_km_h : counts as the zone tells them.
    static : a thing that is always there.
    stay_min : minutes that a person stays there; NaN where people pass through.
    """

    word: Words
    persons_per_h: Floats
    open_share: Floats
    vehicles_per_day: Floats
    speed_km_h: Floats
    static: Flags
    stay_min: Floats


@dataclass(frozen=True, slots=True)
class Presence:
    """Expected number in a stretch of length L [m]: `per_m` x L + `fixed`; each shape (zones,).

    `share_of_word` is used, and `counted` is False, where no count is told.
    """

    per_m: Floats
    fixed: Floats
    counted: Flags
    share_of_word: Floats
    word: Words


def vehicles_in(vehicles_per_day: Floats, length_m: Floats, speed_km_h: Floats) -> Floats:
    """Expected vehicles in a stretch: N = (AADT / 24) L / V; same shape.

    References
    ----------
    pierson_vickle_1993, average vehicle risk.
    """
    per_hour = np.asarray(vehicles_per_day, np.float64) / HOURS_PER_DAY
    hours = np.asarray(length_m, np.float64) / (np.asarray(speed_km_h, np.float64) * M_PER_KM)
    return per_hour * hours


def persons_in(persons_per_h: Floats, length_m: Floats, walking_m_s: float) -> Floats:
    """Expected walkers in a stretch: flow x length / speed; same shape."""
    length = np.asarray(length_m, np.float64)
    return np.asarray(persons_per_h, np.float64) * length / (walking_m_s * SECONDS_PER_HOUR)


def presence(counts: ZoneCounts, *, limits: OccupancyLimits, movement: Movement) -> Presence:
    """Turn what is told of zones into numbers that depend on the stretch only.

    A zone that is open for a share of the year's hours counts for that share. A zone without a
    word and without a count is taken by the strictest word that a count could not deny: frequent.
    """
    persons = np.nan_to_num(counts.persons_per_h)
    vehicles = np.nan_to_num(counts.vehicles_per_day)
    speed_known = np.nan_to_num(counts.speed_km_h) > 0
    vehicles = np.where(speed_known, vehicles, 0.0)
    speed = np.where(speed_known, counts.speed_km_h, 1.0)
    open_share = np.where(np.isnan(counts.open_share), 1.0, counts.open_share)
    stays = ~np.isnan(counts.stay_min)
    one = np.ones_like(persons)
    walking_per_m = persons_in(persons, one, movement.walking_m_s)
    vehicles_per_m = vehicles_in(vehicles, one, speed)
    per_m = np.where(stays, 0.0, walking_per_m * open_share) + vehicles_per_m
    staying = persons * np.nan_to_num(counts.stay_min) / 60.0 * open_share
    fixed = np.where(stays, staying, 0.0) + vehicles_per_m * movement.vehicle_length_m
    counted = ((counts.persons_per_h >= 0) | ((counts.vehicles_per_day >= 0) & speed_known)) & (
        ~counts.static
    )
    told = np.where(counts.word == 0, np.int8(OccupancyWord.FREQUENT), counts.word)
    word = np.where(counts.static, np.int8(OccupancyWord.CONSTANT), told).astype(np.int8)
    return Presence(per_m, fixed, counted, limits.share_of_word[word - 1], word)


def occupied(
    zones: Presence, zone: Ints, stretch_m: Floats, *, limits: OccupancyLimits
) -> tuple[Floats, Words]:
    """Share of time occupied, and the trade's word, of each pair; each shape (pairs,).

    Parameters
    ----------
    zones : of `presence`.
    zone : index of the zone of each pair, shape (pairs,).
    stretch_m : length that the falling part would cover there, shape (pairs,).
    """
    number = zones.per_m[zone] * stretch_m + zones.fixed[zone]
    counted = zones.counted[zone]
    share = np.where(counted, -np.expm1(-number), zones.share_of_word[zone])
    words = np.where(counted, word_of_number(number, limits=limits), zones.word[zone])
    return share, words.astype(np.int8)


def word_of_number(number: Floats, *, limits: OccupancyLimits) -> Words:
    """The trade's word of an expected number; a number at a cut-off takes the higher word."""
    return np.searchsorted(limits.number_from, number, side="right").astype(np.int8)
