"""Header rows that stand again inside a text table, as where several sheets were joined."""

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.units import Flags, Ints

_FIRST_LOOK = 3
# Joined sheets spell some headers in another way, shift them or leave them blank.
_LEAST_OWN, _LEAST_KNOWN = 0.5, 0.75
_NO_LETTER = re.compile(r"[\W_]+")


def plain_header(header: str) -> str:
    """A header without case, blanks, underlines and points: 'Cod_calle' and 'Cod Calle' agree."""
    return _NO_LETTER.sub("", header).casefold()


def repeated_headers(data: pa.Table) -> Ints:
    """Rows that repeat the header: cells say what stands over their column, and little else.

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
    return rows[[_is_header(row, plain) for row in few]]


def _is_header(row: dict[str, str | None], plain: dict[str, str]) -> bool:
    """Whether half the headers stand in their columns, and hardly a cell says anything else."""
    cells = {header: plain_header(cell or "") for header, cell in row.items()}
    filled = [cell for cell in cells.values() if cell]
    known = frozenset(plain.values())
    own = sum(bool(cell) and cell == plain[header] for header, cell in cells.items())
    told = sum(cell in known for cell in filled)
    return own >= max(2.0, _LEAST_OWN * len(plain)) and told >= _LEAST_KNOWN * len(filled)


def _spelt(column: pa.ChunkedArray, header: str) -> Flags:
    """Rows whose cell is the header in one of its usual spellings."""
    base = header.strip()
    words = {base, base.lower(), base.upper(), base.capitalize(), base.title()}
    words |= {word.replace(" ", "_") for word in words} | {word.replace("_", " ") for word in words}
    words |= {f" {word}" for word in words} | {f"{word} " for word in words}
    found = pc.is_in(column, value_set=pa.array(sorted(words), pa.string()))
    return np.asarray(found.to_numpy(), np.bool_)
