"""What a sign or an instrument says of the decayed share, as a likelihood over the grid.

    reading                          likelihood of x, the decayed share of the diameter
    unnamed sign                     one value above `serious_above`, another below and at none
    area told by eye                 normal around x^2, cut to 0..1
    extensive decay told by eye      normal cumulative of x^2 with a floor
    shell by drill or core           Student t around the shell R (1 - x), wider where the column
                                     may be off centre; from three azimuths on their mean, without
                                     that term: the section's own shape is then known
    nothing found by drill or core   1 at none, else floor + (1 - floor) e^(-k x)
    area by tomogram                 normal around x^2; readings of one device share its bias
    mallet hollow, mallet sound      logistic rise with x, and 1 minus it
    probe                            normal around u x, averaged over u, the part of the column that
                                     it reaches: density n u^(n-1); a share of readings is stray

A drill, a core, a probe or a mallet under-reads soft rot and early brown rot. For a share of such
rot (a table by instrument and rot) the likelihood is flattened: it never falls again with more
decay, as if the sound reading had not been. So these readings may raise such decay and never clear
it.

Readings multiply, and their order does not matter, to the last bit. What repeats without telling
anything new counts once: the sign, extensive decay, and each result of the mallet. Every likelihood
is above 0 for every x, so no reading is proof.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from scipy.special import expit, ndtr

from pipeline.errors import TableError
from pipeline.scoring.decay.grid import Grid
from pipeline.units import Flags, Floats, Ints, Words

ROTS = ("white", "brown", "soft")


class Instrument(IntEnum):
    """What was used and what it said."""

    SIGN = 0
    VISUAL = 1
    DRILL = 2
    DRILL_NOTHING = 3
    CORE = 4
    CORE_NOTHING = 5
    TOMOGRAM = 6
    MALLET_HOLLOW = 7
    MALLET_SOUND = 8
    PROBE = 9
    EXTENSIVE = 10


ONCE = (
    Instrument.SIGN,
    Instrument.EXTENSIVE,
    Instrument.MALLET_HOLLOW,
    Instrument.MALLET_SOUND,
)
SHELLS = (Instrument.DRILL, Instrument.CORE)
AREAS = (Instrument.VISUAL, Instrument.TOMOGRAM)


@dataclass(frozen=True)
class InstrumentParameters:
    """Errors of the instruments.

    Parameters
    ----------
    sign_serious, sign_else : probability of an unnamed sign above the serious share, and else.
    visual_error : standard deviation of a share of the area told by eye.
    extensive_false : probability of being told of extensive decay where there is hardly any.
    extensive_at, extensive_error : share of the area at which half of inspectors speak of it, and
        the standard deviation of that.
    shell_freedom, shell_scale_cm : of the Student law of a shell.
    off_centre : scale added for one or two azimuths, share of the shell.
    azimuths : from which number the mean of the azimuths stands.
    nothing_floor : probability of finding nothing in a section decayed to the bark.
    nothing_drill, nothing_core : k of the fall of finding nothing.
    tomogram_error, tomogram_bias : standard deviations of a share of the area.
    hollow_least, hollow_rise, hollow_at, hollow_width : logistic of the mallet.
    probe_error : standard deviation of the share of the diameter a probe reaches.
    probe_reach : n of the law of the part of the decayed column that a probe reaches.
    probe_points : of equal probability, for the mean over the part reached.
    probe_floor : share of readings that tell nothing of the decay, spread over the diameter.
    hidden : share of each rot that an instrument's good reading does not clear, shape
        (instruments, rots), `Instrument` by `ROTS`.
    """

    sign_serious: float
    sign_else: float
    visual_error: float
    extensive_false: float
    extensive_at: float
    extensive_error: float
    shell_freedom: float
    shell_scale_cm: float
    off_centre: float
    azimuths: int
    nothing_floor: float
    nothing_drill: float
    nothing_core: float
    tomogram_error: float
    tomogram_bias: float
    hollow_least: float
    hollow_rise: float
    hollow_at: float
    hollow_width: float
    probe_error: float
    probe_reach: float
    probe_points: int
    probe_floor: float
    hidden: Floats


@dataclass(frozen=True)
class Readings:
    """Readings of parts, each field of shape (readings,).

    Parameters
    ----------
    row : of the part that was read, in the rows of parts.
    instrument : `Instrument`.
    value : decayed share of the area for VISUAL and TOMOGRAM, sound shell [cm] for DRILL and CORE,
        depth of hollow or soft wood along a diameter [cm] for PROBE, NaN for the others.
    section_cm : diameter of the section that was read [cm].
    azimuth_deg : of a shell, NaN if not told; shells of one azimuth count as one, their mean.
    device : number of the tomogram's device; those of one number on one part share a bias.
    """

    row: Ints
    instrument: Words
    value: Floats
    section_cm: Floats
    azimuth_deg: Floats
    device: Ints

    def __len__(self) -> int:
        """Number of readings."""
        return len(self.row)

    def take(self, at: Ints) -> "Readings":
        """Some of them."""
        return Readings(
            self.row[at], self.instrument[at], self.value[at],
            self.section_cm[at], self.azimuth_deg[at], self.device[at],
        )  # fmt: skip


@dataclass(frozen=True)
class Told:
    """Readings that speak together, each field of shape (groups,): mean value, how many."""

    row: Ints
    instrument: Words
    value: Floats
    section_cm: Floats
    count: Ints

    def __len__(self) -> int:
        """Number of groups."""
        return len(self.row)

    def take(self, at: Ints) -> "Told":
        """Some of them."""
        return Told(
            self.row[at], self.instrument[at], self.value[at], self.section_cm[at], self.count[at]
        )


def check(readings: Readings) -> None:
    """Refuse readings that cannot be.

    Raises
    ------
    TableError
        If a shell is thicker than the radius, an area no share, a probe deeper than the section,
        or a section without a diameter.
    """
    kind, value, D = readings.instrument, readings.value, readings.section_cm
    shell, area, probe = np.isin(kind, SHELLS), np.isin(kind, AREAS), kind == Instrument.PROBE
    most = np.where(shell, D / 2.0, np.where(area, 1.0, D))
    needs = shell | area | probe
    bad = needs & ~((value >= 0) & (value <= most))
    bad |= (shell | probe) & ~(np.isfinite(D) & (D > 0))
    if bad.any():
        at = int(np.argmax(bad))
        raise TableError(
            where=f"reading {at}, {Instrument(int(kind[at])).name.lower().replace('_', ' ')}",
            found=f"{value[at]:g} in a section of {D[at]:g} cm",
            expected="a shell within the radius, a depth within the diameter, or a share of 0 to 1",
            remedy="Set the reading aside and say so.",
        )


def likelihoods(readings: Readings, grid: Grid, law: InstrumentParameters) -> tuple[Ints, Floats]:
    """Rows that were read, and their likelihoods by rot, shape (rows read, rots, cells + 1).

    Scaled to a largest value of 1 for each reading. Rows are in rising order.

    Raises
    ------
    TableError
        If a reading cannot be, see `check`.
    """
    check(readings)
    told = together(readings)
    plain = np.empty((len(told), grid.cells + 1))
    for instrument, rule in _RULES.items():
        at = np.flatnonzero(told.instrument == instrument)
        if at.size:
            plain[at] = rule(told.take(at), grid, law)
    plain /= plain.max(axis=1, keepdims=True, initial=0.0)
    rows, first = np.unique(told.row, return_index=True)
    if not rows.size:
        return rows, np.empty((0, len(ROTS), grid.cells + 1))
    flat = np.maximum.accumulate(plain, axis=1)
    hidden = law.hidden[told.instrument]
    by_rot = [
        np.multiply.reduceat(plain + hidden[:, rot, None] * (flat - plain), first, axis=0)
        for rot in range(len(ROTS))
    ]
    return rows, np.stack(by_rot, axis=1)


def together(readings: Readings) -> Told:
    """Readings gathered: azimuths of a section, tomograms of a device, what counts once.

    Taken in order of their contents, so that the order of evidence changes no bit.
    """
    azimuth = np.nan_to_num(readings.azimuth_deg, nan=-1.0)
    given = (
        readings.section_cm, readings.value, azimuth, readings.device,
        readings.instrument, readings.row,
    )  # fmt: skip
    order = np.lexsort(given)
    D, value, azimuth, device, kind, row = (x[order].astype(np.float64) for x in given)
    shell, once = np.isin(kind, SHELLS), np.isin(kind, ONCE)
    # First shells of one azimuth are one shell; then azimuths, and tomograms of a device, gather.
    which = _groups(row, kind, azimuth, joined=once | (shell & (azimuth >= 0)))
    row, kind, value, D, device, _ = _means(which, row, kind, value, D, device)
    shell, tomogram = np.isin(kind, SHELLS), kind == Instrument.TOMOGRAM
    which = _groups(row, kind, np.where(tomogram, device, 0), joined=shell | tomogram)
    row, kind, value, D, _, count = _means(which, row, kind, value, D, device)
    return Told(row.astype(np.int64), kind.astype(np.int8), value, D, count.astype(np.int64))


def _groups(row: Floats, kind: Floats, key: Floats, *, joined: Flags) -> Ints:
    """Number of the group of each reading; those that are not joined stand alone."""
    alone = np.where(joined, -1, np.arange(len(row)))
    keys = np.stack([row, kind, np.where(joined, key, 0), alone], axis=1)
    which: Ints = np.unique(keys, axis=0, return_inverse=True)[1].astype(np.int64)
    return which


def _means(which: Ints, *fields: Floats) -> tuple[Floats, ...]:
    """Mean of each field over the groups, and the size of the groups."""
    count = np.bincount(which)
    sums = (np.bincount(which, weights=field) / np.maximum(count, 1) for field in fields)
    return (*sums, count.astype(np.float64))


def _sign(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    above = grid.share_above(grid.serious_above)
    shape = law.sign_else + (law.sign_serious - law.sign_else) * above
    return np.broadcast_to(shape, (len(told), shape.size))


def _visual(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    area, error = grid.x**2, law.visual_error
    inside = ndtr((1.0 - area) / error) - ndtr(-area / error)
    return _normal(told.value, area, np.full(len(told), error)) / inside


def _extensive(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    false = law.extensive_false
    said = ndtr((grid.x**2 - law.extensive_at) / law.extensive_error)
    return np.broadcast_to(false + (1.0 - false) * said, (len(told), grid.x.size))


def _tomogram(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    error = np.sqrt(law.tomogram_error**2 / told.count + law.tomogram_bias**2)
    return _normal(told.value, grid.x**2, error)


def _shell(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    n = told.count[:, None]
    centre = told.section_cm[:, None] / 2.0 * (1.0 - grid.x)
    loose = (n < law.azimuths) & (grid.x > 0)
    off_centre = np.where(loose, law.off_centre * centre, 0.0)
    scale = np.sqrt((law.shell_scale_cm**2 + off_centre**2) / n)
    z = (told.value[:, None] - centre) / scale
    power = -(law.shell_freedom + 1.0) / 2.0
    return np.asarray((1.0 + z**2 / law.shell_freedom) ** power / scale)


def _drill_nothing(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    return _nothing(told, grid, law, law.nothing_drill)


def _core_nothing(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    return _nothing(told, grid, law, law.nothing_core)


def _nothing(told: Told, grid: Grid, law: InstrumentParameters, k: float) -> Floats:
    floor = law.nothing_floor
    missed = floor + (1.0 - floor) * np.exp(-k * grid.x)
    return np.broadcast_to(np.where(grid.x > 0, missed, 1.0), (len(told), grid.x.size))


def _hollow(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    rise = law.hollow_rise * expit((grid.x - law.hollow_at) / law.hollow_width)
    return np.broadcast_to(law.hollow_least + rise, (len(told), grid.x.size))


def _solid(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    return 1.0 - _hollow(told, grid, law)


def _probe(told: Told, grid: Grid, law: InstrumentParameters) -> Floats:
    found, points = told.value / told.section_cm, law.probe_points
    part = ((np.arange(points) + 0.5) / points) ** (1.0 / law.probe_reach)
    error = np.full(len(told), law.probe_error)
    curve = np.mean([_normal(found, one * grid.x, error) for one in part], axis=0)
    density = curve / (law.probe_error * np.sqrt(2.0 * np.pi))
    return np.asarray(law.probe_floor + (1.0 - law.probe_floor) * density)


def _normal(value: Floats, centre: Floats, error: Floats) -> Floats:
    z = (value[:, None] - centre) / error[:, None]
    return np.asarray(np.exp(-0.5 * z**2))


Rule = Callable[[Told, Grid, InstrumentParameters], Floats]
_RULES: dict[Instrument, Rule] = {
    Instrument.SIGN: _sign,
    Instrument.VISUAL: _visual,
    Instrument.DRILL: _shell,
    Instrument.DRILL_NOTHING: _drill_nothing,
    Instrument.CORE: _shell,
    Instrument.CORE_NOTHING: _core_nothing,
    Instrument.TOMOGRAM: _tomogram,
    Instrument.MALLET_HOLLOW: _hollow,
    Instrument.MALLET_SOUND: _solid,
    Instrument.PROBE: _probe,
    Instrument.EXTENSIVE: _extensive,
}
