"""What is not known of a rating, from the published tables."""

import numpy as np

from pipeline.published.table import Library
from pipeline.scoring.rating.spread import SOURCES, RatingSpread, sd_of_factor
from pipeline.terms import OccupancyWord, word
from pipeline.units import Floats

# A thing that never moves is there.
_CERTAIN = "static"


def rating_spread(library: Library) -> RatingSpread:
    """Spreads of chance and occupancy, and how often another assessor's word is another.

    Raises
    ------
    PublishedValueError
        If a table does not hold what is asked of it.
    """
    t = library.table("rating_spread")

    def sd(quantity: str) -> float:
        return float(sd_of_factor(np.array(t.number("value", quantity=quantity))))

    by_source = [0.0 if source == _CERTAIN else sd(source) for source in SOURCES]
    return RatingSpread(
        wind_own=sd("wind_own"),
        wind_common=sd("wind_common"),
        occupancy=np.append(by_source, _by_word(library)),
        another_higher=t.number("value", quantity="another_higher"),
        another_lower=t.number("value", quantity="another_lower"),
    )


def _by_word(library: Library) -> Floats:
    """Where a word alone is told: by the 80 % range of the share that stands for it."""
    limits = library.table("occupancy_limits")
    names = (*(word(w) for w in OccupancyWord), "nothing_known")
    ratio = [limits.number("high", word=n) / limits.number("low", word=n) for n in names]
    return sd_of_factor(np.sqrt(np.array(ratio)))
