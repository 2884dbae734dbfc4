"""Trees and shapes as small typed arrays that a page unpacks in the browser.

Rows are sorted by map cell (a zoom-15 tile), 64 x 64 part of it and id, so that a map tile finds
its trees by cell. Columns of several bytes are split in byte planes before raw deflate: the high
bytes are nearly all alike and cost nearly nothing.
"""

import base64
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from markupsafe import Markup

from pipeline.geo.shapes import Geometries
from pipeline.units import Floats, Ints

CELL_ZOOM = 15
_CELL_STEPS, _PARTS = 65_536, 64
_LATITUDE_LIMIT = 85.0511287798066  # of the web's square map
_NUMBERED = r"^(?P<prefix>(?s:.*?))(?P<digits>\d{1,9})$"
_PLAIN = r"^[1-9]\d{0,8}$"  # the common case, which needs no taking apart
_MOST_ODD = 0.02  # share of ids that may break the pattern before all are kept as text
_LINE, _AREA = 1, 2
_LEVEL = 6  # level 9 takes three times as long for a page that is 1 % smaller

Array = npt.NDArray[Any]


@dataclass(frozen=True, slots=True)
class Block:
    """Named columns in one deflated run of bytes; `head` tells a script how to read it."""

    head: dict[str, Any]
    data: bytes

    @property
    def text(self) -> Markup:
        """The block for a script element: head as JSON, a line end, bytes as base64.

        The head holds numbers and the program's own column names, base64 no markup: nothing of a
        city's text is left unescaped here.
        """
        head = json.dumps(self.head, sort_keys=True, separators=(",", ":"))
        coded = base64.b64encode(self.data).decode("ascii")
        return Markup(head + "\n" + coded)  # noqa: S704 - see above

    @property
    def size(self) -> int:
        """Bytes in the page."""
        return len(self.text)


@dataclass(frozen=True, slots=True)
class Cells:
    """Trees in map cells.

    Parameters
    ----------
    order : rows of the caller's arrays in packed order; trees without a place are left out.
    table : cell x, cell y and end of its rows, shape (cells, 3).
    offset_x, offset_y : place within the cell in 1/65536, packed order.
    """

    order: Ints
    table: npt.NDArray[np.int32]
    offset_x: npt.NDArray[np.uint16]
    offset_y: npt.NDArray[np.uint16]


def world(longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
    """Places on the web's square map, 0 to 1 from the north-west (spherical Mercator)."""
    bounded = np.clip(latitude, -_LATITUDE_LIMIT, _LATITUDE_LIMIT)
    angle = np.sin(np.radians(bounded))
    y = 0.5 - np.log((1 + angle) / (1 - angle)) / (4 * np.pi)
    return longitude / 360 + 0.5, y


def into_cells(longitude: Floats, latitude: Floats) -> Cells:
    """Sort places by cell, part of the cell and row."""
    placed = np.flatnonzero(np.isfinite(longitude) & np.isfinite(latitude)).astype(np.int64)
    x, y = world(longitude[placed], latitude[placed])
    scale = 2.0**CELL_ZOOM
    cell_x, cell_y = np.floor(x * scale).astype(np.int64), np.floor(y * scale).astype(np.int64)
    inner_x = np.minimum((x * scale - cell_x) * _CELL_STEPS, _CELL_STEPS - 1).astype(np.uint16)
    inner_y = np.minimum((y * scale - cell_y) * _CELL_STEPS, _CELL_STEPS - 1).astype(np.uint16)
    step = _CELL_STEPS // _PARTS
    part = (inner_y // step).astype(np.int64) * _PARTS + inner_x // step
    # One key sorts faster than four; places that share all of it stay in the order of their rows.
    cells = 2**CELL_ZOOM
    by = np.argsort((cell_y * cells + cell_x) * _PARTS**2 + part, kind="stable")
    cell = np.column_stack((cell_x[by], cell_y[by]))
    change = np.flatnonzero(np.any(np.diff(cell, axis=0) != 0, axis=1)) + 1
    ends = np.append(change, by.size) if by.size else np.zeros(0, np.int64)
    table = np.column_stack((cell[ends - 1], ends)).astype(np.int32)
    return Cells(placed[by], table.reshape(-1, 3), inner_x[by], inner_y[by])


def columns(named: Mapping[str, Array]) -> Block:
    """Typed columns as byte planes, deflated together."""
    head, planes = [], []
    for name, values in named.items():
        kept = _smallest(values)
        width = kept.dtype.itemsize
        head.append([name, "u" if kept.dtype.kind == "u" else "i", width, int(kept.size)])
        flat = np.ascontiguousarray(kept.ravel()).astype(kept.dtype.newbyteorder("<"), copy=False)
        planes.append(flat.view(np.uint8).reshape(-1, width).T.tobytes())
    return Block({"columns": head}, deflate(b"".join(planes)))


def document(value: object) -> Block:
    """JSON, deflated."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return Block({}, deflate(text.encode("utf-8")))


def identities(ids: pa.Array) -> tuple[dict[str, Any], npt.NDArray[np.uint32]]:
    """Tree ids as a prefix and numbers where they have that form, else as one text.

    Returns how to read them, and the numbers (empty where ids are kept as text). Ids that break
    the pattern are told apart, by row.
    """
    if pc.all(pc.match_substring_regex(ids, _PLAIN), skip_nulls=False).as_py():
        return {"prefix": "", "width": 0, "odd": {}}, ids.cast(pa.uint32()).to_numpy()
    parts = pc.extract_regex(ids, _NUMBERED)
    digits = pc.struct_field(parts, "digits")
    prefix, width = _commonest(pc.struct_field(parts, "prefix"), digits)
    numbers = digits.fill_null("0").cast(pa.uint32())
    padded = pc.utf8_lpad(numbers.cast(pa.string()), width, "0")
    written = pc.binary_join_element_wise(prefix, padded, "")
    odd = np.flatnonzero(pc.not_equal(written, ids).to_numpy(zero_copy_only=False))
    if odd.size > max(_MOST_ODD * len(ids), 5):
        text = pc.replace_substring(ids, "\n", " ").to_pylist()
        return {"text": "\n".join(text)}, np.zeros(0, np.uint32)
    odd_ids = ids.take(pa.array(odd)).to_pylist()
    kept = numbers.to_numpy().copy()
    kept[odd] = 0
    told = dict(zip(map(str, odd.tolist()), odd_ids, strict=True))
    return {"prefix": prefix, "width": width, "odd": told}, kept


def shapes(geometries: Geometries, kinds: Array, *, tolerance: float) -> Block:
    """Lines and outlines of areas, simplified and in whole steps, as one block.

    Parameters
    ----------
    geometries : shapes in degrees.
    kinds : a small number a shape, which the page draws by.
    tolerance : simplification, and the step of coordinates, on the square map (0 to 1).
    """
    moved = shapely.simplify(_on_world(geometries), tolerance)
    parts, owner = shapely.get_parts(moved, return_index=True)
    area = shapely.get_dimensions(parts) == _AREA
    rings, ring_owner = shapely.get_rings(parts[area], return_index=True)
    lines = np.concatenate((rings, parts[shapely.get_dimensions(parts) == _LINE]))
    owners = np.concatenate((owner[area][ring_owner], owner[shapely.get_dimensions(parts) == 1]))
    is_area = np.arange(lines.size) < rings.size
    order = np.argsort(owners, kind="stable")
    lines, owners, is_area = lines[order], owners[order], is_area[order]
    points, line_of = shapely.get_coordinates(lines, return_index=True)
    steps = np.rint(points / tolerance * 2).astype(np.int64)
    low = steps.min(axis=0) if steps.size else np.zeros(2, np.int64)
    delta = np.diff(steps - low, axis=0, prepend=np.zeros((1, 2), np.int64)).astype(np.int32)
    block = columns(
        {
            "dx": zigzag(delta[:, 0]),
            "dy": zigzag(delta[:, 1]),
            "length": np.bincount(line_of, minlength=lines.size).astype(np.uint32),
            "kind": np.asarray(kinds)[owners].astype(np.uint8),
            "owner": zigzag(np.diff(owners, prepend=0).astype(np.int32)),
            "area": is_area.astype(np.uint8),
        }
    )
    block.head["step"] = tolerance / 2
    block.head["low"] = [int(low[0]), int(low[1])]
    return block


def deflate(data: bytes) -> bytes:
    """Raw deflate, as the browser's DecompressionStream("deflate-raw") reads it."""
    packer = zlib.compressobj(_LEVEL, zlib.DEFLATED, -15)
    return packer.compress(data) + packer.flush()


def _on_world(geometries: Geometries) -> Geometries:
    def move(points: Floats) -> Floats:
        return np.column_stack(world(points[:, 0], points[:, 1]))

    return np.asarray(shapely.transform(geometries, move), dtype=object)


def zigzag(values: npt.NDArray[np.int32]) -> npt.NDArray[np.uint32]:
    """Signed numbers so that small ones of either sign stay small."""
    return ((values << 1) ^ (values >> 31)).astype(np.uint32)


def _smallest(values: Array) -> Array:
    """Unsigned values in the narrowest type that holds them."""
    if values.dtype == np.bool_:
        return values.astype(np.uint8)
    if values.dtype.kind != "u" or values.size == 0:
        return values
    return values.astype(np.min_scalar_type(int(values.max())))


def _commonest(prefixes: pa.Array, digits: pa.Array) -> tuple[str, int]:
    """The commonest prefix, and the width to which its zero-led numbers are padded."""
    counts = pc.value_counts(prefixes.drop_null())
    if len(counts) == 0:
        return "", 0
    at = int(np.argmax(counts.field("counts").to_numpy()))
    prefix = counts.field("values")[at].as_py()
    led = pc.and_(pc.equal(prefixes, prefix), pc.starts_with(digits, "0"))
    return str(prefix), int(pc.max(pc.utf8_length(digits.filter(led))).as_py() or 0)
