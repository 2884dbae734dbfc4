"""The only bridge from published tables and settings to the maths: frozen parameter objects."""

from dataclasses import dataclass
from datetime import date

from pipeline.published.table import Library
from pipeline.scoring.parameters.decay import DecayParameters, decay_parameters
from pipeline.scoring.parameters.failure import FailureParameters, failure_parameters
from pipeline.scoring.parameters.mechanics import MechanicsParameters, mechanics_parameters
from pipeline.scoring.parameters.sighted import SightedParameters, sighted_parameters
from pipeline.scoring.parameters.site import SiteParameters, site_parameters
from pipeline.scoring.parameters.spread import rating_spread
from pipeline.scoring.parameters.targets import TargetParameters, target_parameters
from pipeline.scoring.parameters.which_tree import WhichTreeParameters, which_tree_parameters
from pipeline.scoring.parameters.work import WorkParameters, work_parameters
from pipeline.scoring.rating.spread import RatingSpread
from pipeline.settings.model import RunSettings
from pipeline.terms import OccupancyWord, RatingWord, from_word


@dataclass(frozen=True)
class Parameters:
    """All that the scoring stage needs beside the tables of ingest.

    Parameters
    ----------
    method : matrix or points.
    accepted : rating word that the city accepts.
    assumed_occupancy : where no target is known.
    shelter : buildings may stop a fall on what stands behind them.
    first_day, quarter_end, plan_end : day of the run, last day of the first quarter and of the
        last one planned.
    """

    failure: FailureParameters
    decay: DecayParameters
    mechanics: MechanicsParameters
    site: SiteParameters
    sighted: SightedParameters
    which_tree: WhichTreeParameters
    target: TargetParameters
    work: WorkParameters
    spread: RatingSpread
    method: str
    accepted: int
    assumed_occupancy: int
    shelter: bool
    time_frame_years: float
    as_of: date
    quarter_end: date
    plan_end: date


def build(settings: RunSettings, library: Library) -> Parameters:
    """Parameters of a run.

    Raises
    ------
    PublishedValueError
        If a published table does not hold what the maths needs.
    """
    city = settings.settings
    quarters = settings.first_quarter.following(city.planning.quarters)
    region = city.city.region.strip().lower()
    failure = failure_parameters(library)
    mechanics = mechanics_parameters(library)
    return Parameters(
        failure=failure,
        decay=decay_parameters(library),
        mechanics=mechanics,
        site=site_parameters(library, city.city.wind, mechanics.fragility),
        sighted=sighted_parameters(library, region=region, trust=failure.trust),
        which_tree=which_tree_parameters(
            library,
            attach_at=city.matching.attach_at,
            cap_m=city.matching.cap_m,
            inventory_error_m=city.matching.inventory_error_m,
        ),
        target=target_parameters(library),
        work=work_parameters(library, region=region),
        spread=rating_spread(library),
        method=city.rating.method,
        accepted=int(from_word(RatingWord, city.rating.accepted_rating)),
        assumed_occupancy=int(from_word(OccupancyWord, city.rating.assumed_occupancy)),
        shelter=city.rating.shelter,
        time_frame_years=city.rating.time_frame_years,
        as_of=settings.as_of,
        quarter_end=quarters[0].last_day,
        plan_end=quarters[-1].last_day,
    )
