"""A reading at the butt, carried to the stem that the same fungus rots.

The law is this project's own; what is checked is that it is the comonotone coupling it says it
is, against counting draws, and what follows from that.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from pipeline.scoring.decay.carried import carried
from pipeline.scoring.decay.instruments import Instrument
from pipeline.scoring.decay.update import PartRows, posteriors
from pipeline.terms import Part
from pipeline.units import Floats
from tests.scoring.decay.asking import LAW, entries_of, reading, readings_of

CLASS_A = 2 * LAW.spread.classes.index("A") + 1  # perennial
CELLS = 200
EDGES = np.linspace(0.0, 1.0, CELLS + 1)
X = np.append(0.0, (EDGES[1:] + EDGES[:-1]) / 2)


def grid(nothing: float, a: float, b: float) -> Floats:
    body = np.diff(beta.cdf(EDGES, a, b))
    return np.append(nothing, (1 - nothing) * body / body.sum())[None, :]


def read(before: Floats, at: float, scatter: float = 0.05) -> Floats:
    after = before * np.exp(-0.5 * ((X - at) / scatter) ** 2)
    return np.asarray(after / after.sum(axis=1, keepdims=True))


BUTT, STEM = grid(0.0, 4, 2), grid(0.5, 2, 2)


def turned(after: Floats, together: float = 1.0) -> Floats:
    return np.asarray(STEM * carried(BUTT, after, STEM, together=together))


def test_it_is_the_same_rank_in_both() -> None:
    """Ten million ranks drawn evenly, kept by how the reading favours the butt at that rank."""
    after = read(BUTT, 0.45)
    ranks = (np.arange(10_000_000) + 0.5) / 10_000_000
    was = np.cumsum(BUTT[0])
    favour = (after[0] / np.where(BUTT[0] > 0, BUTT[0], 1.0))[np.searchsorted(was, ranks)]
    place = np.minimum(np.searchsorted(np.cumsum(STEM[0]), ranks), CELLS)
    counted = np.bincount(place, weights=favour, minlength=CELLS + 1) / favour.sum()
    assert turned(after)[0] == pytest.approx(counted, abs=2e-6)


@pytest.mark.parametrize("at", [0.2, 0.5, 0.8])
def test_without_a_reading_or_a_tie_nothing_changes(at: float) -> None:
    assert turned(BUTT) == pytest.approx(STEM, abs=1e-12)
    assert turned(read(BUTT, at), together=0.0) == pytest.approx(STEM, abs=1e-12)


@given(at=st.floats(0.05, 0.95), together=st.floats(0.0, 1.0), nothing=st.floats(0.0, 0.9))
def test_it_stays_a_distribution(at: float, together: float, nothing: float) -> None:
    stem = grid(nothing, 1.5, 3)
    after = stem * carried(BUTT, read(BUTT, at), stem, together=together)
    assert after.sum() == pytest.approx(1.0, abs=1e-9)
    assert (after >= 0).all()


@given(low=st.floats(0.1, 0.9), more=st.floats(0.0, 0.5), together=st.floats(0.0, 1.0))
def test_a_thinner_column_at_the_butt_never_thickens_that_of_the_stem(
    low: float, more: float, together: float
) -> None:
    thin, thick = (
        np.cumsum(turned(read(BUTT, at), together)) for at in (low, min(low + more, 0.99))
    )
    assert (thin >= thick - 1e-9).all()


def _column(*read: tuple[int, float], together: float = LAW.together) -> list[Floats]:
    """Mean share of butt and stem that one perennial of class A rots, with drill readings [cm]."""
    parts = PartRows(
        np.array([Part.BUTT, Part.STEM], np.int8),
        np.full(2, 60.0),
        np.ones(2, int),
        np.ones(2, int),
    )
    entries = entries_of([(0, 0, CLASS_A, 0, 1.0, 9.0), (1, 0, CLASS_A, 0, 0.5, 9.0)])
    readings = readings_of([reading(Instrument.DRILL, cm, row=row) for row, cm in read])
    law = replace(LAW, together=together)
    (block,) = posteriors(parts, entries, readings, law, single=False)
    return list(block.masses @ LAW.grid.x)


def test_a_thick_wall_at_the_butt_speaks_of_the_stem_above() -> None:
    butt, stem = _column()
    read_butt, told_stem = _column((0, 20.0), (0, 21.0), (0, 20.0), (0, 22.0))
    assert read_butt < butt
    assert told_stem < 0.5 * stem
    assert _column((0, 20.0), (0, 21.0), (0, 20.0), (0, 22.0), together=0.0)[1] == stem


def test_a_thin_wall_at_the_butt_speaks_too() -> None:
    assert _column((0, 1.5), (0, 1.5), (0, 1.5))[1] > _column()[1]


def test_a_part_that_was_read_itself_speaks_for_itself() -> None:
    alone = _column((1, 12.0), together=0.0)[1]
    assert _column((0, 20.0), (1, 12.0))[1] == alone
