"""From a chance of failing to one of the four words, and to the worse of two witnesses."""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.terms import FailureWord
from pipeline.units import Floats, Words

_WORDS_APART = 2


@dataclass(frozen=True)
class WordLimits:
    """From config/published/failure_probability_words.csv, possible..imminent, shape (3,).

    Parameters
    ----------
    yearly, three_years : chances from which each word holds.
    imminent_median : yearly chance that the median over the states of decay must reach as well.
    """

    yearly: Floats
    three_years: Floats
    imminent_median: float

    def __post_init__(self) -> None:
        """Refuse limits out of order.

        Raises
        ------
        PublishedValueError
            If the limits do not rise within 0..1, or those of three years lie below a year's.
        """
        edges = np.stack([self.yearly, self.three_years])
        rise = (np.diff(edges, axis=1) > 0).all() and edges.min() > 0 and edges.max() <= 1
        if not (rise and (self.three_years >= self.yearly).all() and 0 < self.imminent_median <= 1):
            raise PublishedValueError(
                where="published table failure_probability_words",
                found=f"{self.yearly.tolist()} a year, {self.three_years.tolist()} in three",
                expected="limits that rise, within 0..1, no lower for three years than for one",
                remedy="Mend the table or the override.",
            )


def words_of(mean: Floats, median_yearly: Floats, limits: Floats, imminent: float) -> Words:
    """`FailureWord` of each part, same shape; 0 where the chance is not known.

    Parameters
    ----------
    mean : chance averaged over the states of decay, for the time frame of `limits`, NaN unknown.
    median_yearly : yearly chance at the median state.
    limits : `yearly` or `three_years` of the table.
    imminent : `imminent_median`; below it mechanics says no more than probable.
    """
    p = np.asarray(mean, dtype=np.float64)
    word = 1 + np.searchsorted(limits, np.nan_to_num(p, nan=0.0), side="right")
    capped = (word == FailureWord.IMMINENT) & ~(np.asarray(median_yearly) >= imminent)
    word = np.where(capped, int(FailureWord.PROBABLE), word)
    return np.where(np.isnan(p), 0, word).astype(np.int8)
