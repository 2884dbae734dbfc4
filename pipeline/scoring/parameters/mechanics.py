"""Published tables of strength left and wind mechanics, as the objects of the maths."""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.decay.anchorage import AnchorageLoss
from pipeline.scoring.decay.residual import ThinShell, WeakZone
from pipeline.scoring.mechanics.allometry import SizeCurves
from pipeline.scoring.mechanics.applicable import KINDS, Applicability
from pipeline.scoring.mechanics.branches import BranchRate
from pipeline.scoring.mechanics.climate import GUMBEL, POWER, PROBABILITY_FACTOR, GustClimate
from pipeline.scoring.mechanics.fragility import Fragility
from pipeline.scoring.mechanics.leaves import LeafHabit
from pipeline.scoring.mechanics.resistance import Resistance, WoodStrength
from pipeline.scoring.mechanics.wind import WindLoad
from pipeline.scoring.mechanics.words import WordLimits
from pipeline.scoring.parameters.read import one_word
from pipeline.terms import FailureWord, RotType, word
from pipeline.units import Floats

WOODS = ("broadleaf", "conifer")


@dataclass(frozen=True)
class MechanicsParameters:
    """What strength left and witness B need, all from config/published."""

    zone: WeakZone
    anchorage: AnchorageLoss
    curves: SizeCurves
    leaves: LeafHabit
    wind: WindLoad
    resistance: Resistance
    strength: WoodStrength
    fragility: Fragility
    branches: BranchRate
    applicability: Applicability
    limits: WordLimits


def mechanics_parameters(library: Library) -> MechanicsParameters:
    """Everything from the library.

    Raises
    ------
    PublishedValueError
        If a table lacks a row, holds it in another unit, or does not hold what the maths needs.
    """
    fragility = library.table("fragility", key=("quantity", "part", "wood"))
    return MechanicsParameters(
        zone=_zone(library),
        anchorage=_anchorage(library.table("anchorage")),
        curves=_curves(library.table("allometry", key=("quantity", "wood"))),
        leaves=_leaves(library.table("leaf_habit")),
        wind=_wind(library.table("wind_load", key=("quantity", "wood"))),
        resistance=_resistance(fragility),
        strength=_strength(library.table("wood_strength"), fragility),
        fragility=_fragility(fragility),
        branches=_branches(library.table("branch_rate")),
        applicability=_applicability(library.table("mechanics_applies")),
        limits=_limits(library.table("failure_probability_words")),
    )


def gust_climate(
    library: Library,
    *,
    region: str,
    terrain: str,
    gust_50_years_m_s: float | None = None,
    location_m_s: float | None = None,
    scale_m_s: float | None = None,
) -> GustClimate:
    """The gusts of a place.

    Parameters
    ----------
    region : of gust_regions.csv. Those of form probability_factor and logarithm need the place's
        gust of 50 years; 'gumbel' needs location and scale of the yearly largest gust.
    terrain : of gust_terrain.csv, at 10 m.

    Raises
    ------
    PublishedValueError
        If there is no such region or terrain, or the region needs what was not given.
    """
    row = library.table("gust_regions").row(region=region)
    form = row["form"]
    ground = library.table("gust_terrain", key=("terrain", "height_m"))
    multiplier = ground.number("multiplier", terrain=terrain, height_m="10")
    given = {"gust of 50 years": gust_50_years_m_s, "location": location_m_s, "scale": scale_m_s}
    wants = {
        "power": (),
        "probability_factor": ("gust of 50 years",),
        "logarithm": ("gust of 50 years",),
        "gumbel": ("location", "scale"),
    }
    if form not in wants:
        raise PublishedValueError(
            where=f"published table gust_regions, region {region}",
            found=f"form {form!r}",
            expected=", ".join(wants),
            remedy="Mend the table or the override.",
        )
    lacking = [name for name in wants[form] if given[name] is None]
    if lacking:
        raise PublishedValueError(
            where=f"gust climate of region {region}",
            found=f"no {' and no '.join(lacking)}",
            expected=f"the place's {' and '.join(wants[form])} [m/s]",
            remedy="Give it in the settings, or choose a region that carries its own gusts.",
        )
    numbers = {k: float(row[k]) for k in row if k in _REGION_NUMBERS and row[k].strip()}
    if form == "power":
        a, b, c = numbers["limit_m_s"], numbers["span_m_s"], numbers["power"]
        return GustClimate(POWER, a, b, c, multiplier)
    if form == "probability_factor":
        v = float(gust_50_years_m_s or 0.0)
        return GustClimate(PROBABILITY_FACTOR, v, numbers["shape"], numbers["power"], multiplier)
    if form == "logarithm":
        v = float(gust_50_years_m_s or 0.0)
        a, b = v * numbers["location_share"], v * numbers["scale_share"]
        return GustClimate(GUMBEL, a, b, 0.0, multiplier)
    return GustClimate(GUMBEL, float(location_m_s or 0.0), float(scale_m_s or 0.0), 0.0, multiplier)


_REGION_NUMBERS = ("limit_m_s", "span_m_s", "power", "shape", "location_share", "scale_share")


def _value(t: PublishedTable, unit: str, **key: str) -> float:
    """One number, its unit held against the one that the maths takes.

    Raises
    ------
    PublishedValueError
        If the row is missing, empty, or in another unit.
    """
    row = t.row(**key)
    if row["unit"] != unit:
        raise PublishedValueError(
            where=f"published table {t.name}, row {', '.join(key.values())}",
            found=f"unit {row['unit']!r}",
            expected=f"unit {unit!r}",
            remedy="Convert the value; the unit stays as it is.",
        )
    return t.number("value", **key)


def _by_wood(t: PublishedTable, unit: str, **key: str) -> Floats:
    return np.array([_value(t, unit, wood=kind, **key) for kind in WOODS])


def _zone(library: Library) -> WeakZone:
    t = library.table("weak_zone", key=("quantity", "rot"))
    thin = library.table("thin_shell")

    def by_rot(quantity: str, unit: str) -> Floats:
        return np.array([_value(t, unit, quantity=quantity, rot=word(rot)) for rot in RotType])

    def one(quantity: str, unit: str) -> float:
        return _value(t, unit, quantity=quantity, rot="any")

    rate = "1/% mass loss"
    rots = ("white", "white", "brown", "soft")  # a clean hollow has its zone, if any, of white rot
    points = ("low", "middle", "high")
    return WeakZone(
        decay_rate=np.array([_value(t, rate, quantity="decay_rate", rot=r) for r in rots]),
        width=by_rot("width", "share of diameter"),
        core_kept=by_rot("core_kept", "share"),
        edge_mass_loss=one("edge_mass_loss", "%"),
        spread=one("spread", "sd of ln width"),
        points=np.array([one(f"point_{p}", "standard deviations") for p in points]),
        weights=np.array([one(f"weight_{p}", "share") for p in points]),
        full_zone_from=one("full_zone_from", "share of diameter"),
        widest=one("widest", "share of diameter"),
        eccentricity=one("eccentricity", "share of the shell"),
        least_kept=one("least_kept", "share"),
        thin=ThinShell(
            bending_from=_value(thin, "share of radius", quantity="bending_from"),
            buckling_below=_value(thin, "share of radius", quantity="buckling_below"),
            power=_value(thin, "power", quantity="splitting_power"),
        ),
    )


def _anchorage(t: PublishedTable) -> AnchorageLoss:
    return AnchorageLoss(
        loss_per_share=_value(t, "share per share", quantity="loss_per_root_share"),
        straight_to=_value(t, "share of roots", quantity="straight_to"),
        kept_without=_value(t, "share", quantity="kept_without_roots"),
        reach=_value(t, "trunk diameters", quantity="reach"),
        trench=_value(t, "share", quantity="trench_at_trunk"),
        dead_stem_rate=_value(t, "1/year", quantity="dead_stem_rate"),
        dead_root_rate=_value(t, "1/year", quantity="dead_root_rate"),
        dead_load=_value(t, "share", quantity="dead_load"),
    )


def _curves(t: PublishedTable) -> SizeCurves:
    return SizeCurves(
        height_at_zero=_value(t, "m", quantity="height_at_zero", wood="any"),
        height_factor=_by_wood(t, "m", quantity="height_factor"),
        height_power=_by_wood(t, "power", quantity="height_power"),
        crown_factor=_by_wood(t, "m", quantity="crown_factor"),
        crown_power=_by_wood(t, "power", quantity="crown_power"),
        height_spread=_by_wood(t, "sd of ln", quantity="height_spread"),
        crown_spread=_by_wood(t, "sd of ln", quantity="crown_spread"),
        correlation=_by_wood(t, "correlation", quantity="correlation"),
        fitted_from=_value(t, "m", quantity="fitted_from", wood="any"),
        fitted_to=_value(t, "m", quantity="fitted_to", wood="any"),
    )


def _wind(t: PublishedTable) -> WindLoad:
    def one(quantity: str, unit: str) -> float:
        return _value(t, unit, quantity=quantity, wood="any")

    return WindLoad(
        air_density=one("air_density", "kg/m3"),
        drag=_by_wood(t, "coefficient", quantity="drag"),
        drag_at=one("drag_at", "m/s"),
        streamlining_from=one("streamlining_from", "m/s"),
        streamlining_to=one("streamlining_to", "m/s"),
        leafless=_by_wood(t, "share of the load in leaf", quantity="leafless"),
        leaf_on_share=one("leaf_on_share", "share of the year's gusts"),
        crown_length=_by_wood(t, "share of height", quantity="crown_length"),
        crown_fill=_by_wood(t, "share of width x length", quantity="crown_fill"),
        centre_below_top=_by_wood(t, "share of crown length", quantity="centre_below_top"),
        profile_power=one("profile_power", "power"),
        profile_height=one("profile_height", "m"),
        profile_least=one("profile_least", "m"),
    )


def _leaves(t: PublishedTable) -> LeafHabit:
    return LeafHabit(t.texts("taxon"), t.numbers("evergreen") == 1)


def _resistance(t: PublishedTable) -> Resistance:
    def stem(quantity: str, unit: str) -> float:
        return _value(t, unit, quantity=quantity, part="stem", wood="any")

    return Resistance(
        root=_by_wood(t, "kN/m2", quantity="root_resistance", part="roots"),
        wet_ground=_value(t, "share", quantity="wet_ground", part="roots", wood="any"),
        green_wood_used=stem("green_wood_used", "share"),
        reference_strength=stem("reference_strength", "MPa"),
        strength_power=stem("strength_power", "power"),
        density_line=stem("density_line", "MPa"),
        density_power=stem("density_power", "power"),
    )


def _strength(t: PublishedTable, lines: PublishedTable) -> WoodStrength:
    told, density = t.numbers("rupture_mpa"), t.numbers("specific_gravity")
    line = _resistance(lines)
    by_density = line.density_line * density**line.density_power
    return WoodStrength(t.texts("taxon"), np.where(np.isnan(told), by_density, told))


def _fragility(t: PublishedTable) -> Fragility:
    def one(quantity: str, unit: str, part: str = "any") -> float:
        return _value(t, unit, quantity=quantity, part=part, wood="any")

    parts = ("roots", "stem")
    return Fragility(
        load_multiplier=np.stack(
            [_by_wood(t, "factor", quantity="load_multiplier", part=p) for p in parts]
        ),
        load_size_power=np.stack(
            [_by_wood(t, "power", quantity="load_size_power", part=p) for p in parts]
        ),
        reference_diameter=one("reference_diameter", "m"),
        resistance_spread=np.array([one("resistance_spread", "sd of ln", p) for p in parts]),
        pulled_spread=one("resistance_spread_pulled", "sd of ln", "roots"),
        size_response=np.array([one("size_response", "share", p) for p in parts]),
        load_spread=one("load_spread", "sd of ln"),
        no_height=one("load_spread_no_height", "sd of ln, added in square"),
        no_crown=one("load_spread_no_crown", "sd of ln, added in square"),
        stood=one("stood", "years"),
        grid_from=one("grid_from", "m/s"),
        grid_to=one("grid_to", "m/s"),
        grid_step=one("grid_step", "m/s"),
        grid_rarest=one("grid_rarest", "1/year"),
    )


def _branches(t: PublishedTable) -> BranchRate:
    return BranchRate(
        median_gust=_value(t, "m/s", quantity="median_gust"),
        spread=_value(t, "sd of ln", quantity="spread"),
        calm=_value(t, "1/year", quantity="calm"),
        dead=_value(t, "share of the median gust", quantity="dead"),
        large_share=_value(t, "share", quantity="large_share"),
        large_from=_value(t, "cm", quantity="large_from"),
        weak_union=_value(t, "factor", quantity="weak_union"),
    )


def _applicability(t: PublishedTable) -> Applicability:
    return Applicability(np.array([t.number("applies", kind=kind) == 1 for kind in KINDS]))


def _limits(t: PublishedTable) -> WordLimits:
    for text in t.texts("failure"):
        one_word(t, "failure", text, FailureWord)
    higher = [word(w) for w in FailureWord if w > FailureWord.IMPROBABLE]
    return WordLimits(
        yearly=np.array([t.number("from_per_year", failure=w) for w in higher]),
        three_years=np.array([t.number("from_3_years", failure=w) for w in higher]),
        imminent_median=t.number("median_from_per_year", failure=word(FailureWord.IMMINENT)),
    )
