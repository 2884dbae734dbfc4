"""Workbooks and lists of objects as tables of text."""

import json
from datetime import date, datetime, time
from pathlib import Path

import pyarrow as pa
import python_calamine

from pipeline.errors import InputError
from pipeline.ingest import decoding


def read_sheet(path: Path, *, layer: str | None, where: str) -> pa.Table:
    """The first sheet of a workbook, or the one named; the first row holds the headers.

    Raises
    ------
    InputError
        If it is no workbook, the sheet is not there, or it is empty.
    """
    try:
        book = python_calamine.CalamineWorkbook.from_path(path)
        names = book.sheet_names
        if layer is not None and layer not in names:
            raise InputError(
                where=where,
                found=f"sheets {', '.join(names)}",
                expected=f"a sheet {layer!r}",
                remedy="Mend `layer` in the settings.",
            )
        cells = book.get_sheet_by_name(layer or names[0]).to_python(skip_empty_area=True)
    except (python_calamine.CalamineError, OSError) as fault:
        raise InputError(
            where=where,
            found=f"a workbook that cannot be opened ({fault})",
            expected="a spreadsheet, as its name says",
            remedy="Save it again as .xlsx, or export it as CSV.",
        ) from fault
    if not cells:
        raise InputError(
            where=where,
            found="an empty sheet",
            expected="a header and rows",
            remedy="Name the right sheet as `layer` in the settings.",
        )
    headers = decoding.unique_headers([_cell_text(cell) for cell in cells[0]])
    columns = list(zip(*cells[1:], strict=True)) or [()] * len(headers)
    return pa.table(
        [pa.array(map(_cell_text, column), pa.string()) for column in columns], names=headers
    )


def _cell_text(cell: object) -> str:
    """A cell as it would stand in a CSV file: whole numbers without a point, dates as ISO."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, datetime) and cell.time() == time.min:
        return cell.date().isoformat()
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def read_json(raw: bytes, *, where: str) -> pa.Table:
    """A list of objects as a table.

    Raises
    ------
    InputError
        If it is none.
    """
    try:
        whole = json.loads(raw)
    except (UnicodeDecodeError, json.JSONDecodeError) as fault:
        raise InputError(
            where=where,
            found=f"text that is not JSON ({fault})",
            expected="a list of objects",
            remedy="Export the file again.",
        ) from fault
    if not all(isinstance(item, dict) for item in whole):
        raise InputError(
            where=where,
            found="a list that holds more than objects",
            expected="a list of objects, one a row",
            remedy="Export the file again.",
        )
    headers = list(dict.fromkeys(str(name) for item in whole for name in item))
    return pa.table(
        {name: pa.array([_json_text(item.get(name)) for item in whole]) for name in headers}
    )


def _json_text(value: object) -> str | None:
    if value is None or isinstance(value, str):
        return value
    return json.dumps(value)
