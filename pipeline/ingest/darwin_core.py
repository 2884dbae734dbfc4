"""Occurrence tables whose headers are Darwin Core terms, understood without a column map.

Which terms are read, into which canonical column and how, stands in
config/published/darwin_core_terms.csv; what their words mean in darwin_core_words.csv.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.geo import crs as geo_crs
from pipeline.ingest import columns, darwin_core_cells
from pipeline.ingest.cells import by_distinct, clean, dates
from pipeline.ingest.column_map import DEFAULT_MISSING, ColumnMap, ColumnRule, MapError, raise_all
from pipeline.ingest.columns import Mapped, Vocabulary
from pipeline.ingest.darwin_core_cells import PROPERTIES, Word, Words, squeezed
from pipeline.ingest.darwin_core_terms import Standard
from pipeline.ingest.quarantine import Done, Finding
from pipeline.ingest.readers import RawTable
from pipeline.tables.inputs import INPUTS
from pipeline.units import Flags, Floats

ABSENT, FOSSIL = "occurrence_absent", "occurrence_fossil"
_SHARED_WORDS = {"dataGeneralizations": "informationWithheld"}
_SEPARATOR = "\x1f"
_MISSING = frozenset(DEFAULT_MISSING)
_NAME_TERMS = (
    "scientificName", "scientificNameAuthorship", "taxonRank", "verbatimIdentification", "genus",
    "specificEpithet", "vernacularName", "identificationQualifier",
)  # fmt: skip
_NAMERS = ("identifiedBy", "identificationVerificationStatus", "basisOfRecord")
_MENDED = frozenset({"longitude", "latitude", "accuracy_m", "sighting_id"})
_SAID: dict[str, tuple[str, str, Done]] = {
    ABSENT: ("The record says that nothing was found: it is no sighting.",
             "Nothing; keep such looks as inspections if they should count.", Done.SET_ASIDE),
    FOSSIL: ("The record is of a fossil.", "Nothing.", Done.SET_ASIDE),
    "host_not_told": ("associated taxa are named, and none of them as the host",
                      'Write it as "host":"Quercus robur".', Done.FLAGGED),
    "several_hosts": ("several hosts are named", "Name the one it grew on.", Done.EMPTIED),
    "count_unit_unknown": ("the quantity counts no fruiting bodies",
                           "Give the number in individualCount.", Done.EMPTIED),
    "datum_converted": ("the place is given on another datum; it was brought to WGS 84",
                        "Nothing.", Done.MENDED),
    "datum_unknown": ("the datum of the place is not known here; the accuracy counts as unknown",
                      "Give the place in WGS 84.", Done.FLAGGED),
    "place_blurred": ("the place was blurred on purpose; the accuracy beside it counts as unknown",
                      "Ask the publisher for the place itself.", Done.EMPTIED),
    "accuracy_zero": ("an accuracy of zero is no accuracy; it counts as unknown",
                      "Leave the cell empty, or give the radius.", Done.EMPTIED),
    "status_word_unknown": ("the status says neither found nor absent; it is taken as found",
                            "Write detected or notDetected.", Done.FLAGGED),
    "date_unreadable": ("the cell is no date", "Write the date as 2026-11-25.", Done.EMPTIED),
    "date_ambiguous": ("day and month cannot be told apart", "Write the date as 2026-11-25.",
                       Done.EMPTIED),
}  # fmt: skip


def read(raw: RawTable, standard: Standard, *, vocabulary: Vocabulary | None = None) -> Mapped:
    """The canonical columns of an occurrence table; our own names beside the terms are read too.

    Persons' names other than the observer's, which becomes a pseudonym later, are dropped here.

    Raises
    ------
    MapError
        If two headers name the same term.
    ManyFaults
        If several do.
    """
    found = _found(raw, standard)
    personal = {h for n, h in found.items() if "personal" in standard.terms[n.lower()].reading}
    texts = _Texts(raw, found)
    told = replace(
        raw,
        data=raw.data.drop_columns(sorted(personal)),
        note="; ".join(filter(None, (raw.note, _account(raw, found, personal)))),
    )
    rest = [h for h in told.data.column_names if h not in found.values()]
    where = f"{raw.kind} file {raw.file}"
    own = ColumnMap.of_headers(rest, kind="sightings", where=where)
    rules = {
        standard.terms[name.lower()].column: ColumnRule(header)
        for name, header in found.items()
        if standard.terms[name.lower()].reading == "as it stands"
    }
    twice = [
        MapError(where, f"headers {rules[n].column!r} and {own.columns[n].column!r}, which both "
                 f"mean {n}", "one header for each canonical column")
        for n in rules if n in own.columns
    ]  # fmt: skip
    if twice:
        raise_all(twice)
    both = ColumnMap(where=where, kind="sightings", columns={**own.columns, **rules})
    mapped = columns.apply(told, both, "sightings", vocabulary=vocabulary)
    return _derived(mapped, texts, standard, found)


def _found(raw: RawTable, standard: Standard) -> dict[str, str]:
    """Term to the header that names it.

    Raises
    ------
    MapError
        If two headers name the same term.
    ManyFaults
        If that is so for several.
    """
    found: dict[str, str] = {}
    faults = []
    for header in raw.data.column_names:
        term = standard.term(header)
        if term is None:
            continue
        if term.name in found:
            faults.append(MapError(
                f"{raw.kind} file {raw.file}",
                f"headers {found[term.name]!r} and {header!r}, which both mean {term.name}",
                "one header for each term", "Take one of the columns out."))  # fmt: skip
        found[term.name] = header
    if faults:
        raise_all(faults)
    return found


def _account(raw: RawTable, found: Mapping[str, str], personal: set[str]) -> str:
    """One sentence for the account of the file: what was read, dropped and not read."""
    used = [header for header in found.values() if header not in personal]
    left = [header for header in raw.data.column_names if header not in found.values()]
    parts = [f"read as Darwin Core: {', '.join(used)}"]
    if personal:
        parts.append(f"persons' names dropped: {', '.join(sorted(personal))}")
    if left:
        parts.append(f"not read: {', '.join(left)}")
    return "; ".join(parts)


class _Texts:
    """The file's own cells by term, clean, null where missing or where there is no such column."""

    def __init__(self, raw: RawTable, found: Mapping[str, str]) -> None:
        self._raw, self._found = raw, found

    def has(self, *terms: str) -> bool:
        """Whether the file has one of the terms."""
        return any(term in self._found for term in terms)

    def of(self, term: str) -> pa.Array:
        """One column."""
        if term not in self._found:
            return pa.nulls(len(self._raw), pa.string())
        return clean(self._raw.data[self._found[term]], _MISSING)

    def read(
        self, terms: Sequence[str], reader: Callable[[darwin_core_cells.Cells], object],
        kind: pa.DataType | None = None,
    ) -> pa.Array:  # fmt: skip
        """What the cells of several terms say together; each combination is read once."""
        filled = [
            pc.replace_substring(self.of(term), _SEPARATOR, " ").fill_null("") for term in terms
        ]
        joined = pc.binary_join_element_wise(*filled, _SEPARATOR)

        def split(cell: str) -> tuple[object, None]:
            return reader(tuple(part or None for part in cell.split(_SEPARATOR))), None

        return by_distinct(joined, split, kind=kind)[0]


def _derived(mapped: Mapped, texts: _Texts, standard: Standard, found: Mapping[str, str]) -> Mapped:
    """The columns that are more than a renamed one, with what was found on the way."""
    words = standard.words
    made = {**_identity(mapped, texts), **_identification(texts, words)}
    findings: list[Finding] = []
    marks: dict[str, Flags] = {}
    if texts.has("eventDate", "year"):
        findings += _seen_on(texts, made, marks, found)
    if texts.has("associatedTaxa"):
        read_host = partial(darwin_core_cells.hosts, relations=words["associatedTaxa"])
        made["host"], faults = by_distinct(texts.of("associatedTaxa"), read_host)
        findings += [_finding(f.code, f.rows, texts, found, "associatedTaxa") for f in faults]
    if texts.has("individualCount", "organismQuantity"):
        findings += _count(texts, made, words, found)
    findings += _absent(texts, words, found)
    findings += _place(mapped, texts, standard, found, made, marks)
    _properties(mapped, texts, made)
    # a column of our own beside the terms stands over what the terms say
    made = {n: v for n, v in made.items() if n in _MENDED or n not in mapped.columns}
    headers = dict(mapped.headers)
    for term in standard.terms.values():
        header = found.get(term.name)
        if term.column in made and header in mapped.raw.data.column_names:
            headers.setdefault(term.column, header or "")
    return replace(mapped, headers=headers).with_changes(made, tuple(findings), marks)


def _identity(mapped: Mapped, texts: _Texts) -> dict[str, pa.Array]:
    if not texts.has("catalogNumber"):
        return {}
    number = texts.of("catalogNumber")
    return {"sighting_id": pc.coalesce(mapped.text("sighting_id"), number)}


def _identification(texts: _Texts, words: Mapping[str, Words]) -> dict[str, pa.Array]:
    """The name, how sure it is, and who gave it."""
    made: dict[str, pa.Array] = {}
    doubts = words["identificationQualifier"]
    if texts.has(*_NAME_TERMS[:-1]):
        made["name"] = texts.read(_NAME_TERMS, partial(darwin_core_cells.name, doubts=doubts))
        made["name_certainty"] = texts.read(_NAME_TERMS, _share(doubts), pa.float64())
    if texts.has(*_NAMERS):
        made["name_by"] = texts.read(_NAMERS, partial(darwin_core_cells.named_by, words=words))
    return made


def _share(doubts: Words) -> Callable[[darwin_core_cells.Cells], float | None]:
    def share(cells: darwin_core_cells.Cells) -> float | None:
        doubt = darwin_core_cells.qualifier(cells, doubts)
        return None if doubt is None else doubt.certainty_share

    return share


def _seen_on(
    texts: _Texts, made: dict[str, pa.Array], marks: dict[str, Flags], found: Mapping[str, str]
) -> list[Finding]:
    day = texts.read(("eventDate", "year", "month", "day"), darwin_core_cells.day)
    made["seen_on"], faults = dates(day, ())
    spans, _ = by_distinct(
        texts.of("eventDate"), lambda cell: (darwin_core_cells.is_interval(cell), None),
        kind=pa.bool_(),
    )  # fmt: skip
    marks["seen_on_interval"] = _rows(spans)
    term = "eventDate" if texts.has("eventDate") else "year"
    return [replace(_finding(f.code, f.rows, texts, found, term), code=f"seen_on_{f.code}")
            for f in faults]  # fmt: skip


def _count(
    texts: _Texts,
    made: dict[str, pa.Array],
    words: Mapping[str, Words],
    found: Mapping[str, str],
) -> list[Finding]:
    """The number of fruiting bodies: counted as such, else a quantity that counts them."""
    counted = _whole(texts.of("individualCount"))
    quantity = _whole(texts.of("organismQuantity"))
    units = texts.of("organismQuantityType")
    known, _ = by_distinct(
        units, lambda unit: (squeezed(unit) in words["organismQuantityType"], None), kind=pa.bool_()
    )
    counts = _rows(known)
    made["count"] = pa.array(
        np.where(np.isfinite(counted), counted, np.where(counts, quantity, np.nan)),
        from_pandas=True,
    )
    odd = np.flatnonzero(_rows(texts.of("organismQuantity").is_valid()) & ~counts)
    return [_finding("count_unit_unknown", odd, texts, found, "organismQuantity")] * bool(len(odd))


def _whole(text: pa.Array) -> Floats:
    """Plain whole numbers, NaN for anything else."""
    plain = pc.match_substring_regex(text, r"^\d{1,9}(\.0+)?$").fill_null(False)
    values = pc.if_else(plain, text, None).cast(pa.float64())
    return np.asarray(values.fill_null(float("nan")).to_numpy(zero_copy_only=False), np.float64)


def _absent(texts: _Texts, words: Mapping[str, Words], found: Mapping[str, str]) -> list[Finding]:
    """Records of nothing found and of fossils are set aside; unknown words are told."""
    meant = words["occurrenceStatus"]
    status, _ = by_distinct(
        texts.of("occurrenceStatus"),
        lambda cell: (meant[squeezed(cell)].becomes if squeezed(cell) in meant else "?", None),
    )
    gone = _rows(pc.equal(status, "absent"))
    for term in ("individualCount", "organismQuantity"):
        gone |= _whole(texts.of(term)) == 0
    kinds = words["basisOfRecord"]
    fossil, _ = by_distinct(
        texts.of("basisOfRecord"),
        lambda cell: (kinds.get(squeezed(cell), Word("")).becomes == "set aside", None),
        kind=pa.bool_(),
    )
    said = (
        (ABSENT, gone, ("occurrenceStatus", "individualCount", "organismQuantity")),
        (FOSSIL, _rows(fossil), ("basisOfRecord",)),
        ("status_word_unknown", _rows(pc.equal(status, "?")), ("occurrenceStatus",)),
    )
    return [
        _finding(code, np.flatnonzero(mask), texts, found, *terms)
        for code, mask, terms in said
        if mask.any()
    ]


def _place(
    mapped: Mapped,
    texts: _Texts,
    standard: Standard,
    found: Mapping[str, str],
    made: dict[str, pa.Array],
    marks: dict[str, Flags],
) -> list[Finding]:
    """Datum and accuracy: what was blurred on purpose, or lies on an unknown datum, is not sure."""
    findings: list[Finding] = []
    accuracy = mapped.number("accuracy_m").copy()
    zero, known = accuracy == 0, np.isfinite(accuracy)
    blurred = np.zeros(len(mapped), np.bool_)
    for term in ("informationWithheld", "dataGeneralizations"):
        blur = list(standard.words[_SHARED_WORDS.get(term, term)])
        hit = pc.match_substring_regex(
            pc.utf8_lower(texts.of(term)), "|".join(map(re.escape, blur))
        )
        blurred |= _rows(hit)
    marks["place_obscured"] = blurred
    too_good = blurred & known & (accuracy < standard.obscured_least_m)
    odd, moved = _datum(mapped, texts, standard, made)
    accuracy[zero | too_good | odd] = np.nan
    made["accuracy_m"] = pa.array(accuracy, from_pandas=True)
    said = (
        ("accuracy_zero", zero, "coordinateUncertaintyInMeters"),
        ("place_blurred", too_good, "coordinateUncertaintyInMeters"),
        ("datum_unknown", odd, "geodeticDatum"),
        ("datum_converted", moved, "geodeticDatum"),
    )
    for code, mask, term in said:
        if mask.any():
            findings.append(_finding(code, np.flatnonzero(mask), texts, found, term))
    return findings


def _datum(
    mapped: Mapped, texts: _Texts, standard: Standard, made: dict[str, pa.Array]
) -> tuple[Flags, Flags]:
    """Places brought to WGS 84: rows on a datum that is not known here, rows that were moved."""
    meant = standard.words["geodeticDatum"]
    codes, _ = by_distinct(
        texts.of("geodeticDatum"),
        lambda cell: (int(meant[squeezed(cell)].becomes) if squeezed(cell) in meant else -1, None),
        kind=pa.int64(),
    )
    code = codes.fill_null(geo_crs.WGS84).to_numpy(zero_copy_only=False)
    x, y = mapped.number("longitude").copy(), mapped.number("latitude").copy()
    here = np.isfinite(x) & np.isfinite(y)
    moved = here & (code > 0) & (code != geo_crs.WGS84)
    for one in np.unique(code[moved]).tolist():
        rows = moved & (code == one)
        x[rows], y[rows] = geo_crs.transform(x[rows], y[rows], source=one, target=geo_crs.WGS84)
    if moved.any():
        made["longitude"] = pa.array(x, from_pandas=True)
        made["latitude"] = pa.array(y, from_pandas=True)
    return here & (code < 0), moved


def _properties(mapped: Mapped, texts: _Texts, made: dict[str, pa.Array]) -> None:
    """What this program once wrote as properties stands over what the terms say."""
    if not texts.has("dynamicProperties"):
        return
    cells = texts.of("dynamicProperties")
    declared = {column.name: column for column in INPUTS["sightings"].columns}
    for name in PROPERTIES.values():
        kind = pa.float64() if declared[name].kind in {"number", "integer"} else pa.string()
        told, _ = by_distinct(cells, partial(_one_property, name=name), kind=kind)
        if told.null_count == len(told):
            continue
        before = made.get(name, mapped.columns.get(name))
        made[name] = told if before is None else pc.coalesce(told, before)


def _one_property(cell: str, *, name: str) -> tuple[object, None]:
    return darwin_core_cells.properties(cell).get(name), None


def _finding(
    code: str, rows: np.ndarray, texts: _Texts, found: Mapping[str, str], *terms: str
) -> Finding:
    reason, remedy, done = _SAID[code]
    term = next((term for term in terms if term in found), terms[0])
    values = tuple(texts.of(term).take(pa.array(rows)).to_pylist())
    return Finding(code, np.asarray(rows, np.int64), found.get(term), values, reason, remedy, done)


def _rows(mask: pa.Array) -> Flags:
    return np.asarray(mask.fill_null(False).to_numpy(zero_copy_only=False), np.bool_)
