"""Where the tables of a run lie: one Parquet file each, and a file of views for anyone's SQL.

Files are written by pyarrow in key order, zstd, and are equal to the byte on repeat. DuckDB only
reads them.
"""

import json
import os
from collections.abc import Iterator
from pathlib import Path

import duckdb
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pipeline.errors import TableError
from pipeline.tables.catalogue import TABLES
from pipeline.tables.schema import Column, Kind, TableSchema

_ROW_GROUP = 262_144  # fewer of them are read and written faster; DuckDB still finds several
_VIEWS = "soundwood.duckdb"


class MisfitError(TableError):
    """A table does not fit its declaration: a fault of the program, not of the city's files."""

    def __init__(self, table: TableSchema, found: str, expected: str) -> None:
        """Say which table, what was found and what was declared."""
        super().__init__(
            where=f"table {table.full_name}",
            found=found,
            expected=expected,
            remedy="This is a fault of the program: report it with the run's manifest.",
        )


class DamagedError(TableError):
    """A file of a run folder is cut short or was changed."""

    def __init__(self, path: Path, fault: Exception) -> None:
        """Say which file, and what reading it said, in one line."""
        super().__init__(
            where=f"{path.name} of the run folder",  # a run being made has no name to keep
            found=f"a run folder damaged: {' '.join(str(fault).split())}",
            expected="the file as it was written",
            remedy="Make the run again, or take another run folder.",
        )


class RunStore:
    """The tables of one run folder."""

    def __init__(self, root: Path) -> None:
        """Use the folder `root`; nothing is created before the first write."""
        self.root = root

    def path(self, table: TableSchema) -> Path:
        """The file of a table."""
        return self.root / "tables" / table.stage / f"{table.name}.parquet"

    def has(self, table: TableSchema) -> bool:
        """Whether the table was written."""
        return self.path(table).is_file()

    @property
    def placed(self) -> bool:
        """Whether the metric CRS is settled, which it is unless no tree has a place."""
        return (self.root / "tables" / "crs.json").is_file()

    @property
    def epsg(self) -> int:
        """The run's metric CRS.

        Raises
        ------
        TableError
            If ingest has not settled it yet.
        DamagedError
            If the file holds something else.
        """
        path = self.root / "tables" / "crs.json"
        if not path.is_file():
            raise TableError(
                where=str(path),
                found="no CRS",
                expected="the run's metric CRS",
                remedy="Run the ingest stage first.",
            )
        try:
            return int(json.loads(path.read_text(encoding="utf-8"))["epsg"])
        except (OSError, ValueError, KeyError, TypeError) as fault:
            raise DamagedError(path, fault) from fault

    @epsg.setter
    def epsg(self, code: int) -> None:
        path = self.root / "tables" / "crs.json"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps({"epsg": code}) + "\n", encoding="utf-8")

    def write(self, table: TableSchema, data: pa.Table) -> pa.Table:
        """Check a table against its declaration, put it in key order and write it whole.

        Returns the table as stored.

        Raises
        ------
        TableError
            If names, types, nulls, ranges, allowed values or keys do not fit.
        """
        stored = conform(table, data)
        path = self.path(table)
        path.parent.mkdir(parents=True, exist_ok=True)
        waiting = path.with_suffix(".waiting")
        pq.write_table(
            stored,
            waiting,
            compression="zstd",
            compression_level=1,
            row_group_size=_ROW_GROUP,
            use_dictionary=[c.name for c in table.columns if c.kind in {Kind.LABEL, Kind.TEXT}],
            write_statistics=True,
        )
        waiting.replace(path)
        return stored

    def read(
        self,
        table: TableSchema,
        *,
        columns: tuple[str, ...] | None = None,
        coded: tuple[str, ...] = (),
    ) -> pa.Table:
        """The whole table, or some of its columns.

        Parameters
        ----------
        coded : columns of texts that many rows share: read as a dictionary, they need less memory.

        Raises
        ------
        TableError
            If the table was not written.
        DamagedError
            If its file cannot be read.
        """
        path = self.path(table)
        if not path.is_file():
            raise TableError(
                where=str(path),
                found="no such table",
                expected=table.full_name,
                remedy=f"Run the {table.stage} stage first.",
            )
        try:
            schema = pq.read_schema(path)
            wanted = [n for n in schema.names if columns is None or n in columns]
            return pq.read_table(path, columns=wanted, read_dictionary=list(coded))
        except (pa.ArrowInvalid, OSError) as fault:
            raise DamagedError(path, fault) from fault

    def batches(
        self, table: TableSchema, *, size: int, columns: tuple[str, ...] | None = None
    ) -> Iterator[pa.RecordBatch]:
        """Record batches of at most `size` rows in key order.

        Raises
        ------
        DamagedError
            If the table's file cannot be read.
        """
        names = list(columns) if columns is not None else None
        try:
            with pq.ParquetFile(self.path(table)) as file:
                yield from file.iter_batches(batch_size=size, columns=names)
        except (pa.ArrowInvalid, OSError) as fault:
            raise DamagedError(self.path(table), fault) from fault

    def query(self, sql: str) -> pa.Table:
        """Answer of an SQL query over the tables written so far, as `stage.table`.

        Only tables that the query names are opened: to look into all files of a run takes longer
        than most answers.

        Raises
        ------
        DamagedError
            If a table's file cannot be read.
        """
        with duckdb.connect() as connection:
            connection.execute("set preserve_insertion_order = true")
            try:
                self._declare_views(
                    connection, relative=False, named_in=sql.replace('"', "").lower()
                )
                return connection.sql(sql).to_arrow_table()
            except (duckdb.IOException, duckdb.InvalidInputException) as fault:
                raise DamagedError(self.root / "tables", fault) from fault

    def write_views(self) -> Path:
        """A DuckDB file with a view over each table; paths are relative to the run folder."""
        path = self.root / _VIEWS
        path.unlink(missing_ok=True)
        before = Path.cwd()
        os.chdir(self.root)
        try:
            with duckdb.connect(str(path.name)) as connection:
                self._declare_views(connection, relative=True)
        finally:
            os.chdir(before)
        return path

    def _declare_views(
        self, connection: duckdb.DuckDBPyConnection, *, relative: bool, named_in: str | None = None
    ) -> None:
        for table in TABLES.values():
            if named_in is not None and table.full_name not in named_in:
                continue
            if not self.has(table):
                continue
            file = self.path(table)
            shown = file.relative_to(self.root) if relative else file
            quoted = str(shown).replace("'", "''")
            connection.execute(f'create schema if not exists "{table.stage}"')
            connection.execute(
                f'create view "{table.stage}"."{table.name}" as '
                f"select * from read_parquet('{quoted}')"
            )


def conform(table: TableSchema, data: pa.Table) -> pa.Table:
    """The data with the declared columns, types and order; metadata dropped.

    Raises
    ------
    MisfitError
        If it does not fit the declaration.
    """
    missing = [name for name in table.column_names if name not in data.column_names]
    extra = [name for name in data.column_names if name not in table.column_names]
    if missing or extra:
        raise MisfitError(
            table, f"missing {missing}, undeclared {extra}", "exactly the declared columns"
        )
    arrays = [_conformed(table, column, data[column.name]) for column in table.columns]
    made = pa.table(arrays, schema=table.arrow_schema)
    return _in_key_order(table, made)


def empty(table: TableSchema) -> pa.Table:
    """The table without rows."""
    return table.arrow_schema.empty_table()


def _conformed(table: TableSchema, column: Column, data: pa.ChunkedArray) -> pa.ChunkedArray:
    try:
        if pa.types.is_dictionary(data.type) and column.kind is not Kind.LABEL:
            data = data.cast(data.type.value_type)
        if column.kind is Kind.LABEL:
            data = _labels(data)
        elif data.type != column.arrow_type:
            data = data.cast(column.arrow_type)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, pa.ArrowTypeError) as fault:
        raise MisfitError(
            table, f"{column.name}: {fault}", f"values of type {column.kind}"
        ) from fault
    if not column.nullable and data.null_count:
        raise MisfitError(table, f"{column.name}: {data.null_count} empty values", "no empty value")
    _check_values(table, column, data)
    return data


def _labels(data: pa.ChunkedArray) -> pa.ChunkedArray:
    """One dictionary, sorted, so that the bytes do not depend on the order of arrival."""
    kind = pa.dictionary(pa.int32(), pa.string())
    if pa.types.is_dictionary(data.type):
        data = data.unify_dictionaries().cast(kind)
    else:
        data = data.cast(pa.string()).combine_chunks().dictionary_encode()
        data = data if isinstance(data, pa.ChunkedArray) else pa.chunked_array([data])
    whole = data.combine_chunks()
    array = whole.chunk(0) if isinstance(whole, pa.ChunkedArray) and whole.num_chunks else whole
    if isinstance(array, pa.ChunkedArray):
        return pa.chunked_array([], type=kind)
    # Two codes of one word are one label: the words in order, each once, settle the codes.
    words = pc.unique(array.dictionary.take(pc.unique(array.indices.drop_null())))
    words = words.take(pc.sort_indices(words))
    place = pc.index_in(array.dictionary, value_set=words)
    codes = place.take(array.indices)
    return pa.chunked_array([pa.DictionaryArray.from_arrays(codes, words)], type=kind)


def _check_values(table: TableSchema, column: Column, data: pa.ChunkedArray) -> None:
    if column.allowed and len(data):
        unknown = sorted(set(data.unify_dictionaries().chunk(0).dictionary.to_pylist())
                         - set(column.allowed))  # fmt: skip
        if unknown:
            raise MisfitError(table, f"{column.name}: {unknown}", f"one of {list(column.allowed)}")
    if (column.low is not None or column.high is not None) and len(data) > data.null_count:
        limits = pc.min_max(data).as_py()
        too_low = column.low is not None and limits["min"] < column.low
        too_high = column.high is not None and limits["max"] > column.high
        if too_low or too_high:
            raise MisfitError(
                table,
                f"{column.name}: {limits['min']} to {limits['max']}",
                f"{column.low} to {column.high}",
            )
    if column.kind is Kind.FLOAT and len(data) and pc.any(pc.is_nan(data)).as_py():
        raise MisfitError(table, f"{column.name}: NaN", "a number, or empty where that is allowed")


def _rises(made: pa.Table, key: tuple[str, ...]) -> bool:
    """Whether the rows stand in the order of their key, each key once, by the numbers of the key.

    Words are not looked at: where the numbers before them do not settle it, it is not known.
    """
    settled: np.ndarray[tuple[int], np.dtype[np.bool_]] = np.zeros(made.num_rows - 1, np.bool_)
    for name in key:
        if settled.all():
            break
        kind = made.schema.field(name).type
        if pa.types.is_string(kind) or pa.types.is_dictionary(kind):
            return False
        values = made[name].to_numpy()
        if (values[1:] < values[:-1])[~settled].any():
            return False
        settled |= values[1:] > values[:-1]
    return bool(settled.all())


def _in_key_order(table: TableSchema, made: pa.Table) -> pa.Table:
    if made.num_rows == 0:
        return made
    if _rises(made, table.key):
        return made.combine_chunks()
    keys = [(name, "ascending") for name in table.key]
    plain = made.select(list(table.key))
    for position, name in enumerate(table.key):
        if pa.types.is_dictionary(plain.schema.field(name).type):
            plain = plain.set_column(position, name, plain[name].cast(pa.string()))
    order = pc.sort_indices(plain, sort_keys=keys)
    groups = plain.group_by(list(table.key)).aggregate([]).num_rows
    if groups != made.num_rows:
        raise MisfitError(
            table,
            f"{made.num_rows - groups} rows repeat the key {', '.join(table.key)}",
            "each key once",
        )
    return made.take(order).combine_chunks()
