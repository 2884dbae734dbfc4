"""The rows of one file that are set aside, whole and with their reason; many as quickly as few.

A city without coordinates sets every row aside, so that nothing here goes row by row: cells are
looked at once for each different text.
"""

import json
from collections.abc import Sequence
from textwrap import shorten

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline.ingest.cells import as_text, by_distinct
from pipeline.ingest.columns import Mapped
from pipeline.ingest.danger import DangerWords, danger_of
from pipeline.ingest.darwin_core import ABSENT, FOSSIL
from pipeline.ingest.names import NameBook
from pipeline.ingest.points import OUTSIDE_BOX
from pipeline.ingest.quarantine import Done, Finding, Reject
from pipeline.ingest.readers import RawTable
from pipeline.ingest.sightings import pseudonym
from pipeline.tables.catalogue_account import QUARANTINE
from pipeline.units import Flags, Ints

# What tells a person which thing a row speaks of: these together, else how its notes begin.
_NAMES = (("tree_id", "tree "), ("sighting_id", "sighting "), ("street", ""), ("address", ""))
_MOST_OF_NOTES = 60
_WHOLE_RECORD = "(whole record)"
_NO_DANGER = frozenset({OUTSIDE_BOX, ABSENT, FOSSIL})
_LETTER = r"\p{L}"
SCHEMA = pa.schema(
    [pa.field(f.name, pa.string() if pa.types.is_dictionary(f.type) else f.type)
     for f in QUARANTINE.arrow_schema if f.name != "quarantine_key"]
)  # fmt: skip


def rows_aside(
    raw: RawTable,
    mapped: Mapped | None,
    findings: Sequence[Finding],
    words: DangerWords,
    *,
    urgent: frozenset[str],
    fungi: NameBook,
) -> pa.Table:
    """One row a row that is set aside, with its first fault; broken records after them.

    Parameters
    ----------
    urgent : taxon ids whose mere name means danger.
    """
    gone = [finding for finding in findings if finding.done is Done.SET_ASIDE]
    every = np.concatenate([np.zeros(0, np.int64), *(finding.rows for finding in gone)])
    rows, first = np.unique(every, return_index=True)
    which = np.repeat(np.arange(len(gone)), [finding.count for finding in gone])[first]
    values = pa.array([value for finding in gone for value in _values(finding)], pa.string())
    texts = _texts(raw, mapped, rows)
    named = _urgent_names(mapped, rows, fungi, urgent)
    # a row outside the city's own bounding box is no fault: its fungus is somebody else's danger;
    # a fungus that was looked for and not found is nobody's
    local = np.array([finding.code not in _NO_DANGER for finding in gone], np.bool_)
    told = [name if here else None for name, here in zip(named, local[which], strict=True)]
    lines = raw.lines(rows) if len(rows) else None
    size = len(rows)
    table = pa.table(
        {
            "source_key": pa.array(np.full(size, raw.source_key, np.int32)),
            "row": pa.array(raw.rows[rows], pa.int64()),
            "line": pa.nulls(size, pa.int64()) if lines is None else pa.array(lines),
            "column": _spread([finding.column for finding in gone], which),
            "value": values.take(pa.array(first)),
            "code": _spread([finding.code for finding in gone], which),
            "reason": _spread([finding.reason for finding in gone], which),
            "remedy": _spread([finding.remedy for finding in gone], which),
            "danger": _danger(texts, told, words),
            "about": _about(mapped, rows),
            "original": _json(texts, size),
        }
    )
    broken = [_rejected(raw, reject, words) for reject in raw.rejects]
    return pa.concat_tables([table.select(SCHEMA.names).cast(SCHEMA),
                             pa.Table.from_pylist(broken, schema=SCHEMA)])  # fmt: skip


def _values(finding: Finding) -> Sequence[str | None]:
    return finding.values or (None,) * finding.count


def _spread(texts: Sequence[str | None], which: Ints) -> pa.Array:
    return pa.array(texts, pa.string()).take(pa.array(which))


def _rejected(raw: RawTable, reject: Reject, words: DangerWords) -> dict[str, object]:
    return {
        "source_key": raw.source_key, "row": reject.row, "line": reject.line, "column": None,
        "value": None, "code": reject.code, "reason": reject.reason, "remedy": reject.remedy,
        "danger": danger_of([reject.text], words, [None])[0],
        "about": shorten(reject.text, _MOST_OF_NOTES, placeholder=" …") or None,
        "original": json.dumps({_WHOLE_RECORD: reject.text}, ensure_ascii=False),
    }  # fmt: skip


def _texts(raw: RawTable, mapped: Mapped | None, rows: Ints) -> dict[str, pa.Array]:
    """The rows as header to text; observers' names are pseudonyms here too."""
    taken = raw.data.take(pa.array(rows))
    texts = {name: as_text(taken[name]) for name in taken.column_names}
    header = None if mapped is None else mapped.header("observer")
    if header is not None:
        texts[header] = by_distinct(
            texts[header], lambda name: (pseudonym(name) if name.strip() else name, None)
        )[0]
    if raw.geometry is not None:
        shapes = shapely.to_wkt(raw.geometry[rows], rounding_precision=-1)
        texts["geometry"] = pa.array(shapes, pa.string())
    return texts


def _json(texts: dict[str, pa.Array], size: int) -> pa.Array:
    """Each row as a JSON object of header to text, as `json.dumps` writes it."""
    parts = []
    for header, text in texts.items():
        key = json.dumps(header, ensure_ascii=False)
        coded = text.dictionary_encode()
        said = [
            f"{key}: {json.dumps(value, ensure_ascii=False)}"
            for value in coded.dictionary.to_pylist()
        ]
        cells = pa.array(said, pa.string()).take(coded.indices)
        parts.append(cells.fill_null(f"{key}: null"))
    if not parts:
        return pa.array(["{}"] * size, pa.string())
    body = pc.binary_join_element_wise(*parts, ", ")
    return pc.binary_join_element_wise("{", body, "}", "")


def _danger(texts: dict[str, pa.Array], told: Sequence[str | None], words: DangerWords) -> pa.Array:
    """The words of danger of each row; only rows with such a word in some cell are read whole."""
    suspect: Flags = np.array([name is not None for name in told], np.bool_)
    for text in texts.values():
        coded = text.dictionary_encode()
        lettered = pc.match_substring_regex(coded.dictionary, _LETTER).fill_null(False)
        places = np.flatnonzero(lettered.to_numpy(zero_copy_only=False))
        cells = coded.dictionary.take(pa.array(places)).to_pylist()
        marked = np.zeros(len(coded.dictionary) + 1, np.bool_)
        marked[places] = [bool(words.found_in(cell)) for cell in cells]
        suspect |= marked[coded.indices.fill_null(-1).to_numpy(zero_copy_only=False)]
    found: list[str | None] = [None] * len(told)
    rows = np.flatnonzero(suspect)
    few = pa.table(texts).take(pa.array(rows)).to_pylist()
    whole = [" | ".join(text for text in row.values() if text) for row in few]
    dangers = danger_of(whole, words, [told[row] for row in rows.tolist()])
    for row, danger in zip(rows.tolist(), dangers, strict=True):
        found[row] = danger
    return pa.array(found, pa.string())


def _about(mapped: Mapped | None, rows: Ints) -> pa.Array:
    """What each row names, so that a person can go there without opening the file."""
    if mapped is None:
        return pa.nulls(len(rows), pa.string())
    taken = pa.array(rows)
    parts = []
    for name, word in _NAMES:
        text = mapped.text(name).cast(pa.string()).take(taken)
        text = pc.if_else(pc.equal(text, ""), None, text)
        parts.append(pc.binary_join_element_wise(", ", word, text, "").fill_null(""))
    told = pc.utf8_slice_codeunits(pc.binary_join_element_wise(*parts, ""), start=2)
    notes = by_distinct(
        mapped.text("notes").cast(pa.string()).take(taken),
        lambda note: (shorten(note, _MOST_OF_NOTES, placeholder=" …") or None, None),
    )[0]
    return pc.if_else(pc.equal(told, ""), notes, told)


def _urgent_names(
    mapped: Mapped | None, rows: Ints, fungi: NameBook, urgent: frozenset[str]
) -> list[str | None]:
    """For set-aside sightings, the fungus told if its action code is urgent."""
    if mapped is None or not mapped.has("name") or mapped.raw.kind != "sightings":
        return [None] * len(rows)
    told = mapped.text("name").take(pa.array(rows))
    found: list[str | None] = by_distinct(
        told, lambda name: (name if name and fungi.answer(name).name in urgent else None, None)
    )[0].to_pylist()
    return found
