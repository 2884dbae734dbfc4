"""Column maps: from a city's own headers, units and words to the canonical columns."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.ingest.quarantine import Finding
from pipeline.ingest.readers import RawTable
from pipeline.units import Flags, Floats, Ints


@dataclass(frozen=True)
class Mapped:
    """The canonical columns of one file, every one as long as the file.

    Columns that the file does not have come back empty: all null, or all NaN. `findings` hold what
    could not be understood; those values are empty here and kept in the file's own table.
    """

    raw: RawTable
    kind: str
    headers: dict[str, str]
    columns: dict[str, pa.Array]
    constants: dict[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.raw)

    def has(self, name: str) -> bool:
        """Whether the file, or a constant of its map, carries the canonical column."""
        return name in self.columns

    def header(self, name: str) -> str | None:
        """The file's own header of a canonical column."""
        return self.headers.get(name)

    def text(self, name: str) -> pa.Array:
        """A text, word or words column: stripped strings, null where missing."""
        return self.columns.get(name, pa.nulls(len(self), pa.string()))

    def number(self, name: str) -> Floats:
        """A number column in the canonical unit, NaN where missing, shape (n,)."""
        column = self.columns.get(name)
        if column is None:
            return np.full(len(self), np.nan)
        return np.asarray(column.fill_null(float("nan")).to_numpy(zero_copy_only=False), np.float64)

    def dates(self, name: str) -> pa.Array:
        """A date column, null where missing."""
        return self.columns.get(name, pa.nulls(len(self), pa.date32()))

    def yes_no(self, name: str) -> pa.Array:
        """A yes/no column, null where missing."""
        return self.columns.get(name, pa.nulls(len(self), pa.bool_()))
