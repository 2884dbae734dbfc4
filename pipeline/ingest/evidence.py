"""Columns of the tree files that are evidence, read as their maps say; unknown words are told."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest import cells
from pipeline.ingest.columns import Mapped
from pipeline.ingest.derived import (
    Derived,
    DerivedDecisions,
    DerivedDefects,
    DerivedReadings,
    DerivedSightings,
    keys_of_rows,
)
from pipeline.ingest.evidence_map import SEEN, EvidenceRule, Meaning
from pipeline.ingest.measured import ReadingLimits
from pipeline.ingest.names import NameBook
from pipeline.ingest.quarantine import Done, Finding
from pipeline.units import Flags, Floats, Ints

ORIGIN = "column"
_PLAIN_NUMBER = r"^[+-]?(\d+[.,]?\d*|[.,]\d+)$"
_DATED = "last_inspected_on"


@dataclass(frozen=True, slots=True)
class _Told:
    """What one rule makes of some rows of its file, one entry a meaning of a cell.

    Parameters
    ----------
    rows, keys : row of the file and its tree, shape (n,).
    meanings, meant : the different meanings, and which one each entry has, shape (n,).
    name : of sightings, the fungus.
    """

    rows: Ints
    keys: Ints
    meanings: Sequence[Meaning]
    meant: Ints
    quoted: pa.Array
    name: pa.Array
    seen_on: pa.Array

    def take(self, kept: Flags) -> "_Told":
        """Some of the entries."""
        rows = pa.array(np.flatnonzero(kept))
        return replace(
            self,
            rows=self.rows[kept], keys=self.keys[kept], meant=self.meant[kept],
            quoted=self.quoted.take(rows), name=self.name.take(rows),
            seen_on=self.seen_on.take(rows),
        )  # fmt: skip

    def texts(self, key: str, kind: pa.DataType | None = None) -> pa.Array:
        """One thing of every entry as text (or `kind`), null where it is not told."""
        values = pa.array([meaning.get(key) for meaning in self.meanings], kind or pa.string())
        return values.take(pa.array(self.meant))

    def numbers(self, key: str) -> Floats:
        """One thing of every entry as a number, NaN where it is not told."""
        values = np.array([meaning.get(key, np.nan) for meaning in self.meanings], np.float64)
        return np.asarray(values[self.meant] if len(values) else values, np.float64)

    def truths(self, key: str) -> Flags:
        """One thing of every entry as yes or no, no where it is not told."""
        values = np.array([meaning.get(key, False) for meaning in self.meanings], np.bool_)
        return np.asarray(values[self.meant] if len(values) else values, np.bool_)


def read(
    files: Sequence[Mapped],
    surveyed_on: Sequence[date | None],
    *,
    trees: pa.Table,
    book: NameBook,
    limits: ReadingLimits,
    as_of: date,
) -> Derived:
    """What the evidence columns of all tree files tell of the accepted trees.

    Parameters
    ----------
    surveyed_on : of each file, the day of its survey where its rows carry no date.
    trees : ingest.trees in the order of their keys.
    limits : how large a measurement may be beside its stem.
    as_of : what is dated after this day is not read, and told.
    """
    parts: list[Any] = []
    findings: list[tuple[Finding, ...]] = []
    for mapped, day in zip(files, surveyed_on, strict=True):
        keys = keys_of_rows(mapped, trees) if mapped.evidence else np.zeros(0, np.int64)
        found: list[Finding] = []
        for rule in mapped.evidence:
            if rule.measures is None:
                told, faults = _told(mapped, rule, keys, book)
            else:
                most = _most(rule.measures, trees["dbh_cm"], keys, limits)
                told, faults = _measured(mapped, rule, keys, most)
            told, late = _dated(mapped, rule, told, day=day, as_of=as_of)
            made, undated = _BUILD[rule.kind](rule, told, mapped)
            parts.append(made)
            found += [*faults, *late, *undated]
        findings.append(tuple(found))
    return Derived(
        sightings=tuple(one for one in parts if isinstance(one, DerivedSightings)),
        defects=tuple(one for one in parts if isinstance(one, DerivedDefects)),
        readings=tuple(one for one in parts if isinstance(one, DerivedReadings)),
        decisions=tuple(one for one in parts if isinstance(one, DerivedDecisions)),
        findings=tuple(findings),
    )


def _told(
    mapped: Mapped, rule: EvidenceRule, keys: Ints, book: NameBook
) -> tuple[_Told, list[Finding]]:
    """Meanings of the cells of accepted trees; undated as yet."""
    text = cells.clean(mapped.raw.data[rule.column], mapped.missing)
    coded = text.dictionary_encode()
    words = coded.dictionary.to_pylist()
    of_word = [_meanings(rule, word) for word in words]
    meanings = [meaning for several in of_word for meaning in several or ()]
    count = np.array([*(len(several or ()) for several in of_word), 0], np.int64)
    at = coded.indices.fill_null(len(words)).to_numpy(zero_copy_only=False)
    standing = keys >= 0
    many = count[at] * standing
    rows = np.repeat(np.arange(len(keys)), many)
    nth = np.arange(len(rows)) - np.repeat(np.cumsum(many) - many, many)
    strange = np.array([*(several is None for several in of_word), False], np.bool_)
    faults = _finding(
        mapped, rule.column, np.flatnonzero(strange[at] & standing), "evidence_word_unknown",
        "the column map does not say what the word means; nothing was read from it",
        "Add the word to `words` of the column in the column map.",
    )  # fmt: skip
    told = _entries(rule, keys, text, rows, (meanings, (np.cumsum(count) - count)[at[rows]] + nth))
    if rule.kind != "sighting":
        return told, faults
    told, nameless = _named(mapped, rule, told, book)
    return told, [*faults, *nameless]


def _meanings(rule: EvidenceRule, word: str) -> tuple[Meaning, ...] | None:
    """What a word means; None where the map does not say."""
    unknown = ({"name": word, "by_cell": True},) if rule.otherwise_name else None
    return rule.words.get(word.lower(), unknown)


def _entries(
    rule: EvidenceRule, keys: Ints, text: pa.Array, rows: Ints,
    said: tuple[Sequence[Meaning], Ints],
) -> _Told:  # fmt: skip
    """Entries of some rows without a date, with the cells quoted under their header."""
    quoted = pc.binary_join_element_wise(rule.column.strip(), text.take(pa.array(rows)), ": ")
    size = len(rows)
    return _Told(
        rows, keys[rows], said[0], said[1], quoted, pa.nulls(size, pa.string()),
        pa.nulls(size, pa.date32()),
    )  # fmt: skip


def _most(measures: str, dbh_cm: pa.ChunkedArray, keys: Ints, limits: ReadingLimits) -> Floats:
    """The largest measurement that each row's stem allows, infinite where nothing bounds it."""
    if measures == "decayed_share":
        return np.ones(len(keys))
    own = np.append(dbh_cm.fill_null(np.nan).to_numpy(), np.nan)[keys]
    section = own * limits.section_over_breast_height
    over = {
        "shell_cm": limits.shell_over_radius / 2.0,
        "hollow_diameter_cm": limits.hollow_over_diameter,
        "opening_cm": limits.opening_over_girth * np.pi,
    }
    return np.nan_to_num(over[measures] * section, nan=np.inf)


def _measured(
    mapped: Mapped, rule: EvidenceRule, keys: Ints, most: Floats
) -> tuple[_Told, list[Finding]]:
    """Numbers of a column of measurements, in the unit of the canonical column."""
    text = cells.clean(mapped.raw.data[rule.column], mapped.missing)
    plain = pc.match_substring_regex(text, _PLAIN_NUMBER).fill_null(False)
    values = pc.if_else(plain, pc.replace_substring(text, ",", "."), None).cast(pa.float64())
    number = values.fill_null(float("nan")).to_numpy(zero_copy_only=False) * rule.scale
    standing = keys >= 0
    usable = (number >= 0) & (number <= most) & standing
    wrong = text.is_valid().to_numpy(zero_copy_only=False) & standing & ~usable
    faults = _finding(
        mapped, rule.column, np.flatnonzero(wrong), "evidence_number_impossible",
        "the cell is no measurement that can be in this stem; nothing was read from it",
        "Write a plain number in the unit that the column map says.",
    )  # fmt: skip
    rows = np.flatnonzero(usable)
    different, meant = np.unique(number[rows], return_inverse=True)
    meanings = [{str(rule.measures): value} for value in different.tolist()]
    return _entries(rule, keys, text, rows, (meanings, meant)), faults


def _named(
    mapped: Mapped, rule: EvidenceRule, told: _Told, book: NameBook
) -> tuple[_Told, list[Finding]]:
    """Sightings with the name that the map, the cell or the naming column gives; else unnamed."""
    given = told.texts("name")
    beside = pa.nulls(len(given), pa.string())
    quoted = told.quoted
    if rule.name is not None:
        column = cells.clean(mapped.raw.data[rule.name], mapped.missing)
        beside = column.take(pa.array(told.rows))
        more = pc.binary_join_element_wise(rule.name.strip(), beside, ": ")
        quoted = pc.coalesce(pc.binary_join_element_wise(quoted, more, "; "), quoted)
    by_cell = pa.array(told.truths("by_cell"))
    written = pc.if_else(
        by_cell, given, pc.if_else(pc.equal(given, SEEN), beside, pa.scalar(None, pa.string()))
    )

    def look_up(text: str) -> tuple[str | None, str | None]:
        name = rule.names.get(text.lower(), text)
        if not name:
            return None, None
        return (name, None) if book.answer(name).how != "unknown" else (None, "unnamed")

    found, faults = cells.by_distinct(written, look_up)
    by_map = pc.and_(pc.invert(by_cell), pc.not_equal(given, SEEN))
    nameless = np.concatenate([fault.rows for fault in faults] or [np.zeros(0, np.int64)])
    findings = _finding(
        mapped, rule.name or rule.column, np.unique(told.rows[nameless]), "evidence_fungus_unnamed",
        "the words name no fungus of the catalogue; the sighting is kept without a name",
        "If they name one, add them to `names` of the column in the column map.",
    )  # fmt: skip
    return replace(told, name=pc.if_else(by_map, given, found), quoted=quoted), findings


def _dated(
    mapped: Mapped, rule: EvidenceRule, told: _Told, *, day: date | None, as_of: date
) -> tuple[_Told, list[Finding]]:
    """The entries with their dates; those dated after the run are left out and told."""
    header, formats = rule.date, rule.dates
    if header is None and _DATED in mapped.headers:
        header = mapped.headers[_DATED]
        formats = mapped.rules[_DATED].dates
    dates = pa.nulls(len(told.rows), pa.date32())
    if header is not None:
        raw = mapped.raw.data[header]
        if pa.types.is_temporal(raw.type):
            column = raw.cast(pa.date32()).combine_chunks()
        else:
            column, _ = cells.dates(cells.clean(raw, mapped.missing), formats)
        dates = column.take(pa.array(told.rows))
    dates = pc.coalesce(dates, pa.scalar(day, pa.date32()))
    late = pc.greater(dates, pa.scalar(as_of)).fill_null(False).to_numpy(zero_copy_only=False)
    told = replace(told, seen_on=dates)
    faults = _finding(
        mapped, header or rule.column, np.unique(told.rows[late]), "dated_after_run",
        "the evidence of the row is dated after the day of the run and was not read",
        "Mend the date, or run with a later --as-of.",
    )  # fmt: skip
    return told.take(~late), faults


_Made = tuple[DerivedSightings | DerivedDefects | DerivedReadings | DerivedDecisions, list[Finding]]


def _sightings(rule: EvidenceRule, told: _Told, _: Mapped) -> _Made:
    size = len(told.rows)
    made = DerivedSightings(
        origin=ORIGIN,
        tree_key=told.keys,
        quoted=pa.array(told.quoted, pa.string()),
        name=told.name,
        name_certainty=np.full(size, np.nan),
        name_by=pa.array([rule.name_by] * size, pa.string()),
        attachment=pa.array([rule.attachment] * size, pa.string()),
        position=pa.array([rule.place] * size, pa.string()),
        seen_on=told.seen_on,
        flags=_flags(told),
    )
    return made, []


def _defects(rule: EvidenceRule, told: _Told, _: Mapped) -> _Made:
    made = DerivedDefects(
        origin=ORIGIN,
        tree_key=told.keys,
        quoted=pa.array(told.quoted, pa.string()),
        part=pa.array([rule.place] * len(told.rows), pa.string()),
        defect=told.texts("defect"),
        extent_share=told.numbers("extent_share"),
        with_decay=told.truths("with_decay"),
        with_crack=told.truths("with_crack"),
        seen_on=told.seen_on,
        flags=_flags(told),
    )
    return made, []


def _readings(rule: EvidenceRule, told: _Told, _: Mapped) -> _Made:
    size = len(told.rows)
    made = DerivedReadings(
        origin=ORIGIN,
        tree_key=told.keys,
        quoted=pa.array(told.quoted, pa.string()),
        part=pa.array([rule.place] * size, pa.string()),
        reading=pa.array([rule.reading or "sounding"] * size, pa.string()),
        reading_result=told.texts("reading_result"),
        measures=rule.measures,
        value=told.numbers(rule.measures or ""),
        measured_on=told.seen_on,
    )
    return made, []


def _decisions(rule: EvidenceRule, told: _Told, mapped: Mapped) -> _Made:
    known = told.seen_on.is_valid().to_numpy(zero_copy_only=False)
    faults = _finding(
        mapped, rule.column, np.unique(told.rows[~known]), "evidence_without_date",
        "a decision needs a date, and the row has none; it was not read",
        "Name a column of dates in the map, or `surveyed_on` in the settings.",
    )  # fmt: skip
    dated = told.take(known)
    made = DerivedDecisions(
        origin=ORIGIN,
        tree_key=dated.keys,
        quoted=pa.array(dated.quoted, pa.string()),
        decision=dated.texts("decision"),
        value=dated.texts("value"),
        until=dated.texts("until", pa.date32()),
        decided_on=dated.seen_on,
    )
    return made, faults


_BUILD: dict[str, Callable[[EvidenceRule, _Told, Mapped], _Made]] = {
    "sighting": _sightings,
    "defect": _defects,
    "reading": _readings,
    "decision": _decisions,
}


def _flags(told: _Told) -> pa.Array:
    return pc.if_else(told.seen_on.is_valid(), "", "seen_on_missing")


def _finding(
    mapped: Mapped, column: str, rows: Ints, code: str, reason: str, remedy: str
) -> list[Finding]:
    if not len(rows):
        return []
    values = tuple(cells.as_text(mapped.raw.data[column]).take(pa.array(rows)).to_pylist())
    return [Finding(code, rows, column, values, reason, remedy, Done.FLAGGED)]
