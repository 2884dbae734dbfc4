"""The account of every file: sources, findings of accepted rows, and the rows set aside."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from textwrap import shorten

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.cells import as_text
from pipeline.ingest.columns import Mapped
from pipeline.ingest.danger import DangerWords, danger_of
from pipeline.ingest.names import NameBook
from pipeline.ingest.points import OUTSIDE_BOX
from pipeline.ingest.quarantine import Done, Finding, Reject, RowAccount, accepted_mask, prove
from pipeline.ingest.readers import RawTable
from pipeline.ingest.sightings import pseudonym
from pipeline.tables.catalogue_account import FINDINGS, QUARANTINE, SOURCES
from pipeline.units import Ints

_REJECT = ("record_broken", "Mend the record: as many cells as headers, quotes in pairs.")
# More of an inventory than this set aside is a fault of the export, not of a few rows.
_MANY_SET_ASIDE = 0.05
# What tells a person which thing a row speaks of: these together, else how its notes begin.
_NAMES = (("tree_id", "tree "), ("sighting_id", "sighting "), ("street", ""), ("address", ""))
_MOST_OF_NOTES = 60
_WHOLE_RECORD = "(whole record)"


@dataclass(frozen=True)
class File:
    """One file that was read, with all that was found in it.

    Parameters
    ----------
    accepted : rows that went into a table.
    mapped : its canonical columns, where it has any.
    crs : the CRS and where it was found.
    derived : sightings and defects read from its rows beside what they are.
    """

    raw: RawTable
    findings: tuple[Finding, ...]
    accepted: int
    mapped: Mapped | None = None
    crs: str | None = None
    notes: tuple[str, ...] = field(default=())
    derived: int = 0

    @property
    def account(self) -> RowAccount:
        """The proven account.

        Raises
        ------
        InputError
            If rows in are not rows accepted and rows set aside.
        """
        return prove(
            file=self.raw.file, size=len(self.raw), rejects=len(self.raw.rejects),
            accepted=self.accepted, findings=self.findings,
        )  # fmt: skip


def sources_table(files: Sequence[File]) -> pa.Table:
    """The rows of ingest.sources; every account is proven on the way.

    Raises
    ------
    InputError
        If an account does not close.
    """
    rows = []
    for file in files:
        raw, account = file.raw, file.account
        notes = [note for note in (raw.note, *file.notes, _loss(file, account)) if note]
        rows.append(
            {
                "source_key": raw.source_key, "input": raw.kind, "file": raw.file,
                "sha256": raw.sha256, "bytes": raw.bytes, "format": raw.format,
                "encoding": raw.encoding, "delimiter": raw.delimiter,
                "crs_found": file.crs or raw.crs, "rows_in": account.rows_in,
                "rows_accepted": account.accepted, "rows_set_aside": account.set_aside,
                "derived": file.derived, "note": "; ".join(notes) or None,
            }
        )  # fmt: skip
    return _table(rows, SOURCES.arrow_schema)


def _loss(file: File, account: RowAccount) -> str | None:
    """A note where much of an inventory is set aside: those trees are judged by nobody."""
    if file.raw.kind != "trees" or account.set_aside <= _MANY_SET_ASIDE * account.rows_in:
        return None
    gone = [finding for finding in account.findings if finding.done is Done.SET_ASIDE]
    reasons = {finding.reason: finding.count for finding in gone}
    if file.raw.rejects:
        reasons["broken records"] = len(file.raw.rejects)
    most = max(sorted(reasons), key=reasons.__getitem__).rstrip(".")
    return (
        f"{account.set_aside:,} of {account.rows_in:,} rows "
        f"({account.set_aside / account.rows_in:.1%}) are set aside and not judged as trees; "
        f"most often: {most[:1].lower()}{most[1:]}"
    )


def findings_table(files: Sequence[File]) -> pa.Table:
    """The rows of ingest.findings: faults of accepted rows, by file, row and code."""
    parts = [part for file in files for part in _findings_of(file)]
    schema = pa.schema([f for f in FINDINGS.arrow_schema if f.name != "finding_key"])
    whole = pa.concat_tables(parts) if parts else _plain(schema).empty_table()
    order = pc.sort_indices(
        whole, sort_keys=[("source_key", "ascending"), ("row", "ascending"), ("code", "ascending")]
    )
    whole = whole.take(order)
    return whole.add_column(0, "finding_key", pa.array(np.arange(whole.num_rows, dtype=np.int64)))


def quarantine_table(
    files: Sequence[File], words: DangerWords, *, fungi: NameBook, urgent: frozenset[str]
) -> pa.Table:
    """The rows of ingest.quarantine: danger first, then by file and row.

    Parameters
    ----------
    urgent : taxon ids whose mere name means danger.
    """
    rows = [row for file in files for row in _set_aside_of(file, words, fungi, urgent)]
    rows.sort(key=lambda row: (row["danger"] is None, row["source_key"], row["row"]))
    for key, row in enumerate(rows):
        row["quarantine_key"] = key
    return _table(rows, QUARANTINE.arrow_schema)


def _findings_of(file: File) -> list[pa.Table]:
    keep = accepted_mask(len(file.raw), file.findings)
    parts = []
    for finding in file.findings:
        chosen = np.flatnonzero(keep[finding.rows])
        if finding.done is Done.SET_ASIDE or not len(chosen):
            continue
        rows = finding.rows[chosen]
        size = len(rows)
        lines = file.raw.lines(rows)
        values = np.array(finding.values, dtype=object)[chosen] if finding.values else [None] * size
        parts.append(
            pa.table(
                {
                    "source_key": pa.array(np.full(size, file.raw.source_key, np.int32)),
                    "row": pa.array(file.raw.rows[rows]),
                    "line": pa.nulls(size, pa.int64()) if lines is None else pa.array(lines),
                    "column": pa.array([finding.column] * size, pa.string()),
                    "value": pa.array(values, pa.string()),
                    "code": pa.array([finding.code] * size, pa.string()),
                    "reason": pa.array([finding.reason] * size, pa.string()),
                    "remedy": pa.array([finding.remedy] * size, pa.string()),
                    "done": pa.array([str(finding.done)] * size, pa.string()),
                }
            )
        )
    return parts


def _set_aside_of(
    file: File, words: DangerWords, fungi: NameBook, urgent: frozenset[str]
) -> list[dict[str, object]]:
    """One row a row that is set aside: its first fault; broken records after them."""
    first: dict[int, tuple[Finding, int]] = {}
    for finding in file.findings:
        if finding.done is Done.SET_ASIDE:
            for place, row in enumerate(finding.rows.tolist()):
                first.setdefault(row, (finding, place))
    positions = np.array(sorted(first), dtype=np.int64)
    originals = _originals(file, positions)
    lines = file.raw.lines(positions) if len(positions) else None
    # a row outside the city's own bounding box is no fault: its fungus is somebody else's danger
    local = np.array([first[row][0].code != OUTSIDE_BOX for row in positions.tolist()], np.bool_)
    texts = [" | ".join(text for text in row.values() if text) for row in originals]
    names = _urgent_names(file, positions, fungi, urgent)
    told = [name if here else None for name, here in zip(names, local.tolist(), strict=True)]
    danger = danger_of(texts, words, told)
    about = _about(file, positions)
    made: list[dict[str, object]] = []
    for number, row in enumerate(positions.tolist()):
        finding, place = first[row]
        made.append(
            {
                "source_key": file.raw.source_key, "row": int(file.raw.rows[row]),
                "line": None if lines is None else int(lines[number]),
                "column": finding.column,
                "value": finding.values[place] if finding.values else None,
                "code": finding.code, "reason": finding.reason, "remedy": finding.remedy,
                "danger": danger[number], "about": about[number],
                "original": json.dumps(originals[number], ensure_ascii=False),
            }
        )  # fmt: skip
    return made + [_rejected(file.raw, reject, words) for reject in file.raw.rejects]


def _rejected(raw: RawTable, reject: Reject, words: DangerWords) -> dict[str, object]:
    return {
        "source_key": raw.source_key, "row": reject.row, "line": reject.line, "column": None,
        "value": None, "code": _REJECT[0], "reason": reject.reason, "remedy": _REJECT[1],
        "danger": danger_of([reject.text], words, [None])[0],
        "about": shorten(reject.text, _MOST_OF_NOTES, placeholder=" …") or None,
        "original": json.dumps({_WHOLE_RECORD: reject.text}, ensure_ascii=False),
    }  # fmt: skip


def _about(file: File, rows: Ints) -> list[str | None]:
    """What each row names, so that a person can go there without opening the file."""
    mapped = file.mapped
    if mapped is None:
        return [None] * len(rows)
    taken = {
        name: mapped.text(name).take(pa.array(rows)).to_pylist()
        for name in (*(name for name, _ in _NAMES), "notes")
    }
    found: list[str | None] = []
    for place in range(len(rows)):
        told = [f"{word}{taken[name][place]}" for name, word in _NAMES if taken[name][place]]
        notes = shorten(taken["notes"][place] or "", _MOST_OF_NOTES, placeholder=" …")
        found.append(", ".join(told) or notes or None)
    return found


def _originals(file: File, rows: Ints) -> list[dict[str, str | None]]:
    """The rows as header to text; observers' names are pseudonyms here too."""
    taken = file.raw.data.take(pa.array(rows))
    plain = pa.table({name: as_text(taken[name]) for name in taken.column_names})
    found: list[dict[str, str | None]] = plain.to_pylist()
    header = None if file.mapped is None else file.mapped.header("observer")
    if header is not None:
        for row in found:
            name = row[header]
            row[header] = pseudonym(name) if name and name.strip() else name
    if file.raw.geometry is not None:
        for row, shape in zip(found, file.raw.geometry[rows], strict=True):
            row["geometry"] = None if shape is None else shape.wkt
    return found


def _urgent_names(
    file: File, rows: Ints, fungi: NameBook, urgent: frozenset[str]
) -> list[str | None]:
    """For set-aside sightings, the fungus told if its action code is urgent."""
    if file.mapped is None or not file.mapped.has("name") or file.raw.kind != "sightings":
        return [None] * len(rows)
    told = file.mapped.text("name").take(pa.array(rows)).to_pylist()
    return [name if name and fungi.answer(name).name in urgent else None for name in told]


def _plain(schema: pa.Schema) -> pa.Schema:
    """The schema with labels as text, in which rows are put together."""
    return pa.schema(
        [pa.field(f.name, pa.string() if pa.types.is_dictionary(f.type) else f.type)
         for f in schema]
    )  # fmt: skip


def _table(rows: list[dict[str, object]], schema: pa.Schema) -> pa.Table:
    return pa.Table.from_pylist(rows, schema=_plain(schema))
