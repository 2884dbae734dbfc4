"""Lists as CSV: queue, what was left out, what to review, rows set aside."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from pipeline.render import work_rows
from pipeline.render.context import RenderContext
from pipeline.render.files import write_bytes

# Text that a spreadsheet would take for a formula; a plain number is none.
_DANGEROUS = r"^[=@\t\r\n]|^[+\-](?:$|[^0-9.,]|.*[^0-9.,eE+\-])"
_DEGREE_DECIMALS = 6
URGENCY = ("now", "this week", "this quarter", "when there is time")

QUEUE_COLUMNS = (
    "queue_rank", "quarter", "day", "crew_id", "job_id", "tree_id", "action", "part", "rating",
    "why", "deadline_on", "late_days", "hours", "cost", "machine", "no_climb", "make_safe",
    "season_code", "not_before", "harm_removed", "species", "dbh_cm", "street", "address", "ward",
    "wires", "longitude", "latitude",
)  # fmt: skip
LEFT_OUT_COLUMNS = (
    "job_id", "tree_id", "action", "part", "rating", "reason", "detail", "deadline_on", "hours",
    "machine", "harm_removed", "species", "dbh_cm", "street", "address", "ward", "longitude",
    "latitude",
)  # fmt: skip


def write_queue(context: RenderContext) -> list[Path]:
    """queue.csv and unscheduled.csv: every job of the run is in one of the two."""
    queue = work_rows.queued(context).select(list(QUEUE_COLUMNS))
    left = work_rows.unscheduled(context).select(list(LEFT_OUT_COLUMNS))
    return [
        write_bytes(context.out / "queue.csv", csv_bytes(queue)),
        write_bytes(context.out / "unscheduled.csv", csv_bytes(left)),
    ]


def write_review(context: RenderContext) -> list[Path]:
    """review.csv: what needs a person, most urgent first, with the tree or file to look at."""
    return [write_bytes(context.out / "review.csv", csv_bytes(review_table(context)))]


def review_table(context: RenderContext) -> pa.Table:
    """The reviews as people read them, most urgent first."""
    reviews = context.table("scoring.reviews")
    trees = context.table("ingest.trees")
    placed = _known(reviews["tree_key"])
    longitude, latitude = (pa.array(values) for values in context.layers.trees)
    rows = reviews.to_pylist()
    told = {
        said: context.review_sentence(said[0], json.loads(said[1]))
        for said in dict.fromkeys((row["code"], row["detail"]) for row in rows)
    }
    sightings = context.table("ingest.sightings")["sighting_id"].combine_chunks()
    files = _files_of_rows(context)
    aside = [files.get(key) for key in reviews["quarantine_key"].to_pylist()]
    return pa.table(
        {
            "urgency": pa.array([URGENCY[row["urgency"]] for row in rows], pa.string()),
            "what": pa.array([row["code"].replace("_", " ") for row in rows], pa.string()),
            "what_to_do": pa.array([told[row["code"], row["detail"]] for row in rows], pa.string()),
            "tree_id": trees["tree_id"].combine_chunks().take(placed),
            "street": trees["street"].cast(pa.string()).combine_chunks().take(placed),
            "sighting_id": sightings.take(_known(reviews["sighting_key"])),
            "row_set_aside": pa.array(aside, pa.string()),
            "longitude": pc.round(longitude.take(placed), _DEGREE_DECIMALS),
            "latitude": pc.round(latitude.take(placed), _DEGREE_DECIMALS),
        }
    )


def place_of(context: RenderContext, review: Mapping[str, Any]) -> str:
    """Where one review points to: its tree, its sighting, its row set aside."""
    told = []
    if review["tree_key"] >= 0:
        tree = context.table("ingest.trees").slice(review["tree_key"], 1).to_pylist()[0]
        told.append(", ".join(part for part in (f"Tree {tree['tree_id']}", tree["street"]) if part))
    if review["sighting_key"] >= 0:
        row = context.table("ingest.sightings").slice(review["sighting_key"], 1)
        told.append(f"Sighting {row['sighting_id'].to_pylist()[0]}")
    if review["quarantine_key"] >= 0:
        told.append(_files_of_rows(context)[review["quarantine_key"]])
    return ". ".join(told)


def _files_of_rows(context: RenderContext) -> dict[int, str]:
    """File and row of each row set aside."""
    files = context.table("ingest.sources")["file"].to_pylist()
    table = context.table("ingest.quarantine").select(
        ["quarantine_key", "source_key", "row", "line"]
    )
    return {
        row["quarantine_key"]: f"{files[row['source_key']]}, "
        + (f"line {row['line']}" if row["line"] else f"row {row['row']}")
        for row in table.to_pylist()
    }


def _known(keys: pa.ChunkedArray) -> pa.Array:
    """Keys with nothing where they mean none."""
    flat = keys.combine_chunks()
    return pc.if_else(pc.greater_equal(flat, 0), flat, None)


def write_quarantine(context: RenderContext) -> list[Path]:
    """quarantine.csv: the original columns of each row set aside, and why, to mend and feed back.

    Files with different headers share the sheet: a column that a file has not is empty. Numbers
    stay as they were; text that a spreadsheet would run as a formula gets an apostrophe in front.
    """
    table = context.table("ingest.quarantine")
    sources = context.table("ingest.sources")["file"].to_pylist()
    originals = [json.loads(text) for text in table["original"].to_pylist()]
    headers = list(dict.fromkeys(name for row in originals for name in row))
    columns: dict[str, pa.Array] = {
        "why_file": pa.array([sources[k] for k in table["source_key"].to_pylist()], pa.string()),
        "why_line": table["line"].combine_chunks(),
        "why_row": table["row"].combine_chunks(),
        "why_column": table["column"].cast(pa.string()).combine_chunks(),
        "why_value": table["value"].combine_chunks(),
        "why_reason": table["reason"].combine_chunks(),
        "why_remedy": table["remedy"].combine_chunks(),
        "why_danger": table["danger"].combine_chunks(),
    }
    # A list that was fed back and set aside again carries the old reasons; the new ones stand.
    for name in [header for header in headers if header not in columns]:
        columns[name] = pa.array([_text(row.get(name)) for row in originals], pa.string())
    return [write_bytes(context.out / "quarantine.csv", csv_bytes(pa.table(columns)))]


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def csv_bytes(table: pa.Table) -> bytes:
    """A table as CSV in UTF-8 with a mark that office programs need to see the encoding.

    Text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    table = pa.table({n: _inert(table[n]) for n in table.column_names})
    sink = pa.BufferOutputStream()
    pyarrow.csv.write_csv(
        table, sink, pyarrow.csv.WriteOptions(quoting_style="needed", batch_size=65_536)
    )
    return b"\xef\xbb\xbf" + bytes(sink.getvalue().to_pybytes())


def _inert(column: pa.ChunkedArray) -> pa.ChunkedArray:
    if not pa.types.is_string(column.type) or not len(column):
        return column
    dangerous = pc.match_substring_regex(column, _DANGEROUS).fill_null(False)
    if not pc.any(dangerous).as_py():
        return column
    return pc.if_else(dangerous, pc.binary_join_element_wise("'", column, ""), column)
