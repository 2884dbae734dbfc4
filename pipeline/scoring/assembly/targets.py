"""Targets as arrays: who is under every tree, and the pairs of trees with evidence and targets."""

from dataclasses import dataclass, fields

import numpy as np
import pyarrow as pa
import shapely

from pipeline.geo.shapes import from_wkb, told_twice
from pipeline.scoring.assembly.columns import codes, numbers, truths
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.falls import fall_sides, part_reaches
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.consequence.severity import (
    branch_diameters,
    consequence_words,
    harm_of_impact,
    harm_of_whole_tree,
)
from pipeline.scoring.impact.arcs import direction_shares, mask_shares
from pipeline.scoring.impact.falling import FallDirections
from pipeline.scoring.impact.likelihood import impact_words
from pipeline.scoring.impact.occupancy import (
    ASSUMED_BASIS,
    COUNT,
    Occupied,
    Presence,
    ZoneCounts,
    occupied,
    presence,
)
from pipeline.scoring.impact.outlines import Outlines, outlines
from pipeline.scoring.impact.reach import pairs_within, stretch, widened
from pipeline.scoring.impact.shelter import Falls, sheltered
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.targets import GROUPS, AssumedTarget
from pipeline.tables import inputs
from pipeline.terms import OccupancyWord, Part
from pipeline.units import CM_PER_M, Flags, Floats, Ints, Words

ZONE_COLUMNS = (
    "zone_key", "name", "kind", "occupancy", "persons_per_h", "open_share", "vehicles_per_day",
    "speed_km_h", "static", "numbers_from", "source", "geometry",
)  # fmt: skip
ASSUMED = -1
_BRANCH = int(Part.BRANCH)


@dataclass(frozen=True)
class Zones:
    """Zones in the order of ingest.zones, each shape (zones,).

    Parameters
    ----------
    place : the first zone of one place that was told twice; else the zone itself.
    """

    outlines: Outlines
    presence: Presence
    kind: Ints
    group: Ints
    place: Ints

    def __len__(self) -> int:
        """Number of zones."""
        return len(self.kind)


def read_zones(table: pa.Table, parameters: Parameters) -> Zones:
    """Zones with their numbers; counted people make a car park a place of people."""
    target = parameters.target
    kind = codes(table, "kind", inputs.ZONE_KINDS)
    kind = np.where(kind < 0, inputs.ZONE_KINDS.index("other"), kind)
    persons = numbers(table, "persons_per_h")
    static = truths(table, "static")
    shapes = from_wkb(table["geometry"].to_numpy(zero_copy_only=False))
    counts = ZoneCounts(
        word=(codes(table, "occupancy", inputs.OCCUPANCY) + 1).astype(np.int8),
        persons_per_h=persons,
        open_share=numbers(table, "open_share"),
        vehicles_per_day=numbers(table, "vehicles_per_day"),
        speed_km_h=numbers(table, "speed_km_h"),
        static=static,
        stay_min=target.stay_min[kind],
        area_m2=np.asarray(shapely.area(shapes), np.float64),
        default=(codes(table, "numbers_from", ("city",)) < 0) & _from_table(table),
    )
    group = target.group_of_kind[kind]
    peopled = (group == GROUPS.index("parked_car")) & (persons > 0)
    twice = told_twice(shapes, np.where(static, -1, kind))
    found = presence(counts, limits=target.limits, movement=target.movement)
    return Zones(
        outlines=outlines(widened(shapes, values=target.reach)),
        presence=found.of(_counted_first(found, twice)),
        kind=kind,
        group=np.where(peopled, GROUPS.index("person"), group),
        place=_first_told(len(kind), twice),
    )


def _from_table(table: pa.Table) -> Flags:
    """Zones whose word and numbers are those of a published table; shape (zones,)."""
    return np.asarray(table["source"].is_valid().to_numpy(), np.bool_)


def _counted_first(found: Presence, twice: Ints) -> Ints:
    """The zone whose numbers each zone takes: of a place told twice, the one that was counted.

    Parameters
    ----------
    twice : pairs of zones that are one place, shape (pairs, 2).
    """
    row = np.arange(len(found.basis))
    for one, other in (twice.T, twice.T[::-1]):
        better = (found.basis[one] == COUNT) & (found.basis[other] != COUNT)
        row[other[better]] = one[better]
    return row


def _first_told(count: int, twice: Ints) -> Ints:
    """First zone of the place of each zone, shape (zones,)."""
    place = np.arange(count)
    while len(twice):
        before = place.copy()
        low = np.minimum(place[twice[:, 0]], place[twice[:, 1]])
        np.minimum.at(place, twice[:, 0], low)
        np.minimum.at(place, twice[:, 1], low)
        if np.array_equal(place, before):
            break
    return place


@dataclass(frozen=True)
class Under:
    """Who is under each tree, each shape (trees,).

    Parameters
    ----------
    occupancy : word of the busiest target within reach.
    assumed : nobody told of any zone in this city.
    harm_if_fails : expected harm if the tree fails whole, over its worst target.
    """

    occupancy: Words
    assumed: Flags
    harm_if_fails: Floats


def under_trees(trees: Trees, zones: Zones, parameters: Parameters) -> Under:
    """The busiest and the worst target within each rated tree's reach."""
    target, severity = parameters.target, parameters.target.severity
    none = len(zones) == 0
    rest = target.no_data if none else target.none_in_reach
    word, share = _assumed_presence(none, parameters)
    alone = np.full(len(trees), rest.group)
    harm = harm_of_whole_tree(trees.dbh_used, alone, tables=severity)
    harm *= rest.direction_share * share * target.storm[rest.group]
    occupancy = np.full(len(trees), word, np.int8)
    assumed = np.full(len(trees), none)
    rated = np.flatnonzero(trees.rated)
    found = pairs_within(
        trees.x[rated], trees.y[rated], trees.reach[rated], zones.outlines, with_masks=True
    )
    if len(found.tree):
        tree = rated[found.tree]
        reach, group = trees.reach[tree], zones.group[found.zone]
        there = occupied(
            zones.presence, found.zone, reach, reach,
            limits=target.limits, movement=target.movement,
        )  # fmt: skip
        each = there.in_harm * target.storm[group] * mask_shares(found.bits)
        each *= harm_of_whole_tree(trees.dbh_used[tree], group, tables=severity)
        first = np.flatnonzero(np.r_[True, tree[1:] != tree[:-1]])
        met = tree[first]
        occupancy[met] = np.maximum.reduceat(there.word, first)
        harm[met] = np.maximum.reduceat(each, first)
    return Under(occupancy, assumed, np.where(trees.rated, harm, 0.0))


def _assumed_presence(none: bool, parameters: Parameters) -> tuple[int, float]:
    limits = parameters.target.limits
    if none:
        word = parameters.assumed_occupancy
        return word, float(limits.share_of_word[word - 1])
    return int(OccupancyWord.RARE), limits.nothing_known_share


@dataclass(frozen=True)
class Pairs:
    """Pairs of part and target of trees with evidence, sorted by tree, part and zone.

    Each of shape (pairs,); `tree` is a place in Evidence.trees, `zone` is ASSUMED or a zone key,
    `row` the row of the tree and part in Evidence.words.

    Parameters
    ----------
    basis : what the occupancy rests on, a place in occupancy.BASES.
    run_in : expected vehicles that run into the fallen part.
    storm : people there when trees fail over those of a mean day.
    toward, resultant : likeliest direction of the fall [turns from east] and how sharp it is.
    counts_with : zone of the same place whose harm counts instead, ASSUMED if its own does.
    struck : harm if the part falls upon it, with `storm`.
    """

    tree: Ints
    part: Words
    zone: Ints
    row: Ints
    reach: Floats
    distance: Floats
    occupied_share: Floats
    occupancy: Words
    direction_share: Floats
    impact: Words
    assumed: Flags
    group: Ints
    kind: Ints
    diameter: Floats
    filled: Flags
    consequence: Words
    basis: Words
    run_in: Floats
    storm: Floats
    toward: Floats
    resultant: Floats
    counts_with: Ints
    struck: Floats

    def take(self, rows: Ints | Flags) -> "Pairs":
        """Some of the pairs."""
        return Pairs(*(getattr(self, f.name)[rows] for f in fields(self)))


def rated_pairs(
    evidence: Evidence, trees: Trees, zones: Zones, defects: pa.Table, parameters: Parameters
) -> Pairs:
    """Every part that a witness spoke of, with every target within its reach.

    Parameters
    ----------
    defects : ingest.defects: their sides say which way a part falls rather.
    """
    keys, words = evidence.trees, evidence.words
    reach = part_reaches(evidence, trees, parameters)
    near = pairs_within(trees.x[words.tree], trees.y[words.tree], reach, zones.outlines)
    falls = fall_sides(words.tree, words.part, defects, parameters)
    tree = words.tree[near.tree]
    x, y, stem = trees.x[tree], trees.y[tree], trees.dbh_used[tree] / CM_PER_M / 2.0
    far, ways = reach[near.tree], falls.take(near.tree)
    distance, share = direction_shares(zones.outlines, near.zone, (x, y), far, stem, falls=ways)
    if parameters.shelter and len(zones):
        met = Falls(near.tree, near.zone, x, y, far, stem, distance, ways)
        walls = zones.group == GROUPS.index("building")
        stops = parameters.target.shelter_stops
        share = sheltered(share, met, zones.outlines, walls, stops=stops)
    alone = np.setdiff1d(np.arange(len(words.tree)), near.tree)
    blank = np.full(len(alone), np.nan)
    row = np.concatenate([near.tree, alone])
    zone = np.concatenate([near.zone, np.full(len(alone), ASSUMED)])
    order = np.lexsort((zone, row))
    return _weighed(
        row[order], zone[order],
        np.concatenate([distance, blank])[order], np.concatenate([share, blank])[order],
        reach=reach[row[order]], falls=falls.take(row[order]), of=np.searchsorted(keys, words.tree),
        given=(evidence, trees, zones, parameters),
    )  # fmt: skip


def _weighed(
    row: Ints,
    zone: Ints,
    distance: Floats,
    share: Floats,
    *,
    reach: Floats,
    falls: FallDirections,
    of: Ints,
    given: tuple[Evidence, Trees, Zones, Parameters],
) -> Pairs:
    evidence, trees, zones, parameters = given
    target, keys = parameters.target, evidence.trees
    part, tree = evidence.words.part[row], of[row]
    height = trees.height[keys][tree]
    none = len(zones) == 0
    rest: AssumedTarget = target.no_data if none else target.none_in_reach
    alone, at = zone == ASSUMED, np.maximum(zone, 0)
    distance = np.where(alone, reach, distance)
    there = _there(zone, stretch(reach, distance), reach, zones, parameters)
    group = (
        np.where(alone, rest.group, zones.group[at])
        if len(zones)
        else np.full_like(zone, rest.group)
    )
    kind = np.where(alone, -1, zones.kind[at]) if len(zones) else np.full_like(zone, -1)
    share = np.where(alone, rest.direction_share, share)
    diameter, filled = _sizes(part, tree, evidence, trees, parameters)
    fall = height * target.branch_fall_of_height
    consequence = consequence_words(part, diameter, fall, group, tables=target.severity)
    struck = there.in_harm * target.storm[group]
    struck *= harm_of_impact(group, consequence, tables=target.severity)
    counts_with = _told_again(row, zone, share * struck, zones)
    return Pairs(
        tree=tree,
        part=part,
        zone=zone,
        row=row,
        reach=reach,
        distance=distance,
        occupied_share=there.share,
        occupancy=there.word,
        direction_share=share,
        impact=impact_words(there.word, share, table=target.impact),
        assumed=alone & none,
        group=group,
        kind=kind,
        diameter=diameter,
        filled=filled,
        consequence=consequence,
        basis=_basis(zone, zones),
        run_in=there.run_in,
        storm=target.storm[group],
        toward=falls.toward,
        resultant=falls.resultant,
        counts_with=counts_with,
        struck=np.where(counts_with == ASSUMED, struck, 0.0),
    )


def _sizes(
    part: Words, tree: Ints, evidence: Evidence, trees: Trees, parameters: Parameters
) -> tuple[Floats, Flags]:
    """Diameter of the part of each pair [cm], and whether it was filled."""
    keys, branch = evidence.trees, part == _BRANCH
    stem_cm, measured_cm = trees.dbh_used[keys][tree], trees.dbh[keys][tree]
    limb_cm, limb_filled = branch_diameters(
        evidence.branch_cm[tree], stem_cm, tables=parameters.target.severity
    )
    filled = np.where(branch, limb_filled, np.isnan(measured_cm))
    return np.where(branch, limb_cm, stem_cm), filled.astype(np.bool_)


def _there(
    zone: Ints, stretch_m: Floats, reach: Floats, zones: Zones, parameters: Parameters
) -> Occupied:
    """Occupancy of each pair; what is assumed where no zone lies within reach."""
    target = parameters.target
    word, share = _assumed_presence(len(zones) == 0, parameters)
    assumed = np.full(len(zone), share)
    words = np.full(len(zone), word, np.int8)
    if not len(zones):
        return Occupied(assumed, words, np.zeros(len(zone)), assumed)
    alone = zone == ASSUMED
    there = occupied(
        zones.presence, np.maximum(zone, 0), stretch_m, reach,
        limits=target.limits, movement=target.movement,
    )  # fmt: skip
    return Occupied(
        share=np.where(alone, assumed, there.share),
        word=np.where(alone, words, there.word).astype(np.int8),
        run_in=np.where(alone, 0.0, there.run_in),
        in_harm=np.where(alone, assumed, there.in_harm),
    )


def _basis(zone: Ints, zones: Zones) -> Words:
    """What the occupancy of each pair rests on, a place in BASES."""
    if not len(zones):
        return np.full(len(zone), ASSUMED_BASIS, np.int8)
    of_zone = zones.presence.basis[np.maximum(zone, 0)]
    return np.where(zone == ASSUMED, ASSUMED_BASIS, of_zone).astype(np.int8)


def _told_again(row: Ints, zone: Ints, harm: Floats, zones: Zones) -> Ints:
    """Of pairs of one part and one place told twice, the zone whose harm counts for the others."""
    found = np.full(len(row), ASSUMED)
    if not len(zones) or not len(row):
        return found
    place = np.where(zone == ASSUMED, ASSUMED, zones.place[np.maximum(zone, 0)])
    order = np.lexsort((zone, -harm, place, row))
    same = np.zeros(len(row), np.bool_)
    same[1:] = (np.diff(row[order]) == 0) & (np.diff(place[order]) == 0)
    first = np.maximum.accumulate(np.where(same, 0, np.arange(len(row))))
    found[order] = np.where(same, zone[order][first], ASSUMED)
    return found
