"""What `check` says of the columns: what is filled, what could be read, what the words mean."""

from collections.abc import Iterable
from typing import Any

import typer

from pipeline.tables.store import RunStore

_MOST_WORDS = 12
_MOST_UNUSED = 40

# Files of one kind that were read with the same columns are told together.
_COLUMNS = """
select s.input, c.used_for, any_value(c.rule) as rule,
    list(distinct c.header order by c.header) as headers, sum(c.cells) as cells,
    sum(c.filled) as filled, sum(c.said_missing) as said_missing, sum(c.zeros) as zeros,
    sum(c.usable) as usable, sum(c.mended) as mended, min(c.least) as least, max(c.most) as most,
    min(c.source_key * 1000000 + c.column_key) as place
from ingest.columns c join ingest.sources s using (source_key)
where c.used_for is not null and s.input in ({kinds})
group by s.input, c.used_for order by s.input, place
"""
_UNUSED = """
select s.input, list(distinct c.header order by c.header) as headers, sum(c.filled) as filled,
    min(c.source_key * 1000000 + c.column_key) as place,
    regexp_replace(lower(c.header), '[^\\p{{L}}\\p{{N}}]', '', 'g') as plain
from ingest.columns c join ingest.sources s using (source_key)
where c.used_for is null and s.input in ({kinds}) group by s.input, plain order by s.input, place
"""
# Columns without a name are no other spelling.
_SPELLINGS = """
with told as (
    select s.input, c.source_key, list(distinct c.header order by c.header) as headers
    from ingest.columns c join ingest.sources s using (source_key)
    where s.input in ({kinds}) and not regexp_matches(c.header, '^column [0-9]+$')
    group by s.input, c.source_key
)
select input, count(*) as files, count(distinct headers) as spellings from told group by input
"""
_WORDS = """
select s.input, w.used_for, w.written, w.meaning, sum(w.cells) as cells
from ingest.words w join ingest.sources s using (source_key)
where s.input in ({kinds}) group by s.input, w.used_for, w.written, w.meaning
order by s.input, w.used_for, cells desc, w.written
"""
_FAULTS = """
select s.input, f."column", f.code, f.done, sum(f.cells) as cells, count(distinct s.file) as files,
    arg_min(s.file, s.source_key) as file, arg_min(f.examples, s.source_key) as examples,
    arg_min(f.reason, s.source_key) as reason, arg_min(f.remedy, s.source_key) as remedy
from ingest.faults f join ingest.sources s using (source_key)
where s.input in ({kinds}) group by s.input, f."column", f.code, f.done
order by s.input, f.done = 'set aside' desc, cells desc, f.code, f."column"
"""


def tell(store: RunStore, kinds: Iterable[str]) -> None:
    """Print the account of the columns of some kinds of input, over all files of a kind."""
    listed = ", ".join(f"'{kind}'" for kind in kinds)
    columns = store.query(_COLUMNS.format(kinds=listed)).to_pylist()
    unused = store.query(_UNUSED.format(kinds=listed)).to_pylist()
    words = store.query(_WORDS.format(kinds=listed)).to_pylist()
    spelt = {row["input"]: row for row in store.query(_SPELLINGS.format(kinds=listed)).to_pylist()}
    for kind in dict.fromkeys(row["input"] for row in (*columns, *unused)):
        typer.echo(f"\ncolumns of {kind}{_spellings(spelt[kind])}:")
        for row in _of(columns, kind):
            typer.echo(f"  {_column(row)}")
            told = [word for word in _of(words, kind) if word["used_for"] == row["used_for"]]
            if told:
                typer.echo(f"      {_codes(told)}")
        left = _of(unused, kind)
        if left:
            typer.echo(f"  not used: {_unused(left)}")


def tell_faults(store: RunStore, kinds: Iterable[str]) -> None:
    """Print each kind of fault once, over all files and rows, those set aside included."""
    listed = ", ".join(f"'{kind}'" for kind in kinds)
    rows = store.query(_FAULTS.format(kinds=listed)).to_pylist()
    if rows:
        typer.echo("\nfaults, over all rows and files:")
    for row in rows:
        column = f" in {row['column']}" if row["column"] else ""
        files = f"{row['files']} files, first " if row["files"] > 1 else ""
        typer.echo(
            f"  {row['cells']:>9,} x {row['code']}{column} ({row['done']}; {files}{row['file']} "
            f"{row['examples']}): {row['reason'].rstrip('.')}. {row['remedy']}"
        )


def _of(rows: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    return [row for row in rows if row["input"] == kind]


def _column(row: dict[str, Any]) -> str:
    blank = row["cells"] - row["filled"]
    lost = row["filled"] - row["said_missing"] - row["zeros"] - row["usable"]
    parts = [
        f"{row['usable']:,} of {row['cells']:,} usable",
        f"{row['mended']:,} of them mended" if row["mended"] else "",
        f"{blank:,} blank" if blank else "",
        f"{row['said_missing']:,} say 'missing'" if row["said_missing"] else "",
        f"{row['zeros']:,} are 0, which counts as missing" if row["zeros"] else "",
        f"{lost:,} without a meaning here" if lost > 0 else "",
        "" if row["least"] is None else f"from {row['least']:.6g} to {row['most']:.6g}",
    ]
    rule = f" ({row['rule']})" if row["rule"] else ""
    said = ", ".join(part for part in parts if part)
    return f"{row['used_for']} <- {_headers(row['headers'])}{rule}: {said}"


def _spellings(row: dict[str, Any]) -> str:
    if row["files"] == 1:
        return ""
    ways = f", whose headers are written {row['spellings']} ways" if row["spellings"] > 1 else ""
    return f", {row['files']} files together{ways}"


def _headers(headers: list[str]) -> str:
    told = " or ".join(repr(header) for header in headers)
    return f"{told} (written {len(headers)} ways, read as one)" if len(headers) > 1 else told


def _codes(words: list[dict[str, Any]]) -> str:
    told = [
        f"{word['written']} = {word['meaning'] or 'nothing here'} ({word['cells']:,})"
        for word in words[:_MOST_WORDS]
    ]
    more = len(words) - _MOST_WORDS
    return "; ".join(told) + (f"; and {more} more words" if more > 0 else "")


def _unused(rows: list[dict[str, Any]]) -> str:
    told = [f"{_headers(row['headers'])} {row['filled']:,}" for row in rows[:_MOST_UNUSED]]
    more = len(rows) - _MOST_UNUSED
    return ", ".join(told) + (f" and {more} more" if more > 0 else "") + " (cells filled)"
