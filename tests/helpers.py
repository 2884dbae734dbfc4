"""One comparer for every table of outside values in tests/check_values."""

import csv
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

CHECK_VALUES = Path(__file__).resolve().parent / "check_values"
NEEDED = ("case", "expected", "tolerance", "source", "locator")
Floats = npt.NDArray[np.float64]


def check_values(name: str) -> list[Mapping[str, str]]:
    """The rows of tests/check_values/<name>.csv; every row names a source of SOURCES.toml."""
    path = CHECK_VALUES / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows: list[Mapping[str, str]] = list(csv.DictReader(file))
    known = tomllib.loads((CHECK_VALUES / "SOURCES.toml").read_text(encoding="utf-8"))
    assert rows, f"{path.name} has no rows"
    assert set(NEEDED) <= set(rows[0]), f"{path.name} lacks {set(NEEDED) - set(rows[0])}"
    strangers = {row["source"] for row in rows} - set(known)
    assert not strangers, f"{path.name}: sources not in SOURCES.toml: {strangers}"
    return rows


def check_rows(
    name: str,
    function: Callable[..., Floats],
    *,
    inputs: Sequence[str],
    where: Mapping[str, str] | None = None,
) -> None:
    """Compare a vectorised function with the expected values of a check table.

    Parameters
    ----------
    name : the table.
    function : takes the input columns as arrays, in order, and returns an array of that shape.
    inputs : names of the input columns.
    where : only rows with these cells; there must be some.

    The worst row is named with its line; a function that changes its inputs fails too.
    """
    kept = [
        (line, row)
        for line, row in enumerate(check_values(name), start=2)
        if all(row[column] == cell for column, cell in (where or {}).items())
    ]
    assert kept, f"{name}.csv: no row with {where}"
    rows = [row for _, row in kept]
    arguments = [_numbers(rows, column) for column in inputs]
    before = [argument.copy() for argument in arguments]
    found = np.asarray(function(*arguments), dtype=np.float64)
    expected, tolerance = _numbers(rows, "expected"), _numbers(rows, "tolerance")
    assert found.shape == expected.shape
    for column, argument, untouched in zip(inputs, arguments, before, strict=True):
        np.testing.assert_array_equal(argument, untouched, f"{column} was changed")
    off = np.abs(found - expected)
    worst = int(np.argmax(off / np.maximum(tolerance, np.finfo(np.float64).tiny)))
    line, row = kept[worst]
    assert np.all(off <= tolerance), (
        f"{name}.csv line {line}, {row['case']}: found {found[worst]:.6g}, expected "
        f"{expected[worst]:g} within {tolerance[worst]:g} ({row['source']}, {row['locator']}); "
        f"{int((off > tolerance).sum())} of {off.size} rows are off"
    )


def _numbers(rows: Sequence[Mapping[str, str]], column: str) -> Floats:
    return np.array([float(row[column]) for row in rows], dtype=np.float64)
