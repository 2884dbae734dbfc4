"""The occurrences of an archive as one table under the names of their terms.

The core is read where its rows are occurrences; where they are events or taxa, the occurrences of
an extension are, each with what its core row says beside it. Everything else is told as not read.
"""

import csv
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest import decoding
from pipeline.ingest.archive_meta import META, Entity, Field, Limits
from pipeline.ingest.archives import Archive, ArchiveError, opened
from pipeline.ingest.quarantine import Reject
from pipeline.units import Ints

FORMAT = "Darwin Core archive"
# Text in UTF-8, delimiter, headers, where: whole records, broken ones, the numbers of the whole.
Records = Callable[[bytes, str, list[str], str], tuple[pa.Table, tuple[Reject, ...], Ints | None]]
_OCCURRENCES = frozenset(
    {
        "Occurrence", "SimpleDarwinRecord", "HumanObservation", "MachineObservation",
        "PreservedSpecimen", "MaterialSample", "MaterialEntity",
    }
)  # fmt: skip
_JOINED = frozenset({"Event", "Taxon"})
_SHORT = (
    "http://rs.tdwg.org/dwc/terms/", "http://purl.org/dc/terms/", "http://purl.org/dc/elements/1.1/"
)  # fmt: skip
_CORE_ID = "core record id"


@dataclass(frozen=True)
class Occurrences:
    """What an archive says of occurrences.

    Parameters
    ----------
    data : text columns under the names of terms.
    rows : record number of each row, the first after the header lines is 1, shape (n,).
    lines : line of the file on which each record begins; None where that is not known.
    note : which files and columns of the archive were not read.
    """

    data: pa.Table
    rows: Ints
    rejects: tuple[Reject, ...]
    lines: Ints | None
    encoding: str
    delimiter: str
    note: str


def read(raw: bytes, records: Records, *, limits: Limits, where: str) -> Occurrences:
    """The occurrences of the archive in these bytes.

    Raises
    ------
    ArchiveError
        If the archive is dangerous, damaged, or holds no occurrences.
    """
    archive = opened(raw, limits=limits, where=where)
    core = archive.meta.core
    if core.name in _OCCURRENCES:
        found = _table(archive, core, records)
        kept = [name for name in found.data.column_names if name != _CORE_ID]
        note = _note(archive, (core,), found.note)
        return replace(found, data=found.data.select(kept), note=note)
    extension = next((e for e in archive.meta.extensions if e.name in _OCCURRENCES), None)
    if extension is None or core.name not in _JOINED:
        told = [f"core {core.name}", *(f"extension {e.name}" for e in archive.meta.extensions)]
        raise ArchiveError(
            where, f"an archive of {', '.join(told)}", "rows of occurrences, as core or extension",
            "Export occurrences, one row for each fungus seen.",
        )  # fmt: skip
    if extension.id_index is None or core.id_index is None:
        raise ArchiveError(
            where, "no <id> in the core or no <coreid> in the extension", "both, with their index"
        )
    found, about = _table(archive, extension, records), _table(archive, core, records)
    found, lost = _beside(found, about)
    note = _note(archive, (extension, core), found.note)
    said = f"occurrences of the extension, each with its {core.name.lower()} of the core"
    if lost:
        said += f" ({lost:,} name none that is there)"
    return replace(found, note=f"{said}; {note}" if note else said)


def _note(archive: Archive, entities: tuple[Entity, ...], columns: str) -> str:
    left = [
        f"extension {e.name} ({', '.join(e.locations)})"
        for e in archive.meta.extensions
        if e not in entities
    ]
    extra = archive.unread((archive.meta.core, *archive.meta.extensions))
    left += [*extra, *([columns] if columns else [])]
    return f"not read: {', '.join(left)}" if left else ""


def _table(archive: Archive, entity: Entity, records: Records) -> Occurrences:
    """One core or extension.

    Raises
    ------
    InputError
        If its file is not there, is no text, or has fewer columns than meta.xml names.
    """
    parts = [
        _part(data, entity, records, where=f"{archive.where}, {location}")
        for data, location in zip(archive.parts(entity), entity.locations, strict=True)
    ]
    rejects: list[Reject] = []
    numbers, before = [], 0
    for _, broken, rows, size, _ in parts:
        numbers.append(rows + before)
        rejects += [
            replace(r, row=r.row + before, line=r.line if len(parts) == 1 else None) for r in broken
        ]
        before += size
    whole = pa.concat_tables([part[0] for part in parts])
    data, extra = _by_term(whole, entity)
    return Occurrences(
        data,
        np.concatenate(numbers).astype(np.int64),
        tuple(rejects),
        parts[0][4] if len(parts) == 1 else None,
        entity.encoding,
        entity.delimiter,
        f"{extra} columns without a term" if extra else "",
    )


def _part(
    raw: bytes, entity: Entity, records: Records, *, where: str
) -> tuple[pa.Table, tuple[Reject, ...], Ints, int, Ints | None]:
    """One file: columns by place, broken records, numbers and count of records, their lines.

    Raises
    ------
    ArchiveError
        If it has fewer columns than meta.xml names.
    InputError
        If it is no text.
    """
    text = decoding.decode(raw, where=where, encoding=entity.encoding).data
    start = 0
    for _ in range(entity.header_lines):
        start = text.find(b"\n", start) + 1 or len(text)
    header, body = text[:start].rstrip(b"\n").rsplit(b"\n", 1)[-1], text[start:]
    header = _usual_quotes(header, entity, where)
    body = _usual_quotes(body, entity, where)
    width = _width(header or body[: _first_end(body)], entity)
    last = max((f.index for f in entity.fields if f.index is not None), default=-1)
    last = max(last, -1 if entity.id_index is None else entity.id_index)
    if last >= width and body.strip():
        raise ArchiveError(
            where, f"{width} columns, and a field of index {last} in {META}",
            "as many columns as fields, counted from 0",
        )  # fmt: skip
    headers = [f"c{n}" for n in range(max(width, last + 1))]
    lead = entity.delimiter.join(headers).encode() + b"\n"
    if not body.strip():
        empty = pa.table({name: pa.array([], pa.string()) for name in headers})
        return empty, (), np.zeros(0, np.int64), 0, None
    table, broken, rows = records(lead + body, entity.delimiter, headers, where)
    size = table.num_rows + len(broken)
    numbers = np.arange(1, size + 1) if rows is None else rows
    lines = None
    if decoding.one_line_each(lead + body, records=size):
        lines = np.arange(size) + entity.header_lines + 1
    shift = entity.header_lines - 1
    moved = tuple(replace(r, line=None if r.line is None else r.line + shift) for r in broken)
    return table, moved, numbers, size, lines


def _first_end(body: bytes) -> int:
    end = body.find(b"\n")
    return len(body) if end < 0 else end


def _width(line: bytes, entity: Entity) -> int:
    rows = csv.reader([line.decode("utf-8", errors="replace")], delimiter=entity.delimiter)
    return len(next(rows, []))


def _usual_quotes(text: bytes, entity: Entity, where: str) -> bytes:
    """The text with cells enclosed by double quotes, whatever encloses them in the file.

    Raises
    ------
    ArchiveError
        If another sign encloses cells and double quotes stand in the text as well.
    """
    if entity.quote == '"' or not text:
        return text
    if b'"' not in text:
        return text.replace(entity.quote.encode(), b'"') if entity.quote else text
    if entity.quote:
        raise ArchiveError(
            where, f"cells enclosed by {entity.quote!r} that hold double quotes",
            'cells enclosed by ", or by nothing',
        )  # fmt: skip
    # Nothing encloses cells, so that a quote is a sign like any other: enclose every cell.
    mark = entity.delimiter.encode()
    lines = b"\n".join(line for line in text.split(b"\n") if line)
    doubled = lines.replace(b'"', b'""').replace(mark, b'"' + mark + b'"')
    return b'"' + doubled.replace(b"\n", b'"\n"') + b'"'


def _by_term(table: pa.Table, entity: Entity) -> tuple[pa.Table, int]:
    """The columns under the names of their terms, and how many columns have none."""
    columns: dict[str, pa.ChunkedArray] = {}
    if entity.id_index is not None:
        columns[_CORE_ID] = table[f"c{entity.id_index}"]
    for one in entity.fields:
        columns[_short(one.term)] = _filled(table, one)
    if entity.id_index is not None and entity.is_core and entity.name in _OCCURRENCES:
        columns.setdefault("occurrenceID", columns[_CORE_ID])
    used = {entity.id_index, *(one.index for one in entity.fields)} - {None}
    return pa.table(columns), table.num_columns - len(used)


def _short(term: str) -> str:
    lead = next((n for n in _SHORT if term.startswith(n)), "")
    return term[len(lead) :]


def _filled(table: pa.Table, one: Field) -> pa.ChunkedArray:
    """The column of a field, its default where the cell is empty."""
    if one.index is None:
        return pa.chunked_array([pa.repeat(pa.scalar(one.default), table.num_rows)])
    column = table[f"c{one.index}"]
    if one.default is None:
        return column
    blank = pc.equal(pc.utf8_trim_whitespace(column), "")
    return pc.if_else(blank, one.default, column)


def _beside(found: Occurrences, about: Occurrences) -> tuple[Occurrences, int]:
    """Occurrences with what their core row says where they say nothing; how many have no row."""
    place = pc.index_in(found.data[_CORE_ID], value_set=about.data[_CORE_ID].combine_chunks())
    lost = place.null_count
    columns = {name: found.data[name] for name in found.data.column_names if name != _CORE_ID}
    for name in about.data.column_names:
        if name == _CORE_ID:
            continue
        told = pc.fill_null(about.data[name].take(place), "")
        if name not in columns:
            columns[name] = told
        else:
            blank = pc.equal(pc.utf8_trim_whitespace(columns[name]), "")
            columns[name] = pc.if_else(blank, told, columns[name])
    return replace(found, data=pa.table(columns)), lost
