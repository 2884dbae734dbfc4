"""What observers wrote about fungi, from options or a file, as the evidence of the key."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.errors import InputError
from pipeline.ingest.names import NameBook, folded
from pipeline.ingest.readers import read_input
from pipeline.published.table import Library
from pipeline.scoring.assembly import seen as words
from pipeline.scoring.identification.evidence import Evidence
from pipeline.scoring.parameters.identification import CHARACTERS, IdentificationParameters
from pipeline.settings.model import InputFile, Matching
from pipeline.units import Flags, Floats, Ints

_OTHER_NAMES = {"seen_on": "date", "longitude": "lon", "latitude": "lat"}
COLUMNS = (
    *CHARACTERS, "position", "host", "host_certain", "month", "region", "layers", "name",
    "name_by", "name_certainty", "date", "lon", "sighting_id",
)  # fmt: skip
_SURE = {"yes": 1, "y": 1, "true": 1, "1": 1, "no": 0, "n": 0, "false": 0, "0": 0}
# An unread word is shown as far as this.
_LONGEST = 60


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
    for header in raw.data.column_names:
        name = header.strip().lower().replace(" ", "_")
        found.setdefault(_OTHER_NAMES.get(name, name), raw.data[header].cast(pa.string()))
    if not set(found) & set(COLUMNS) - {"sighting_id"}:
        raise InputError(
            where=path.name,
            found=f"columns {', '.join(raw.data.column_names)}",
            expected=f"some of {', '.join(COLUMNS)}",
            remedy="Name the columns as soundwood check --columns lists them.",
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
    named, meanings, strange = _names(column("name"), library, parameters)
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
    parts = text.split("-")
    return _whole(1, 12)(parts[1]) if len(parts) > 1 else None


def _found(place: int) -> int | None:
    return place if place >= 0 else None


def _names(
    column: pa.ChunkedArray, library: Library, parameters: IdentificationParameters
) -> tuple[Ints, Floats, Flags]:
    """Which names were given, what each means, and which rows carry one that no list holds."""
    key = parameters.key
    taxa, names = library.table("taxa"), library.table("taxon_names")
    book = NameBook.of_fungi(taxa, names, least_score=Matching().misspelling_score)
    at = {taxon: place for place, taxon in enumerate(key.taxon_id)}
    exact: dict[str, set[int]] = {}
    for row in names.rows:
        exact.setdefault(folded(row["name"]), set()).add(at[row["taxon_id"]])

    def meant(text: str) -> tuple[int, ...]:
        if folded(text) in exact:
            return tuple(sorted(exact[folded(text)]))
        answer = book.answer(text)
        if answer.name:
            return (at[answer.name],)
        genus = [place for place, name in enumerate(parameters.names)
                 if answer.genus and name.split()[0] == answer.genus]  # fmt: skip
        return tuple(genus) or (key.unlisted,)

    coded = column.combine_chunks().dictionary_encode()
    texts = [text or "" for text in coded.dictionary.to_pylist()]
    means = [meant(text) if text.strip() else () for text in texts]
    told = [m for m in means if m]
    place = np.array(
        [*np.where([bool(m) for m in means], np.cumsum([bool(m) for m in means]) - 1, -1), -1],
        np.int64,
    )
    odd = np.array([*(m == (key.unlisted,) for m in means), False], np.bool_)
    code = coded.indices.fill_null(len(texts)).to_numpy(zero_copy_only=False)
    return place[code], words.meanings(told, key), odd[code]
