"""From what is known of a part to the posterior grid of its decay: mix, multiply, normalise.

How to ask, for n parts (a row is one part of one tree):

    parts     PartRows    part, diameter_cm, condition, host                       shape (n,) each
    fungus    FungusRows  row, body, kind, rot, weight, years    sparse, from `taxa.weights`
    readings  Readings    row, instrument, value, section_cm, azimuth_deg, device  sparse
    law       DecayLaw    all numbers, from scoring.parameters.decay

    for block in posteriors(parts, fungus, readings, law):
        block.start, block.stop    the rows
        block.masses               (rows, cells + 1), sums to 1: mass at none, then the cells
        block.evidence             rows (counted from 0 of all parts) with a fungus or a reading
        block.by_rot               (evidence rows, 3, cells + 1), sums to 1 over rot and share
    summaries(...)                 grid.Summary of all rows, block after block

What is kept: rows without evidence hold the prior; what they decayed from is unknown and counts as
white rot. `by_rot` joins rot and extent, so that strength can be averaged over both and a reading
also tells which fungus it may be. A fruiting body never makes a part better than the prior says:
its grid is `grid.worse` of class and prior. Several bodies on a part are not multiplied, for
nothing is published on that; the worst of them counts, share by share.

    posterior(x, rot)  ~  [ prior's share of the prior + sum over kinds of weight x class grid ]
                          x product of the readings' likelihoods for that rot

Butt and stem are one column where one body rots both: a reading of one is carried to the other if
that was not read (`carried`); the rows of a tree's parts stand beside each other in order of part.
Otherwise rows do not touch, so neither their order nor the size of blocks changes a result.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.errors import TableError
from pipeline.scoring.decay.carried import carried
from pipeline.scoring.decay.grid import Grid, Masses, Summary, joined, summary, worse, worst_of
from pipeline.scoring.decay.instruments import (
    ROTS,
    Instrument,
    InstrumentParameters,
    Readings,
    likelihoods,
)
from pipeline.scoring.decay.prior import PriorParameters, bodies, nothing_decayed, priors
from pipeline.scoring.decay.roots import RootParameters, root_grids
from pipeline.scoring.decay.spread import SpreadParameters, SpreadTables, class_grids
from pipeline.terms import Part
from pipeline.units import Floats, Ints, Words


@dataclass(frozen=True)
class DecayLaw:
    """All numbers of the decay of parts.

    Parameters
    ----------
    levels : quantiles that summaries give.
    together : share of cases in which butt and stem that one fungus rots stand at the same rank
        of decay, see `carried`.
    """

    grid: Grid
    levels: tuple[float, float, float]
    together: float
    prior: PriorParameters
    spread: SpreadParameters
    roots: RootParameters
    instruments: InstrumentParameters


@dataclass(frozen=True)
class PartRows:
    """Parts of trees, each field of shape (n,).

    Parameters
    ----------
    part : terms.Part.
    diameter_cm : of the critical section; for roots that of the stem, above 0 [cm].
    condition : place in prior.CONDITIONS.
    host : place in prior.HOSTS.
    """

    part: Words
    diameter_cm: Floats
    condition: Ints
    host: Ints

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.part)


@dataclass(frozen=True)
class FungusRows:
    """Grids that fruiting bodies bring to parts, each field of shape (entries,).

    Parameters
    ----------
    row : of the part in `PartRows`.
    body : any number that is the same for the entries of one fruiting body.
    kind, rot, weight : see taxa.Weights.
    years : layers counted, or for roots also years seen, NaN where neither.
    """

    row: Ints
    body: Ints
    kind: Ints
    rot: Ints
    weight: Floats
    years: Floats

    def take(self, at: Ints) -> "FungusRows":
        """Some of the entries."""
        return FungusRows(
            self.row[at], self.body[at], self.kind[at],
            self.rot[at], self.weight[at], self.years[at],
        )  # fmt: skip


@dataclass(frozen=True)
class Block:
    """Posterior of the rows from `start` to before `stop`; see the module."""

    start: int
    stop: int
    masses: Masses
    evidence: Ints
    by_rot: Floats


def no_fungus() -> FungusRows:
    """No entry at all."""
    none = np.empty(0, dtype=np.int64)
    return FungusRows(none, none, none, none, np.empty(0), np.empty(0))


def no_readings() -> Readings:
    """No reading at all."""
    none = np.empty(0, dtype=np.int64)
    return Readings(none, none.astype(np.int8), np.empty(0), np.empty(0), np.empty(0), none)


def posteriors(
    parts: PartRows,
    fungus: FungusRows,
    readings: Readings,
    law: DecayLaw,
    *,
    rows_at_once: int = 2**12,
    single: bool = True,
) -> Iterator[Block]:
    """Posterior grids, block after block.

    Parameters
    ----------
    rows_at_once : rows of a block, so many that the parts of a tree stay together; changes memory
        and no result.
    single : masses in single precision; evidence is always reckoned in double.

    Raises
    ------
    TableError
        If a diameter is not above 0, a reading cannot be, evidence speaks of a row or kind that
        is not there, or the weights of a body pass 1.
    """
    _check(parts, fungus, readings, law)
    tables = SpreadTables(law.spread)
    given_decay = bodies(law.grid, law.prior)
    kept = given_decay.astype(np.float32) if single else given_decay
    fungus = fungus.take(np.lexsort((fungus.kind, fungus.rot, fungus.body, fungus.row)))
    readings = readings.take(np.argsort(readings.row, kind="stable"))
    nothing = nothing_decayed(
        parts.part.astype(np.int64), parts.diameter_cm, parts.condition, law.prior
    )
    for start in range(0, len(parts), rows_at_once):
        stop = min(start + rows_at_once, len(parts))
        rows = slice(start, stop)
        masses = priors(nothing[rows], parts.host[rows], kept)
        told = fungus.take(_between(fungus.row, start, stop))
        read = readings.take(_between(readings.row, start, stop))
        evidence = np.union1d(told.row, read.row).astype(np.int64)
        by_rot = np.empty((0, len(ROTS), law.grid.cells + 1))
        if evidence.size:
            before = priors(nothing[evidence], parts.host[evidence], given_decay).astype(np.float64)
            by_fungus = mixed(before, evidence, told, parts, law, tables)
            by_rot = updated(by_fungus, evidence, read, law)
            pairs = _same_column(told, read, parts)
            _carry(by_fungus, by_rot, np.searchsorted(evidence, pairs), law.together)
            masses[evidence - start] = by_rot.sum(axis=1).astype(masses.dtype)
        yield Block(start, stop, masses, evidence, by_rot)


def summaries(parts: PartRows, fungus: FungusRows, readings: Readings, law: DecayLaw) -> Summary:
    """Few numbers for each row, without keeping the grids.

    Raises
    ------
    TableError
        If a diameter is not above 0 or a reading cannot be.
    """
    return joined([
        summary(block.masses, law.grid, law.levels)
        for block in posteriors(parts, fungus, readings, law)
    ])  # fmt: skip


def multiply(before: Masses, likelihood: Masses) -> Masses:
    """Bayes: product over the last axis, normalised over all axes but the first."""
    product = before * likelihood
    product /= product.sum(axis=tuple(range(1, product.ndim)), keepdims=True)
    return product


def updated(by_rot: Floats, rows: Ints, readings: Readings, law: DecayLaw) -> Floats:
    """Grids by rot after the readings of their rows; `rows` in rising order.

    Raises
    ------
    TableError
        If a reading cannot be.
    """
    read, likelihood = likelihoods(readings, law.grid, law.instruments)
    at = np.searchsorted(rows, read)
    after = by_rot.copy()
    after[at] = multiply(by_rot[at], likelihood)
    return after


def _same_column(fungus: FungusRows, readings: Readings, parts: PartRows) -> Ints:
    """Rows of a measured butt or stem, and of the other one that the same body rots, unmeasured.

    Shape (2, pairs). A sign that an eye saw measures nothing: it is a sign of its own part.
    """
    by_eye = np.isin(
        readings.instrument, (Instrument.SIGN, Instrument.EXTENSIVE, Instrument.VISUAL)
    )
    measured = np.unique(readings.row[~by_eye])
    read_at_all = np.unique(readings.row)
    here = np.unique(np.column_stack([fungus.body, fungus.row]), axis=0)
    found = []
    for near, other in ((Part.BUTT, Part.STEM), (Part.STEM, Part.BUTT)):
        apart = int(other) - int(near)
        body, row = here[parts.part[here[:, 1]] == near].T
        theirs = here[parts.part[here[:, 1]] == other]
        both = np.isin(body * len(parts) + row + apart, theirs @ [len(parts), 1])
        rows = np.unique(row[both])
        kept = np.isin(rows, measured) & ~np.isin(rows + apart, read_at_all)
        found.append(np.stack([rows[kept], rows[kept] + apart]))
    return np.concatenate(found, axis=1)


def _carry(before: Floats, after: Floats, pairs: Ints, together: float) -> None:
    """Turn the grids of other parts, in place, as the readings turned those of the read parts."""
    if not pairs.size:
        return
    read, other = pairs
    factor = carried(
        before[read].sum(axis=1), after[read].sum(axis=1), before[other].sum(axis=1),
        together=together,
    )  # fmt: skip
    after[other] *= factor[:, None]


def mixed(
    before: Floats,
    rows: Ints,
    fungus: FungusRows,
    parts: PartRows,
    law: DecayLaw,
    tables: SpreadTables,
) -> Floats:
    """Prior and class grids mixed, by rot, shape (rows, rots, cells + 1).

    Parameters
    ----------
    before : prior grids of `rows`, shape (rows, cells + 1).
    rows : rows of the parts, rising.
    fungus : entries of those rows, sorted by row, body and rot.

    Raises
    ------
    TableError
        If a diameter is not above 0, or the weights of a body pass 1.
    """
    by_rot = np.zeros((len(rows), len(ROTS), before.shape[1]))
    by_rot[:, 0] = before
    if not fungus.row.size:
        return by_rot
    at = np.searchsorted(rows, fungus.row)
    grids = worse(_entry_grids(fungus, parts, law, tables), before[at])
    # One line of `of_body` for each body on a row.
    new = np.append(True, (np.diff(fungus.row) != 0) | (np.diff(fungus.body) != 0))
    line = np.cumsum(new) - 1
    of_body = np.zeros((int(line[-1]) + 1, len(ROTS), before.shape[1]))
    lines, first = np.unique(line * len(ROTS) + fungus.rot, return_index=True)
    sums = np.add.reduceat(fungus.weight[:, None] * grids, first, axis=0)
    of_body.reshape(-1, before.shape[1])[lines] = sums
    left = _left_for_prior(np.bincount(line, weights=fungus.weight).astype(np.float64))
    row_of = at[new]
    of_body[:, 0] += left[:, None] * before[row_of]
    return _worst_body(by_rot, of_body, row_of)


def _worst_body(by_rot: Floats, of_body: Floats, row_of: Ints) -> Floats:
    """The worst of the bodies of each row, rots in the proportions that all of them give."""
    bodies_of = np.bincount(row_of, minlength=len(by_rot))
    alone = bodies_of[row_of] == 1
    by_rot[row_of[alone]] = of_body[alone]
    if alone.all():
        return by_rot
    of_body, row_of = of_body[~alone], row_of[~alone]
    touched, first = np.unique(row_of, return_index=True)
    extent = worst_of(of_body.sum(axis=1), first)
    rots = np.add.reduceat(of_body, first, axis=0)
    total = rots.sum(axis=1, keepdims=True)
    share = np.divide(rots, total, out=np.zeros_like(rots), where=total > 0)
    share[:, 0] += (total == 0)[:, 0]
    by_rot[touched] = share * extent[:, None]
    return by_rot


def _entry_grids(
    fungus: FungusRows, parts: PartRows, law: DecayLaw, tables: SpreadTables
) -> Floats:
    """Grid of each entry, shape (entries, cells + 1)."""
    grids = np.empty((len(fungus.row), law.grid.cells + 1))
    in_roots = parts.part[fungus.row] == Part.ROOTS
    roots, wood = np.flatnonzero(in_roots), np.flatnonzero(~in_roots)
    grids[roots] = root_grids(fungus.kind[roots], fungus.years[roots], law.grid, law.roots)
    of = fungus.row[wood]
    grids[wood] = class_grids(
        fungus.kind[wood], parts.host[of], fungus.years[wood], parts.diameter_cm[of],
        law.grid, tables,
    )  # fmt: skip
    return grids


def _left_for_prior(weight: Floats) -> Floats:
    """What the weights of a body leave to 1.

    Raises
    ------
    TableError
        If they pass 1.
    """
    left = 1.0 - weight
    if (left < -np.sqrt(np.finfo(np.float64).eps)).any():
        raise TableError(
            where="weights of a fruiting body",
            found=f"a sum of {weight.max():g}",
            expected="at most 1 for each body and part",
            remedy="Give the probabilities of the taxa so that they sum to 1.",
        )
    return np.maximum(left, 0.0)


def _check(parts: PartRows, fungus: FungusRows, readings: Readings, law: DecayLaw) -> None:
    """Refuse evidence of rows and kinds that are not there, which indexing would take silently.

    Raises
    ------
    TableError
        If there is some.
    """
    n = len(parts)
    _within("row of a reading", readings.row, n)
    _within("row of a fruiting body", fungus.row, n)
    in_roots = parts.part[fungus.row] == Part.ROOTS
    _within("kind of a root rot", fungus.kind[in_roots], law.roots.kinds)
    _within("kind of a class of spread", fungus.kind[~in_roots], law.spread.kinds)
    _within("rot of a fruiting body", fungus.rot, len(ROTS))


def _within(what: str, numbers: Ints, count: int) -> None:
    """Refuse a number that is not from 0 to below `count`.

    Raises
    ------
    TableError
        If there is one.
    """
    bad = (numbers < 0) | (numbers >= count)
    if bad.any():
        raise TableError(
            where=f"decay of parts, {what}",
            found=str(int(numbers[np.argmax(bad)])),
            expected=f"0 to below {count}",
            remedy="Leave out what speaks of nothing here (-1), and count it.",
        )


def _between(rows: Ints, start: int, stop: int) -> Ints:
    """Places of sorted row numbers from `start` to before `stop`."""
    return np.arange(*np.searchsorted(rows, [start, stop]))
