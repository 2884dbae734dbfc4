"""How much of the time a target is there, from counts where there are any, else from the word.

A count always stands over a word. The expected number of persons or vehicles in the stretch that a
falling part would cover is flow x length / speed; people who stay count by their stay, as many of
them as the reach holds of the place. A road is hit twice: by the tree that falls, and by cars that
run into the tree that lies. In the winds that fell trees fewer people are out: that counts in harm
and never in the word.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.terms import OccupancyWord
from pipeline.units import MINUTES_PER_HOUR, SECONDS_PER_HOUR, Flags, Floats, Ints, Words

HOURS_PER_DAY = 24.0
M_PER_KM = 1000.0
# What the occupancy of a target rests on.
BASES = ("count", "word", "tag default", "always there", "assumed")
COUNT, WORD, TAG_DEFAULT, ALWAYS_THERE, ASSUMED_BASIS = range(len(BASES))


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
    """How people and vehicles move.

    Parameters
    ----------
    walking_m_s, vehicle_length_m : pace, and the length that a vehicle adds to the stretch.
    reaction_s, braking_m_s2 : of a driver who sees a fallen tree.
    run_in_of_struck : harm of a vehicle that runs into a fallen tree over that of one that is in
        the stretch when it falls.
    gathering : people beneath a tree over what an even spread over the place would put there.
    """

    walking_m_s: float
    vehicle_length_m: float
    reaction_s: float
    braking_m_s2: float
    run_in_of_struck: float
    gathering: float


@dataclass(frozen=True, slots=True)
class ZoneCounts:
    """What is told of each zone, each of shape (zones,); NaN where nothing is told.

    Parameters
    ----------
    word : trade's word, 0 where none is told.
    persons_per_h, open_share, vehicles_per_day, speed_km_h : counts as the zone tells them.
    static : a thing that is always there.
    stay_min : minutes that a person stays there; NaN where people pass through.
    area_m2 : 0 for lines.
    default : word and numbers are those of a map tag or a road class.
    """

    word: Words
    persons_per_h: Floats
    open_share: Floats
    vehicles_per_day: Floats
    speed_km_h: Floats
    static: Flags
    stay_min: Floats
    area_m2: Floats
    default: Flags


@dataclass(frozen=True, slots=True)
class Presence:
    """Numbers of each zone that do not depend on the tree, each of shape (zones,).

    Parameters
    ----------
    per_m : expected walkers and vehicles in a metre of stretch, while the zone is open.
    fixed : expected vehicles that reach into a stretch of no length.
    staying : persons who stay anywhere in the zone while it is open.
    area_m2 : over which they stay; 0 for lines.
    run_in : vehicles that run into a tree that lies across.
    open_share : share of the year's hours when it is open; 1 where not told.
    counted : numbers are known; else `share_of_word` is used.
    basis : place in BASES.
    """

    per_m: Floats
    fixed: Floats
    staying: Floats
    area_m2: Floats
    run_in: Floats
    open_share: Floats
    counted: Flags
    share_of_word: Floats
    word: Words
    basis: Words

    def of(self, row: Ints) -> "Presence":
        """The numbers of other zones in place of each zone's own, shape (zones,)."""
        return Presence(
            self.per_m[row], self.fixed[row], self.staying[row], self.area_m2[row],
            self.run_in[row], self.open_share[row], self.counted[row], self.share_of_word[row],
            self.word[row], self.basis[row],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Occupied:
    """Occupancy of pairs, each of shape (pairs,).

    Parameters
    ----------
    share : share of the year in which somebody is in the stretch.
    word : the trade's word, of the published definitions.
    run_in : expected vehicles that run into the fallen part.
    in_harm : share that harm counts with: runs into the fallen tree added; before the storm.
    """

    share: Floats
    word: Words
    run_in: Floats
    in_harm: Floats


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


def stopping_distance(speed_km_h: Floats, *, movement: Movement) -> Floats:
    """Way from seeing to standing: v t + v^2 / 2a [m]; same shape."""
    speed = np.asarray(speed_km_h, np.float64) * M_PER_KM / SECONDS_PER_HOUR
    return speed * movement.reaction_s + speed**2 / (2.0 * movement.braking_m_s2)


def vehicles_running_in(vehicles_per_day: Floats, stopping_m: Floats, speed_km_h: Floats) -> Floats:
    """Expected vehicles too near to stop before a fallen tree: q S / v; same shape."""
    return vehicles_in(vehicles_per_day, stopping_m, speed_km_h)


def presence(counts: ZoneCounts, *, limits: OccupancyLimits, movement: Movement) -> Presence:
    """Turn what is told of zones into numbers that depend on the stretch only.

    A zone without a word and without a count is taken by the strictest word that a count could not
    deny: frequent.
    """
    persons = np.nan_to_num(counts.persons_per_h)
    vehicles = np.nan_to_num(counts.vehicles_per_day)
    speed_known = np.nan_to_num(counts.speed_km_h) > 0
    vehicles = np.where(speed_known, vehicles, 0.0)
    speed = np.where(speed_known, counts.speed_km_h, 1.0)
    stays = ~np.isnan(counts.stay_min)
    one = np.ones_like(persons)
    walking_per_m = persons_in(persons, one, movement.walking_m_s)
    vehicles_per_m = vehicles_in(vehicles, one, speed)
    counted = ((counts.persons_per_h >= 0) | ((counts.vehicles_per_day >= 0) & speed_known)) & (
        ~counts.static
    )
    told = np.where(counts.word == 0, np.int8(OccupancyWord.FREQUENT), counts.word)
    word = np.where(counts.static, np.int8(OccupancyWord.CONSTANT), told).astype(np.int8)
    stopping = stopping_distance(speed, movement=movement)
    return Presence(
        per_m=np.where(stays, 0.0, walking_per_m) + vehicles_per_m,
        fixed=vehicles_per_m * movement.vehicle_length_m,
        staying=persons * np.nan_to_num(counts.stay_min) / MINUTES_PER_HOUR,
        area_m2=counts.area_m2,
        run_in=vehicles_running_in(vehicles, stopping, speed),
        open_share=np.where(np.isnan(counts.open_share), 1.0, counts.open_share),
        counted=counted,
        share_of_word=np.where(counts.static, 1.0, limits.share_of_word[word - 1]),
        word=word,
        basis=_basis(counts, counted),
    )


def _basis(counts: ZoneCounts, counted: Flags) -> Words:
    known = np.where(counted, COUNT, np.where(counts.word == 0, ASSUMED_BASIS, WORD))
    basis = np.where(counts.default, TAG_DEFAULT, known)
    return np.where(counts.static, ALWAYS_THERE, basis).astype(np.int8)


def occupied(
    zones: Presence,
    zone: Ints,
    stretch_m: Floats,
    reach_m: Floats,
    *,
    limits: OccupancyLimits,
    movement: Movement,
) -> Occupied:
    """Occupancy of each pair of a part and a zone.

    Somebody is there for no greater share of the year than the zone is open, however many come.

    Parameters
    ----------
    zones : of `presence`.
    zone : index of the zone of each pair, shape (pairs,).
    stretch_m : length that the falling part would cover there, shape (pairs,).
    reach_m : reach of the part, shape (pairs,).
    """
    area = zones.area_m2[zone]
    disc = movement.gathering * np.pi * np.square(reach_m)
    beneath = np.minimum(disc / np.where(area > 0, area, disc), 1.0)
    number = zones.per_m[zone] * stretch_m + zones.fixed[zone] + zones.staying[zone] * beneath
    opens, counted, run_in = zones.open_share[zone], zones.counted[zone], zones.run_in[zone]
    told = np.where(zones.basis[zone] == ALWAYS_THERE, 1.0, opens)
    told = np.minimum(told, zones.share_of_word[zone])
    share = np.where(counted, opens * -np.expm1(-number), told)
    met = number + movement.run_in_of_struck * run_in
    in_harm = np.where(counted, opens * -np.expm1(-met), told)
    by_count = word_of_number(opens * np.minimum(number, 1.0), limits=limits)
    words = np.where(counted, by_count, zones.word[zone]).astype(np.int8)
    return Occupied(share, words, np.where(counted, run_in, 0.0), in_harm)


def word_of_number(number: Floats, *, limits: OccupancyLimits) -> Words:
    """The trade's word of an expected number; a number at a cut-off takes the higher word."""
    return np.searchsorted(limits.number_from, number, side="right").astype(np.int8)
