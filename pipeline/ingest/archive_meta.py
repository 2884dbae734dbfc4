"""The meta.xml of an archive: which file holds which term in which column, and how it is written.

Attributes and their defaults are those of the Darwin Core text guide of 2023-09-13.
"""

import codecs
from collections.abc import Mapping
from dataclasses import dataclass, field
from xml.parsers import expat

from pipeline.errors import InputError
from pipeline.published.table import Library

META = "meta.xml"
TEXT_NAMESPACE = "http://rs.tdwg.org/dwc/text/"
_SEPARATOR = "\n"
_ESCAPES = {"\\t": "\t", "\\n": "\n", "\\r": "\r", "\\r\\n": "\r\n", "\\\\": "\\", "\\f": "\f"}
_LINE_ENDS = frozenset({"\n", "\r", "\r\n"})
_REMEDY = "Export the archive again."
_KINDS = ("core", "extension")


@dataclass(frozen=True, slots=True)
class Limits:
    """How large an archive may be; see config/published/archive_limits.csv."""

    most_bytes: float
    most_ratio: float
    ratio_free_bytes: float
    most_files: float
    most_meta_bytes: float
    most_fields: float

    @classmethod
    def of(cls, library: Library) -> "Limits":
        """The limits as the published table states them."""
        table = library.table("archive_limits", key=("quantity",))
        return cls(**{name: table.number("value", quantity=name) for name in cls.__slots__})


@dataclass(frozen=True, slots=True)
class Field:
    """One term: the column that holds it, and what stands for an empty cell or for no column."""

    term: str
    index: int | None
    default: str | None


@dataclass(frozen=True)
class Entity:
    """A core or an extension: its files and how they are written."""

    row_type: str
    locations: tuple[str, ...]
    fields: tuple[Field, ...]
    id_index: int | None
    delimiter: str
    quote: str
    encoding: str
    header_lines: int
    is_core: bool

    @property
    def name(self) -> str:
        """The last part of the row type."""
        return self.row_type.rstrip("/").rsplit("/", 1)[-1].rsplit("#", 1)[-1]


@dataclass(frozen=True)
class Metafile:
    """What a meta.xml says."""

    core: Entity
    extensions: tuple[Entity, ...]


class MetafileError(InputError):
    """A meta.xml that cannot be used."""

    def __init__(self, where: str, found: str, expected: str) -> None:
        """Say where, what was found and what was expected."""
        super().__init__(where=where, found=found, expected=expected, remedy=_REMEDY)


@dataclass
class _Raw:
    """An entity as its elements come in."""

    kind: str
    attributes: Mapping[str, str]
    locations: list[str] = field(default_factory=list)
    fields: list[Mapping[str, str]] = field(default_factory=list)
    ids: list[Mapping[str, str]] = field(default_factory=list)


class _Reader:
    """Collects entities while the parser walks; namespaces other than the guide's are passed by."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.root: str | None = None
        self.entities: list[_Raw] = []
        self._path: list[str] = []
        self._text: list[str] = []

    def doctype(self, *_: object) -> None:
        # without a DOCTYPE no entity can be declared, and none can grow without end
        raise MetafileError(self.where, "a DOCTYPE", "XML without one, as the text guide has it")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        namespace, _, plain = tag.rpartition(_SEPARATOR)
        name = plain if namespace in {"", TEXT_NAMESPACE} else f"other:{plain}"
        if not self._path:
            self.root = name
        self._path.append(name)
        self._text = []
        inside = self.entities[-1] if self.entities and len(self._path) > len(_KINDS) else None
        if self._path[1:] in ([kind] for kind in _KINDS):
            self.entities.append(_Raw(name, attributes))
        elif inside is not None and name == "field":
            inside.fields.append(attributes)
        elif inside is not None and name in {"id", "coreid"}:
            inside.ids.append(attributes)

    def text(self, data: str) -> None:
        self._text.append(data)

    def end(self, _: str) -> None:
        if self._path[-2:] == ["files", "location"] and self.entities:
            self.entities[-1].locations.append("".join(self._text).strip())
        self._path.pop()


def read_metafile(data: bytes, *, limits: Limits, where: str) -> Metafile:
    """What a meta.xml says.

    Raises
    ------
    MetafileError
        If it is no well-formed XML, has a DOCTYPE, or does not say what the text guide asks for.
    """
    reader = _Reader(where)
    parser = expat.ParserCreate(namespace_separator=_SEPARATOR)
    parser.StartDoctypeDeclHandler = reader.doctype
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.text
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, LookupError, ValueError) as fault:
        raise MetafileError(where, f"XML that is broken ({fault})", "well-formed XML") from fault
    cores = [raw for raw in reader.entities if raw.kind == "core"]
    if reader.root != "archive" or len(cores) != 1:
        found = f"a root <{reader.root}> with {len(cores)} <core> elements"
        raise MetafileError(where, found, "a root <archive> with one <core>")
    made = {id(raw): _entity(raw, limits, where) for raw in reader.entities}
    extensions = tuple(made[id(raw)] for raw in reader.entities if raw.kind == "extension")
    return Metafile(made[id(cores[0])], extensions)


def _entity(raw: _Raw, limits: Limits, where: str) -> Entity:
    """One core or extension, its attributes read.

    Raises
    ------
    MetafileError
        If a part is missing, or written in a way that is not read.
    """
    at = f"{where}, <{raw.kind}>"
    told = raw.attributes
    row_type = told.get("rowType", "")
    for what, there in (("a rowType", row_type), ("a <location>", any(raw.locations)),
                        ("a <field>", raw.fields)):  # fmt: skip
        if not there:
            raise MetafileError(at, f"no {what.split(' ', 1)[1]}", what)
    delimiter = _mark(told.get("fieldsTerminatedBy", ","))
    quote = _mark(told.get("fieldsEnclosedBy", '"'))
    ends = _mark(told.get("linesTerminatedBy", "\\n"))
    if len(delimiter.encode()) != 1 or delimiter in _LINE_ENDS:
        raise MetafileError(at, f"fieldsTerminatedBy {delimiter!r}", "one plain sign, as , or \\t")
    if len(quote.encode()) > 1 or quote == delimiter:
        raise MetafileError(at, f"fieldsEnclosedBy {quote!r}", "one plain sign, or none")
    if ends not in _LINE_ENDS:
        raise MetafileError(at, f"linesTerminatedBy {ends!r}", "\\n, \\r or \\r\\n")
    encoding = told.get("encoding", "UTF-8") or "UTF-8"
    try:
        codecs.lookup(encoding)
    except (LookupError, ValueError) as fault:
        raise MetafileError(at, f"encoding {encoding!r}", "a known encoding") from fault
    ids = [_number(one.get("index"), "index of the id", limits, at) for one in raw.ids]
    return Entity(
        row_type=row_type,
        locations=tuple(raw.locations),
        fields=_fields(raw, limits, at),
        id_index=next((one for one in ids if one is not None), None),
        delimiter=delimiter,
        quote=quote,
        encoding=encoding,
        header_lines=_number(told.get("ignoreHeaderLines"), "ignoreHeaderLines", limits, at) or 0,
        is_core=raw.kind == "core",
    )


def _fields(raw: _Raw, limits: Limits, at: str) -> tuple[Field, ...]:
    """The fields of an entity.

    Raises
    ------
    MetafileError
        If one has no term, or neither column nor default, or a term is named twice.
    """
    made = []
    seen: set[str] = set()
    for told in raw.fields:
        term, default = told.get("term", "").strip(), told.get("default")
        index = _number(told.get("index"), f"index of {term or 'a field'}", limits, at)
        if not term or term in seen:
            what = f"the term {term!r} twice" if term else "a <field> without a term"
            raise MetafileError(at, what, "one <field> for each term")
        if index is None and default is None:
            raise MetafileError(at, f"neither index nor default for {term}", "one of the two")
        seen.add(term)
        made.append(Field(term, index, default))
    return tuple(made)


def _mark(text: str) -> str:
    """A sign as the text guide writes it, with the backslash escapes."""
    return _ESCAPES.get(text, text)


def _number(text: str | None, what: str, limits: Limits, at: str) -> int | None:
    """A whole number, None where nothing is said.

    Raises
    ------
    MetafileError
        If it is none, or beyond all measure.
    """
    if text is None or not text.strip():
        return None
    plain = text.strip()
    # few digits first: Python refuses to read endless ones, and so do we
    if not (plain.isascii() and plain.isdigit() and len(plain) <= len(str(limits.most_fields))
            and int(plain) <= limits.most_fields):  # fmt: skip
        raise MetafileError(at, f"{what} {plain[:20]!r}",
                            f"a whole number up to {limits.most_fields:.0f}")  # fmt: skip
    return int(plain)
