"""The one declaration that a table has: columns, types, units, keys, allowed values, meaning.

The Arrow schema, the checks on writing, the documentation page and the tests derive from it. This
module does no input or output.
"""

from dataclasses import dataclass, field
from enum import StrEnum

import pyarrow as pa


class Kind(StrEnum):
    """The storage types that tables use."""

    TEXT = "text"  # UTF-8
    LABEL = "label"  # text with few different values, stored as a dictionary
    INT8 = "int8"
    INT16 = "int16"
    INT32 = "int32"
    INT64 = "int64"
    FLOAT = "float64"
    BOOL = "bool"
    DATE = "date"
    WKB = "wkb"  # geometry in the run's metric CRS, well-known binary


_ARROW: dict[Kind, pa.DataType] = {
    Kind.TEXT: pa.string(),
    Kind.LABEL: pa.dictionary(pa.int32(), pa.string()),
    Kind.INT8: pa.int8(),
    Kind.INT16: pa.int16(),
    Kind.INT32: pa.int32(),
    Kind.INT64: pa.int64(),
    Kind.FLOAT: pa.float64(),
    Kind.BOOL: pa.bool_(),
    Kind.DATE: pa.date32(),
    Kind.WKB: pa.binary(),
}

UNITS = frozenset(
    {
        "", "cm", "m", "deg", "years", "days", "hours", "min", "km/h", "m/s", "persons/h",
        "vehicles/day", "share", "1/year", "harm", "harm/year", "V", "money", "points", "word",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Parameters
    ----------
    name : snake_case, with the unit at its end where it has one.
    kind : storage type.
    meaning : one sentence.
    unit : one of UNITS.
    nullable : may be empty.
    allowed : the values a LABEL may take; empty means any.
    low, high : inclusive range for numbers; None means open.
    """

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    nullable: bool = False
    allowed: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None

    @property
    def arrow_type(self) -> pa.DataType:
        """The Arrow type in which the column is stored."""
        return _ARROW[self.kind]


@dataclass(frozen=True, slots=True)
class ForeignKey:
    """Values of a column that must be keys of another table; negative keys mean 'none'."""

    column: str
    table: str


@dataclass(frozen=True, slots=True)
class TableSchema:
    """One table of a run.

    Parameters
    ----------
    stage : the stage that writes it, also its folder and its DuckDB schema.
    key : columns that identify a row; rows are stored in this order.
    """

    stage: str
    name: str
    meaning: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    foreign: tuple[ForeignKey, ...] = field(default=())

    @property
    def full_name(self) -> str:
        """`stage.name`, as SQL and documents name it."""
        return f"{self.stage}.{self.name}"

    @property
    def arrow_schema(self) -> pa.Schema:
        """The Arrow schema in column order."""
        return pa.schema(
            [pa.field(c.name, c.arrow_type, nullable=c.nullable) for c in self.columns]
        )

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names in order."""
        return tuple(c.name for c in self.columns)

    def column(self, name: str) -> Column:
        """The declaration of one column.

        Raises
        ------
        KeyError
            If the table has no such column.
        """
        for candidate in self.columns:
            if candidate.name == name:
                return candidate
        raise KeyError(name)
