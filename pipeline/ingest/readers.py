"""One reader per format; what is read keeps its file, record and line, and nothing is guessed.

Text formats give text columns; vector formats keep the types of the file. Structurally broken
records come back beside the table, so that the account of rows closes.
"""

import gzip
import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.errors import InputError
from pipeline.ingest.quarantine import Reject
from pipeline.settings.model import InputFile
from pipeline.units import Ints

Shapes = npt.NDArray[np.object_]


@dataclass(frozen=True)
class RawTable:
    """One file as read, before any column is understood.

    Parameters
    ----------
    source_key : row of ingest.sources.
    kind : kind of input, as `trees`.
    file : path as the settings name it, relative to the data folder.
    sha256, bytes : of the file as it lies there.
    format, encoding, delimiter : as read; the last two only for text.
    data : the columns under the file's own headers; text for CSV and XLSX.
    rows : record number of each row, the first after the header is 1, shape (n,).
    geometry : shapes, shape (n,), None where missing; None if the format has none.
    crs : CRS that the file declares, or None.
    rejects : records that could not be split into columns.
    note : what a reader of the account should know.
    """

    source_key: int
    kind: str
    file: str
    sha256: str
    bytes: int
    format: str
    data: pa.Table
    rows: Ints
    encoding: str | None = None
    delimiter: str | None = None
    geometry: Shapes | None = None
    crs: str | None = None
    rejects: tuple[Reject, ...] = ()
    note: str | None = None
    line_starts: Callable[[], Ints | None] = field(default=lambda: None, repr=False)

    def __len__(self) -> int:
        """Number of whole rows; broken records are in `rejects`."""
        return int(self.data.num_rows)

    def lines(self, rows: Ints) -> Ints | None:
        """Line of the file on which each row begins; None where the format has no lines.

        Parameters
        ----------
        rows : positions in `data`, shape (n,).
        """
        starts = self.line_starts()
        if starts is None:
            return None
        return np.asarray(starts[self.rows[rows] - 1], dtype=np.int64)


def read_input(
    spec: InputFile, *, kind: str, data_dir: Path, source_key_start: int
) -> list[RawTable]:
    """Read every file of one input; one RawTable a file, source keys counted on from the start.

    Raises
    ------
    InputError
        If a file is missing, empty, unreadable or not what its name says.
    """
    raise NotImplementedError
