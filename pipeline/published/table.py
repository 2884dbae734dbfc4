"""Published tables: one CSV each, every row with basis and source; raises outside its range."""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from threading import RLock

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.published.locate import config_dir
from pipeline.published.overrides import refuse_unknown
from pipeline.published.source import Source, read_sources
from pipeline.units import Floats

BASES = ("published", "elicited", "common practice", "from memory")
NEEDED = ("basis", "source", "locator", "note")


@dataclass(frozen=True)
class PublishedTable:
    """A table of values; `rows` map header to text."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[Mapping[str, str], ...]

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.rows)

    def texts(self, column: str) -> tuple[str, ...]:
        """One column as text.

        Raises
        ------
        PublishedValueError
            If the table has no such column.
        """
        self._need(column)
        return tuple(row[column] for row in self.rows)

    def numbers(self, column: str) -> Floats:
        """One column as numbers, shape (rows,), NaN where empty.

        Raises
        ------
        PublishedValueError
            If a value is no number.
        """
        self._need(column)
        return np.array([self._number(row, column) for row in self.rows], dtype=np.float64)

    def row(self, **key: str) -> Mapping[str, str]:
        """The one row with these key values.

        Raises
        ------
        PublishedValueError
            If there is no such row, or more than one.
        """
        found = [row for row in self.rows if all(row[k] == v for k, v in key.items())]
        if len(found) != 1:
            raise PublishedValueError(
                where=f"published table {self.name}",
                found=f"{len(found)} rows for {key}",
                expected="one row",
                remedy="Mend the table or the override.",
            )
        return found[0]

    def number(self, column: str, **key: str) -> float:
        """One number by key.

        Raises
        ------
        PublishedValueError
            If there is no such row or the cell holds no number.
        """
        value = self._number(self.row(**key), column)
        if np.isnan(value):
            raise PublishedValueError(
                where=f"published table {self.name}, column {column}, row {key}",
                found="an empty cell",
                expected="a number",
                remedy="Mend the table or the override.",
            )
        return value

    def matrix(
        self, *, rows: str, columns: str, value: str, row_order: Sequence[str], order: Sequence[str]
    ) -> tuple[tuple[str, ...], ...]:
        """A two-way table as text, in the given orders of its two keys.

        Raises
        ------
        PublishedValueError
            If a cell is missing or doubled.
        """
        return tuple(
            tuple(self.row(**{rows: r, columns: c})[value] for c in order) for r in row_order
        )

    def interpolate(self, x: Floats, *, at: str, value: str) -> Floats:
        """Linear interpolation of `value` over the sorted numeric key `at`; same shape as x.

        Raises
        ------
        PublishedValueError
            If an x lies outside the table.
        """
        grid = self.numbers(at)
        x = np.asarray(x, dtype=np.float64)
        if x.size and (np.nanmin(x) < grid[0] or np.nanmax(x) > grid[-1]):
            raise PublishedValueError(
                where=f"published table {self.name}",
                found=f"{at} from {np.nanmin(x):g} to {np.nanmax(x):g}",
                expected=f"{at} from {grid[0]:g} to {grid[-1]:g}",
                remedy="Clip and say so, or extend the table with a source.",
            )
        return np.interp(x, grid, self.numbers(value))

    def _need(self, column: str) -> None:
        if column not in self.columns:
            raise PublishedValueError(
                where=f"published table {self.name}",
                found=f"columns {', '.join(self.columns)}",
                expected=f"a column {column}",
                remedy="Mend the table or the override.",
            )

    def _number(self, row: Mapping[str, str], column: str) -> float:
        text = row[column].strip()
        if not text:
            return float("nan")
        try:
            return float(text)
        except ValueError:
            raise PublishedValueError(
                where=f"published table {self.name}, column {column}",
                found=repr(text),
                expected="a number",
                remedy="Mend the table or the override.",
            ) from None


@dataclass(frozen=True, slots=True)
class Override:
    """One row of a published table that a city has replaced or added."""

    table: str
    row: Mapping[str, str]
    replaced: Mapping[str, str] | None


class Library:
    """All published tables and rule tables, with a city's overrides laid over them.

    Parameters
    ----------
    folder : config/published, or config/rules.
    overrides : the city's folder of overrides, or None.
    """

    def __init__(self, *, config: Path | None = None, overrides: Path | None = None) -> None:
        """Read nothing yet; tables are read when they are asked for.

        Raises
        ------
        PublishedValueError
            If a file of overrides bears the name of no table: it would change nothing.
        ManyFaults
            If several do.
        """
        self._config = config or config_dir()
        self._overrides = overrides
        if overrides is not None:
            refuse_unknown(overrides, self._config)
        self._tables: dict[str, PublishedTable] = {}
        self._overridden: dict[str, list[Override]] = {}
        self._reading = RLock()  # pages are written by two threads

    @cached_property
    def sources(self) -> dict[str, Source]:
        """All sources by id."""
        return read_sources(self._config / "published" / "sources.toml")

    @property
    def used(self) -> tuple[str, ...]:
        """Names of the tables asked for so far."""
        return tuple(sorted(self._tables))

    @property
    def overridden(self) -> tuple[Override, ...]:
        """Rows that a city replaced or added in the tables asked for so far, by table."""
        return tuple(one for name in sorted(self._overridden) for one in self._overridden[name])

    def table(
        self, name: str, *, key: Sequence[str] = (), folder: str = "published"
    ) -> PublishedTable:
        """The table of that name; `key` columns are needed for overrides to replace rows.

        Raises
        ------
        PublishedValueError
            If there is no such table, or it does not hold what every table holds.
        """
        with self._reading:
            if name not in self._tables:
                table = read_table(self._config / folder / f"{name}.csv")
                self._tables[name] = self._overlaid(table, key)
            return self._tables[name]

    def _overlaid(self, table: PublishedTable, key: Sequence[str]) -> PublishedTable:
        path = self._overrides / f"{table.name}.csv" if self._overrides else None
        if path is None or not path.is_file():
            return table
        changes = read_table(path)
        if set(changes.columns) != set(table.columns):
            raise PublishedValueError(
                where=str(path),
                found=f"columns {', '.join(changes.columns)}",
                expected=f"columns {', '.join(table.columns)}",
                remedy="Use the columns of the table that is overridden.",
            )
        key = tuple(key) or (table.columns[0],)
        rows = {tuple(row[k] for k in key): row for row in table.rows}
        for row in changes.rows:
            at = tuple(row[k] for k in key)
            told = Override(table.name, row, rows.get(at))
            self._overridden.setdefault(table.name, []).append(told)
            rows[at] = row
        return PublishedTable(table.name, table.columns, tuple(rows.values()))


def read_table(path: Path) -> PublishedTable:
    """Read one table and check what every table must hold.

    Raises
    ------
    PublishedValueError
        If the file is not there, a row is ragged, or basis or source are missing.
    """
    try:
        with path.open(encoding="utf-8", newline="") as file:
            lines = list(csv.reader(file))
    except OSError as fault:
        raise PublishedValueError(
            where=str(path),
            found=f"no readable table ({fault.strerror})",
            expected="a CSV file",
            remedy="Restore the file.",
        ) from fault
    header = tuple(lines[0]) if lines else ()
    missing = [name for name in NEEDED if name not in header]
    if missing:
        raise PublishedValueError(
            where=str(path),
            found=f"no column {', '.join(missing)}",
            expected=f"columns {', '.join(NEEDED)}",
            remedy="Every value needs its basis and source.",
        )
    rows = []
    for number, cells in enumerate(lines[1:], start=2):
        if len(cells) != len(header):
            raise PublishedValueError(
                where=f"{path}, line {number}",
                found=f"{len(cells)} cells",
                expected=f"{len(header)} cells",
                remedy="Mend the line; quote cells that hold commas.",
            )
        row = dict(zip(header, cells, strict=True))
        if row["basis"] not in BASES or not row["source"]:
            raise PublishedValueError(
                where=f"{path}, line {number}",
                found=f"basis {row['basis']!r}, source {row['source']!r}",
                expected=f"basis one of {', '.join(BASES)}, and a source id",
                remedy="Every value needs its basis and source.",
            )
        rows.append(row)
    return PublishedTable(path.stem, header, tuple(rows))
