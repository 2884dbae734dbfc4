"""How probable each result of a test is in each state of decay.

    drill           nothing found, or the mean shell of a section in equal classes of its radius
    tomography      the decayed share of the section in equal classes
    sound           hollow or sound
    dig_root_collar the affected share of the root plate in equal classes
    pull_test       the logarithm of what the anchorage is over that of sound roots, in classes

The errors are those of `decay.instruments`; what a test reads beyond its first or last class falls
into that class, so the chances of a state sum to 1. Of the share of a rot that the test does not
see (`InstrumentParameters.hidden`) it reads what it would in sound wood: there a result tells
nothing, in whatever direction. A reading that was made is treated with more care than that
(`decay.instruments`): it may raise such decay and never lowers it.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, stdtr

from pipeline.scoring.decay.grid import Grid
from pipeline.scoring.decay.instruments import ROTS, Instrument, InstrumentParameters
from pipeline.units import Floats

TESTS = ("drill", "tomography", "sound", "dig_root_collar", "pull_test")
_BY = {
    "drill": Instrument.DRILL,
    "tomography": Instrument.TOMOGRAM,
    "sound": Instrument.MALLET_SOUND,
}


@dataclass(frozen=True)
class ResultLaw:
    """From config/published/test_results.csv.

    Parameters
    ----------
    classes : of a result.
    azimuths : needles of one drilled section.
    dug_error : of the affected share of the root plate, laid bare.
    pull_error : of the logarithm of the anchorage.
    pull_classes : least and most anchorage over that of sound roots between which classes lie.
    least_chance : chance of changing the action from which a test is recommended.
    """

    classes: int
    azimuths: int
    dug_error: float
    pull_error: float
    pull_classes: tuple[float, float]
    least_chance: float


@dataclass(frozen=True)
class Results:
    """The results that a test may have on n parts.

    Parameters
    ----------
    chance : of each result in each state, shape (n or 1, results, rots, cells + 1).
    decayed : decayed share of the diameter, or of the roots, that a result reads; NaN where it
        reads none, shape (results,).
    """

    chance: Floats
    decayed: Floats


def results(
    test: str,
    section_cm: Floats,
    ln_kept: Floats,
    grid: Grid,
    instruments: InstrumentParameters,
    law: ResultLaw,
) -> Results:
    """What one of TESTS may find on parts.

    Parameters
    ----------
    section_cm : diameter of the section that would be drilled [cm], shape (n,).
    ln_kept : logarithm of the anchorage kept in each state, for pull tests, (n, cells + 1).
    """
    middles = (np.arange(law.classes) + 0.5) / law.classes
    if test == "drill":
        nothing = _nothing_found(grid, instruments)
        shell = _shells(section_cm, grid, instruments, law) * (1.0 - nothing)
        found = np.concatenate([np.broadcast_to(nothing, (len(shell), 1, len(nothing))), shell], 1)
        return Results(_by_rot(found, test, instruments), np.append(np.nan, 1.0 - middles))
    if test == "tomography":
        error = np.hypot(instruments.tomogram_error, instruments.tomogram_bias)
        found = _normal_classes(grid.x**2, float(error), _edges(0.0, 1.0, law.classes))
        return Results(_by_rot(found[None], test, instruments), np.sqrt(middles))
    if test == "sound":
        hollow = _hollow(grid, instruments)
        found = np.stack([hollow, 1.0 - hollow])
        return Results(_by_rot(found[None], test, instruments), np.full(2, np.nan))
    if test == "dig_root_collar":
        found = _normal_classes(grid.x, law.dug_error, _edges(0.0, 1.0, law.classes))
        return Results(_by_rot(found[None], test, instruments), middles)
    least, most = np.log(law.pull_classes)
    found = _normal_classes(ln_kept, law.pull_error, _edges(least, most, law.classes))
    return Results(_by_rot(found, test, instruments), np.full(law.classes, np.nan))


def _edges(low: float, high: float, classes: int) -> Floats:
    """Inner edges of equal classes; the outer two are open."""
    return np.linspace(low, high, classes + 1)[1:-1]


def _classes(below: Floats) -> Floats:
    """Chance of each class from that of lying below each inner edge, on the axis before the last.

    Shape (..., edges, cells) to (..., edges + 1, cells).
    """
    first, last = np.zeros_like(below[..., :1, :]), np.ones_like(below[..., :1, :])
    return np.diff(np.concatenate([first, below, last], axis=-2), axis=-2)


def _normal_classes(centre: Floats, error: float, edges: Floats) -> Floats:
    below = np.asarray(ndtr((edges[:, None] - centre[..., None, :]) / error), np.float64)
    return _classes(below)


def _shells(section: Floats, grid: Grid, law: InstrumentParameters, results: ResultLaw) -> Floats:
    """Mean shell of the azimuths, as a share of the radius; as `decay.instruments` errs."""
    radius = section[:, None, None] / 2.0
    edges = radius * _edges(0.0, 1.0, results.classes)[:, None]
    centre = radius * (1.0 - grid.x)
    loose = (results.azimuths < law.azimuths) & (grid.x > 0)
    off_centre = np.where(loose, law.off_centre * centre, 0.0)
    scale = np.sqrt((law.shell_scale_cm**2 + off_centre**2) / results.azimuths)
    below = stdtr(law.shell_freedom, (edges - centre) / scale)
    return _classes(np.asarray(below, np.float64))


def _nothing_found(grid: Grid, law: InstrumentParameters) -> Floats:
    floor = law.nothing_floor
    missed = floor + (1.0 - floor) * np.exp(-law.nothing_drill * grid.x)
    return np.where(grid.x > 0, missed, 1.0)


def _hollow(grid: Grid, law: InstrumentParameters) -> Floats:
    z = (grid.x - law.hollow_at) / law.hollow_width
    return np.asarray(law.hollow_least + law.hollow_rise / (1.0 + np.exp(-z)))


def _by_rot(found: Floats, test: str, law: InstrumentParameters) -> Floats:
    """The share of a rot that the test does not see reads as sound wood, (n, results, rots, x)."""
    instrument = _BY.get(test)
    hidden = np.zeros(len(ROTS)) if instrument is None else law.hidden[instrument]
    seen = found[:, :, None, :]
    return np.asarray(seen + hidden[:, None] * (seen[..., :1] - seen))


def sees(test: str, law: InstrumentParameters) -> Floats:
    """Share of each rot that a test sees, shape (rots,)."""
    instrument = _BY.get(test)
    return np.ones(len(ROTS)) if instrument is None else 1.0 - law.hidden[instrument]
