"""Header rows that stand again inside a text table, as where several sheets were joined."""

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.units import Flags, Ints

_FIRST_LOOK = 3
# Joined sheets spell a header or two in another way, or leave one blank.
_LEAST_ALIKE = 2 / 3
_NO_LETTER = re.compile(r"[\W_]+")


def plain_header(header: str) -> str:
    """A header without case, blanks, underlines and points: 'Cod_calle' and 'Cod Calle' agree."""
    return _NO_LETTER.sub("", header).casefold()


def repeated_headers(data: pa.Table) -> Ints:
    """Rows that repeat the header: most of their cells say what stands over their column.

    Returns
    -------
    Positions in the table, shape (k,).
    """
    headers = data.column_names
    suspects = np.zeros(data.num_rows, np.bool_)
    for header in headers[:_FIRST_LOOK]:
        suspects |= _spelt(data[header], header)
    rows = np.flatnonzero(suspects)
    if not len(rows):
        return rows
    few = data.take(pa.array(rows)).to_pylist()
    plain = {header: plain_header(header) for header in headers}
    named = [header for header in headers if plain[header]]
    alike = [
        sum(plain_header(row[header] or "") == plain[header] for header in named) for row in few
    ]
    return rows[np.array(alike) >= max(2.0, _LEAST_ALIKE * len(named))]


def _spelt(column: pa.ChunkedArray, header: str) -> Flags:
    """Rows whose cell is the header in one of its usual spellings."""
    base = header.strip()
    words = {base, base.lower(), base.upper(), base.capitalize(), base.title()}
    words |= {word.replace(" ", "_") for word in words} | {word.replace("_", " ") for word in words}
    words |= {f" {word}" for word in words} | {f"{word} " for word in words}
    found = pc.is_in(column, value_set=pa.array(sorted(words), pa.string()))
    return np.asarray(found.to_numpy(), np.bool_)
