"""The account of every file: sources, findings of accepted rows, and the rows set aside."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.columns import Mapped
from pipeline.ingest.danger import DangerWords
from pipeline.ingest.names import NameBook
from pipeline.ingest.quarantine import Done, Finding, RowAccount, accepted_mask, prove
from pipeline.ingest.readers import HEADER_REPEATED, RawTable
from pipeline.ingest.set_aside import SCHEMA, rows_aside
from pipeline.tables.catalogue_account import FINDINGS, SOURCES

# More of an inventory than this set aside is a fault of the export, not of a few rows.
_MANY_SET_ASIDE = 0.05


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
    for reject in file.raw.rejects:
        said = "broken records" if reject.code != HEADER_REPEATED else reject.reason
        reasons[said] = reasons.get(said, 0) + 1
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
    parts = [
        rows_aside(file.raw, file.mapped, file.findings, words, fungi=fungi, urgent=urgent)
        for file in files
    ]
    whole = pa.concat_tables(parts) if parts else SCHEMA.empty_table()
    ordered = whole.append_column("calm", whole["danger"].is_null()).sort_by(
        [("calm", "ascending"), ("source_key", "ascending"), ("row", "ascending")]
    )
    keys = pa.array(np.arange(whole.num_rows, dtype=np.int64))
    return ordered.drop_columns("calm").add_column(0, "quarantine_key", keys)


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


def _plain(schema: pa.Schema) -> pa.Schema:
    """The schema with labels as text, in which rows are put together."""
    return pa.schema(
        [pa.field(f.name, pa.string() if pa.types.is_dictionary(f.type) else f.type)
         for f in schema]
    )  # fmt: skip


def _table(rows: list[dict[str, object]], schema: pa.Schema) -> pa.Table:
    return pa.Table.from_pylist(rows, schema=_plain(schema))
