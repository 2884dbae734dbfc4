"""Tables that say how files were read, column by column, and what changed between vintages."""

from pipeline.tables.schema import Column, ForeignKey, Kind, TableSchema

CHANGES = ("vanished", "new", "species_changed", "species_respelt", "shrank", "grew", "moved")

_SOURCE = Column("source_key", Kind.INT32, "the file, see ingest.sources", low=0)
_HEADER = Column("header", Kind.LABEL, "the column as the file writes it")
_OF_SOURCES = (ForeignKey("source_key", "ingest.sources"),)

COLUMNS = TableSchema(
    "ingest",
    "columns",
    "every column of every file and what it was read as; a column read twice has two rows",
    ("source_key", "column_key"),
    (
        _SOURCE,
        Column("column_key", Kind.INT32, "running number within the file, from 0", low=0),
        _HEADER,
        Column("used_for", Kind.LABEL, "canonical column, empty where the map does not use it",
               nullable=True),
        Column("rule", Kind.LABEL, "how it is read: unit, girth, classes", nullable=True),
        Column("cells", Kind.INT64, "cells: the rows without broken records", low=0),
        Column("filled", Kind.INT64, "cells that are not blank", low=0),
        Column("said_missing", Kind.INT64, "filled cells whose word means missing", low=0),
        Column("zeros", Kind.INT64, "zeros that mean missing", low=0),
        Column("usable", Kind.INT64, "cells whose value is used", low=0),
        Column("mended", Kind.INT64, "of the usable ones, read by a guess that is told", low=0),
        Column("least", Kind.FLOAT, "least number used, in the canonical unit", nullable=True),
        Column("middle", Kind.FLOAT, "median of the numbers used", nullable=True),
        Column("most", Kind.FLOAT, "greatest number used", nullable=True),
    ),
    _OF_SOURCES,
)  # fmt: skip

WORDS = TableSchema(
    "ingest",
    "words",
    "words and codes of word columns, with the meaning that the map gives them",
    ("source_key", "word_key"),
    (
        _SOURCE,
        Column("word_key", Kind.INT32, "running number within the file, from 0", low=0),
        _HEADER,
        Column("used_for", Kind.LABEL, "canonical column"),
        Column("written", Kind.TEXT, "as the file writes it"),
        Column("meaning", Kind.LABEL, "the canonical word; empty: none here", nullable=True),
        Column("cells", Kind.INT64, "cells that say it", low=1),
    ),
    _OF_SOURCES,
)

FAULTS = TableSchema(
    "ingest",
    "faults",
    "kinds of fault by file and column, over all rows, those set aside included",
    ("source_key", "fault_key"),
    (
        _SOURCE,
        Column("fault_key", Kind.INT32, "running number within the file, from 0", low=0),
        Column("column", Kind.LABEL, "header of the column at fault", nullable=True),
        Column("code", Kind.LABEL, "kind of fault"),
        Column("done", Kind.LABEL, "what was done",
               allowed=("emptied", "flagged", "mended", "set aside")),
        Column("cells", Kind.INT64, "cells or rows at fault", low=1),
        Column("examples", Kind.TEXT, "up to three of them: line or row, and the cell"),
        Column("reason", Kind.TEXT, "one sentence"),
        Column("remedy", Kind.TEXT, "what to do"),
    ),
    _OF_SOURCES,
)  # fmt: skip

HISTORY = TableSchema(
    "ingest",
    "history",
    "what differs between an earlier vintage of the inventory and this one, one row a change",
    ("history_key",),
    (
        Column("history_key", Kind.INT64, "row number from 0", low=0),
        _SOURCE,
        Column("tree_key", Kind.INT64, "the tree, or -1 for one that is no longer listed", low=-1),
        Column("tree_id", Kind.TEXT, "the id in the vintage that lists the tree", nullable=True),
        Column("change", Kind.LABEL, "what differs", allowed=CHANGES),
        Column("before", Kind.TEXT, "as the earlier vintage says", nullable=True),
        Column("after", Kind.TEXT, "as this inventory says", nullable=True),
        Column("surveyed_on", Kind.DATE, "date of the earlier vintage"),
        Column("x_m", Kind.FLOAT, "easting in the run's metric CRS", "m", nullable=True),
        Column("y_m", Kind.FLOAT, "northing in the run's metric CRS", "m", nullable=True),
    ),
    (ForeignKey("source_key", "ingest.sources"), ForeignKey("tree_key", "ingest.trees")),
)

READING_TABLES = (COLUMNS, WORDS, FAULTS, HISTORY)
