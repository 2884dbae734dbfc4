"""Readers: every format gives the same rows; broken records keep line and reason."""

import gzip
import json
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import InputError, ManyFaults
from pipeline.ingest import decoding
from pipeline.ingest.readers import RawTable, read_input
from pipeline.settings.model import InputFile

HEADER = ["Tree No", "Art", "Höhe"]
ROWS = [["1", "Öl-Esche", "12,5"], ["2", 'say "hi", you', ""], ["3", "line\nbreak", "7"]]


def read(folder: Path, name: str, *, kind: str = "trees", **spec: object) -> RawTable:
    """One file."""
    asked = InputFile.model_validate({"files": (name,), **spec})
    (table,) = read_input(asked, kind=kind, data_dir=folder, source_key_start=7)
    return table


def quoted(cell: str, delimiter: str) -> str:
    """A cell as RFC 4180 writes it."""
    if any(mark in cell for mark in ('"', "\n", delimiter)):
        return '"' + cell.replace('"', '""') + '"'
    return cell


def as_csv(delimiter: str, end: str = "\n") -> str:
    """The rows above as delimited text."""
    lines = [delimiter.join(quoted(c, delimiter) for c in row) for row in (HEADER, *ROWS)]
    return end.join(lines) + end


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "cp1252", "utf-16"])
def test_any_delimiter_and_encoding(tmp_path: Path, delimiter: str, encoding: str) -> None:
    (tmp_path / "a.csv").write_bytes(as_csv(delimiter).encode(encoding))
    table = read(tmp_path, "a.csv")
    assert table.data.column_names == HEADER
    assert [list(row.values()) for row in table.data.to_pylist()] == ROWS
    assert table.delimiter == delimiter
    assert table.source_key == 7
    assert table.rejects == ()


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_other_line_ends(tmp_path: Path, end: str) -> None:
    (tmp_path / "a.csv").write_bytes(b"a,b" + end.encode() + b"1,2" + end.encode() + b"3,4")
    assert read(tmp_path, "a.csv").data.to_pylist() == [{"a": "1", "b": "2"}, {"a": "3", "b": "4"}]


def test_gzip_is_read_and_hashed_as_it_lies(tmp_path: Path) -> None:
    packed = gzip.compress(as_csv(",").encode(), mtime=0)
    (tmp_path / "a.csv.gz").write_bytes(packed)
    table = read(tmp_path, "a.csv.gz")
    assert len(table) == 3
    assert table.bytes == len(packed)
    assert table.format == "CSV, gzip"


def test_broken_records_are_kept_with_line_and_reason(tmp_path: Path) -> None:
    text = (
        'a,b,c\n1,2,3\n4,5\n6,7,8,9\n"q\nr",2,3\n\n7,8,9\n1,"open,3\n5,6,7\n"x","y",z\n7,8,"y\n\n'
    )
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    table = read(tmp_path, "a.csv")
    assert [row["a"] for row in table.data.to_pylist()] == ["1", "q\nr", "7", "5", "x"]
    assert table.rows.tolist() == [1, 4, 5, 7, 8]
    lines = table.lines(np.arange(5))
    assert lines is not None
    assert lines.tolist() == [2, 5, 8, 10, 11]
    assert [(r.row, r.line, r.text) for r in table.rejects] == [
        (2, 3, "4,5"), (3, 4, "6,7,8,9"), (6, 9, '1,"open,3'), (9, 12, '7,8,"y'),
    ]  # fmt: skip
    assert "2 cells where the header has 3" in table.rejects[0].reason
    assert "quote" in table.rejects[2].reason


cells = st.text(alphabet='ab,"\n ;é', max_size=6)


@given(st.lists(st.lists(cells, min_size=3, max_size=3), min_size=1, max_size=12))
def test_records_are_split_where_they_were_joined(rows: list[list[str]]) -> None:
    """A law: well-formed text splits into its records, each with its cells and first line."""
    text, expected, line = "", [], 1
    for row in rows:
        record = ",".join(quoted(cell, ",") for cell in row)
        expected.append((record, line))
        text += record + "\n"
        line += record.count("\n") + 1
    found = decoding.split_records(text.encode(), delimiter=",", width=3)
    data = text.encode()
    pieces = [data[a:b].decode() for a, b in zip(found.starts, found.ends, strict=True)]
    assert list(zip(pieces, found.lines.tolist(), strict=True)) == expected
    assert not found.open_quote.any()
    assert (found.cells == 3).all()


def test_a_text_of_another_alphabet_is_detected(tmp_path: Path) -> None:
    # Russian for: tree, birch, an oak stands by the road
    letters = ("\u0434\u0435\u0440\u0435\u0432\u043e", "\u0431\u0435\u0440\u0451\u0437\u0430",
               "\u0434\u0443\u0431 \u0441\u0442\u043e\u0438\u0442",
               "\u0443 \u0434\u043e\u0440\u043e\u0433\u0438")  # fmt: skip
    words = [letters[0], letters[1], f"{letters[2]} {letters[3]}"]
    text = "\n".join(["id,notes", *(f"{n},{word}" for n, word in enumerate(words * 20))]) + "\n"
    (tmp_path / "a.csv").write_bytes(text.encode("cp1251"))
    assert read(tmp_path, "a.csv").data["notes"].to_pylist()[:3] == words


def test_decimal_commas_are_no_delimiters(tmp_path: Path) -> None:
    text = "Girth, cm;Height, m;Lon\n" + "143,3;16,3;-76,91\n" * 5
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    assert read(tmp_path, "a.csv").data.column_names == ["Girth, cm", "Height, m", "Lon"]


def test_a_header_with_as_many_of_two_marks(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("a,b;c\n1,2;3\n", encoding="utf-8")
    with pytest.raises(InputError, match="',' and ';' part equally well"):
        read(tmp_path, "a.csv")
    assert read(tmp_path, "a.csv", delimiter=";").data.column_names == ["a,b", "c"]


def test_a_list_of_objects(tmp_path: Path) -> None:
    rows = [{"tree_id": "T1", "shell_cm": 4.5}, {"tree_id": "T2", "topped": True}]
    (tmp_path / "a.json").write_text(json.dumps(rows), encoding="utf-8")
    table = read(tmp_path, "a.json", kind="inspections")
    assert table.data.to_pylist() == [
        {"tree_id": "T1", "shell_cm": "4.5", "topped": None},
        {"tree_id": "T2", "shell_cm": None, "topped": "true"},
    ]
    for text, found in (("[1, 2]", "more than objects"), ("[{", "not JSON")):
        (tmp_path / "a.json").write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match=found):
            read(tmp_path, "a.json", kind="inspections")


def test_a_damaged_archive(tmp_path: Path) -> None:
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(b"a,b\n1,2\n" * 1000)[:-20])
    with pytest.raises(InputError, match="a damaged gzip file"):
        read(tmp_path, "a.csv.gz")


def test_plain_parquet_is_a_table(tmp_path: Path) -> None:
    pq.write_table(pa.table({"a": [1, 2]}), tmp_path / "a.parquet")
    table = read(tmp_path, "a.parquet")
    assert table.format == "Parquet"
    assert table.geometry is None
    assert table.data["a"].to_pylist() == [1, 2]


def test_repeated_and_empty_headers_are_told_apart(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("id,id,,x\n1,2,3,4\n", encoding="utf-8")
    assert read(tmp_path, "a.csv").data.column_names == ["id", "id (2)", "column 3", "x"]


def test_workbook(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Trees"
    for row in (["id", "dbh", "planted"], [1, 12.5, "1999"], ["A2", 30.0, None]):
        sheet.append(row)
    book.create_sheet("Other")
    book.save(tmp_path / "a.xlsx")
    table = read(tmp_path, "a.xlsx")
    assert table.data.to_pylist() == [
        {"id": "1", "dbh": "12.5", "planted": "1999"},
        {"id": "A2", "dbh": "30", "planted": ""},
    ]
    with pytest.raises(InputError, match="sheets Trees, Other"):
        read(tmp_path, "a.xlsx", layer="Bäume")
    with pytest.raises(InputError, match="an empty sheet"):
        read(tmp_path, "a.xlsx", layer="Other")


@pytest.fixture(scope="module")
def shapes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same two trees in every vector format, one of them without a place."""
    folder = tmp_path_factory.mktemp("shapes")
    frame = gpd.GeoDataFrame(
        {"id": ["A1", "Ä2"], "dbh": [12.5, 30.0]},
        geometry=[shapely.Point(500000.0, 4000000.0), shapely.Point(500010.0, 4000020.0)],
        crs="EPSG:32610",
    )
    frame.to_file(folder / "a.gpkg", layer="trees", driver="GPKG")
    frame.to_file(folder / "a.fgb", driver="FlatGeobuf", SPATIAL_INDEX="NO")
    frame.to_file(folder / "a.shp.zip", driver="ESRI Shapefile")
    frame.to_file(folder / "a.geojson", driver="GeoJSON")
    frame.to_parquet(folder / "a.parquet")
    return folder


@pytest.mark.parametrize("name", ["a.gpkg", "a.fgb", "a.shp.zip", "a.geojson", "a.parquet"])
def test_vector_formats_agree(shapes: Path, name: str) -> None:
    table = read(shapes, name)
    assert table.data["id"].to_pylist() == ["A1", "Ä2"]
    assert table.data["dbh"].to_pylist() == [12.5, 30.0]
    assert table.geometry is not None
    assert table.crs is not None
    if name == "a.parquet":
        assert json.loads(table.crs)["id"]["code"] == 32610
    xy = shapely.get_coordinates(table.geometry)
    assert np.allclose(xy, [[500000, 4000000], [500010, 4000020]], atol=1e-6)


def test_wrong_layer_names_those_that_are_there(shapes: Path) -> None:
    with pytest.raises(InputError) as caught:
        read(shapes, "a.gpkg", layer="bäume")
    assert "trees" in caught.value.found


def test_of_several_layers_one_must_be_named_and_a_gpx_gives_its_waypoints(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"id": [1]}, geometry=[shapely.Point(2.0, 48.0)], crs="EPSG:4326")
    for layer in ("trees", "benches"):
        frame.to_file(tmp_path / "two.gpkg", layer=layer, driver="GPKG")
    with pytest.raises(InputError, match="layers trees, benches") as caught:
        read(tmp_path, "two.gpkg")
    assert caught.value.expected == "one layer, or the name of one"
    assert read(tmp_path, "two.gpkg", layer="benches").data["id"].to_pylist() == [1]
    (tmp_path / "a.gpx").write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="48.8" lon="2.3"><type>I</type></wpt></gpx>',
        encoding="utf-8",
    )
    assert read(tmp_path, "a.gpx").data["type"].to_pylist() == ["I"]


def test_geometry_of_another_kind_is_refused(shapes: Path) -> None:
    with pytest.raises(InputError, match="only Point geometry") as caught:
        read(shapes, "a.gpkg", kind="wards")
    assert caught.value.expected == "Polygon geometry for wards"


def test_features_that_gdal_passes_over_are_refused(tmp_path: Path) -> None:
    whole = {"type": "Feature", "properties": {"a": 1},
             "geometry": {"type": "Point", "coordinates": [1, 2]}}  # fmt: skip
    bare = {"properties": {"a": 2}, "coordinates": [[1, 2], [3, 4]]}
    for features, found in (([bare, bare], "2 features without geometry, of 2"),
                            ([whole, bare], "1 features without geometry, of 2"),
                            ([], "no features")):  # fmt: skip
        text = json.dumps({"type": "FeatureCollection", "features": features})
        (tmp_path / "a.geojson").write_text(text, encoding="utf-8")
        with pytest.raises(InputError) as caught:
            read(tmp_path, "a.geojson", kind="streets")
        assert found in caught.value.found


def test_several_bad_files_are_told_together(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").write_bytes(b"")
    spec = InputFile(files=("empty.csv", "missing.csv"))
    with pytest.raises(ManyFaults) as caught:
        read_input(spec, kind="trees", data_dir=tmp_path, source_key_start=0)
    assert [fault.found for fault in caught.value.faults] == ["an empty file", "no such file"]


def test_broken_twin_of_the_street_file(shared_file: Callable[[str], Path]) -> None:
    """12,298 features: counted in the file's own description by who stored it."""
    path = shared_file("data/zones/san-francisco/sf_streets_invalid.geojson")
    with pytest.raises(InputError) as caught:
        read(path.parent, path.name, kind="streets")
    assert "12,298 features without geometry" in caught.value.found


def test_text_with_carriage_returns_only(shared_file: Callable[[str], Path]) -> None:
    """842 records, no line feed at all: counted in the file's own description."""
    path = shared_file("data/fungi/ncrn-parks/pcrn_fungi_inventory_ALL.csv")
    assert len(read(path.parent, path.name, kind="sightings")) == 842
