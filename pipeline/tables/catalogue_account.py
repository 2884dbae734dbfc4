"""The account that the ingest stage keeps: files read, rows set aside, faults met."""

from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

_SOURCE = Column("source_key", Kind.INT32, "the file, see ingest.sources", low=0)
_ROW = Column(
    "row", Kind.INT64, "record number in the file, the first after the header is 1", low=1
)

QUARANTINE = TableSchema(
    "ingest",
    "quarantine",
    "rows set aside: danger first, then file and row",
    ("quarantine_key",),
    (
        Column("quarantine_key", Kind.INT64, "row number from 0", low=0),
        _SOURCE,
        _ROW,
        Column("line", Kind.INT64, "line of the file, where the format has lines", nullable=True),
        Column("column", Kind.LABEL, "header of the column at fault", nullable=True),
        Column("value", Kind.TEXT, "what was found", nullable=True),
        Column("code", Kind.LABEL, "kind of fault"),
        Column("reason", Kind.TEXT, "one sentence"),
        Column("remedy", Kind.TEXT, "what to do"),
        Column("danger", Kind.TEXT, "words of the row that mean danger", nullable=True),
        Column("about", Kind.TEXT, "tree, sighting, street or words that the row names",
               nullable=True),
        Column("original", Kind.TEXT, "the whole row as JSON: header to text"),
    ),
    (ForeignKey("source_key", "ingest.sources"),),
)  # fmt: skip

FINDINGS = TableSchema(
    "ingest",
    "findings",
    "faults of accepted rows: the field was emptied, or kept and flagged",
    ("finding_key",),
    (
        Column("finding_key", Kind.INT64, "row number from 0", low=0),
        _SOURCE,
        _ROW,
        Column("line", Kind.INT64, "line of the file, where the format has lines", nullable=True),
        Column("column", Kind.LABEL, "header of the column at fault", nullable=True),
        Column("value", Kind.TEXT, "what was found", nullable=True),
        Column("code", Kind.LABEL, "kind of fault"),
        Column("reason", Kind.TEXT, "one sentence"),
        Column("remedy", Kind.TEXT, "what to do"),
        Column("done", Kind.LABEL, "what was done", allowed=("emptied", "flagged", "mended")),
    ),
    (ForeignKey("source_key", "ingest.sources"),),
)

SOURCES = TableSchema(
    "ingest",
    "sources",
    "every file read, with its account: rows in = accepted + set aside",
    ("source_key",),
    (
        Column("source_key", Kind.INT32, "row number from 0", low=0),
        Column("input", Kind.LABEL, "kind of input"),
        Column("file", Kind.TEXT, "path as the settings name it"),
        Column("sha256", Kind.TEXT, "hash of the bytes"),
        Column("bytes", Kind.INT64, "size", low=0),
        Column("format", Kind.LABEL, "as read"),
        Column("encoding", Kind.LABEL, "text encoding", nullable=True),
        Column("delimiter", Kind.LABEL, "delimiter", nullable=True),
        Column("crs_found", Kind.LABEL, "CRS and where it came from", nullable=True),
        Column("rows_in", Kind.INT64, "rows", low=0),
        Column("rows_accepted", Kind.INT64, "rows accepted", low=0),
        Column("rows_set_aside", Kind.INT64, "rows set aside", low=0),
        Column("derived", Kind.INT64,
               "evidence read from columns and notes of its rows, beside what they are", low=0),
        Column("note", Kind.TEXT, "what a reader should know", nullable=True),
    ),
)  # fmt: skip

ACCOUNT_TABLES = (QUARANTINE, FINDINGS, SOURCES)
