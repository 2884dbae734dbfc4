"""Marks that turn the direction of writing: with them a cell shows other words than it holds."""

import re
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.cells import as_text
from pipeline.ingest.quarantine import Done, Finding
from pipeline.ingest.readers import RawTable

# Embeddings, overrides and isolates of the Unicode bidirectional algorithm (UAX 9).
_MARKS = "[\u202a-\u202e\u2066-\u2069]"
_MARK = re.compile(_MARKS)
_BYTES = re.compile(rb"\xe2(?:\x80[\xaa-\xae]|\x81[\xa6-\xa9])")


def without_marks(raw: RawTable) -> tuple[RawTable, tuple[Finding, ...]]:
    """The file with the marks taken out of every text, and a finding for each column with some."""
    data = raw.data
    findings: list[Finding] = []
    for place, name in enumerate(data.column_names):
        if not _may_hold(data[name]):
            continue
        text = as_text(data[name])
        marked = pc.match_substring_regex(text, _MARKS).fill_null(False)
        rows = np.flatnonzero(marked.to_numpy(zero_copy_only=False))
        if not len(rows):
            continue
        shown = [_MARK.sub(_spelled, cell) for cell in text.take(pa.array(rows)).to_pylist()]
        findings.append(Finding(
            "direction_mark", rows, name, tuple(shown),
            "the text holds marks that turn the direction of writing; they are taken out",
            "Take the marks out of the file.", Done.MENDED))  # fmt: skip
        data = data.set_column(place, name, pc.replace_substring_regex(text, _MARKS, ""))
    rejects = tuple(replace(reject, text=_MARK.sub("", reject.text)) for reject in raw.rejects)
    return replace(raw, data=data, rejects=rejects), tuple(findings)


def _spelled(mark: re.Match[str]) -> str:
    return f"<U+{ord(mark[0]):04X}>"


def _may_hold(column: pa.ChunkedArray) -> bool:
    """Whether the bytes of a text column show a mark; quick where, as nearly always, none does."""
    kind = column.type
    if pa.types.is_dictionary(kind):
        return True
    if not (pa.types.is_string(kind) or pa.types.is_large_string(kind)):
        return False
    buffers = (chunk.buffers()[-1] for chunk in column.chunks)
    return any(_BYTES.search(buffer) for buffer in buffers if buffer is not None)
