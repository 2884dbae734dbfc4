"""Targets as arrays: who is under every tree, and the pairs of trees with evidence and targets."""

from dataclasses import dataclass, fields

import numpy as np
import pyarrow as pa

from pipeline.geo.shapes import from_wkb
from pipeline.scoring.assembly.columns import codes, numbers, truths
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.consequence.severity import (
    branch_diameters,
    consequence_words,
    harm_of_impact,
    harm_of_whole_tree,
)
from pipeline.scoring.impact.likelihood import impact_words
from pipeline.scoring.impact.occupancy import Presence, ZoneCounts, occupied, presence
from pipeline.scoring.impact.reach import (
    Shapes,
    branch_reach,
    direction_shares,
    distances,
    pairs_within,
    stretch,
    widened,
)
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.targets import GROUPS, AssumedTarget
from pipeline.tables import inputs
from pipeline.terms import OccupancyWord, Part
from pipeline.units import Flags, Floats, Ints, Words

ZONE_COLUMNS = (
    "zone_key", "name", "kind", "occupancy", "persons_per_h", "open_share", "vehicles_per_day",
    "speed_km_h", "static", "geometry",
)  # fmt: skip
ASSUMED = -1
_BRANCH = int(Part.BRANCH)


@dataclass(frozen=True)
class Zones:
    """Zones in the order of ingest.zones, each shape (zones,)."""

    shapes: Shapes
    presence: Presence
    kind: Ints
    group: Ints


def read_zones(table: pa.Table, parameters: Parameters) -> Zones:
    """Zones with their numbers; counted people make a car park a place of people."""
    target = parameters.target
    kind = codes(table, "kind", inputs.ZONE_KINDS)
    kind = np.where(kind < 0, inputs.ZONE_KINDS.index("other"), kind)
    persons = numbers(table, "persons_per_h")
    counts = ZoneCounts(
        word=(codes(table, "occupancy", inputs.OCCUPANCY) + 1).astype(np.int8),
        persons_per_h=persons,
        open_share=numbers(table, "open_share"),
        vehicles_per_day=numbers(table, "vehicles_per_day"),
        speed_km_h=numbers(table, "speed_km_h"),
        static=truths(table, "static"),
        stay_min=target.stay_min[kind],
    )
    group = target.group_of_kind[kind]
    peopled = (group == GROUPS.index("parked_car")) & (persons > 0)
    shapes = from_wkb(table["geometry"].to_numpy(zero_copy_only=False))
    return Zones(
        shapes=widened(shapes, values=target.reach),
        presence=presence(counts, limits=target.limits, movement=target.movement),
        kind=kind,
        group=np.where(peopled, GROUPS.index("person"), group),
    )


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
    none = len(zones.shapes) == 0
    rest = target.no_data if none else target.none_in_reach
    word, share = _assumed_presence(none, parameters)
    alone = np.full(len(trees), rest.group)
    harm = harm_of_whole_tree(trees.dbh_used, alone, tables=severity)
    harm *= rest.direction_share * share
    occupancy = np.full(len(trees), word, np.int8)
    assumed = np.full(len(trees), none)
    rated = np.flatnonzero(trees.rated)
    found = pairs_within(trees.x[rated], trees.y[rated], trees.reach[rated], zones.shapes)
    if len(found.tree):
        tree = rated[found.tree]
        shares, words = occupied(
            zones.presence, found.zone, trees.reach[tree], limits=target.limits
        )
        each = shares * harm_of_whole_tree(
            trees.dbh_used[tree], zones.group[found.zone], tables=severity
        )
        first = np.flatnonzero(np.r_[True, tree[1:] != tree[:-1]])
        met = tree[first]
        occupancy[met] = np.maximum.reduceat(words, first)
        # One side of the tree: the share of falls that meet a street beside it.
        harm[met] = np.maximum.reduceat(each, first) * target.no_data.direction_share
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
    struck: Floats

    def take(self, rows: Ints | Flags) -> "Pairs":
        """Some of the pairs."""
        return Pairs(*(getattr(self, f.name)[rows] for f in fields(self)))


def rated_pairs(evidence: Evidence, trees: Trees, zones: Zones, parameters: Parameters) -> Pairs:
    """Every part that a witness spoke of, with every target within its reach."""
    keys, target = evidence.trees, parameters.target
    height = trees.height[keys]
    reaches = {
        False: trees.reach[keys],
        True: branch_reach(height, trees.crown[keys], values=target.reach),
    }
    x, y = trees.x[keys], trees.y[keys]
    tree_of = np.searchsorted(keys, evidence.words.tree)
    found = []
    for is_branch, reach in reaches.items():
        rows = np.flatnonzero((evidence.words.part == _BRANCH) == is_branch)
        has = np.unique(tree_of[rows])
        near = pairs_within(x[has], y[has], reach[has], zones.shapes)
        tree = has[near.tree]
        shapes = zones.shapes[near.zone]
        distance = distances(x[tree], y[tree], shapes) if len(tree) else np.zeros(0)
        share = direction_shares(x[tree], y[tree], reach[tree], shapes)
        found.append(_joined(rows, tree_of, tree, near.zone, distance, share))
        alone = rows[~np.isin(tree_of[rows], tree)]
        blank = np.full(len(alone), np.nan)
        found.append((alone, np.full(len(alone), ASSUMED), blank, blank))
    row, zone, distance, share = (np.concatenate(part) for part in zip(*found, strict=True))
    row, zone = row.astype(np.int64), zone.astype(np.int64)
    order = np.lexsort((zone, row))
    return _weighed(
        row[order], zone[order], distance[order], share[order],
        evidence=evidence, trees=trees, zones=zones, parameters=parameters,
    )  # fmt: skip


def _joined(
    rows: Ints, tree_of: Ints, tree: Ints, zone: Ints, distance: Floats, share: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """Each row of a tree and part with each zone of its tree."""
    by_tree = tree_of[rows]
    start, end = np.searchsorted(tree, by_tree), np.searchsorted(tree, by_tree, side="right")
    count = end - start
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    at = np.repeat(start, count) + within
    return np.repeat(rows, count), zone[at], distance[at], share[at]


def _weighed(
    row: Ints,
    zone: Ints,
    distance: Floats,
    share: Floats,
    *,
    evidence: Evidence,
    trees: Trees,
    zones: Zones,
    parameters: Parameters,
) -> Pairs:
    target, keys = parameters.target, evidence.trees
    part = evidence.words.part[row]
    tree = np.searchsorted(keys, evidence.words.tree[row])
    branch = part == _BRANCH
    height = trees.height[keys][tree]
    limb = branch_reach(height, trees.crown[keys][tree], values=target.reach)
    reach = np.where(branch, limb, trees.reach[keys][tree])
    none = len(zones.shapes) == 0
    rest: AssumedTarget = target.no_data if none else target.none_in_reach
    alone, at = zone == ASSUMED, np.maximum(zone, 0)
    distance = np.where(alone, reach, distance)
    word, occupied_share = _assumed_presence(none, parameters)
    if none:
        shares, words = np.full(len(row), occupied_share), np.full(len(row), word, np.int8)
        group, kind = np.full(len(row), rest.group), np.full(len(row), -1)
    else:
        shares, words = occupied(zones.presence, at, stretch(reach, distance), limits=target.limits)
        shares = np.where(alone, occupied_share, shares)
        words = np.where(alone, np.int8(word), words).astype(np.int8)
        group = np.where(alone, rest.group, zones.group[at])
        kind = np.where(alone, -1, zones.kind[at])
    share = np.where(alone, rest.direction_share, share)
    stem_cm, measured_cm = trees.dbh_used[keys][tree], trees.dbh[keys][tree]
    limb_cm, limb_filled = branch_diameters(
        evidence.branch_cm[tree], stem_cm, tables=target.severity
    )
    diameter = np.where(branch, limb_cm, stem_cm)
    filled = np.where(branch, limb_filled, np.isnan(measured_cm))
    fall = height * target.branch_fall_of_height
    consequence = consequence_words(part, diameter, fall, group, tables=target.severity)
    return Pairs(
        tree=tree,
        part=part,
        zone=zone,
        row=row,
        reach=reach,
        distance=distance,
        occupied_share=shares,
        occupancy=words,
        direction_share=share,
        impact=impact_words(words, share, table=target.impact),
        assumed=alone & none,
        group=group,
        kind=kind,
        diameter=diameter,
        filled=filled.astype(np.bool_),
        consequence=consequence,
        struck=shares * harm_of_impact(group, consequence, tables=target.severity),
    )
