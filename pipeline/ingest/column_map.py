"""Column maps as data: read from TOML, every fault of a map told at once."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rapidfuzz import process

from pipeline.errors import ManyFaults, PipelineError, SettingsError
from pipeline.ingest.evidence_map import EvidenceRule, rules_of
from pipeline.tables.inputs import INPUTS, InputColumn, InputKind
from pipeline.units import LENGTH_IN_CM

DEFAULT_MISSING = ("", "na", "n/a", "null", "<null>", "nan")
DECIMALS = (".", ",", "auto")
MEASURES = ("diameter", "girth")
_RULE_KEYS = {
    "column", "unit", "measure", "classes", "codes", "otherwise", "split", "take", "dates",
    "spreadsheet_year", "before", "columns",
}  # fmt: skip
_KM_PER_MILE = 1.609344  # exact: the international mile of 1959
_FACTORS: dict[str, dict[str, float]] = {
    "cm": LENGTH_IN_CM,
    "m": {unit: factor / LENGTH_IN_CM["m"] for unit, factor in LENGTH_IN_CM.items()},
    "km/h": {"km/h": 1.0, "mph": _KM_PER_MILE},
    "share": {"share": 1.0, "%": 0.01},
}


class MapError(SettingsError):
    """A column map that cannot be used."""

    def __init__(
        self, where: str, found: str, expected: str, remedy: str = "Mend the map."
    ) -> None:
        """Say where, what was found, what was expected and what to do."""
        super().__init__(where=where, found=found, expected=expected, remedy=remedy)


@dataclass(frozen=True)
class ColumnRule:
    """How one canonical column is made of one column of the file."""

    column: str
    unit: str | None = None
    measure: str = "diameter"
    classes: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    codes: Mapping[str, str] = field(default_factory=dict)
    otherwise: str | None = None
    split: str | None = None
    take: int = 0
    dates: tuple[str, ...] = ()
    spreadsheet_year: int | None = None
    before: str | None = None  # header of a column whose text stands before this one's
    several: Mapping[str, str] = field(default_factory=dict)  # headers read as one text, labels

    @property
    def takes_part(self) -> bool:
        """True if it reads only a part of the cell, so that another rule may read the rest."""
        return bool(self.split or self.codes or self.classes)


@dataclass(frozen=True)
class FlagRule:
    """Rows that are marked with a code because a column holds one of these words (lower case)."""

    column: str
    values: frozenset[str]


@dataclass(frozen=True)
class ColumnMap:
    """The map of one kind of file; `columns` maps canonical names to rules."""

    where: str
    kind: str
    columns: Mapping[str, ColumnRule]
    decimal: str = "auto"
    missing: frozenset[str] = frozenset(DEFAULT_MISSING)
    constants: Mapping[str, str] = field(default_factory=dict)
    flags: Mapping[str, FlagRule] = field(default_factory=dict)
    evidence: tuple[EvidenceRule, ...] = ()

    @classmethod
    def load(cls, name: str, *, folder: Path, beside: Path | None = None) -> "ColumnMap":
        """The map of that name in the folder of maps, or at that path beside the settings.

        Raises
        ------
        MapError
            If there is no such file, or it is no TOML.
        """
        candidates = [folder / f"{name}.toml", folder / name]
        if beside is not None:
            candidates.append(beside / name)
        path = next((p for p in candidates if p.is_file()), None)
        if path is None:
            known = sorted(p.stem for p in folder.glob("*.toml"))
            raise MapError(f"column map {name!r}", "no such file", f"one of {', '.join(known)}")
        try:
            raw = tomllib.loads(path.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
            raise MapError(f"column map {path.name}", f"text that is not TOML ({fault})",
                         "a column map in TOML") from fault  # fmt: skip
        return cls.from_toml(raw, where=f"column map {path.name}")

    @classmethod
    def from_toml(cls, raw: Mapping[str, Any], *, where: str) -> "ColumnMap":
        """The map that a TOML document says.

        Raises
        ------
        SettingsError
            If one thing in it cannot be used.
        ManyFaults
            If several things cannot be used.
        """
        faults = _faults_of_frame(raw, where)
        if faults:
            raise_all(faults)
        kind = INPUTS[raw["kind"]]
        rules: dict[str, ColumnRule] = {}
        for name, value in raw.get("columns", {}).items():
            rule = _rule(name, value, kind=kind, where=where, faults=faults)
            if rule is not None:
                rules[name] = rule
        constants = {str(k): str(v) for k, v in raw.get("constants", {}).items()}
        faults += [
            _unknown_name(name, kind, where) for name in constants if name not in _by_name(kind)
        ]
        faults += _faults_of_doubles(rules, constants, where)
        evidence, wrong = rules_of(raw.get("evidence"), kind=kind.name, where=where)
        faults += wrong
        if faults:
            raise_all(faults)
        missing = raw.get("missing", {}).get("values")
        return cls(
            where=where,
            kind=kind.name,
            columns=rules,
            decimal=raw.get("decimal", "auto"),
            missing=frozenset(DEFAULT_MISSING if missing is None
                              else _missing(missing)),
            constants=constants,
            flags=_flags(raw.get("flags", {}), where),
            evidence=evidence,
        )  # fmt: skip

    @classmethod
    def of_headers(cls, headers: Sequence[str], *, kind: str, where: str) -> "ColumnMap":
        """The map of a file that uses canonical names.

        Raises
        ------
        SettingsError
            If two headers mean the same canonical column.
        ManyFaults
            If that is so for several.
        """
        names = _by_name(INPUTS[kind])
        rules: dict[str, ColumnRule] = {}
        faults: list[PipelineError] = []
        for header in headers:
            name = header.strip().lower().replace(" ", "_")
            if name not in names:
                continue
            if name in rules:
                faults.append(MapError(
                    where, f"headers {rules[name].column!r} and {header!r}, which both mean {name}",
                    "one header for each canonical column"))  # fmt: skip
            rules[name] = ColumnRule(header)
        if faults:
            raise_all(faults)
        return cls(where=where, kind=kind, columns=rules)


def factor(canonical: str, unit: str | None) -> float | None:
    """What a number in `unit` is multiplied by; None if the unit does not fit."""
    if unit is None or unit == canonical:
        return 1.0
    return _FACTORS.get(canonical, {}).get(unit)


def nearest(name: str, known: Sequence[str]) -> str:
    """A hint: the most similar known name."""
    best = process.extractOne(name, known, processor=str.lower) if known else None
    return f"; the nearest is {best[0]!r}" if best else ""


def raise_all(faults: Sequence[PipelineError]) -> None:
    """Raise one fault as itself, several as a bundle.

    Raises
    ------
    PipelineError
        The one fault.
    ManyFaults
        All of them.
    """
    if len(faults) == 1:
        raise faults[0]
    raise ManyFaults(faults)


def _by_name(kind: InputKind) -> dict[str, InputColumn]:
    return {column.name: column for column in kind.columns}


def _unknown_name(name: str, kind: InputKind, where: str) -> MapError:
    known = list(_by_name(kind))
    return MapError(
        f"{where}, key {name}",
        f"a canonical column {name!r} that {kind.name} do not have{nearest(name, known)}",
        f"one of {', '.join(known)}",
        "Mend the name; `soundwood check --columns` prints them.",
    )


def _faults_of_frame(raw: Mapping[str, Any], where: str) -> list[PipelineError]:
    faults: list[PipelineError] = []
    known = {"kind", "decimal", "missing", "columns", "constants", "flags", "evidence"}
    faults += [
        MapError(f"{where}, key {key}", "a key that maps do not have", f"one of {sorted(known)}")
        for key in raw
        if key not in known
    ]
    if raw.get("kind") not in INPUTS:
        faults.append(
            MapError(f"{where}, key kind", repr(raw.get("kind")), f"one of {', '.join(INPUTS)}")
        )
    if raw.get("decimal", "auto") not in DECIMALS:
        faults.append(MapError(f"{where}, key decimal", repr(raw["decimal"]), "'.', ',' or 'auto'"))
    return faults


def _missing(words: Sequence[object]) -> set[str]:
    """The words as written and in lower case, and the blank."""
    told = {str(word).strip() for word in words}
    return {"", *told, *(word.lower() for word in told)}


def _flags(raw: Mapping[str, Any], where: str) -> dict[str, FlagRule]:
    """The map's own flags.

    Raises
    ------
    MapError
        If one does not say its column and its words.
    """
    flags: dict[str, FlagRule] = {}
    for code, value in raw.items():
        if not isinstance(value, dict) or set(value) != {"column", "values"}:
            raise MapError(f"{where}, key flags.{code}", repr(value),
                         "{ column = 'header', values = ['word', ...] }")  # fmt: skip
        words = frozenset(str(word).strip().lower() for word in value["values"])
        flags[code] = FlagRule(str(value["column"]), words)
    return flags


def _rule(
    name: str, value: object, *, kind: InputKind, where: str, faults: list[PipelineError]
) -> ColumnRule | None:
    """One rule; what is wrong with it goes to `faults`."""
    at = f"{where}, key {name}"
    column = _by_name(kind).get(name)
    if column is None:
        faults.append(_unknown_name(name, kind, where))
        return None
    if isinstance(value, str):
        return ColumnRule(value)
    if isinstance(value, dict) and "columns" in value:
        return _several(value, column, at, faults)
    if not isinstance(value, dict) or not isinstance(value.get("column"), str):
        faults.append(MapError(at, repr(value), "a header, or { column = 'header', ... }"))
        return None
    unknown = sorted(set(value) - _RULE_KEYS)
    if unknown:
        faults.append(MapError(at, f"keys {unknown}", f"some of {sorted(_RULE_KEYS)}"))
    unit, measure = value.get("unit"), value.get("measure", "diameter")
    if factor(column.unit, unit) is None:
        fit = sorted(_FACTORS.get(column.unit, {column.unit or "no unit": 1.0}))
        faults.append(MapError(at, f"unit {unit!r}", f"one of {', '.join(fit)}"))
    if measure not in MEASURES:
        faults.append(MapError(at, f"measure {measure!r}", f"one of {', '.join(MEASURES)}"))
    if not isinstance(value.get("spreadsheet_year"), int | None):
        faults.append(MapError(f"{at}, key spreadsheet_year", repr(value["spreadsheet_year"]),
                               "the year in which the sheet was filled, as 2010"))  # fmt: skip
    codes = {str(k).strip().lower(): str(v) for k, v in value.get("codes", {}).items()}
    # '' says that the word tells nothing of this column, as a code of another thing
    wrong = sorted({v for v in codes.values() if column.allowed and v not in {"", *column.allowed}})
    if wrong:
        faults.append(MapError(at, f"codes to {wrong}", f"codes to {', '.join(column.allowed)}"))
    return ColumnRule(
        column=value["column"],
        unit=unit,
        measure=measure,
        classes={str(k).strip().lower(): tuple(map(float, v))
                 for k, v in value.get("classes", {}).items()},
        codes=codes,
        otherwise=value.get("otherwise"),
        split=value.get("split"),
        take=int(value.get("take", 0)),
        dates=tuple(value.get("dates", ())),
        spreadsheet_year=value.get("spreadsheet_year"),
        before=None if value.get("before") is None else str(value["before"]),
    )  # fmt: skip


def _several(
    value: Mapping[str, Any], column: InputColumn, at: str, faults: list[PipelineError]
) -> ColumnRule | None:
    """The rule of a text that stands in several columns; what is wrong with it goes to `faults`."""
    told = value["columns"]
    if set(value) != {"columns"} or column.kind != "text" or not (told and isinstance(told, dict)):
        expected = "for a text: { columns = { header = 'label', ... } }"
        faults.append(MapError(at, repr(value), expected))
        return None
    labels = {str(header): str(label) for header, label in told.items()}
    return ColumnRule(next(iter(labels)), several=labels)


def _faults_of_doubles(
    rules: Mapping[str, ColumnRule], constants: Mapping[str, str], where: str
) -> list[PipelineError]:
    """Two canonical columns of one file column, unless each but one takes a part of the cell."""
    faults: list[PipelineError] = []
    users: dict[str, list[str]] = {}
    for name, rule in rules.items():
        users.setdefault(rule.column, []).append(name)
    for column, names in users.items():
        whole = [name for name in names if not rules[name].takes_part]
        if len(names) > 1 and len(whole) > 1:
            faults.append(MapError(
                f"{where}, keys {', '.join(names)}", f"column {column!r} mapped {len(names)} times",
                "a column of the file for each canonical column",
                "Map it once, or say which part each takes (split, codes, classes)."))  # fmt: skip
    faults += [
        MapError(f"{where}, key {name}", "a mapped column and a constant", "one of the two")
        for name in constants
        if name in rules
    ]
    return faults
