"""Every table of a run, by its full name, in the order in which the stages write them."""

from pipeline.tables.catalogue_ingest import INGEST_TABLES
from pipeline.tables.catalogue_planning import PLANNING_TABLES
from pipeline.tables.catalogue_scoring import SCORING_TABLES
from pipeline.tables.schema import TableSchema

TABLES: dict[str, TableSchema] = {
    table.full_name: table for table in (*INGEST_TABLES, *SCORING_TABLES, *PLANNING_TABLES)
}

STAGES = ("ingest", "scoring", "planning")


def tables_of(stage: str) -> tuple[TableSchema, ...]:
    """The tables that a stage writes."""
    return tuple(table for table in TABLES.values() if table.stage == stage)
