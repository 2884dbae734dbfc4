"""Closed days of jobs: told as text by scoring, used here as spans of day numbers."""

from collections.abc import Sequence
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.planning.quarters import day_number
from pipeline.units import Flags, Ints


def spans_of(closed_days: pa.ChunkedArray) -> tuple[tuple[Ints, ...], Ints]:
    """The different sets of closed days, the empty one first, and the one of each job.

    Returns
    -------
    first and last closed day of each run, in order, each of shape (runs, 2); shape (jobs,).
    """
    texts = closed_days.cast(pa.string())
    known = ["", *sorted(text for text in pc.unique(texts.drop_null()).to_pylist() if text)]
    place = pc.index_in(texts.fill_null(""), pa.array(known, pa.string()))
    return tuple(_runs(text) for text in known), place.to_numpy().astype(np.int64)


def _runs(text: str) -> Ints:
    days = [[day_number(date.fromisoformat(day)) for day in run.split("/")] for run in text.split()]
    return np.array(days, dtype=np.int64).reshape(-1, 2)


def next_open(closed: Sequence[Ints], season: Ints, days: Ints) -> Ints:
    """First open day of each job from its day on, shape (jobs,)."""
    found = days.copy()
    for number, runs in enumerate(closed):
        mine = season == number
        for begins, ends in runs.tolist():
            shut = mine & (found >= begins) & (found <= ends)
            found[shut] = ends + 1
    return found


def is_closed(closed: Sequence[Ints], season: Ints, days: Ints) -> Flags:
    """Whether each job's day is a closed one, shape (jobs,)."""
    return np.asarray(next_open(closed, season, days) != days)
