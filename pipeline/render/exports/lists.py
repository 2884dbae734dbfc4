"""Lists as CSV: queue, what was left out, what to review, rows set aside."""

import json
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from pipeline.render import work_rows
from pipeline.render.context import RenderContext
from pipeline.render.files import write_bytes
from pipeline.render.wording import review_sentence

_DANGEROUS_START = r"^[=+\-@\t\r\n]"
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
    keys = reviews["tree_key"].combine_chunks()
    placed = pc.if_else(pc.greater_equal(keys, 0), keys, None)
    longitude, latitude = (pa.array(values) for values in context.layers.trees)
    rows = reviews.select(["code", "detail", "urgency"]).to_pylist()
    sighting = reviews["sighting_key"].combine_chunks()
    sighting = pc.if_else(pc.greater_equal(sighting, 0), sighting, None)
    return pa.table(
        {
            "urgency": pa.array([URGENCY[row["urgency"]] for row in rows], pa.string()),
            "what": pa.array([row["code"].replace("_", " ") for row in rows], pa.string()),
            "what_to_do": pa.array(
                [review_sentence(row["code"], json.loads(row["detail"])) for row in rows],
                pa.string(),
            ),
            "tree_id": trees["tree_id"].combine_chunks().take(placed),
            "street": trees["street"].cast(pa.string()).combine_chunks().take(placed),
            "sighting_id": _ids(context, sighting),
            "longitude": pc.round(longitude.take(placed), 6),
            "latitude": pc.round(latitude.take(placed), 6),
        }
    )


def _ids(context: RenderContext, keys: pa.Array) -> pa.Array:
    return context.table("ingest.sightings")["sighting_id"].combine_chunks().take(keys)


def write_quarantine(context: RenderContext) -> list[Path]:
    """quarantine.csv: the original columns of each row set aside, and why, to mend and feed back.

    Files with different headers share the sheet: a column that a file has not is empty.
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
    for name in headers:
        columns[name] = pa.array([row.get(name) for row in originals], pa.string())
    return [write_bytes(context.out / "quarantine.csv", csv_bytes(pa.table(columns), inert=False))]


def csv_bytes(table: pa.Table, *, inert: bool = True) -> bytes:
    """A table as CSV in UTF-8 with a mark that office programs need to see the encoding.

    Parameters
    ----------
    inert : put an apostrophe before text that a spreadsheet would take for a formula. Left out
        only where the file is fed back as it is.
    """
    if inert:
        table = pa.table({n: _inert(table[n]) for n in table.column_names})
    sink = pa.BufferOutputStream()
    pyarrow.csv.write_csv(
        table, sink, pyarrow.csv.WriteOptions(quoting_style="needed", batch_size=65_536)
    )
    return b"\xef\xbb\xbf" + sink.getvalue().to_pybytes()


def _inert(column: pa.ChunkedArray) -> pa.ChunkedArray:
    if not pa.types.is_string(column.type) or not len(column):
        return column
    dangerous = pc.match_substring_regex(column, _DANGEROUS_START)
    if not np.any(dangerous.fill_null(False).to_numpy()):
        return column
    return pc.if_else(dangerous, pc.binary_join_element_wise("'", column, ""), column)
