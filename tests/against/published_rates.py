"""What the program gives for each line of tests/check_values/published_rates.csv.

A measure is a number of the fleet of `fleet.py`, of one part, or of the law itself; how each is
come by stands in the table's column `how`.
"""

from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.special import ndtr

from pipeline.published.table import Library
from pipeline.scoring.decay import grid as grids
from pipeline.scoring.mechanics import climate, fragility
from pipeline.scoring.mechanics.resistance import root_moment, stem_moment
from pipeline.scoring.mechanics.words import words_of
from pipeline.scoring.parameters.mechanics import gust_climate
from pipeline.terms import Part, RotType
from tests.against import fleet as city
from tests.against.fleet import SERIOUS, WOOD, X
from tests.scoring.decay.asking import LAW, PARAMETERS, parts_of, posterior
from tests.scoring.decay.test_anchors import MEASURES as OF_DECAY
from tests.scoring.mechanics import world
from tests.scoring.mechanics.test_check_values import TREES

BEFORE = X <= 0.50
ADVANCED = (X >= 0.70) & (X <= 0.95)
PUBLISHED_LOSS = 0.33  # of strength, by the cube of the decayed share


def _advanced(rot: RotType) -> tuple[float, float]:
    """Yearly failure of butts of live broadleaves: decayed far, and over that of those hardly."""
    of, given = city.fleet(), city.masses(Part.BUTT)
    chance = city.yearly(Part.BUTT, rot)[of.size, of.wood]
    broadleaf = (of.wood == 0).astype(np.float64)
    told = [
        of.mean((given * chance)[:, states].sum(axis=1), broadleaf)
        / of.mean(given[:, states].sum(axis=1), broadleaf)
        for states in (ADVANCED, BEFORE)
    ]
    return told[0], told[0] / told[1]


def _rule(gust: float) -> tuple[float, float]:
    """Share of the failures, and of the survivors, that the rule of a third calls."""
    of = city.fleet()
    signed = city.masses(Part.BUTT, sign=True) * (X > 0.2)
    falls = city.felled(Part.BUTT, gust)[of.size, of.wood]
    called = X**3 > PUBLISHED_LOSS
    fallen, standing = signed * falls, signed * (1 - falls)
    return (
        of.mean((fallen * called).sum(axis=1)) / of.mean(fallen.sum(axis=1)),
        of.mean((standing * called).sum(axis=1)) / of.mean(standing.sum(axis=1)),
    )


def _after_call(prior: float) -> float:
    """Chance of failing after the rule has called, from shares caught and condemned at 40 m/s."""
    caught, condemned = _rule(40)
    odds = prior / (1 - prior) * caught / condemned
    return odds / (1 + odds)


def _word_at_the_threshold() -> float:
    """Word of a butt of 50 cm whose decay just passes the rule of a third."""
    x = np.array([PUBLISHED_LOSS ** (1 / 3)])
    p = world.parameters()
    one = world.part(50, 0, roots=False)
    chance = world.yearly(one, world.stem_kept(x, 1), p.zone.weights)
    return float(words_of(chance, chance, p.limits.yearly, p.limits.imminent_median)[0])


def _alone() -> float:
    """Largest change of any tree's chance when it is asked for without its neighbours."""
    of = city.fleet()
    at = len(of.size) // 3
    alone = posterior(parts_of([float(of.diameter[at])], condition="good", host="middle"))
    same = (of.condition == 0) & (of.host == 1) & (of.diameter == of.diameter[at])
    beside = city.masses(Part.BUTT)[same]
    return float(np.abs(beside - alone).max())


def _own_auc() -> float:
    """Area under the curve that the chances would reach if they were true."""
    of, p = city.fleet(), city.whole_tree()
    order = np.argsort(p)
    fails, stands = (of.weight * p)[order], (of.weight * (1 - p))[order]
    below = np.cumsum(stands) - stands / 2
    return float(fails @ below / fails.sum() / stands.sum())


def _survey(*, over: float, sign: bool = False) -> tuple[float, float]:
    """Share of trees, dead ones too, with any and with serious decay in butt or stem."""
    of = city.fleet(dead=True)
    told = [city.masses(part, dead=True, sign=sign) for part in WOOD]
    none = told[0][:, 0] * told[1][:, 0]
    calm = np.prod([1 - grids.mass_above(m, LAW.grid, SERIOUS) for m in told], axis=0)
    where = (of.diameter > over).astype(np.float64)
    return of.mean(1 - none, where), of.mean(1 - calm, where)


def _serious_with_shelf() -> float:
    of = city.fleet()
    serious = grids.mass_above(city.with_body("U", "perennial"), LAW.grid, SERIOUS)
    return of.mean(serious, (of.diameter > 30).astype(np.float64))


def _severity_ratio() -> float:
    """Mean decayed area given decay, stems of 90 cm over stems of 20 cm."""
    told = posterior(parts_of([20.0, 90.0]))
    area = grids.means(told, LAW.grid, power=2) / (1 - told[:, 0])
    return float(area[1] / area[0])


def _doubled(of: str, *, height: bool = False) -> float:
    """Resisting moment after doubling the diameter or the height, over the one before."""
    across = np.array([40.0, 40.0 if height else 80.0])
    tall = np.array([12.0, 24.0 if height else 12.0])
    resistance, kind = world.parameters().resistance, np.zeros(2, np.int8)
    dry = np.zeros(2, np.bool_)
    told = (
        root_moment(across, tall, kind, wet=dry, resistance=resistance)
        if of == "roots"
        else stem_moment(across, np.full(2, 50.0), resistance)
    )
    return float(told[1] / told[0])


def _wet(part: Part) -> float:
    """Resistance or chance in saturated soil over that in drained soil."""
    if part == Part.ROOTS:
        dry, wet = (world.part(40, 0, roots=True, wet=told).capacity for told in (False, True))
        return float(np.exp(wet - dry))
    return float((city.yearly(part, wet=True) / city.yearly(part)).max())


def _critical(one: world.OnePart) -> float:
    return float(
        fragility.critical_gust(
            np.array(one.capacity), np.array(one.ln_profile), world.parameters().wind
        )
    )


def _stem_gust(diameter: float, height: float, crown: float, rupture: float | None = None) -> float:
    return _critical(
        world.part(diameter, 0, roots=False, height=height, crown=crown, rupture=rupture)
    )


def _twice_as_tall() -> float:
    """Gust that breaks a tree twice as tall and wide, of 2^1.5 times the diameter."""
    return _stem_gust(40 * 2**1.5, 20, 16) / _stem_gust(40, 10, 8)


def _oak_over_pine() -> float:
    strength = world.parameters().strength
    mpa = dict(zip(strength.taxon, strength.rupture.tolist(), strict=True))
    return _stem_gust(40, 12, 10, mpa["Quercus"]) / _stem_gust(40, 12, 10, mpa["Pinus"])


# AS/NZS 1170.2, region A: return period in years, printed gust in m/s.
PRINTED = [
    (5, 32), (10, 34), (20, 37), (25, 37), (50, 39), (100, 41), (200, 43), (250, 43), (500, 45),
    (1000, 46), (2000, 48), (2500, 48), (5000, 50), (10000, 51),
]  # fmt: skip


def _off_the_printed_gusts() -> float:
    """Largest difference of the 14 printed gusts and the formula's, in whole m/s."""
    years, printed = np.array(PRINTED, np.float64).T
    at = gust_climate(Library(), region="as_nzs_a", terrain="open")
    told = climate.gust_of_rate(1.0 / years, at)
    return float(np.abs(np.rint(told) - printed).max())


def _factor(yearly: float) -> float:
    return float(climate.probability_factor(np.array(yearly), shape=0.2, power=0.5))


def _radial_rate() -> float:
    """Mean over the decay fungi of the catalogue of the mean spread at 50 cm, middle host."""
    kinds = PARAMETERS.taxa.kind[:-1]
    letter = kinds[kinds >= 0] // 2
    mean = LAW.spread.rate * np.exp(LAW.spread.scatter**2 / 2)
    return float(mean[letter].mean())


def _closure(median: float, spread: float, stood: float = 0.0) -> float:
    """Yearly chance of a lognormal fragility in leaf all year, region A, suburban."""
    gusts = world.gusts()
    deviation = np.log(gusts.speed / median) / spread
    told = fragility.chance(deviation, gusts, stood=stood, years=1.0, season=1.0)
    return float(told.fails)


def _closure_rate(median: float, spread: float) -> float:
    """The same as a rate of the gusts that are passed less than once a year, one by one."""
    place = world.climate()
    gusts = np.linspace(float(climate.gust_of_rate(np.array(1.0), place)), 56.0, 10_000)
    fails = ndtr(np.log(gusts / median) / spread)
    rate = climate.rate_above(gusts, place)
    return float(((fails[1:] + fails[:-1]) / 2) @ -np.diff(rate))


def _worked(quantity: str, diameter: float, kind: int = 0) -> float:
    one = (np.array([float(diameter)]), np.array([float(kind)]), np.array([1.0]), np.zeros(1))
    return float(TREES[quantity](*one)[0])


def _classes_apart() -> float:
    """Butts of 55 cm with class A and C bodies over class M bodies, yearly chance."""
    of = city.fleet()
    near = int(np.argmin(np.abs(city.DIAMETERS - 55)))
    where = ((of.size == near) & (of.wood == 0)).astype(np.float64)

    def chance(letter: str, lifespan: str, rot: RotType) -> float:
        told = city.per_tree(city.yearly(Part.BUTT, rot), city.with_body(letter, lifespan), of)
        return of.mean(told, where)

    a = chance("A", "perennial", RotType.WHITE)
    c = chance("C", "annual", RotType.BROWN)
    return min(a, c) / chance("M", "annual", RotType.WHITE)


def _words_of_no_sign() -> float:
    """Share of live trees without a sign one of whose parts passes the lowest limit."""
    of, limit = city.fleet(), world.parameters().limits.yearly[0]
    each = [city.per_tree(city.yearly(p), city.masses(p), of) for p in city.PARTS]
    return of.mean((np.max(each, axis=0) >= limit).astype(np.float64))


def _sound_gust(*, percent: float) -> float:
    """Percentile over the fleet of the gust that fells half of sound trees."""
    of = city.fleet()
    gust = city.sound_gust()[of.size, of.wood]
    order = np.argsort(gust)
    return float(np.interp(percent / 100, np.cumsum(of.weight[order]), gust[order]))


def _sound_yearly() -> float:
    of = city.fleet()
    each = np.stack([city.yearly(p)[of.size, of.wood, 0] for p in (Part.ROOTS, Part.BUTT)], axis=-1)
    return of.mean(fragility.joined(each))


def _branches() -> float:
    return sum(
        share * city.branch_chance(world.loads(kind), (0.5, 0.5))
        for kind, share in enumerate(city.KINDS)
    )


def _leaf_ratio() -> float:
    calm = world.parameters().branches.calm
    in_leaf, bare = (city.branch_chance((load,), (0.5,)) - calm for load in world.loads(0))
    return in_leaf / bare


def _weak_union() -> float:
    plain, weak = (
        city.branch_chance(world.loads(0), (0.5, 0.5), weak=told) for told in (False, True)
    )
    return weak / plain


def _decayed_over_sound() -> float:
    """Whole trees with serious butt decay over trees without decay in the butt, a year."""
    of = city.fleet()
    told = city.masses(Part.BUTT)
    chance = city.yearly(Part.BUTT)[of.size, of.wood]
    serious = X > SERIOUS
    far = of.mean((told * chance)[:, serious].sum(axis=1)) / of.mean(told[:, serious].sum(axis=1))
    return far / (of.mean((told * chance)[:, 0]) / of.mean(told[:, 0]))


SPREADS = ((42, 15), (42, 25), (35, 15), (35, 25), (25, 15))
MEASURES: dict[str, Callable[[], float]] = {
    "branches": _branches,
    "leaf_ratio": _leaf_ratio,
    "advanced_white": lambda: _advanced(RotType.WHITE)[0],
    "advanced_brown": lambda: _advanced(RotType.BROWN)[0],
    "ratio_white": lambda: _advanced(RotType.WHITE)[1],
    "ratio_brown": lambda: _advanced(RotType.BROWN)[1],
    "caught_40": lambda: _rule(40)[0],
    "condemned_40": lambda: _rule(40)[1],
    "caught_33": lambda: _rule(33)[0],
    "condemned_33": lambda: _rule(33)[1],
    "called_5": lambda: _after_call(0.05),
    "called_20": lambda: _after_call(0.20),
    "word_at_threshold": _word_at_the_threshold,
    "whole_42": lambda: city.fleet().mean(city.whole_tree(42)),
    "whole_50": lambda: city.fleet().mean(city.whole_tree(50)),
    "whole_42_wet": lambda: city.fleet().mean(city.whole_tree(42, wet=True)),
    "crown_42": lambda: city.branches_lost(42),
    "branch_26": lambda: city.branches_lost(26),
    "weak_union": _weak_union,
    "decayed_over_sound": _decayed_over_sound,
    "neighbours": _alone,
    "own_auc": _own_auc,
    "any_over_30": lambda: _survey(over=30)[0],
    "serious_over_30": lambda: _survey(over=30)[1],
    "serious_with_sign": lambda: _survey(over=30, sign=True)[1],
    "serious_with_shelf": _serious_with_shelf,
    "severity_ratio": _severity_ratio,
    **{
        name: OF_DECAY[name]
        for name in (
            "any_at_38",
            "sign_ratio",
            "visual_quartiles",
            "within_5",
            "beyond_10",
            "drill_finds",
            "core_finds",
            "mean_area",
            "any_at_20",
            "sound_called_sound",
            "left_after_tomogram",
        )
    },
    "root_factor": lambda: float(np.exp(1.96 * world.parameters().fragility.resistance_spread[0])),
    "pulled_factor": lambda: float(np.exp(1.96 * world.parameters().fragility.pulled_spread)),
    "roots_twice_thick": lambda: _doubled("roots"),
    "stem_twice_thick": lambda: _doubled("stem"),
    "roots_twice_tall": lambda: _doubled("roots", height=True),
    "stem_twice_tall": lambda: _doubled("stem", height=True),
    "wet_roots": lambda: _wet(Part.ROOTS),
    "wet_stem": lambda: _wet(Part.STEM),
    "gust_low": lambda: _sound_gust(percent=10),
    "gust_median": lambda: _sound_gust(percent=50),
    "gust_spread": lambda: world.part(40, 0, roots=True, height=12, crown=10).spread / 2,
    "twice_as_tall": _twice_as_tall,
    "oak_over_pine": _oak_over_pine,
    "region_a": _off_the_printed_gusts,
    "factor_033": lambda: _factor(0.033),
    "fifty_years": lambda: float(climate.encounter(np.array(0.02), np.array(50.0))),
    "radial_rate": _radial_rate,
    **{
        f"closure_{median}_{spread}": partial(_closure, median, spread / 100)
        for median, spread in SPREADS
    },
    **{
        f"closure_rate_{median}_{spread}": partial(_closure_rate, median, spread / 100)
        for median, spread in SPREADS
    },
    "closure_42_15_stood": lambda: _closure(42, 0.15, 3.0),
    **{
        f"{name}_{kind}_{diameter}": partial(_worked, name, diameter, at)
        for name in ("sound", "sound_gust")
        for at, kind in enumerate(("broadleaf", "conifer"))
        for diameter in (20, 40, 100)
    },
    "whole_50_cm": lambda: _worked("whole", 50),
    "any_branch_50_cm": lambda: _worked("any_branch", 50),
    "no_sign_whole": lambda: city.fleet().mean(city.whole_tree()),
    "no_sign_over": _words_of_no_sign,
    "sound_yearly": _sound_yearly,
    "classes_apart": _classes_apart,
}
