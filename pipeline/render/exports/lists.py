"""Lists as CSV: queue, what was left out, what to review, rows set aside."""

import json
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv
import pyarrow.json

from pipeline.render import fungi, work_rows
from pipeline.render.context import RenderContext
from pipeline.render.files import write_bytes, write_parts

# Text that a spreadsheet would take for a formula; a plain number is none.
_DANGEROUS = r"^[=@\t\r\n]|^[+\-](?:$|[^0-9.,]|.*[^0-9.,eE+\-])"
_DEGREE_DECIMALS = 6
_LARGEST_BLOCK = 2**31 - 1
_MOST_SAID = 240  # characters of a row set aside that fit under a line of the index
URGENCY = ("now", "this week", "this quarter", "when there is time")

QUEUE_COLUMNS = (
    "queue_rank", "quarter", "day", "crew_id", "job_id", "tree_id", "action", "part", "rating",
    "why", "deadline_on", "late_days", "hours", "cost", "machine", "no_climb", "make_safe",
    "season_code", "not_before", "harm_removed", "species", "dbh_cm", "street", "address", "ward",
    "wires", "longitude", "latitude", *fungi.TOLD, "page",
)  # fmt: skip
WHY = (
    "why_file", "why_line", "why_row", "why_column", "why_value", "why_reason", "why_remedy",
    "why_danger",
)  # fmt: skip
LEFT_OUT_COLUMNS = (
    "job_id", "tree_id", "action", "part", "rating", "reason", "detail", "deadline_on", "hours",
    "machine", "harm_removed", "species", "dbh_cm", "street", "address", "ward", "longitude",
    "latitude",
)  # fmt: skip


def write_queue(context: RenderContext) -> list[Path]:
    """queue.csv and unscheduled.csv: every job of the run is in one of the two."""
    queue = work_rows.queued(context).select(list(QUEUE_COLUMNS))
    left = (part.select(list(LEFT_OUT_COLUMNS)) for part in work_rows.unscheduled_parts(context))
    return [
        write_bytes(context.out / "queue.csv", csv_bytes(queue)),
        write_parts(context.out / "unscheduled.csv", _csv_parts(left)),
    ]


def write_review(context: RenderContext) -> list[Path]:
    """review.csv: what needs a person, most urgent first, with the tree or file to look at."""
    return [write_bytes(context.out / "review.csv", csv_bytes(review_table(context)))]


def review_table(context: RenderContext) -> pa.Table:
    """The reviews as people read them, most urgent first."""
    reviews = context.table("scoring.reviews")
    trees = context.table("ingest.trees")
    placed = _known(reviews["tree_key"])
    longitude, latitude = _where(context, reviews)
    rows = reviews.to_pylist()
    told = {
        said: context.review_sentence(said[0], json.loads(said[1]))
        for said in dict.fromkeys((row["code"], row["detail"]) for row in rows)
    }
    sightings = context.table("ingest.sightings")["sighting_id"].combine_chunks()
    files = _files_of_rows(context)
    aside = [files.get(key) for key in reviews["quarantine_key"].to_pylist()]
    seen = pc.coalesce(
        _known(reviews["sighting_key"]), fungi.weightiest(context, _known(reviews["tree_key"]))
    )
    found = fungi.told_of(context, seen)
    return pa.table(
        {
            "urgency": pa.array([URGENCY[row["urgency"]] for row in rows], pa.string()),
            "what": pa.array([row["code"].replace("_", " ") for row in rows], pa.string()),
            "what_to_do": pa.array([told[row["code"], row["detail"]] for row in rows], pa.string()),
            "tree_id": trees["tree_id"].combine_chunks().take(placed),
            "street": trees["street"].cast(pa.string()).combine_chunks().take(placed),
            "sighting_id": sightings.take(_known(reviews["sighting_key"])),
            "row_set_aside": pa.array(aside, pa.string()),
            "longitude": longitude,
            "latitude": latitude,
            **{name: found[name] for name in fungi.TOLD},
        }
    )


def place_of(context: RenderContext, review: Mapping[str, Any]) -> str:
    """Where one review points to: its tree, its sighting, its row set aside."""
    told = []
    if review["tree_key"] >= 0:
        tree = context.table("ingest.trees").slice(review["tree_key"], 1).to_pylist()[0]
        parts = (f"Tree {tree['tree_id']}", tree["street"])
        told.append(", ".join(part for part in parts if part))
    if review["sighting_key"] >= 0:
        row = context.table("ingest.sightings").slice(review["sighting_key"], 1)
        told.append(f"Sighting {row['sighting_id'].to_pylist()[0]}")
        x, y = context.layers.places("ingest.sightings")
        longitude, latitude = x[review["sighting_key"]], y[review["sighting_key"]]
        if review["tree_key"] < 0 and np.isfinite(longitude):
            told.append(f"Near {latitude:.5f}, {longitude:.5f} (latitude, longitude)")
    if review["quarantine_key"] >= 0:
        row = context.table("ingest.quarantine").slice(review["quarantine_key"], 1).to_pylist()[0]
        told.append(f"{_files_of_rows(context)[review['quarantine_key']]}: {_in_short(row)}")
    return ". ".join(told)


def _in_short(row: Mapping[str, Any]) -> str:
    """What a row set aside says, so that a person knows where to go without opening the file."""
    said = json.loads(row["original"]).items()
    values = [_text(value) for name, value in said if name not in WHY]
    return textwrap.shorten(" · ".join(v for v in values if v), _MOST_SAID, placeholder=" …")


def _where(context: RenderContext, reviews: pa.Table) -> tuple[pa.Array, pa.Array]:
    """Longitude and latitude [deg] of the tree of each review, else of its sighting."""
    tree, sighting = (reviews[name].to_numpy() for name in ("tree_key", "sighting_key"))
    made = []
    for of_trees, of_sightings in zip(
        context.layers.trees, context.layers.places("ingest.sightings"), strict=True
    ):
        degrees = np.full(tree.size, np.nan)
        degrees[sighting >= 0] = of_sightings[sighting[sighting >= 0]]
        degrees[tree >= 0] = of_trees[tree[tree >= 0]]
        made.append(pa.array(np.round(degrees, _DEGREE_DECIMALS), from_pandas=True))
    return made[0], made[1]


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
    """quarantine.csv with every row set aside, danger first, and quarantine/ with a list a file.

    The list of one file holds that file's columns and the reasons: it is mended and fed back with
    the column map of the file. Numbers stay as they were; text that a spreadsheet would run as a
    formula gets an apostrophe in front.
    """
    table = context.table("ingest.quarantine")
    sources = context.table("ingest.sources").select(["source_key", "input", "file"]).to_pylist()
    written = [write_bytes(context.out / "quarantine.csv", csv_bytes(_set_aside(context, table)))]
    keys = table["source_key"]
    for source in sources:
        rows = table.filter(pc.equal(keys, source["source_key"]))
        if rows.num_rows:
            name = f"{source['source_key']}_{source['input']}_{Path(source['file']).stem}.csv"
            path = context.out / "quarantine" / name
            written.append(write_bytes(path, csv_bytes(_set_aside(context, rows))))
    return written


def _set_aside(context: RenderContext, table: pa.Table) -> pa.Table:
    """Rows set aside with why and with their own columns; a column that a row has not is empty."""
    sources = context.table("ingest.sources")["file"].to_pylist()
    originals = _originals(table)
    files = pa.array(sources, pa.string()).take(table["source_key"].combine_chunks())
    told = [files, *(_plain(table[name.removeprefix("why_")]) for name in WHY[1:])]
    columns: dict[str, pa.Array] = dict(zip(WHY, told, strict=True))
    # A list that was fed back and set aside again carries the old reasons; the new ones stand.
    for name in [header for header in originals.column_names if header not in columns]:
        columns[name] = originals[name]
    return pa.table(columns)


def _originals(table: pa.Table) -> pa.Table:
    """The rows as their files wrote them, all columns of all files, text; parsed in one go."""
    texts = table["original"].combine_chunks()
    if not len(texts):
        return pa.table({})
    # rows of one file have the same headers, but for broken records, which have one of their own
    kinds = pa.table(
        {
            "source_key": table["source_key"].combine_chunks(),
            "broken": pc.starts_with(texts, '{"(whole record)"'),
            "place": pa.array(np.arange(len(texts))),
        }
    )
    first = kinds.group_by(["source_key", "broken"]).aggregate([("place", "min")])["place_min"]
    names = [json.loads(texts[place].as_py()) for place in sorted(first.to_pylist())]
    headers = list(dict.fromkeys(name for row in names for name in row))
    lines = "\n".join(texts.to_pylist()).encode()
    return pyarrow.json.read_json(
        pa.BufferReader(lines),
        read_options=pyarrow.json.ReadOptions(block_size=min(len(lines) + 1, _LARGEST_BLOCK)),
        parse_options=pyarrow.json.ParseOptions(
            explicit_schema=pa.schema([(name, pa.string()) for name in headers]),
            unexpected_field_behavior="error",
        ),
    )


def _plain(column: pa.ChunkedArray) -> pa.Array:
    flat = column.cast(pa.string()) if pa.types.is_dictionary(column.type) else column
    return flat.combine_chunks()


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def csv_bytes(table: pa.Table) -> bytes:
    """A table as CSV in UTF-8 with a mark that office programs need to see the encoding.

    Text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    return b"".join(_csv_parts([table]))


def _csv_parts(tables: Iterable[pa.Table]) -> Iterator[bytes | memoryview]:
    """Tables of the same columns as one CSV file, a piece for each; see csv_bytes."""
    yield b"\xef\xbb\xbf"
    for number, table in enumerate(tables):
        harmless = pa.table({n: _inert(table[n]) for n in table.column_names})
        sink = pa.BufferOutputStream()
        options = pyarrow.csv.WriteOptions(
            include_header=number == 0, quoting_style="needed", batch_size=65_536
        )
        pyarrow.csv.write_csv(harmless, sink, options)
        yield memoryview(sink.getvalue())


def _inert(column: pa.ChunkedArray) -> pa.ChunkedArray:
    if pa.types.is_dictionary(column.type):  # each label is looked at once
        parts = [
            pa.DictionaryArray.from_arrays(
                part.indices, _inert(pa.chunked_array([part.dictionary])).combine_chunks()
            ).cast(pa.string())
            for part in column.chunks
        ]
        return pa.chunked_array(parts, pa.string())
    if not pa.types.is_string(column.type) or not len(column):
        return column
    dangerous = pc.match_substring_regex(column, _DANGEROUS).fill_null(False)
    if not pc.any(dangerous).as_py():
        return column
    return pc.if_else(dangerous, pc.binary_join_element_wise("'", column, ""), column)
