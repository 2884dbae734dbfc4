r"""Decay behind an attached fruiting body: rate of spread times years, capped by the living shell.

    x = min(cap, 2 r t / D),  t = lag + fruiting years,  cap = 1 - 2 shell / D

r is lognormal around  rate of the class x host x (D / reference)^exponent; the lag from infection
to the first body is lognormal; the fruiting years are the layers where they were counted (the body
is at least so old), else lognormal. The years are taken at midpoints of equal probability and r by
its cumulative on the edges of the cells, so nothing is drawn at random. What passes the cap sits at
the cap, split between the two nearest centres. There is no mass at none: attached means decay.
These grids describe trees that stand, as the sources do; they are not weighed by survival again.

The cumulative of ln(2 r t / D) has one shape for each class and number of years; only its place
moves with host and diameter. It is tabled once for each and read by linear interpolation, which
keeps masses at or above none.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from pipeline.scoring.decay.grid import Grid, Masses, normalised
from pipeline.scoring.decay.prior import checked_diameter
from pipeline.units import Flags, Floats, Ints, Words

LIFESPANS = ("annual", "perennial")
_REACH = 9  # standard deviations on either side of a table of the cumulative


@dataclass(frozen=True)
class ClassRules:
    """What makes the class of a taxon; the first rule that fits counts.

    Parameters
    ----------
    significance_from, significance_to : both included, shape (classes,); empty for classes that
        no taxon has.
    rots : terms.RotType that fit, shape (classes, 4).
    lifespans : `LIFESPANS` that fit, shape (classes, 2).
    """

    significance_from: Floats
    significance_to: Floats
    rots: Flags
    lifespans: Flags


@dataclass(frozen=True)
class SpreadParameters:
    """The numbers of the law.

    Parameters
    ----------
    classes : their letters.
    unnamed : place of the class of what is attached and has no name.
    rate : median radial rate at the reference diameter [cm/year], shape (classes,).
    scatter : standard deviation of the logarithm of the rate, shape (classes,).
    host : factor on the rate, in prior.HOSTS order, shape (3,).
    reference_cm, exponent : how the rate grows with the diameter.
    lag_years, lag_scatter, lag_points : from infection to the first body: median, standard
        deviation of the logarithm, number of midpoints.
    fruiting_years : median where no layers were counted, in `LIFESPANS` order, shape (2,).
    fruiting_scatter, fruiting_points : as for the lag.
    shell_cm : thickness of the living shell that decay leaves [cm].
    step : of the table of the cumulative, in standard deviations.
    """

    classes: tuple[str, ...]
    unnamed: int
    rate: Floats
    scatter: Floats
    host: Floats
    reference_cm: float
    exponent: float
    lag_years: float
    lag_scatter: float
    lag_points: int
    fruiting_years: Floats
    fruiting_scatter: float
    fruiting_points: int
    shell_cm: float
    step: float

    @property
    def kinds(self) -> int:
        """Number of kinds: a class with a life span, `kind = 2 class + life span`."""
        return len(LIFESPANS) * len(self.classes)


def class_of(significance: Ints, rot: Words, lifespan: Ints, rules: ClassRules) -> Ints:
    """Class of each taxon, the first rule that fits; -1 where none does. Shape (taxa,)."""
    s = np.asarray(significance, dtype=np.float64)[:, None]
    fits = (
        (s >= rules.significance_from)
        & (s <= rules.significance_to)
        & rules.rots[:, rot].T
        & rules.lifespans[:, lifespan].T
    )
    return np.where(fits.any(axis=1), np.argmax(fits, axis=1), -1).astype(np.int64)


def midpoints(median: float, scatter: float, points: int) -> Floats:
    """Midpoints of equal probability of a lognormal law, shape (points,)."""
    return np.asarray(median * np.exp(scatter * ndtri((np.arange(points) + 0.5) / points)))


def years_infected(lifespan: int, layers: float | None, law: SpreadParameters) -> Floats:
    """Equally probable years since infection, shape (points,); `layers` None if not counted."""
    lag = midpoints(law.lag_years, law.lag_scatter, law.lag_points)
    if layers is None:
        median = float(law.fruiting_years[lifespan])
        fruiting = midpoints(median, law.fruiting_scatter, law.fruiting_points)
    else:
        fruiting = np.array([layers])
    return np.add.outer(lag, fruiting).ravel()


def caps(diameter_cm: Floats, grid: Grid, law: SpreadParameters) -> Floats:
    """Largest share that decay can reach, shape (rows,); never below the first centre."""
    return np.clip(1.0 - 2.0 * law.shell_cm / diameter_cm, grid.x[1], grid.x[-1])


class SpreadTables:
    """Cumulatives of ln(rate x years / median rate), each made when it is first asked for."""

    def __init__(self, law: SpreadParameters) -> None:
        """Nothing is tabled yet."""
        self.law = law
        self._place: dict[tuple[int, float], int] = {}
        self._begin: list[float] = []
        self._first: list[int] = [0]
        self._tables: list[Floats] = []
        self._joined: Floats = np.empty(0)

    def read(self, kind: Ints, layers: Floats, at: Floats) -> Floats:
        """Cumulative at `at` [standard deviations of the rate], shape of `at`, (rows, edges).

        Parameters
        ----------
        kind, layers : of each row, see `class_grids`.
        """
        table = self._tabled(kind, layers)
        first = np.array(self._first)
        length = np.diff(first)[table, None]
        begin = np.array(self._begin)[table, None]
        place = np.clip((at - begin) / self.law.step, 0, length - 1)
        below = np.minimum(place.astype(np.int64), length - 2)
        part = place - below
        below += first[table, None]
        low = self._joined[below]
        return np.asarray(low + part * (self._joined[below + 1] - low))

    def _tabled(self, kind: Ints, layers: Floats) -> Ints:
        """Number of the table of each row."""
        keys = np.stack([kind.astype(np.float64), np.nan_to_num(layers, nan=-1.0)], axis=1)
        each, which = np.unique(keys, axis=0, return_inverse=True)
        before = len(self._tables)
        numbers = [self._number(int(one), float(years)) for one, years in each]
        if len(self._tables) > before:
            self._joined = np.concatenate(self._tables)
        return np.array(numbers, dtype=np.int64)[which]

    def _number(self, kind: int, layers: float) -> int:
        if (kind, layers) not in self._place:
            self._place[kind, layers] = len(self._tables)
            begin, table = _table(kind, None if layers < 0 else layers, self.law)
            self._begin.append(begin)
            self._tables.append(table)
            self._first.append(self._first[-1] + len(table))
        return self._place[kind, layers]


def class_grids(
    kind: Ints, host: Ints, layers: Floats, diameter_cm: Floats, grid: Grid, tables: SpreadTables
) -> Masses:
    """Grids of attached bodies, shape (rows, cells + 1).

    Parameters
    ----------
    kind : 2 class + life span, shape (rows,).
    host : place in prior.HOSTS, shape (rows,).
    layers : counted yearly layers, NaN where not counted, shape (rows,).
    diameter_cm : of the section, above 0 [cm], shape (rows,).

    Raises
    ------
    TableError
        If a diameter is not above 0.
    """
    law, D = tables.law, checked_diameter(diameter_cm)
    # ln x plus this is ln(rate x years / median rate).
    place = np.log(D / (2.0 * law.host[host] * (D / law.reference_cm) ** law.exponent))
    cap = caps(D, grid, law)
    letter = np.asarray(kind) // len(LIFESPANS)
    with np.errstate(divide="ignore"):
        edges = np.minimum(np.log(grid.edges), np.log(cap)[:, None])
    place = (place - np.log(law.rate[letter]))[:, None]
    found = tables.read(kind, layers, (edges + place) / law.scatter[letter, None])
    masses = np.zeros((len(D), grid.cells + 1))
    np.subtract(found[:, 1:], found[:, :-1], out=masses[:, 1:])
    _at_cap(masses, cap, 1.0 - found[:, -1])
    return normalised(masses)


def _table(kind: int, layers: float | None, law: SpreadParameters) -> tuple[float, Floats]:
    """First knot, in units of the rate's scatter, and the cumulative at all knots."""
    letter, lifespan = divmod(kind, len(LIFESPANS))
    t = np.log(years_infected(lifespan, layers, law)) / law.scatter[letter]
    begin = float(t.min()) - _REACH
    steps = int(np.ceil((t.max() + _REACH - begin) / law.step))
    knots = begin + law.step * np.arange(steps + 1)
    return begin, np.mean([ndtr(knots - one) for one in t], axis=0)


def _at_cap(masses: Masses, cap: Floats, rest: Floats) -> None:
    """Put what passes the cap at the two centres beside it."""
    rows, cells = np.arange(len(masses)), masses.shape[1] - 1
    place = cap * cells - 0.5
    below = np.clip(np.floor(place).astype(np.int64), 0, cells - 1)
    part = np.clip(place - below, 0.0, 1.0)
    above = np.minimum(below + 1, cells - 1)
    np.add.at(masses, (rows, below + 1), rest * (1.0 - part))
    np.add.at(masses, (rows, above + 1), rest * part)
