"""The winds and the ground of a place, as the settings and the published tables have them."""

from dataclasses import dataclass

from pipeline.published.table import Library
from pipeline.scoring.mechanics.climate import GustClimate
from pipeline.scoring.mechanics.fragility import Fragility, Gusts, gusts_of
from pipeline.scoring.parameters.mechanics import gust_climate
from pipeline.settings.model import Wind

# Where a city says nothing of its winds: the region that the loads were set in.
DEFAULT_REGION = "as_nzs_a"
_OWN_GUST, _OWN_GUMBEL = "en_recommended", "gumbel"


@dataclass(frozen=True)
class SiteParameters:
    """The place of a run.

    Parameters
    ----------
    climate : gusts at the tree; `gusts` those that are summed over.
    region, terrain : rows of gust_regions.csv and gust_terrain.csv.
    assumed : the settings say nothing of the place's winds.
    wet : the ground is saturated when it blows.
    dead_years : years that a tree has been dead when it is first told to be.
    set_from_cm : thinnest trees that the level of the load was set on [cm].
    """

    climate: GustClimate
    gusts: Gusts
    region: str
    terrain: str
    assumed: bool
    wet: bool
    dead_years: float
    set_from_cm: float


def site_parameters(library: Library, wind: Wind, fragility: Fragility) -> SiteParameters:
    """The place of a run.

    Raises
    ------
    PublishedValueError
        If there is no such region or terrain, or the region needs a gust that is not given.
    """
    assumed = not wind.region and not _given(wind)
    region = wind.region or _region_of(wind)
    law = library.table("fragility", key=("quantity", "part", "wood"))
    climate = gust_climate(
        library,
        region=region,
        terrain=wind.terrain,
        gust_50_years_m_s=wind.gust_50_m_per_s,
        location_m_s=wind.gumbel_location_m_per_s,
        scale_m_s=wind.gumbel_scale_m_per_s,
    )
    return SiteParameters(
        climate=climate,
        gusts=gusts_of(climate, fragility),
        region=region,
        terrain=wind.terrain,
        assumed=assumed,
        wet=wind.ground == "wet",
        set_from_cm=law.number("value", quantity="set_from", part="any", wood="any"),
        dead_years=library.table("anchorage").number("value", quantity="dead_before_told"),
    )


def _given(wind: Wind) -> bool:
    own = (wind.gust_50_m_per_s, wind.gumbel_location_m_per_s, wind.gumbel_scale_m_per_s)
    return any(gust is not None for gust in own)


def _region_of(wind: Wind) -> str:
    if wind.gust_50_m_per_s is not None:
        return _OWN_GUST
    return _OWN_GUMBEL if _given(wind) else DEFAULT_REGION
