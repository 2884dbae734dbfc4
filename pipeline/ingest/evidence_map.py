"""Columns that are evidence, and what a column map may say of them.

An entry of a column map for trees says that a column holds a sighting, a defect, a reading or a
decision for a part of the tree, and what each of its words means::

    [[evidence]]                      # a crack of the stem
    column = "fissure_tronc"
    is = "defect"
    part = "stem"
    words = { TPF = "", TFO = "crack", TFF = { defect = "crack", with_decay = true } }

    [[evidence]]                      # a fungus at the butt, named in another column
    column = "champignon_collet"
    is = "sighting"
    position = "butt"
    words = { Non = "", Oui = "seen" }
    name = "observation_collet"
    names = { "Fructification ganoderme" = "Ganoderma" }
    name_by = "trained_inspector"

    [[evidence]]                      # a column whose cells are the fungus's name
    column = "Fungus"
    is = "sighting"
    words = { none = "" }
    otherwise = "name"

    [[evidence]]                      # a mallet, and a drill
    column = "Sounding"
    is = "reading"
    part = "butt"
    words = { dull = "hollow", clear = "sound" }
    [[evidence]]
    column = "Shell mm"
    is = "reading"
    part = "butt"
    reading = "drill"
    measures = "shell_cm"
    unit = "mm"

    [[evidence]]                      # what the city decided
    column = "Order"
    is = "decision"
    words = { "" = "", "look again" = { decision = "override", value = "inspect" } }

    [columns]                         # remarks by part: one text, each after the word for its part
    notes = { columns = { observation_collet = "collet", observation_tronc = "tronc" } }

What remarks name is read too (`ingest.read_notes`): the part is the column's unless the words say
otherwise, and what a column of evidence said of the same part is not said again.

`""` means that nothing was seen. A word may mean several things: a list. A word that the map does
not have is told and nothing is read from it. The date is that of `date` (a header), else of the
column mapped to last_inspected_on, else `surveyed_on` of the settings, else not known.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pipeline.errors import PipelineError, SettingsError
from pipeline.tables import inputs
from pipeline.units import LENGTH_IN_CM

KINDS = ("sighting", "defect", "reading", "decision")
SEEN = "seen"
MEASURED = {
    "shell_cm": ("probe", "drill", "core", "tomogram"),
    "hollow_diameter_cm": ("probe", "drill", "core", "tomogram"),
    "opening_cm": ("probe", "drill", "core", "tomogram"),
    "decayed_share": ("tomogram",),
}
_SHARE_UNITS = {"share": 1.0, "%": 0.01}
_KEYS = {
    "sighting": {"words", "otherwise", "position", "name", "names", "name_by", "attachment"},
    "defect": {"words", "part"},
    "reading": {"words", "part", "reading", "measures", "unit"},
    "decision": {"words"},
}
_ALWAYS = {"column", "is", "date", "dates"}
_DEFECT_KEYS = {"defect", "extent_share", "with_decay", "with_crack"}
_DECISION_KEYS = {"decision", "value", "until"}
_REMEDY = "Mend the map; DEVELOPERS.md shows what such an entry may say."

Meaning = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class EvidenceRule:
    """One column that is evidence.

    Parameters
    ----------
    column : header in the file.
    kind : one of KINDS.
    words : word (lower case) to what it means; nothing where it says that nothing was seen.
    otherwise_name : a word that is not among them is the name of a fungus.
    place : part of defects and readings, positions of sightings.
    name, names : header of the column that names the fungus, and what its texts (lower case) mean.
    reading, measures, scale : kind of measurement, its canonical column, and what the numbers are
        multiplied by.
    date, dates : header of the date, and its formats.
    """

    column: str
    kind: str
    words: Mapping[str, tuple[Meaning, ...]] = field(default_factory=dict)
    otherwise_name: bool = False
    place: str | None = None
    name: str | None = None
    names: Mapping[str, str] = field(default_factory=dict)
    name_by: str = "unknown"
    attachment: str = "attached"
    reading: str | None = None
    measures: str | None = None
    scale: float = 1.0
    date: str | None = None
    dates: tuple[str, ...] = ()

    @property
    def headers(self) -> tuple[str, ...]:
        """Every header that the rule needs."""
        return tuple(one for one in (self.column, self.name, self.date) if one is not None)


def rules_of(
    raw: object, *, kind: str, where: str
) -> tuple[tuple[EvidenceRule, ...], list[PipelineError]]:
    """The entries [[evidence]] of a map, and every fault of them."""
    if raw is None:
        return (), []
    if kind != "trees" or not isinstance(raw, list):
        return (), [
            _fault(f"{where}, key evidence", f"{type(raw).__name__} in a map for {kind}",
                   "entries [[evidence]] in a map for trees")
        ]  # fmt: skip
    rules, faults = [], []
    for number, entry in enumerate(raw, start=1):
        at = f"{where}, evidence {number}"
        found = _faults_of(entry, at)
        if found:
            faults += found
        else:
            rules.append(_rule(entry))
    return tuple(rules), faults


def _faults_of(entry: object, at: str) -> list[PipelineError]:
    if not isinstance(entry, dict) or not isinstance(entry.get("column"), str):
        return [_fault(at, repr(entry), "column = 'header', is = 'defect', ...")]
    at = f"{at} (column {entry['column']!r})"
    kind = entry.get("is")
    if kind not in KINDS:
        return [_fault(f"{at}, key is", repr(kind), f"one of {', '.join(KINDS)}")]
    faults: list[PipelineError] = [
        _fault(f"{at}, key {key}", "a key that it does not have",
               f"one of {sorted(_ALWAYS | _KEYS[kind])}")
        for key in entry if key not in _ALWAYS | _KEYS[kind]
    ]  # fmt: skip
    faults += _faults_of_place(entry, kind, at)
    faults += _faults_of_measure(entry, at) if "measures" in entry else _of_words(entry, kind, at)
    for key, allowed in (("name_by", inputs.NAMED_BY), ("attachment", inputs.ATTACHMENTS)):
        if key in entry and entry[key] not in allowed:
            faults.append(
                _fault(f"{at}, key {key}", repr(entry[key]), f"one of {', '.join(allowed)}")
            )
    return faults


def _faults_of_place(entry: Mapping[str, Any], kind: str, at: str) -> list[PipelineError]:
    if kind in {"defect", "reading"} and entry.get("part") not in inputs.PARTS:
        return [_fault(f"{at}, key part", repr(entry.get("part")),
                       f"one of {', '.join(inputs.PARTS)}")]  # fmt: skip
    told = str(entry.get("position", ""))
    wrong = [one for one in told.split("|") if told and one not in inputs.POSITIONS]
    if wrong:
        return [_fault(f"{at}, key position", repr(told),
                       f"some of {', '.join(inputs.POSITIONS)}, joined with |")]  # fmt: skip
    return []


def _faults_of_measure(entry: Mapping[str, Any], at: str) -> list[PipelineError]:
    """What is wrong with a column of numbers."""
    measures = entry["measures"]
    if measures not in MEASURED:
        return [_fault(f"{at}, key measures", repr(measures), f"one of {', '.join(MEASURED)}")]
    faults: list[PipelineError] = []
    if entry.get("reading") not in MEASURED[measures]:
        faults.append(_fault(f"{at}, key reading", repr(entry.get("reading")),
                             f"one of {', '.join(MEASURED[measures])}"))  # fmt: skip
    if entry.get("unit") not in _units(measures):
        faults.append(_fault(f"{at}, key unit", repr(entry.get("unit")),
                             f"one of {', '.join(_units(measures))}"))  # fmt: skip
    if "words" in entry:
        faults.append(_fault(f"{at}, key words", "words beside measures", "one of the two"))
    return faults


def _of_words(entry: Mapping[str, Any], kind: str, at: str) -> list[PipelineError]:
    words = entry.get("words", {})
    named = entry.get("otherwise")
    if named not in {None, "name"}:
        return [_fault(f"{at}, key otherwise", repr(named), "'name', or nothing")]
    if not isinstance(words, dict) or not (words or named):
        return [_fault(f"{at}, key words", repr(words), "a table: word = what it means")]
    faults: list[PipelineError] = []
    for word, said in words.items():
        for meaning in said if isinstance(said, list) else [said]:
            expected = _misfit(kind, meaning)
            if expected:
                faults.append(_fault(f"{at}, word {word!r}", repr(meaning), expected))
    return faults


def _misfit(kind: str, meaning: object) -> str | None:
    """What a meaning should be, or None where it is."""
    if meaning == "":
        return None
    if kind == "sighting":
        return None if isinstance(meaning, str) else "'seen', the name of a fungus, or ''"
    if kind == "reading":
        fits = meaning in inputs.SOUNDING
        return None if fits else f"'' or one of {', '.join(inputs.SOUNDING)}"
    if kind == "decision":
        fits = (
            isinstance(meaning, dict)
            and meaning.get("decision") in inputs.DECISIONS
            and set(meaning) <= _DECISION_KEYS
        )
        return None if fits else f"'' or {{ decision = one of {', '.join(inputs.DECISIONS)}, ... }}"
    told = {"defect": meaning} if isinstance(meaning, str) else meaning
    fits = (
        isinstance(told, dict)
        and told.get("defect") in inputs.DEFECTS
        and set(told) <= _DEFECT_KEYS
        and isinstance(told.get("with_decay", False), bool)
        and isinstance(told.get("with_crack", False), bool)
        and _is_share(told.get("extent_share", 0.0))
    )
    return None if fits else f"'' or one of {', '.join(inputs.DEFECTS)}, or a table with it"


def _is_share(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1


def _rule(entry: Mapping[str, Any]) -> EvidenceRule:
    kind = entry["is"]
    measures = entry.get("measures")
    return EvidenceRule(
        column=entry["column"],
        kind=kind,
        words={
            _plain(word): tuple(
                _meaning(kind, one) for one in (said if isinstance(said, list) else [said]) if one
            )
            for word, said in entry.get("words", {}).items()
        },
        otherwise_name=entry.get("otherwise") == "name",
        place=entry.get("part") or entry.get("position"),
        name=entry.get("name"),
        names={_plain(text): str(name) for text, name in entry.get("names", {}).items()},
        name_by=entry.get("name_by", "unknown"),
        attachment=entry.get("attachment", "attached"),
        reading=entry.get("reading"),
        measures=measures,
        scale=1.0 if measures is None else _units(measures)[entry["unit"]],
        date=entry.get("date"),
        dates=tuple(entry.get("dates", ())),
    )


def _meaning(kind: str, said: str | Meaning) -> Meaning:
    return said if isinstance(said, Mapping) else {_KEY_OF[kind]: said}


_KEY_OF = {"sighting": "name", "defect": "defect", "reading": "reading_result"}


def _plain(word: str) -> str:
    return str(word).strip().lower()


def _units(measures: str) -> Mapping[str, float]:
    return _SHARE_UNITS if measures == "decayed_share" else LENGTH_IN_CM


def _fault(where: str, found: str, expected: str) -> SettingsError:
    return SettingsError(where=where, found=found, expected=expected, remedy=_REMEDY)


def needed_headers(rules: Sequence[EvidenceRule]) -> tuple[str, ...]:
    """Every header that some rules need, each once."""
    return tuple(dict.fromkeys(header for rule in rules for header in rule.headers))
