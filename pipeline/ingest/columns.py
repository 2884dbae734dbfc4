"""Applying a column map: a city's own headers, units and words become the canonical columns."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.errors import InputError, PipelineError
from pipeline.ingest import cells
from pipeline.ingest.column_map import ColumnMap, ColumnRule, factor, nearest, raise_all
from pipeline.ingest.evidence_map import EvidenceRule, needed_headers
from pipeline.ingest.quarantine import Done, Finding
from pipeline.ingest.readers import RawTable
from pipeline.ingest.repeats import plain_header
from pipeline.tables.inputs import INPUTS, InputColumn
from pipeline.units import Flags, Floats, diameter_from_girth

Vocabulary = Mapping[str, Mapping[str, str]]
_PLAIN_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"


@dataclass(frozen=True)
class Mapped:
    """The canonical columns of one file, every one as long as the file.

    Columns that the file does not have come back empty: all null, or all NaN. `findings` hold what
    could not be understood; those values are empty here and kept in the file's own table. `marks`
    are flags that need no finding: code to rows, shape (n,). `missing` are the words, in lower
    case, that the map takes for nothing; `evidence` says which further columns are evidence;
    `notes` is what to say of the file as a whole.
    """

    raw: RawTable
    kind: str
    headers: dict[str, str]
    columns: dict[str, pa.Array]
    rules: dict[str, ColumnRule] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    marks: dict[str, Flags] = field(default_factory=dict)
    missing: frozenset[str] = frozenset({""})
    evidence: tuple[EvidenceRule, ...] = ()
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.raw)

    def has(self, name: str) -> bool:
        """Whether the file, or a constant of its map, carries the canonical column."""
        return name in self.columns

    def header(self, name: str) -> str | None:
        """The file's own header of a canonical column."""
        return self.headers.get(name)

    def text(self, name: str) -> pa.Array:
        """A text, word or words column: stripped strings, null where missing."""
        return self.columns.get(name, pa.nulls(len(self), pa.string()))

    def number(self, name: str) -> Floats:
        """A number column in the canonical unit, NaN where missing, shape (n,)."""
        column = self.columns.get(name)
        if column is None:
            return np.full(len(self), np.nan)
        return np.asarray(column.fill_null(float("nan")).to_numpy(zero_copy_only=False), np.float64)

    def dates(self, name: str) -> pa.Array:
        """A date column, null where missing."""
        return self.columns.get(name, pa.nulls(len(self), pa.date32()))

    def yes_no(self, name: str) -> pa.Array:
        """A yes/no column, null where missing."""
        return self.columns.get(name, pa.nulls(len(self), pa.bool_()))

    def original(self, name: str) -> pa.Array:
        """The file's own cells behind a canonical column, as text."""
        header = self.headers.get(name)
        if header is None:
            return pa.nulls(len(self), pa.string())
        return cells.as_text(self.raw.data[header])

    def with_changes(
        self,
        columns: Mapping[str, pa.Array],
        findings: tuple[Finding, ...],
        marks: Mapping[str, Flags] | None = None,
    ) -> "Mapped":
        """The same file with some columns replaced and further findings and marks."""
        return replace(
            self,
            columns={**self.columns, **columns},
            findings=(*self.findings, *findings),
            marks={**self.marks, **(marks or {})},
        )


def apply(
    raw: RawTable, column_map: ColumnMap, kind: str, *, vocabulary: Vocabulary | None = None
) -> Mapped:
    """The canonical columns of a file.

    Parameters
    ----------
    vocabulary : for word columns, the city's usual words to the canonical ones; lower case.

    Raises
    ------
    InputError
        If the map is for another kind of input, or a mapped column is not in the file.
    ManyFaults
        If several are not.
    """
    found = _found_headers(raw, column_map, kind)
    declared = {column.name: column for column in INPUTS[kind].columns}
    columns: dict[str, pa.Array] = {}
    findings: list[Finding] = []
    texts = _Texts(raw, column_map.missing)
    for name, rule in column_map.columns.items():
        column = declared[name]
        text = raw.data[found[name]]
        words = (vocabulary or {}).get(name, {})
        if column.kind in {"number", "integer", "date"}:
            values, faults = _measure(column, rule, text, column_map)
        else:
            by_distinct = bool(rule.split or rule.codes or column.kind != "text")
            cleaned = texts.of(found[name], coded=by_distinct)
            values, faults = _words(column, rule, cleaned, column_map, words)
            if rule.before is not None:
                values = cells.joined(texts.of(rule.before, coded=False), values)
            if rule.several:
                values = cells.labelled({label: texts.of(header, coded=False)
                                    for header, label in rule.several.items()})  # fmt: skip
        columns[name] = values
        findings += [_finding(fault, found[name], text, column) for fault in faults]
    for name, constant in column_map.constants.items():
        columns[name] = _constant(declared[name], constant, len(raw))
    marks = _marks(raw, column_map)
    return Mapped(
        raw, kind, found, columns, dict(column_map.columns), tuple(findings), marks,
        column_map.missing, column_map.evidence,
    )  # fmt: skip


def _marks(raw: RawTable, column_map: ColumnMap) -> dict[str, Flags]:
    """Rows that the map's own flags mark.

    Raises
    ------
    InputError
        If a flag's column is not in the file.
    """
    marks: dict[str, Flags] = {}
    for code, flag in column_map.flags.items():
        if flag.column not in raw.data.column_names:
            raise InputError(
                where=f"{raw.kind} file {raw.file}, column {flag.column!r} for the flag {code}",
                found=f"columns {', '.join(raw.data.column_names)}",
                expected="the column that the map names",
                remedy=f"Mend {column_map.where}.",
            )
        text = pc.utf8_lower(cells.clean(raw.data[flag.column], frozenset()))
        marked = pc.is_in(text, value_set=pa.array(sorted(flag.values), pa.string()))
        marks[code] = np.asarray(marked.to_numpy(zero_copy_only=False), np.bool_)
    return marks


def _found_headers(raw: RawTable, column_map: ColumnMap, kind: str) -> dict[str, str]:
    """The file's own header of each canonical column.

    Raises
    ------
    InputError
        If the map is for another kind of input, or a column is not there.
    """
    where = f"{kind} file {raw.file}"
    if column_map.kind != kind:
        wrong = f"{column_map.where}, which is for {column_map.kind}"
        right, remedy = f"a column map for {kind}", "Name another map in the settings."
        raise InputError(where=where, found=wrong, expected=right, remedy=remedy)
    headers = raw.data.column_names
    plain = {plain_header(header): header for header in reversed(headers)}
    found: dict[str, str] = {}
    faults: list[PipelineError] = []
    for name, rule in column_map.columns.items():
        header = plain.get(plain_header(rule.column))
        header = rule.column if rule.column in headers else header
        if header is None:
            faults.append(InputError(
                where=f"{where}, column {rule.column!r} for {name}",
                found=f"columns {', '.join(headers)}{nearest(rule.column, headers)}",
                expected="the column that the map names",
                remedy=f"Mend {column_map.where}, or export the file with that column.",
            ))  # fmt: skip
        else:
            found[name] = header
    faults += [
        InputError(
            where=f"{where}, column {header!r}",
            found=f"columns {', '.join(headers)}{nearest(header, headers)}",
            expected="the column that the map names",
            remedy=f"Mend {column_map.where}.",
        )
        for header in (*needed_headers(column_map.evidence), *_beside(column_map))
        if header not in headers
    ]  # fmt: skip
    if faults:
        raise_all(faults)
    return found


def _beside(column_map: ColumnMap) -> tuple[str, ...]:
    """Headers that rules read beside their own."""
    rules = column_map.columns.values()
    before = [rule.before for rule in rules if rule.before is not None]
    return (*before, *(header for rule in rules for header in rule.several))


_Faults = list[cells.Fault]


class _Texts:
    """Columns of a file as clean text, each made once however many rules read it."""

    def __init__(self, raw: RawTable, missing: frozenset[str]) -> None:
        self._raw, self._missing = raw, missing
        self._clean: dict[str, pa.Array] = {}
        self._coded: dict[str, pa.Array] = {}

    def of(self, header: str, *, coded: bool) -> pa.Array:
        """The column, plain or as a dictionary."""
        if header not in self._clean:
            self._clean[header] = cells.clean(self._raw.data[header], self._missing)
        if not coded:
            return self._clean[header]
        if header not in self._coded:
            self._coded[header] = self._clean[header].dictionary_encode()
        return self._coded[header]


def _measure(
    column: InputColumn, rule: ColumnRule, data: pa.ChunkedArray, column_map: ColumnMap
) -> tuple[pa.Array, _Faults]:
    """A number or a date, and what could not be understood of it."""
    if column.kind != "date":
        return _numbers(column, rule, data, column_map)
    if pa.types.is_temporal(data.type):
        return data.cast(pa.date32()).combine_chunks(), []
    return cells.dates(cells.clean(data, column_map.missing), rule.dates)


def _words(
    column: InputColumn,
    rule: ColumnRule,
    text: pa.Array,
    column_map: ColumnMap,
    words: Mapping[str, str],
) -> tuple[pa.Array, _Faults]:
    """A text, a word, several words or yes/no, and what could not be understood of it."""
    if rule.split is not None:
        text = cells.by_distinct(text, partial(_part, rule=rule, missing=column_map.missing))[0]
    if column.kind == "yes_no":
        return cells.by_distinct(text, cells.yes_or_no, kind=pa.bool_())
    if column.kind in {"word", "words"}:
        read = cells.word_reader(
            codes=rule.codes, words=words, allowed=column.allowed, otherwise=rule.otherwise,
            several=column.kind == "words",
        )  # fmt: skip
        return cells.by_distinct(text, read)
    if rule.codes:
        return cells.by_distinct(
            text, lambda cell: (rule.codes.get(cell.lower(), cell) or None, None)
        )
    return text, []


def _part(cell: str, *, rule: ColumnRule, missing: frozenset[str]) -> tuple[str | None, None]:
    parts = cell.split(rule.split)
    part = parts[rule.take].strip() if -len(parts) <= rule.take < len(parts) else ""
    return (None if part.lower() in missing else part), None


def _numbers(
    column: InputColumn, rule: ColumnRule, data: pa.ChunkedArray, column_map: ColumnMap
) -> tuple[pa.Array, _Faults]:
    scale = factor(column.unit, rule.unit) or 1.0
    kind = data.type
    # Anything but a number is text here: one word among numbers makes a column of JSON text.
    typed = pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_boolean(kind)
    if typed and not rule.classes:
        values = data.cast(pa.float64(), safe=False).combine_chunks()
        return _scaled(rule, values, scale), []
    text = cells.clean(cells.as_text(data), column_map.missing)
    if rule.classes:
        return cells.by_distinct(text, partial(_of_class, rule=rule), kind=pa.float64())
    if column_map.decimal != ",":
        try:
            return _scaled(rule, text.cast(pa.float64()), scale), []
        except pa.ArrowInvalid:
            pass
    plain = pc.match_substring_regex(text, _PLAIN_NUMBER).fill_null(False)
    if column_map.decimal == ",":
        plain = pc.and_(plain, pc.invert(pc.match_substring(text, ".").fill_null(False)))
    values = pc.if_else(plain, text, None).cast(pa.float64())
    read = partial(
        cells.odd_number, decimal=column_map.decimal, scale=scale,
        units=lambda unit: factor(column.unit, unit), sheet_year=rule.spreadsheet_year,
    )  # fmt: skip
    # an odd cell is read in its own unit, so it is brought back to the column's before scaling
    odd, faults = cells.by_distinct(pc.if_else(plain, None, text), read, kind=pa.float64())
    return _scaled(rule, pc.coalesce(values, odd), scale), faults


def _scaled(rule: ColumnRule, values: pa.Array, scale: float) -> pa.Array:
    if scale != 1.0:
        values = pc.multiply(values, scale)
    if rule.measure == "girth":
        girth = values.fill_null(float("nan")).to_numpy(zero_copy_only=False)
        values = pa.array(diameter_from_girth(girth), from_pandas=True)
    return values


def _of_class(cell: str, *, rule: ColumnRule) -> tuple[float | None, str | None]:
    """The middle of the class; an open class is its lower bound, which never overstates."""
    bounds = rule.classes.get(cell.lower())
    if bounds is None:
        return None, "class_unknown"
    return sum(bounds) / len(bounds), None


def _constant(column: InputColumn, value: str, size: int) -> pa.Array:
    if column.kind in {"number", "integer"}:
        return pa.array(np.full(size, float(value)))
    if column.kind == "date":
        return pa.array([value]).cast(pa.date32()).take(pa.array(np.zeros(size, np.int64)))
    if column.kind == "yes_no":
        return pa.array(np.full(size, value.lower() in {"true", "yes"}))
    return pa.repeat(pa.scalar(value), size)


_TEXTS: dict[str, tuple[str, str, Done]] = {
    "number_unreadable": (
        "the cell is no number", "Write a plain number, or a number and its unit.", Done.EMPTIED),
    "number_ambiguous": (
        "the comma may part thousands or decimals",
        "Write the number without a thousands mark, or set `decimal` in the column map.",
        Done.EMPTIED),
    "spreadsheet_date": (
        "a spreadsheet took the number for a date: 02/05/10 was most likely 2.5, 01/01/75 1.75",
        "If so, name the year in which the sheet was filled in the map: spreadsheet_year = 2010.",
        Done.EMPTIED),
    "spreadsheet_number": (
        "a spreadsheet had taken the number for a date; it was read back as the map says",
        "Mend the column in the file.", Done.MENDED),
    "unit_unknown": (
        "the number carries a unit that does not fit the column",
        "Write the number in the column's unit.", Done.EMPTIED),
    "class_unknown": (
        "the class is not in the column map", "Add the class to the column map.", Done.EMPTIED),
    "date_unreadable": (
        "the cell is no date", "Write the date as 2026-11-25, or a plain year.", Done.EMPTIED),
    "date_ambiguous": (
        "day and month cannot be told apart",
        "Say the order in the column map: dates = ['%d/%m/%Y'].", Done.EMPTIED),
    "yes_no_unreadable": (
        "the cell says neither yes nor no", "Write yes or no.", Done.EMPTIED),
    "word_unknown": (
        "the word is not one that is known here; it counts as unknown",
        "Add the word to `codes` in the column map.", Done.FLAGGED),
}  # fmt: skip


def _finding(
    fault: cells.Fault, header: str, data: pa.ChunkedArray, column: InputColumn
) -> Finding:
    reason, remedy, done = _TEXTS[fault.code]
    values = cells.as_text(data).take(pa.array(fault.rows)).to_pylist()
    return Finding(
        f"{column.name}_{fault.code}", fault.rows, header, tuple(values), reason, remedy, done
    )
