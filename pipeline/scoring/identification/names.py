"""Who gives a name, how far it is trusted, and from which probability a fungus is heard."""

from dataclasses import dataclass

import numpy as np

from pipeline.units import Floats, Ints


@dataclass(frozen=True)
class NameCertainty:
    """How far names are trusted, from config/published/name_certainty.csv.

    Parameters
    ----------
    name_by : who names, in the order of the table.
    cap : certainty_cap_share, shape (observers,).
    heard_from : heard_from_share: what is less probable than this does not speak, (observers,).
    """

    name_by: tuple[str, ...]
    cap: Floats
    heard_from: Floats


def trusted(name_by: Ints, certainty: Floats, trust: NameCertainty) -> Floats:
    """How far a name is trusted: as stated, but no further than such observers reach.

    Parameters
    ----------
    name_by : index into `trust.name_by`, any shape.
    certainty : as the observer states it [share], NaN if not stated, same shape.
    """
    cap = trust.cap[name_by]
    stated = np.where(np.isnan(certainty), cap, np.clip(certainty, 0.0, 1.0))
    return np.asarray(np.minimum(stated, cap), np.float64)
