"""What single cells of a Darwin Core table say: names and doubt, hosts, dates, extra properties.

Readers take the cells of one row, text or None, and give a value or None; what the words mean
stands in config/published/darwin_core_words.csv.
"""

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pipeline.tables.inputs import INPUTS, InputColumn

Cells = tuple[str | None, ...]

# What the standard has no term for is written as a property under this name and read again.
PROPERTIES = {
    "accuracy68InMeters": "accuracy_m",
    "nameCertainty": "name_certainty",
    "nameBy": "name_by",
    "attachment": "attachment",
    "position": "position",
    "heightAboveGroundInMeters": "height_above_ground_m",
    "layers": "layers",
    "widthInCentimeters": "width_cm",
    "form": "form",
    "upperColour": "upper_colour",
    "underColour": "under_colour",
    "upperTexture": "upper_texture",
    "underSurface": "under_surface",
    "flesh": "flesh",
    "arrangement": "arrangement",
    "stalk": "stalk",
    "bruising": "bruising",
}
_DECLARED: dict[str, InputColumn] = {column.name: column for column in INPUTS["sightings"].columns}
_ABOVE_GENUS = frozenset(
    {"kingdom", "phylum", "division", "subphylum", "class", "subclass", "order", "family"}
)
_SQUEEZED = re.compile(r"[\s_\-.]+")
_TOKEN = re.compile(r"[^\s]+")
_EPITHET = re.compile(r"[^\W\d_A-Z][^\W\d_]*(-[^\W\d_]+)*")
_PARTICLES = frozenset({"de", "den", "der", "del", "van", "von", "ex", "et", "apud", "in"})
_RANKS = frozenset({"subsp", "ssp", "var", "f", "fo", "forma", "x", "\u00d7"})
_SPOKEN = re.compile(r"[^\W_]+")
_PARTED = re.compile(r"\s*[|;]\s*")
_QUOTED = re.compile(r'^"?([^":=]+?)"?\s*[:=]\s*"?(.*?)"?$')
_ISO_START = re.compile(r"\d{4}(-\d{2}){0,2}([T ]|$)")
_NO_YEAR, _TWO = 0, 2


@dataclass(frozen=True, slots=True)
class Word:
    """What one word means here; `certainty_share` of a name that carries it, None if it says none.

    Parameters
    ----------
    becomes : the canonical word, or a word of the reader.
    """

    becomes: str
    certainty_share: float | None = None


Words = Mapping[str, Word]


def squeezed(cell: str) -> str:
    """Small letters without spaces, hyphens, underlines and full stops."""
    return _SQUEEZED.sub("", cell.casefold())


def name(cells: Cells, doubts: Words) -> str | None:
    """The name that the cells give, without its author; of the genus alone where that is meant.

    Parameters
    ----------
    cells : scientificName, scientificNameAuthorship, taxonRank, verbatimIdentification, genus,
        specificEpithet, vernacularName, identificationQualifier.
    """
    scientific, author, rank, verbatim, genus, epithet, vernacular, _ = cells
    pair = f"{genus} {epithet}" if genus and epithet else genus
    too_wide = (rank or "").casefold() in _ABOVE_GENUS
    told = [None if too_wide else scientific, verbatim, pair, vernacular, scientific]
    found = next((text for text in told if text), None)
    if found is None:
        return None
    if found == vernacular:
        return found
    if author and found.endswith(author):
        found = found.removesuffix(author).strip()
    doubt = qualifier(cells, doubts)
    if doubt is not None and doubt.becomes == "genus":
        return found.split(" ", 1)[0]
    return _without_author(found)


def qualifier(cells: Cells, doubts: Words) -> Word | None:
    """The doubt that the qualifier states, else the one written into the name; None for none.

    A qualifier that is not in the table counts as a question mark.
    """
    stated, written = cells[-1], (cells[0] or cells[3] or "")
    if stated:
        known = list(_doubts_in(stated, doubts))
        return known[0] if known else doubts.get("?")
    return next(_doubts_in(written, doubts), None)


def _doubts_in(text: str, doubts: Words) -> Iterator[Word]:
    for token in _TOKEN.findall(text):
        plain = squeezed(token)
        if plain in doubts and not token[0].isupper():
            yield doubts[plain]
        elif token.endswith("?") and "?" in doubts:
            yield doubts["?"]


def _without_author(text: str) -> str:
    """Genus, epithets and rank marks; the text as it stands where it is no scientific name."""
    tokens = text.split()
    kept = tokens[:1]
    for token in tokens[1:]:
        plain = token.rstrip(".?").casefold()
        if plain in _PARTICLES or not (
            plain in _RANKS or _EPITHET.fullmatch(token.rstrip("?")) or token[-1] in ".?"
        ):
            break
        if token[0].isupper():
            break
        kept.append(token)
    return " ".join(kept) if len(kept) > 1 else text


def named_by(cells: Cells, words: Mapping[str, Words]) -> str:
    """Who named it: by a role in identifiedBy, else the verification, else the kind of record.

    Parameters
    ----------
    cells : identifiedBy, identificationVerificationStatus, basisOfRecord.
    """
    who, status, basis = cells
    roles = words["identifiedBy"]
    spoken = f" {' '.join(_SPOKEN.findall((who or '').casefold()))} "
    for role, word in roles.items():
        if f" {role} " in spoken:
            return word.becomes
    verified = words["identificationVerificationStatus"].get((status or "").casefold())
    if verified is not None:
        return verified.becomes
    kind = words["basisOfRecord"].get(squeezed(basis or "").removeprefix("dwc:"))
    return kind.becomes if kind is not None and kind.becomes != "set aside" else "unknown"


def hosts(cell: str, relations: Words) -> tuple[str | None, str | None]:
    """The host that associatedTaxa tells, and the code of a fault: nothing is guessed at."""
    found = []
    for part in _PARTED.split(cell):
        match = _QUOTED.match(part.strip().strip("{}"))
        if match is not None:
            key, value = match[1].strip().casefold(), match[2].strip()
        else:
            key, value = _led_by(part.strip(), relations)
        if key in relations and value:
            found.append(value)
    distinct = list(dict.fromkeys(found))
    if not distinct:
        return None, "host_not_told"
    return (distinct[0], None) if len(distinct) == 1 else (None, "several_hosts")


def _led_by(part: str, relations: Words) -> tuple[str, str]:
    """A relation and the name behind it, as 'on Quercus robur'."""
    for relation in sorted(relations, key=len, reverse=True):
        rest = part[len(relation) :]
        if part.casefold().startswith(relation) and rest[:1] == " " and rest.strip()[:1].isupper():
            return relation, rest.strip()
    return "", ""


def day(cells: Cells) -> str | None:
    """The day in a form that dates are read in: the first of an interval, as written.

    Parameters
    ----------
    cells : eventDate, year, month, day.
    """
    event, year, month, day_of_month = cells
    if event:
        first = event.split("/")[0].strip()
        return first if _ISO_START.match(first) else event
    if not year:
        return None
    if not month:
        return year
    parts = [year, month.zfill(_TWO)] + ([day_of_month.zfill(_TWO)] if day_of_month else [])
    return "-".join(parts)


def is_interval(event: str) -> bool:
    """Whether an eventDate spans more than one day."""
    first, _, last = event.partition("/")
    return bool(_ISO_START.match(first.strip()) and last.strip() and first.strip() != last.strip())


def properties(cell: str) -> dict[str, object]:
    """Canonical column to value, of the keys of dynamicProperties that this program writes."""
    try:
        told = json.loads(cell)
    except (ValueError, RecursionError):
        return {}
    if not isinstance(told, dict):
        return {}
    made = {
        column: _property(_DECLARED[column], told[key])
        for key, column in PROPERTIES.items()
        if key in told
    }
    return {column: value for column, value in made.items() if value is not None}


def _property(column: InputColumn, value: object) -> object:
    """The value if the column takes it, else None."""
    if column.kind in {"number", "integer"}:
        usable = type(value) in {int, float} and math.isfinite(float(str(value)))
        return float(str(value)) if usable else None
    if not isinstance(value, str):
        return None
    words = value.split("|") if column.kind == "words" else [value]
    return value if set(words) <= set(column.allowed) else None
