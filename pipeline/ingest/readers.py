"""One reader per format; what is read keeps its file, record and line, and nothing is guessed.

Text formats give text columns; vector formats keep the types of the file. Structurally broken
records come back beside the table, so that the account of rows closes.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.csv

from pipeline.errors import InputError, ManyFaults, PipelineError
from pipeline.ingest import archive_tables, archives, decoding, sheets, vectors
from pipeline.ingest.archive_meta import Limits
from pipeline.ingest.quarantine import Reject
from pipeline.ingest.repeats import repeated_headers
from pipeline.published.table import Library
from pipeline.settings.model import InputFile
from pipeline.units import Ints

Shapes = npt.NDArray[np.object_]

TEXT_ENDINGS = (".csv", ".tsv", ".txt", ".csv.gz", ".tsv.gz", ".txt.gz")
SHEET_ENDINGS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
_LARGEST_BLOCK = 2**31 - 1
_ZIP_MARK = b"PK\x03\x04"
_MUST_HAVE_ROWS = frozenset({"trees"})
_MAY_BE_ARCHIVED = "sightings"
HEADER_REPEATED = "header_repeated"


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
    spec: InputFile,
    *,
    kind: str,
    data_dir: Path,
    source_key_start: int,
    archives_up_to: Limits | None = None,
) -> list[RawTable]:
    """Read every file of one input; one RawTable a file, source keys counted on from the start.

    Parameters
    ----------
    archives_up_to : how large a zipped archive may be; None: as the published table states it.

    Raises
    ------
    InputError
        If a file is missing, empty, unreadable or not what its name says.
    ManyFaults
        If several files are.
    """
    tables: list[RawTable] = []
    faults: list[PipelineError] = []
    for file in spec.files:
        key = source_key_start + len(tables)
        try:
            tables.append(_read_file(spec, file, kind, data_dir, key, archives_up_to))
        except InputError as fault:
            faults.append(fault)
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise ManyFaults(faults)
    return tables


@dataclass(frozen=True)
class _Content:
    """What one reader found."""

    format: str
    data: pa.Table
    rows: Ints | None = None
    encoding: str | None = None
    delimiter: str | None = None
    geometry: Shapes | None = None
    crs: str | None = None
    rejects: tuple[Reject, ...] = ()
    line_starts: Callable[[], Ints | None] = lambda: None
    note: str | None = None


def _read_file(
    spec: InputFile,
    file: str,
    kind: str,
    data_dir: Path,
    source_key: int,
    archives_up_to: Limits | None,
) -> RawTable:
    """One file.

    Raises
    ------
    InputError
        If it cannot be used.
    """
    path, where = data_dir / file, f"{kind} file {file}"
    raw = decoding.file_bytes(path, where=where)
    if kind == _MAY_BE_ARCHIVED and archives.is_archive(path.name, raw):
        content = _read_archive(raw, archives_up_to or Limits.of(Library()), where=where)
    else:
        content = _content(path, raw, spec=spec, where=where)
    if content.geometry is not None:
        vectors.need_kind(content.geometry, kind=kind, where=where)
    size = content.data.num_rows + len(content.rejects)
    note = content.note
    if size == 0:
        if kind in _MUST_HAVE_ROWS:
            raise InputError(
                where=where,
                found="a header and no rows",
                expected="at least one row",
                remedy="Export the file again.",
            )
        note = "the file has a header and no rows"
    return RawTable(
        source_key=source_key,
        kind=kind,
        file=file,
        sha256=hashlib.sha256(raw).hexdigest(),
        bytes=len(raw),
        format=content.format,
        data=content.data,
        rows=np.arange(1, size + 1) if content.rows is None else content.rows,
        encoding=content.encoding,
        delimiter=content.delimiter,
        geometry=content.geometry,
        crs=content.crs,
        rejects=content.rejects,
        note=note,
        line_starts=content.line_starts,
    )


def _content(path: Path, raw: bytes, *, spec: InputFile, where: str) -> _Content:
    """Choose the reader by the ending of the name; a JSON list of objects is a plain table.

    Raises
    ------
    InputError
        If no reader knows the ending, or the reader finds something else.
    """
    name = path.name.lower()
    if name.endswith(TEXT_ENDINGS):
        return _read_text(path, raw, spec=spec, where=where)
    if name.endswith(SHEET_ENDINGS):
        return _Content("workbook", sheets.read_sheet(path, layer=spec.layer, where=where))
    if path.suffix.lower() == ".parquet":
        found = vectors.read_geoparquet(path, where=where)
        if isinstance(found, pa.Table):
            return _Content("Parquet", found)
        return _Content("GeoParquet", found.data, geometry=found.geometry, crs=found.crs)
    if path.suffix.lower() == ".json" and raw.lstrip()[:1] == b"[":
        return _Content("JSON", sheets.read_json(raw, where=where))
    ending = path.suffix.lower()
    if ending not in vectors.FORMATS:
        known = sorted({*TEXT_ENDINGS, *SHEET_ENDINGS, ".parquet", *vectors.FORMATS})
        raise InputError(
            where=where,
            found=f"a name that ends in {ending or 'nothing'}",
            expected=f"one of {', '.join(known)}",
            remedy="Export the file in one of these formats, under its usual ending.",
        )
    vector = vectors.read_vector(path, where=where, layer=spec.layer)
    return _Content(vectors.FORMATS[ending], vector.data, geometry=vector.geometry, crs=vector.crs)


def _read_archive(raw: bytes, limits: Limits, *, where: str) -> _Content:
    """The occurrences of a zipped archive.

    Raises
    ------
    InputError
        If it is dangerous, damaged, or holds no occurrences.
    """
    found = archive_tables.read(raw, _records, limits=limits, where=where)
    return _Content(
        archive_tables.FORMAT,
        found.data,
        rows=found.rows,
        encoding=found.encoding,
        delimiter=found.delimiter,
        rejects=found.rejects,
        line_starts=lambda: found.lines,
        note=found.note or None,
    )


def _records(
    data: bytes, delimiter: str, headers: list[str], where: str
) -> tuple[pa.Table, tuple[Reject, ...], Ints | None]:
    """Whole records as a table, the broken ones, and the numbers of the whole ones."""
    table = _whole_records(data, delimiter, headers)
    if table is not None:
        return table, (), None
    return _some_records(data, delimiter, headers, where=where)


def _read_text(path: Path, raw: bytes, *, spec: InputFile, where: str) -> _Content:
    """Delimited text; records that are not whole come back as rejects.

    Raises
    ------
    InputError
        If it is no text, or its records cannot be told apart.
    """
    if raw.startswith(_ZIP_MARK):
        raise InputError(
            where=where,
            found="a zip archive or workbook",
            expected="delimited text, as its name says",
            remedy="Give the file its true ending, or export it as CSV.",
        )
    text = decoding.decode(raw, where=where, encoding=spec.encoding)
    delimiter = spec.delimiter or decoding.delimiter_of(text, where=where)
    headers = decoding.header_of(text, delimiter)
    table, rejects, rows = _records(text.data, delimiter, headers, where)
    size = table.num_rows + len(rejects)
    lines = _line_starts(path, text, delimiter, len(headers), size)
    numbers = np.arange(1, size + 1) if rows is None else rows
    again = repeated_headers(table)
    if len(again):
        rejects += _repeats(table, again, numbers, lines(), delimiter)
        kept = np.delete(np.arange(table.num_rows), again)
        table, numbers = table.take(pa.array(kept)), numbers[kept]
    return _Content(
        "CSV, gzip" if path.suffix.lower() == ".gz" else "CSV",
        table,
        rows=numbers,
        encoding=text.encoding,
        delimiter=delimiter,
        rejects=rejects,
        line_starts=lines,
    )


def _repeats(
    table: pa.Table, again: Ints, numbers: Ints, lines: Ints | None, delimiter: str
) -> tuple[Reject, ...]:
    """The rows that are headers once more, as records set aside."""
    cells = table.take(pa.array(again)).to_pylist()
    return tuple(
        Reject(
            int(number),
            None if lines is None else int(lines[number - 1]),
            delimiter.join(cell or "" for cell in row.values()),
            "the header stands again among the rows",
            HEADER_REPEATED,
            "Nothing, or delete the row: no tree is lost with it.",
        )
        for number, row in zip(numbers[again].tolist(), cells, strict=True)
    )


def _line_starts(
    path: Path, text: decoding.Text, delimiter: str, width: int, records: int
) -> Callable[[], Ints | None]:
    if decoding.one_line_each(text.data, records=records):
        return lambda: np.arange(2, records + 2)
    return decoding.line_finder(
        path, encoding=text.encoding, delimiter=delimiter, width=width, records=records
    )


def _parsed(
    data: bytes, delimiter: str, headers: list[str], *, block: int | None = None
) -> pa.Table:
    return pyarrow.csv.read_csv(
        pa.BufferReader(data),
        read_options=pyarrow.csv.ReadOptions(column_names=headers, skip_rows=1, block_size=block),
        parse_options=pyarrow.csv.ParseOptions(delimiter=delimiter, newlines_in_values=True),
        convert_options=pyarrow.csv.ConvertOptions(
            column_types=dict.fromkeys(headers, pa.string()), strings_can_be_null=False
        ),
    )


def _whole_records(data: bytes, delimiter: str, headers: list[str]) -> pa.Table | None:
    """The table, or None if some record has another number of cells or a quote is left open."""
    if data.count(b'"') % 2:
        return None
    try:
        return _parsed(data, delimiter, headers)
    except pa.ArrowInvalid:
        return None


def _some_records(
    data: bytes, delimiter: str, headers: list[str], *, where: str
) -> tuple[pa.Table, tuple[Reject, ...], Ints]:
    """The whole records as a table, the broken ones with their reason, the whole ones' numbers.

    Raises
    ------
    InputError
        If most records are broken, or quotes within cells leave the columns open to doubt.
    """
    records = decoding.split_records(data, delimiter=delimiter, width=len(headers))
    broken = records.open_quote | (records.cells != len(headers))
    broken[0] = False
    total = len(broken) - 1
    if 2 * broken.sum() > total:
        raise InputError(
            where=where,
            found=f"{broken.sum():,} of {total:,} records with another number of cells than the "
            f"{len(headers)} headers",
            expected=f"{len(headers)} cells a record, parted by {delimiter!r}",
            remedy="Name the delimiter in the settings, or export the file again.",
        )
    edges = np.flatnonzero(np.diff(np.concatenate(([True], broken, [True])).astype(np.int8)))
    pieces = [
        data[records.starts[a] : records.ends[b - 1]] for a, b in edges.reshape(-1, 2).tolist()
    ]
    try:
        whole = b"\n".join(pieces)
        # one block: a cell may be longer than the usual one
        table = _parsed(whole, delimiter, headers, block=min(len(whole) + 1, _LARGEST_BLOCK))
    except pa.ArrowInvalid as fault:
        raise InputError(
            where=where,
            found=f"quotes within cells that leave the columns open to doubt ({fault})",
            expected="quotes around whole cells, doubled within them",
            remedy="Export the file again with quotes doubled, or without quotes.",
        ) from fault
    numbers = np.flatnonzero(broken)
    rejects = tuple(_reject(data, records, int(number), len(headers)) for number in numbers)
    return table, rejects, np.flatnonzero(~broken)[1:]


def _reject(data: bytes, records: decoding.Records, number: int, width: int) -> Reject:
    text = data[records.starts[number] : records.ends[number]].decode("utf-8")
    reason = (
        "a quote is opened and not closed on this line"
        if records.open_quote[number]
        else f"the record has {records.cells[number]} cells where the header has {width}"
    )
    return Reject(number, int(records.lines[number]), text, reason)
