"""Shapes written as text: well-known text, and well-known binary in hexadecimal digits."""

import struct

import pytest
import shapely

from pipeline.geo.shapes import from_text


def _ewkb(x: float, y: float, srid: int, *, order: str = "<") -> str:
    """A point as databases export it, byte by byte (OGC 06-103r4, with the mark of a CRS)."""
    mark = struct.pack("B", 1 if order == "<" else 0)
    return (mark + struct.pack(f"{order}IIdd", 0x20000001, srid, x, y)).hex().upper()


@pytest.mark.parametrize("order", ["<", ">"])
def test_hexadecimal_bytes_of_either_order(order: str) -> None:
    shapes, epsg = from_text([_ewkb(-122.5, 45.25, 4326, order=order), None])
    assert (shapes[0].x, shapes[0].y) == (-122.5, 45.25)
    assert epsg == 4326
    assert shapes[1] is None


def test_text_and_bytes_may_stand_in_one_column() -> None:
    shapes, epsg = from_text(["POINT (1 2)", _ewkb(3, 4, 3857), "POINT (x", "01ZZ", "0101", ""])
    assert [None if one is None else (one.x, one.y) for one in shapes] == [
        (1, 2), (3, 4), None, None, None, None,
    ]  # fmt: skip
    assert epsg == 3857


def test_two_systems_in_one_column_are_none() -> None:
    assert from_text([_ewkb(1, 2, 4326), _ewkb(1, 2, 3857)])[1] == 0


def test_plain_bytes_name_no_system() -> None:
    shapes, epsg = from_text([shapely.to_wkb(shapely.Point(1, 2), hex=True)])
    assert shapes[0] == shapely.Point(1, 2)
    assert epsg == 0
