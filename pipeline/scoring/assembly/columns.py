"""Arrow columns to arrays and back; labels stay numbers all the way."""

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.units import Flags, Floats, Ints, Words

NO_DAY = -1
_EPOCH = date(1970, 1, 1).toordinal()


def day_number(day: date) -> int:
    """Days from 1970-01-01."""
    return day.toordinal() - _EPOCH


def day_text(number: int) -> str | None:
    """A day as 2026-11-15, None for NO_DAY."""
    return None if number == NO_DAY else date.fromordinal(int(number) + _EPOCH).isoformat()


def day_texts(numbers: Ints) -> list[str | None]:
    """`day_text` of each, made once for every day that there is."""
    days, which = np.unique(numbers, return_inverse=True)
    found: list[str | None] = np.array([day_text(int(day)) for day in days], object)[
        which.reshape(-1)
    ].tolist()
    return found


def numbers(table: pa.Table, name: str) -> Floats:
    """A column of numbers, NaN where empty, shape (rows,)."""
    column = table[name]
    if column.null_count:
        column = pc.fill_null(column.cast(pa.float64()), float("nan"))
    return np.asarray(column.to_numpy(), np.float64)


def whole(table: pa.Table, name: str, *, empty: int = -1) -> Ints:
    """A column of whole numbers, `empty` where there is none, shape (rows,)."""
    column = table[name]
    if column.null_count:
        column = pc.fill_null(column, pa.scalar(empty, column.type))
    return np.asarray(column.to_numpy(), np.int64)


def truths(table: pa.Table, name: str) -> Flags:
    """A column of yes and no, no where empty, shape (rows,)."""
    return np.asarray(pc.fill_null(table[name], False).to_numpy(), np.bool_)


def days(table: pa.Table, name: str) -> Ints:
    """A column of dates as day numbers, NO_DAY where empty, shape (rows,)."""
    column = pc.fill_null(table[name].cast(pa.int32()), NO_DAY)
    return np.asarray(column.to_numpy(), np.int64)


def dictionary(table: pa.Table, name: str) -> tuple[Ints, list[str]]:
    """A column of labels as numbers (-1 where empty) and the labels."""
    column = table[name]
    if not pa.types.is_dictionary(column.type):
        column = column.cast(pa.string()).dictionary_encode()
    if column.num_chunks == 0:
        return np.zeros(0, np.int64), []
    chunk = column.unify_dictionaries().combine_chunks()
    chunk = chunk.chunk(0) if isinstance(chunk, pa.ChunkedArray) else chunk
    codes = pc.fill_null(chunk.indices.cast(pa.int64()), -1)
    return np.asarray(codes.to_numpy(zero_copy_only=False), np.int64), chunk.dictionary.to_pylist()


def codes(table: pa.Table, name: str, among: Sequence[str]) -> Ints:
    """A column of labels as places in a list, -1 where empty or in none, shape (rows,)."""
    places, labels = dictionary(table, name)
    at = {label: number for number, label in enumerate(among)}
    found = np.array([at.get(label, -1) for label in labels] or [-1], np.int64)
    return np.where(places < 0, -1, found[np.maximum(places, 0)])


def texts(table: pa.Table, name: str) -> list[str | None]:
    """A column as a list of texts, for the few rows that sentences quote."""
    column = table[name]
    if pa.types.is_dictionary(column.type):
        column = column.cast(pa.string())
    return [None if value is None else str(value) for value in column.to_pylist()]


def labels(places: npt.NDArray[np.integer], names: Sequence[str]) -> pa.Array:
    """Numbers as labels, empty where negative."""
    return pa.DictionaryArray.from_arrays(
        pa.array(places.astype(np.int32), mask=places < 0), pa.array(names, pa.string())
    )


def dates(numbers_of_days: Ints) -> pa.Array:
    """Day numbers as dates, empty where NO_DAY."""
    plain = numbers_of_days.astype(np.int32)
    return pa.array(plain, mask=numbers_of_days == NO_DAY).cast(pa.date32())


def optional(values: npt.NDArray[np.generic], known: Flags) -> pa.Array:
    """Values, empty where not known."""
    return pa.array(values, mask=~known)


def place_of(keys: Ints, sorted_keys: Ints) -> Ints:
    """Place of each key in a sorted list of keys, -1 where it is not there; same shape as keys."""
    if not len(sorted_keys):
        return np.full(len(keys), -1, np.int64)
    at = np.minimum(np.searchsorted(sorted_keys, keys), len(sorted_keys) - 1)
    return np.where(sorted_keys[at] == keys, at, -1)


def latest(place: Ints, day: Ints, count: int) -> Ints:
    """Latest day at each of `count` places, NO_DAY where there is none; place -1 is left out."""
    found = np.full(count, NO_DAY, np.int64)
    kept = place >= 0
    np.maximum.at(found, place[kept], day[kept])
    return found


def small(values: npt.NDArray[np.generic]) -> Words:
    """As the type in which words are stored."""
    return values.astype(np.int8)
