"""What roots and stem of a sound tree resist [kN m], and how strong its wood is."""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.scoring.decay import section
from pipeline.units import CM_PER_M, Flags, Floats, Ints, Words

_KN_PER_MPA_M2 = 1000.0


@dataclass(frozen=True)
class Resistance:
    """From config/published/fragility.csv; arrays by wood (broadleaf, conifer), shape (2,).

    Parameters
    ----------
    root : anchorage moment over height times squared diameter [kN/m2].
    wet_ground : anchorage in saturated soil over that in drained soil [share].
    green_wood_used : strength of stems over that of small clear wood [share].
    reference_strength : [MPa], and `strength_power`: how far stems follow their species' wood.
    density_line, density_power : rupture [MPa] = line times specific gravity to the power.
    """

    root: Floats
    wet_ground: float
    green_wood_used: float
    reference_strength: float
    strength_power: float
    density_line: float
    density_power: float

    def __post_init__(self) -> None:
        """Refuse what could not hold a tree.

        Raises
        ------
        PublishedValueError
            If a strength is not above 0 or a share outside 0..1.
        """
        strengths = (*self.root, self.reference_strength, self.density_line, self.density_power)
        shares = (self.wet_ground, self.green_wood_used)
        ok = min(strengths) > 0 and all(0 < s <= 1 for s in shares) and self.strength_power >= 0
        if not ok:
            raise PublishedValueError(
                where="published table fragility",
                found="a resistance of 0 or less, or a share outside 0..1",
                expected="resistances above 0 and shares above 0, up to 1",
                remedy="Mend the table or the override.",
            )


@dataclass(frozen=True)
class WoodStrength:
    """Rupture of green wood by taxon, from config/published/wood_strength.csv.

    Parameters
    ----------
    taxon : species, genera, and last 'broadleaf' and 'conifer'.
    rupture : [MPa], by taxon.
    """

    taxon: tuple[str, ...]
    rupture: Floats

    def __post_init__(self) -> None:
        """Refuse a table that leaves a wood without a strength.

        Raises
        ------
        PublishedValueError
            If a wood lacks, a taxon is doubled, or a strength is not above 0.
        """
        lacking = {"broadleaf", "conifer"} - set(self.taxon)
        doubled = len(self.taxon) - len(set(self.taxon))
        if lacking or doubled or not (self.rupture > 0).all():
            raise PublishedValueError(
                where="published table wood_strength",
                found=f"no {sorted(lacking)}, {doubled} twice, least {self.rupture.min():g} MPa",
                expected="broadleaf and conifer, each taxon once, strengths above 0",
                remedy="Mend the table or the override.",
            )


def strength_rows(species: tuple[str, ...], wood: Words, known: WoodStrength) -> Ints:
    """Row of the wood table for each name of a list of species, shape (species,).

    The species itself if listed, else its genus (the first word), else its wood. Call it once for
    the distinct names of an inventory and index with the trees' codes.
    """
    at = {taxon: row for row, taxon in enumerate(known.taxon)}
    woods = (at["broadleaf"], at["conifer"])
    rows = [
        at.get(name, at.get(name.split(" ")[0], woods[kind]))
        for name, kind in zip(species, wood.tolist(), strict=True)
    ]
    return np.array(rows, dtype=np.int64)


def root_moment(
    diameter_cm: Floats, height_m: Floats, wood: Words, *, wet: Flags, resistance: Resistance
) -> Floats:
    """Moment that sound roots resist [kN m], same shape; goes with H D^2."""
    D = np.asarray(diameter_cm, dtype=np.float64) / CM_PER_M
    ground = np.where(wet, resistance.wet_ground, 1.0)
    return resistance.root[wood] * np.asarray(height_m, dtype=np.float64) * D**2 * ground


def stem_moment(diameter_cm: Floats, rupture_mpa: Floats, resistance: Resistance) -> Floats:
    """Moment that a sound stem or butt resists [kN m], same shape; goes with D^3."""
    radius = np.asarray(diameter_cm, dtype=np.float64) / CM_PER_M / 2.0
    reference = resistance.reference_strength
    relative = np.asarray(rupture_mpa, dtype=np.float64) / reference
    strength = resistance.green_wood_used * reference * relative**resistance.strength_power
    return strength * _KN_PER_MPA_M2 * section.solid(radius).modulus
