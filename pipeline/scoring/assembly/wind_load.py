"""Trees before the wind: load of the crown against what sound roots and stem bear."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.scoring.assembly.columns import dictionary, numbers, whole
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.mechanics.allometry import (
    BROADLEAF,
    TreeSizes,
    curve_crown,
    curve_height,
    tree_sizes,
)
from pipeline.scoring.mechanics.applicable import KINDS, not_applicable
from pipeline.scoring.mechanics.fragility import (
    Gusts,
    answered,
    ln_capacity,
    load_multiplier,
    spread_of,
)
from pipeline.scoring.mechanics.leaves import leafless_rows, told_habits
from pipeline.scoring.mechanics.lookup import ChanceTable, chance_table
from pipeline.scoring.mechanics.resistance import root_moment, stem_moment, strength_rows
from pipeline.scoring.mechanics.wind import WindLoad, crown_load
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.mechanics import MechanicsParameters
from pipeline.units import Flags, Floats, Ints, Words

NO_WOOD_RINGS = ("palm", "other")


@dataclass(frozen=True)
class SoundTrees:
    """Trees as if nothing of them were decayed, each shape (trees,).

    Parameters
    ----------
    leaf : row of WindLoad.leafless.
    capacity : of roots, and of butt and stem, see fragility.ln_capacity, (trees, 2).
    spread : likewise, see fragility.spread_of, (trees, 2).
    ln_profile : logarithm of the wind at the crown over that at 10 m.
    """

    wood: Words
    leaf: Words
    sizes: TreeSizes
    capacity: Floats
    spread: Floats
    ln_profile: Floats


def sound_trees(
    diameter_cm: Floats,
    wood: Words,
    rupture_mpa: Floats,
    leaf: Words,
    *,
    measured_m: tuple[Floats, Floats, Floats],
    wet: Flags,
    mechanics: MechanicsParameters,
    of_city: bool = False,
) -> SoundTrees:
    """Loads and resistances of trees; NaN where the diameter is not known.

    Parameters
    ----------
    measured_m : height, and diameter and depth of the crown [m], NaN if not.
    of_city : of what measured sizes change, take the share that keeps the rate of a whole city;
        else the full statics, which errs to the worse side for a tall tree.
    """
    law = mechanics.fragility
    sizes = tree_sizes(
        diameter_cm, wood, height_m=measured_m[0], crown_m=measured_m[1], curves=mechanics.curves
    )
    height = curve_height(diameter_cm, wood, mechanics.curves)
    crown = curve_crown(diameter_cm, wood, mechanics.curves)
    loads = [
        crown_load(height, crown, wood, mechanics.wind),
        crown_load(sizes.height, sizes.crown, wood, mechanics.wind, length_m=measured_m[2]),
    ]
    held = [
        root_moment(diameter_cm, tall, wood, wet=wet, resistance=mechanics.resistance)
        for tall in (height, sizes.height)
    ]
    stem = stem_moment(diameter_cm, rupture_mpa, mechanics.resistance)
    no = np.zeros(len(diameter_cm), np.bool_)
    capacity, spread = [], []
    for roots, bears, share in zip(
        (~no, no), (held, (stem, stem)), law.size_response.tolist(), strict=True
    ):
        k = load_multiplier(diameter_cm, wood, roots=roots, fragility=law)
        usual, measured = (
            ln_capacity(moment, load.base, k) for moment, load in zip(bears, loads, strict=True)
        )
        capacity.append(answered(measured, usual, share if of_city else 1.0))
        # A pull test narrows the spread only with its result, which no input carries.
        spread.append(
            spread_of(
                roots=roots, pulled=no, no_height=sizes.height_filled,
                no_crown=sizes.crown_filled, fragility=law,
            )
        )  # fmt: skip
    return SoundTrees(
        wood=wood,
        leaf=leaf,
        sizes=sizes,
        capacity=np.stack(capacity, axis=1),
        spread=np.stack(spread, axis=1),
        # The share above speaks of all of the size, so the wind is that of the usual height.
        ln_profile=np.log(loads[0 if of_city else 1].profile),
    )


def of_inventory(
    keys: Ints, trees: Trees, parameters: Parameters, *, of_city: bool = False
) -> SoundTrees:
    """Some trees of the inventory, measured where they were.

    The load was set on trees from some diameter up; a thinner one counts as that thick.
    """
    mechanics, site = parameters.mechanics, parameters.site
    wood = np.where(trees.wood[keys] < 0, BROADLEAF, trees.wood[keys]).astype(np.int8)
    height = numbers(trees.table, "height_m")[keys]
    place, names = _named(keys, trees)
    strength = _strengths(names, mechanics)
    habit = told_habits(names, mechanics.leaves)
    crown, depth = trees.crown[keys], numbers(trees.table, "crown_depth_m")[keys]
    return sound_trees(
        np.maximum(trees.dbh[keys], site.set_from_cm),
        wood,
        mechanics.strength.rupture[strength[place, wood]],
        leafless_rows(habit[place], wood),
        measured_m=(
            np.where(height > 0, height, np.nan),
            np.where(crown > 0, crown, np.nan),
            np.where(depth > 0, depth, np.nan),
        ),
        wet=site.wet | trees.wet[keys],
        mechanics=mechanics,
        of_city=of_city,
    )


def _named(keys: Ints, trees: Trees) -> tuple[Ints, list[str]]:
    """What a tree is called, its species, else its genus, else '': places in a list of names."""
    species, names = dictionary(trees.table, "species")
    told = [*(name or "" for name in names), *(name or "" for name in trees.genera), ""]
    at, genus = species[keys], trees.genus[keys]
    place = np.where(at >= 0, at, np.where(genus >= 0, len(names) + genus, len(told) - 1))
    return place.astype(np.int64), told


def _strengths(names: list[str], mechanics: MechanicsParameters) -> Ints:
    """Row of the wood table for each name, as a broadleaf and as a conifer, (names, 2)."""
    known = np.zeros((len(names), 2), np.int64)
    for kind in (0, 1):
        woods = np.full(len(names), kind, np.int8)
        known[:, kind] = strength_rows(tuple(names), woods, mechanics.strength)
    return known


def beyond_mechanics(keys: Ints, trees: Trees, mechanics: MechanicsParameters) -> Words:
    """Place in KINDS of why mechanics says nothing of a tree, -1 where it does; (trees,)."""
    wood, labels = dictionary(trees.table, "wood")
    ringless = np.array([*(label in NO_WOOD_RINGS for label in labels), False])
    no = np.zeros(len(keys), np.bool_)
    return not_applicable(
        palm=ringless[wood[keys]],
        multi_stem=whole(trees.table, "stems")[keys] > 1,
        # Poles are not rated.
        pole=no,
        topped=trees.topped[keys],
        diameter_cm=trees.dbh[keys],
        rules=mechanics.applicability,
    )


REASONS = (*KINDS, "branch_rate")


@dataclass
class Chances:
    """Tables of chances for one climate, each made when it is first asked for."""

    gusts: Gusts
    wind: WindLoad

    @cached_property
    def _made(self) -> dict[tuple[float, float, float, float], ChanceTable]:
        return {}

    def of(self, spread: float, stood: float, years: float, season: float) -> ChanceTable:
        """Table of one spread, years stood, years to come, and season's share."""
        key = (spread, stood, years, season)
        if key not in self._made:
            self._made[key] = chance_table(
                self.gusts, self.wind, spread=spread, stood=stood, years=years, season=season
            )
        return self._made[key]

    def seasons(self, spread: float, stood: float, years: float) -> tuple[ChanceTable, ...]:
        """In leaf and without."""
        return tuple(self.of(spread, stood, years, share) for share in season_shares(self.wind))


def season_shares(wind: WindLoad) -> tuple[float, float]:
    """Share of the year's gusts in leaf, and without."""
    return wind.leaf_on_share, 1.0 - wind.leaf_on_share
