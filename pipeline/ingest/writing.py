"""The end of the stage: every table written, with the account of the files beside them."""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor

import pyarrow as pa

from pipeline.ingest import accounts, reading
from pipeline.ingest.accounts import File
from pipeline.ingest.danger import DangerWords, urgent_taxa
from pipeline.ingest.names import NameBook
from pipeline.published.table import Library
from pipeline.tables.catalogue_account import FINDINGS, QUARANTINE, SOURCES
from pipeline.tables.catalogue_ingest import INGEST_TABLES
from pipeline.tables.catalogue_reading import COLUMNS, FAULTS, WORDS
from pipeline.tables.schema import TableSchema
from pipeline.tables.store import RunStore, empty


def write(
    store: RunStore,
    written: Mapping[TableSchema, pa.Table],
    files: Sequence[File],
    library: Library,
    fungi: NameBook,
) -> None:
    """Write the tables, those of the account with them, and the others empty.

    Raises
    ------
    InputError
        If the account of a file does not close.
    TableError
        If a table does not fit its declaration.
    """
    files = tuple(sorted(files, key=lambda file: file.raw.source_key))
    aside = accounts.quarantine_table(
        files, DangerWords(library.table("danger_words", key=("word", "language"))),
        fungi=fungi, urgent=urgent_taxa(library.table("taxa")),
    )  # fmt: skip
    every = {table: empty(table) for table in INGEST_TABLES}
    # Arrow writes the trees without the interpreter's lock; the account is made meanwhile.
    with ThreadPoolExecutor(1) as second:
        waiting = second.submit(_write, store, written)
        account = {
            QUARANTINE: aside,
            FINDINGS: accounts.findings_table(files),
            SOURCES: accounts.sources_table(files),
            COLUMNS: reading.columns_table(files),
            WORDS: reading.words_table(files),
            FAULTS: reading.faults_table(files),
        }
        waiting.result()
    _write(store, {t: data for t, data in {**every, **account}.items() if t not in written})


def _write(store: RunStore, tables: Mapping[TableSchema, pa.Table]) -> None:
    for table, data in tables.items():
        store.write(table, data)
