"""Who gives a name, how far it is trusted, and which names a person must check."""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.identification.evidence import Evidence
from pipeline.scoring.identification.key import Key, named_share
from pipeline.units import Flags, Floats, Ints

# Rounding: a share that is kept is the limit itself.
_ROUNDING = float(np.sqrt(np.finfo(np.float64).eps))


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


@dataclass(frozen=True)
class NameDoubts:
    """Which names a person must check, from config/published/key_limits.csv.

    Parameters
    ----------
    fits : a trusted name does not fit where what it means is less probable [share].
    fits_from : names trusted so much or more are told of [share].
    unchecked_below : a name trusted less is unchecked where it stands alone [share].
    unchecked_code, unchecked_share : it must be checked where so much of what it means is of this
        action code or more.
    """

    fits: float
    fits_from: float
    unchecked_below: float
    unchecked_code: int
    unchecked_share: float


def misfit(posterior: Floats, named: Evidence, key: Key, doubts: NameDoubts) -> Flags:
    """Names of trusted observers that what was seen contradicts, shape (sightings,)."""
    told = (named.name >= 0) & (key.names.cap[named.name_by] >= doubts.fits_from)
    found: Flags = told & (named_share(posterior, named) <= doubts.fits + _ROUNDING)
    return found


def unchecked(named: Evidence, described: Flags, code: Ints, key: Key, doubts: NameDoubts) -> Flags:
    """Names of the most serious fungi that nobody can be held to, shape (sightings,).

    Parameters
    ----------
    described : a character of the fungus itself was told, shape (sightings,).
    code : action code of each taxon, shape (taxa,).
    """
    cap = key.names.cap[named.name_by]
    right = np.where(np.isnan(named.certainty), cap, np.minimum(named.certainty, cap))
    grave = named.meanings @ (code >= doubts.unchecked_code) >= doubts.unchecked_share
    found = (named.name >= 0) & ~described & (right < doubts.unchecked_below)
    found[found] = grave[named.name[found]]
    return np.asarray(found, np.bool_)
