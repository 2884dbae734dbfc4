"""Short ways to ask for the decay of a few parts, and its law as the tables give it."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from pipeline.published.table import Library
from pipeline.scoring.decay.instruments import Instrument, Readings
from pipeline.scoring.decay.prior import CONDITIONS, HOSTS
from pipeline.scoring.decay.update import DecayLaw, FungusRows, PartRows, posteriors
from pipeline.scoring.parameters.decay import DecayParameters, decay_parameters
from pipeline.terms import Part

Floats = npt.NDArray[np.float64]
PARAMETERS: DecayParameters = decay_parameters(Library())
LAW: DecayLaw = PARAMETERS.law
Reading = tuple[int, Instrument, float, float, float, int]
Entry = tuple[int, int, int, int, float, float]
NAN = float("nan")


def finer(cells: int, law: DecayLaw = LAW) -> DecayLaw:
    """The law on another number of cells."""
    return replace(law, grid=replace(law.grid, cells=cells))


def parts_of(
    diameter_cm: Sequence[float],
    *,
    part: Part = Part.BUTT,
    condition: str = "fair",
    host: str = "middle",
) -> PartRows:
    """Parts that differ in diameter alone."""
    n = len(diameter_cm)
    return PartRows(
        np.full(n, part, np.int8),
        np.array(diameter_cm, np.float64),
        np.full(n, CONDITIONS.index(condition)),
        np.full(n, HOSTS.index(host)),
    )


def reading(
    instrument: Instrument,
    value: float = NAN,
    *,
    row: int = 0,
    section_cm: float = 50,
    azimuth: float = NAN,
    device: int = 0,
) -> Reading:
    """One reading."""
    return (row, instrument, value, section_cm, azimuth, device)


def readings_of(rows: Sequence[Reading]) -> Readings:
    """Readings as arrays."""
    row, instrument, value, section, azimuth, device = zip(*rows, strict=True) if rows else [()] * 6
    return Readings(
        np.array(row, np.int64),
        np.array(instrument, np.int8),
        np.array(value, np.float64),
        np.array(section, np.float64),
        np.array(azimuth, np.float64),
        np.array(device, np.int64),
    )


def entries_of(rows: Sequence[Entry]) -> FungusRows:
    """Entries (row, body, kind, rot, weight, years) as arrays."""
    row, body, kind, rot, weight, years = zip(*rows, strict=True) if rows else [()] * 6
    return FungusRows(
        np.array(row, np.int64),
        np.array(body, np.int64),
        np.array(kind, np.int64),
        np.array(rot, np.int64),
        np.array(weight, np.float64),
        np.array(years, np.float64),
    )


def posterior(
    parts: PartRows,
    entries: Sequence[Entry] = (),
    rows: Sequence[Reading] = (),
    *,
    law: DecayLaw = LAW,
    rows_at_once: int = 4096,
) -> Floats:
    """All posterior grids in double precision."""
    blocks = posteriors(
        parts, entries_of(entries), readings_of(rows), law, rows_at_once=rows_at_once, single=False
    )
    return np.concatenate([block.masses for block in blocks]).astype(np.float64)
