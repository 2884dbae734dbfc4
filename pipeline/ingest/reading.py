"""How each file was read: its columns, the words in them and the kinds of fault, as counts."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest import cells
from pipeline.ingest.accounts import File
from pipeline.ingest.column_map import DEFAULT_MISSING, ColumnRule
from pipeline.ingest.columns import Mapped
from pipeline.ingest.quarantine import Done, Finding
from pipeline.tables.catalogue_reading import COLUMNS, FAULTS, WORDS
from pipeline.tables.inputs import INPUTS
from pipeline.tables.schema import TableSchema

# A word column with more different words than this is no list of codes; the most frequent are kept.
_MOST_WORDS = 200
_SAMPLE, _OWN_WORDS = 10_000, 0.5  # cells looked at first, and the share that differs among them
_EXAMPLES = 3
_WORDY = frozenset({"word", "words", "yes_no"})
_Row = dict[str, object]


def columns_table(files: Sequence[File]) -> pa.Table:
    """The rows of ingest.columns."""
    return _table([row for file in files for row in _numbered(_columns(file), file, "column_key")],
                  COLUMNS)  # fmt: skip


def words_table(files: Sequence[File]) -> pa.Table:
    """The rows of ingest.words."""
    return _table([row for file in files for row in _numbered(_words(file), file, "word_key")],
                  WORDS)  # fmt: skip


def faults_table(files: Sequence[File]) -> pa.Table:
    """The rows of ingest.faults: of all rows, those that are set aside included."""
    return _table([row for file in files for row in _numbered(_faults(file), file, "fault_key")],
                  FAULTS)  # fmt: skip


def _numbered(rows: Sequence[_Row], file: File, key: str) -> list[_Row]:
    return [{"source_key": file.raw.source_key, key: n, **row} for n, row in enumerate(rows)]


def _table(rows: list[_Row], schema: TableSchema) -> pa.Table:
    plain = pa.schema(
        [pa.field(f.name, pa.string() if pa.types.is_dictionary(f.type) else f.type)
         for f in schema.arrow_schema]
    )  # fmt: skip
    return pa.Table.from_pylist(rows, schema=plain)


def _columns(file: File) -> list[_Row]:
    mapped = file.mapped
    users: dict[str, list[str]] = {}
    if mapped is not None:
        for name, header in mapped.headers.items():
            users.setdefault(header, []).append(name)
    rows: list[_Row] = []
    for header in file.raw.data.column_names:
        frame: _Row = {"header": header, **_filled(file, header)}
        names = users.get(header, [])
        if mapped is None or not names:
            rows.append({**frame, "used_for": None, "rule": None, "zeros": 0, "usable": 0,
                         "mended": 0})  # fmt: skip
            continue
        rows += [{**frame, **_used(file, mapped, name)} for name in names]
    return rows


def _filled(file: File, header: str) -> _Row:
    """How many cells hold something, and how many of those say that nothing is known."""
    data = file.raw.data[header]
    size = len(data)
    if not (pa.types.is_string(data.type) or pa.types.is_large_string(data.type)):
        return {"cells": size, "filled": size - data.null_count, "said_missing": 0}
    missing = frozenset(DEFAULT_MISSING) if file.mapped is None else file.mapped.missing
    # Words are counted instead of cells, unless nearly every cell has a word of its own.
    told = data.combine_chunks()
    numbers = None
    if len(pc.unique(told.slice(0, _SAMPLE))) < _OWN_WORDS * min(size, _SAMPLE):
        counted = pc.value_counts(told)
        told, numbers = counted.field(0), counted.field(1)
    words = cells.clean(told, frozenset({""}))
    filled = _counted(words.is_valid(), numbers)
    gone = filled - _counted(cells.clean(words, missing).is_valid(), numbers)
    return {"cells": size, "filled": filled, "said_missing": gone}


def _counted(valid: pa.Array, numbers: pa.Array | None) -> int:
    """How many cells: one for each valid word, or as many as it stands in."""
    if numbers is None:
        return int(pc.sum(valid).as_py() or 0)
    return int(pc.sum(pc.if_else(valid, numbers, 0)).as_py() or 0)


def _used(file: File, mapped: Mapped, name: str) -> _Row:
    """What one canonical column made of it."""
    values = mapped.columns[name]
    marks = mapped.marks.get(f"{name.split('_', maxsplit=1)[0]}_zero")
    mended = sum(
        finding.count for finding in _of(file.findings, name) if finding.done is Done.MENDED
    )
    row: _Row = {
        "used_for": name,
        "rule": _said(mapped.rules.get(name), mapped.kind, name),
        "zeros": 0 if marks is None else int(np.count_nonzero(marks)),
        "usable": len(values) - values.null_count,
        "mended": mended,
    }
    if pa.types.is_floating(values.type) or pa.types.is_integer(values.type):
        numbers = mapped.number(name)
        numbers = numbers[np.isfinite(numbers)]
        if len(numbers):
            row |= {
                "least": float(numbers.min()), "middle": float(np.median(numbers)),
                "most": float(numbers.max()),
            }  # fmt: skip
    return row


def _of(findings: Sequence[Finding], name: str) -> list[Finding]:
    return [finding for finding in findings if finding.code.startswith(f"{name}_")]


def _said(rule: ColumnRule | None, kind: str, name: str) -> str | None:
    """The rule in words: only what goes beyond taking the cell as it stands."""
    if rule is None:
        return None
    unit = next((c.unit for c in INPUTS[kind].columns if c.name == name), "")
    told = [
        "girth, made a diameter" if rule.measure == "girth" else "",
        f"in {rule.unit}" if rule.unit and (rule.unit != unit or rule.measure == "girth") else "",
        "classes, the middle of each" if rule.classes else "",
        f"part {rule.take + 1} of what {rule.split!r} parts" if rule.split else "",
        f"dates of {rule.spreadsheet_year} read back as numbers" if rule.spreadsheet_year else "",
    ]
    return ", ".join(text for text in told if text) or None


def _words(file: File) -> list[_Row]:
    """Each word of a word column, the most frequent first, with what it means here."""
    mapped = file.mapped
    if mapped is None:
        return []
    kinds = {column.name: column.kind for column in INPUTS[mapped.kind].columns}
    rows: list[_Row] = []
    for name, header in mapped.headers.items():
        if kinds.get(name) not in _WORDY:
            continue
        written = cells.clean(mapped.original(name), frozenset({""}))
        pairs = pa.table({"written": written, "meaning": mapped.columns[name].cast(pa.string())})
        counted = pairs.filter(written.is_valid()).group_by(["written", "meaning"]).aggregate(
            [([], "count_all")]
        ).sort_by([("count_all", "descending"), ("written", "ascending")])  # fmt: skip
        rows += [
            {"header": header, "used_for": name, "written": row["written"],
             "meaning": row["meaning"], "cells": row["count_all"]}
            for row in counted.slice(0, _MOST_WORDS).to_pylist()
        ]  # fmt: skip
    return rows


def _faults(file: File) -> list[_Row]:
    rows: list[_Row] = []
    gone = np.zeros(len(file.raw), np.bool_)
    for finding in file.findings:
        # of several reasons to set a row aside the first one counts, as in the list of such rows
        chosen = np.flatnonzero(~gone[finding.rows] | (finding.done is not Done.SET_ASIDE))
        if finding.done is Done.SET_ASIDE:
            gone[finding.rows] = True
        if not len(chosen):
            continue
        shown = finding.rows[chosen[:_EXAMPLES]]
        lines = file.raw.lines(shown)
        places = file.raw.rows[shown] if lines is None else lines
        values = [finding.values[at] if finding.values else None for at in chosen[:_EXAMPLES]]
        rows.append(
            {
                "column": finding.column, "code": finding.code, "done": str(finding.done),
                "cells": len(chosen),
                "examples": _examples("row" if lines is None else "line", places.tolist(), values),
                "reason": finding.reason, "remedy": finding.remedy,
            }
        )  # fmt: skip
    return rows + _broken(file)


def _broken(file: File) -> list[_Row]:
    """Records that are no rows: broken ones, and headers that stand again."""
    rows: list[_Row] = []
    for code in dict.fromkeys(reject.code for reject in file.raw.rejects):
        some = [reject for reject in file.raw.rejects if reject.code == code]
        places = [reject.line or reject.row for reject in some[:_EXAMPLES]]
        rows.append(
            {
                "column": None, "code": code, "done": str(Done.SET_ASIDE), "cells": len(some),
                "examples": _examples("line", places, [None] * len(places)),
                "reason": some[0].reason, "remedy": some[0].remedy,
            }
        )  # fmt: skip
    return rows


def _examples(word: str, places: Sequence[int], values: Sequence[str | None]) -> str:
    told = [
        f"{place} ({value})" if value else f"{place}"
        for place, value in zip(places, values, strict=True)
    ]
    return f"{word} {', '.join(told)}"
