"""What every page needs: the settings, the run's tables read once, and where to write."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path
from threading import RLock
from typing import Any, TypeVar

import pyarrow as pa

from pipeline.published.sentences import Texts, english
from pipeline.published.table import Library
from pipeline.render.layers import Layers
from pipeline.settings.model import RunSettings
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore, empty

Found = TypeVar("Found")
Sentence = Callable[[str, Mapping[str, Any]], str]

# All that is read of the widest table where no columns are asked for: half of its memory.
_READ = {
    "ingest.trees": (
        "tree_key", "tree_id", "x_m", "y_m", "place_doubtful", "species", "genus", "species_how",
        "dbh_cm", "status", "street", "address", "ward", "owner", "wires", "voltage_v",
    )
}  # fmt: skip
_CODED = {"planning.unscheduled": ("detail",)}  # a few sentences, each of many jobs


@dataclass
class RenderContext:
    """One run as pages see it.

    Parameters
    ----------
    settings : complete settings.
    store : tables of the run; tables that a stage did not write count as empty.
    library : published tables and sources.
    out : folder of the outputs.
    sentence : statement id and values to one sentence.
    review : code and values of a review to one sentence; None says them as statements.
    texts : the table of sentences; English where none is given.
    """

    settings: RunSettings
    store: RunStore
    library: Library
    out: Path
    sentence: Sentence
    review: Sentence | None = None
    texts: Texts = field(default_factory=english)
    _tables: dict[tuple[str, tuple[str, ...] | None], pa.Table] = field(default_factory=dict)
    _found: dict[str, Any] = field(default_factory=dict)
    _reading: RLock = field(default_factory=RLock, repr=False, compare=False)

    def once(self, name: str, find: Callable[[], Found]) -> Found:
        """What several pages tell, found at the first call under this name and kept."""
        if name not in self._found:
            self._found[name] = find()
        found: Found = self._found[name]
        return found

    def table(self, name: str, *, columns: tuple[str, ...] | None = None) -> pa.Table:
        """A table by its full name, read once; empty where the run has none."""
        columns = columns or _READ.get(name)
        key = (name, columns)
        with self._reading:  # two threads write pages: a large table is read by one of them
            if key not in self._tables:
                self._tables[key] = self._read(name, columns)
            return self._tables[key]

    def _read(self, name: str, columns: tuple[str, ...] | None) -> pa.Table:
        schema = TABLES[name]
        if self.store.has(schema):
            # In one piece: rows taken out of many pieces make Arrow join these each time.
            read = self.store.read(schema, columns=columns, coded=_CODED.get(name, ()))
            return read.combine_chunks()
        made = empty(schema)
        return made if columns is None else made.select(list(columns))

    def review_sentence(self, code: str, detail: Mapping[str, Any]) -> str:
        """What a review asks of a person, in one sentence."""
        return (self.review or self.sentence)(code, detail)

    @cached_property
    def layers(self) -> Layers:
        """Places and shapes in longitude and latitude."""
        return Layers(self.table, self.store.epsg)

    @property
    def city(self) -> str:
        """The city's name."""
        return self.settings.settings.city.name

    @property
    def as_of(self) -> date:
        """Day of the run."""
        return self.settings.as_of
