"""What observers wrote about fungi, from options or a file, as the evidence of the key."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pyarrow as pa
import typer

from pipeline.errors import InputError
from pipeline.ingest.names import NameBook, folded
from pipeline.ingest.readers import read_input
from pipeline.published.table import Library
from pipeline.scoring.assembly import seen as words
from pipeline.scoring.identification.evidence import Evidence
from pipeline.scoring.parameters.identification import CHARACTERS, IdentificationParameters
from pipeline.settings.model import InputFile, Matching
from pipeline.tables.inputs import SIGHTINGS
from pipeline.units import Flags, Floats, Ints

_OTHER_NAMES = {
    "seen_on": "date", "longitude": "lon", "upper_color": "upper_colour",
    "under_color": "under_colour",
}  # fmt: skip
COLUMNS = (
    *CHARACTERS, "position", "host", "host_certain", "month", "region", "layers", "name",
    "name_by", "name_certainty", "date", "lon", "sighting_id", "count", "width_cm",
    "height_above_ground_m",
)  # fmt: skip
# Columns that a file of sightings may have and that tell the key nothing.
_OF_A_RUN = frozenset({*(column.name for column in SIGHTINGS.columns), "lat"})
_SURE = {"yes": 1, "y": 1, "true": 1, "1": 1, "no": 0, "n": 0, "false": 0, "0": 0}
# An unread word is shown as far as this.
_LONGEST = 60
# Between two names for one thing.
_OR = re.compile(r"\s*[|;/]\s*|,\s+|\s+(?:or|oder|ou)\s+")
_DATE = re.compile(r"(\d{4})-(\d{1,2})(?:-(\d{1,2}))?(?!\d)")


@dataclass(frozen=True)
class Sighted:
    """Sightings as read.

    Parameters
    ----------
    sighting_id : as the file has them, else the number of the row.
    odd : records with a name that no list holds, shape (sightings,).
    unread : words that meant nothing, joined with |.
    layers : pore layers counted, NaN where nobody did, shape (sightings,).
    name : the name as it was written, '' without one.
    """

    sighting_id: tuple[str, ...]
    evidence: Evidence
    odd: Flags
    unread: tuple[str, ...]
    layers: Floats
    name: tuple[str, ...]

    def rows(self, which: Ints) -> "Sighted":
        """Some of the sightings, in that order."""
        at = which.tolist()
        return Sighted(
            tuple(self.sighting_id[row] for row in at),
            self.evidence.rows(which),
            self.odd[which],
            tuple(self.unread[row] for row in at),
            self.layers[which],
            tuple(self.name[row] for row in at),
        )


def ids_of(table: pa.Table) -> tuple[str, ...]:
    """Ids of the sightings as the file has them, else the number of the row."""
    if "sighting_id" not in table.column_names:
        return tuple(map(str, range(1, table.num_rows + 1)))
    told = table["sighting_id"].to_pylist()
    return tuple(x or str(at) for at, x in enumerate(told, start=1))


def distinct_rows(table: pa.Table) -> tuple[pa.Table, Ints]:
    """Each record once, its id apart, and the place of every sighting among them."""
    place = np.zeros(table.num_rows, np.int64)
    for name in table.column_names:
        if name != "sighting_id":
            coded = table[name].combine_chunks().dictionary_encode()
            code = coded.indices.fill_null(len(coded.dictionary)).to_numpy(zero_copy_only=False)
            both = place * (len(coded.dictionary) + 1) + code
            place = np.unique(both, return_inverse=True)[1].reshape(-1)
    _, first, back = np.unique(place, return_index=True, return_inverse=True)
    return table.take(pa.array(first)), np.asarray(back, np.int64).reshape(-1)


def read_file(path: Path) -> pa.Table:
    """The columns of a file under this project's names, whole or not at all.

    Raises
    ------
    InputError
        If the file cannot be used, or a record of it is broken.
    """
    raw = read_input(InputFile(files=(path.name,)), kind="sightings", data_dir=path.parent,
                     source_key_start=0)[0]  # fmt: skip
    if raw.rejects:
        raise InputError(
            where=f"{path.name}, record {raw.rejects[0].row}",
            found=f"{len(raw.rejects)} broken records",
            expected="every record with as many cells as the header",
            remedy="Mend the records; nothing was identified.",
        )
    found: dict[str, pa.ChunkedArray] = {}
    unused: list[str] = []
    for header in raw.data.column_names:
        name = "_".join(header.replace("-", " ").lower().split())
        name = _OTHER_NAMES.get(name, name)
        if name in found or name not in {*COLUMNS, *_OF_A_RUN}:
            unused.append(_on_one_line(header))
        found.setdefault(name, raw.data[header].cast(pa.string()))
    if not set(found) & set(COLUMNS) - {"sighting_id"}:
        raise InputError(
            where=path.name,
            found=f"columns {', '.join(raw.data.column_names)}",
            expected=f"some of {', '.join(COLUMNS)}",
            remedy="Name the columns as soundwood check --columns lists them.",
        )
    if unused:
        typer.echo(
            f"soundwood: {path.name}: not used, as no column of sightings is called so or it "
            f"stands twice: {', '.join(unused)}",
            err=True,
        )
    return pa.table({name: column for name, column in found.items() if name in COLUMNS})


class _Cells:
    """The columns of a table of text, and what of them could not be read."""

    def __init__(self, table: pa.Table) -> None:
        self._table = table
        self.unread: dict[int, list[str]] = {}

    def column(self, name: str) -> pa.ChunkedArray:
        """The column, or one of empty cells where the file has none."""
        if name in self._table.column_names:
            return self._table[name]
        return pa.chunked_array([pa.nulls(self._table.num_rows, pa.string())])

    def one(self, name: str, read: Callable[[str], int | None], missing: int = -1) -> Ints:
        """One number a row; a text that means none is unread."""

        def cell(text: str) -> tuple[tuple[int, ...], tuple[str, ...]]:
            if not text.strip():
                return (), ()
            value = read(text.strip())
            return ((), (f"{name}={text}",)) if value is None else ((value,), ())

        found = words.read_column(self.column(name), cell)
        self.keep(found.unread)
        values = np.full(self._table.num_rows, missing, np.int64)
        values[found.row] = found.state
        return values

    def number(self, name: str, low: float, high: float) -> Floats:
        """One number a row, NaN where there is none; a text that is none in its range is unread."""
        coded = self.column(name).combine_chunks().dictionary_encode()
        texts = coded.dictionary.to_pylist()
        values = np.array([*(_number(text, low, high) for text in texts), np.nan])
        code = coded.indices.fill_null(len(texts)).to_numpy(zero_copy_only=False)
        bad = np.array([*(bool(text.strip()) for text in texts), False]) & np.isnan(values)
        self.keep({int(at): (f"{name}={texts[code[at]]}",) for at in np.flatnonzero(bad[code])})
        return np.asarray(values[code], np.float64)

    def keep(self, more: dict[int, tuple[str, ...]]) -> None:
        """Keep unread words of some rows."""
        for at, bad in more.items():
            self.unread.setdefault(at, []).extend(map(_on_one_line, bad))


def read_table(table: pa.Table, library: Library, parameters: IdentificationParameters) -> Sighted:
    """Columns of text as evidence; what cannot be read is kept as an unread word."""
    count, key = table.num_rows, parameters.key
    cells = _Cells(table)
    column, one = cells.column, cells.one
    dictionary = words.Dictionary(key.vocabulary, library.table("character_words"))
    told = {name: column(name) for name in (*CHARACTERS, "position")}
    seen, read = words.mark_seen(told, count, key, dictionary)
    for name, found in read.items():
        cells.keep({at: tuple(f"{name}={x}" for x in bad) for at, bad in found.unread.items()})
    trees = NameBook.of_trees(library.table("tree_species"), library.table("tree_names"),
                              least_score=Matching().misspelling_score)  # fmt: skip
    genera = {genus: at for at, genus in enumerate(parameters.genera)}
    host = one("host", lambda text: genera.get(trees.answer(text).genus or ""))
    certain = one("host_certain", lambda text: _SURE.get(text.lower()), missing=1) == 1
    words.mark_hosts(seen, host, certain, key)
    month, dated = one("month", _whole(1, 12)), one("date", _month_of)
    words.mark_months(seen, np.where(month > 0, month, dated), key)
    region = one("region", lambda text: _found(words.region_of(text, key.regions)))
    by_place = words.region_by_longitude(cells.number("lon", -180.0, 180.0), key.regions)
    layers = one("layers", _whole(1, 200))
    words.mark_layers(seen, layers, key)
    observers = {name: at for at, name in enumerate(key.names.name_by)}
    by = one("name_by", lambda text: observers.get(text.lower().replace(" ", "_")),
             missing=observers["unknown"])  # fmt: skip
    for name, low, high in (("count", 0.0, np.inf), ("width_cm", 0.0, np.inf),
                            ("height_above_ground_m", 0.0, np.inf)):  # fmt: skip
        cells.number(name, low, high)
    named, meanings, strange, not_read = _names(column("name"), library, parameters)
    cells.keep(not_read)
    evidence = Evidence(
        seen=seen,
        region=np.where(region < 0, by_place, region),
        name=named,
        meanings=meanings,
        name_by=by,
        certainty=cells.number("name_certainty", 0.0, 1.0),
    )
    return Sighted(
        sighting_id=ids_of(table),
        evidence=evidence,
        odd=strange,
        unread=tuple("|".join(cells.unread.get(at, ())) for at in range(count)),
        layers=np.where(layers > 0, layers, np.nan).astype(np.float64),
        name=tuple(text or "" for text in column("name").to_pylist()),
    )


def _on_one_line(word: str) -> str:
    """A word for a cell: no marks that steer a terminal, none that part words."""
    shown = "".join(mark if mark.isprintable() else " " for mark in word.replace("|", "/"))
    return " ".join(shown.split())[:_LONGEST]


def _number(text: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        return float("nan")
    return value if low <= value <= high else float("nan")


def _whole(low: int, high: int) -> Callable[[str], int | None]:
    def read(text: str) -> int | None:
        value = _number(text, low, high)
        return int(value) if value.is_integer() else None

    return read


def _month_of(text: str) -> int | None:
    """Month of a date that begins with its year; a day that no month has makes it none."""
    found = _DATE.match(text)
    if found is None:
        return None
    year, month, day = (int(part or 1) for part in found.groups())
    try:
        return date(year, month, day).month
    except ValueError:
        return None


def _found(place: int) -> int | None:
    return place if place >= 0 else None


class _FungusNames:
    """What a written name of a fungus may mean."""

    def __init__(self, library: Library, parameters: IdentificationParameters) -> None:
        """Hold every name of the lists."""
        taxa, names = library.table("taxa"), library.table("taxon_names")
        self._book = NameBook.of_fungi(taxa, names, least_score=Matching().misspelling_score)
        self._at = {taxon: place for place, taxon in enumerate(parameters.key.taxon_id)}
        self._genus_of = [name.split()[0] for name in parameters.names]
        self._exact: dict[str, set[int]] = {}
        for row in names.rows:
            self._exact.setdefault(folded(row["name"]), set()).add(self._at[row["taxon_id"]])

    def read(self, text: str) -> tuple[tuple[int, ...], tuple[str, ...]]:
        """Taxa that a cell may mean, none where no list holds it; and words that mean nothing."""
        parts = [part for part in _OR.split(text) if part.strip()]
        if folded(text) in self._exact or len(parts) < 2:  # noqa: PLR2004 - one name is no choice
            meant = self._one(text)
            return meant, () if meant else (text,)
        # Two names for one thing mean both; what stands beside them is told as not understood.
        told = [(part, self._one(part)) for part in parts]
        meant = tuple(sorted({taxon for _, taxa in told for taxon in taxa}))
        unread = tuple(part for part, taxa in told if not taxa)
        return meant, unread if meant else (text,)

    def _one(self, text: str) -> tuple[int, ...]:
        if folded(text) in self._exact:
            return tuple(sorted(self._exact[folded(text)]))
        answer = self._book.answer(text)
        if answer.name:
            return (self._at[answer.name],)
        return tuple(place for place, genus in enumerate(self._genus_of) if answer.genus == genus)


def _names(
    column: pa.ChunkedArray, library: Library, parameters: IdentificationParameters
) -> tuple[Ints, Floats, Flags, dict[int, tuple[str, ...]]]:
    """Which names were given, what each means, which rows carry one that no list holds, unread."""
    names, unlisted = _FungusNames(library, parameters), (parameters.key.unlisted,)
    coded = column.combine_chunks().dictionary_encode()
    texts = [text or "" for text in coded.dictionary.to_pylist()]
    read = [names.read(text) if text.strip() else ((), ()) for text in texts]
    given = np.array([bool(text.strip()) for text in texts], np.bool_)
    told = [meant or unlisted for (meant, _), is_given in zip(read, given, strict=True) if is_given]
    place = np.append(np.where(given, np.cumsum(given) - 1, -1), -1).astype(np.int64)
    odd = np.array([*(not meant for meant, _ in read), False], np.bool_)
    odd[:-1] &= given
    code = coded.indices.fill_null(len(texts)).to_numpy(zero_copy_only=False)
    bad = np.array([*(bool(words) for _, words in read), False], np.bool_)
    unread = {
        int(at): tuple(f"name={word}" for word in read[code[at]][1])
        for at in np.flatnonzero(bad[code])
    }
    return place[code], words.meanings(told, parameters.key), odd[code], unread
