"""Files that are wrong as a whole: each refused with where, what, expected and remedy."""

import json
from collections.abc import Callable, Mapping
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from pipeline.errors import InputError, ManyFaults, PipelineError, SettingsError
from pipeline.ingest.siting import NoPlaceError
from pipeline.tables.catalogue_ingest import TREES
from tests.ingest.little_city import HEADER, LAT, LON, LittleCity, inventory, tree

TREES_AND = '[[inputs.trees]]\nfiles=["trees.csv"]\n'


def refused(town: LittleCity, files: Mapping[str, str | bytes], **more: str) -> PipelineError:
    """The refusal; nothing half-written is left behind."""
    with pytest.raises(PipelineError) as caught:
        town.ingest(files, **more)
    assert not town.store.has(TREES)
    fault = caught.value
    assert fault.where
    assert fault.found
    assert fault.expected
    assert fault.remedy
    return fault


@pytest.fixture
def city(tmp_path: Path) -> LittleCity:
    return LittleCity(tmp_path)


def test_empty_file(city: LittleCity) -> None:
    assert refused(city, {"trees.csv": ""}).found == "an empty file"
    assert refused(city, {"trees.csv": " \n\n"}).found == "an empty file"


def test_header_only(city: LittleCity) -> None:
    assert refused(city, {"trees.csv": HEADER + "\n"}).found == "a header and no rows"


def test_header_only_of_another_input_is_told_and_no_more(city: LittleCity) -> None:
    city.ingest(
        {"trees.csv": inventory(), "s.csv": "name,longitude,latitude,seen_on\n"},
        inputs=TREES_AND + '[[inputs.sightings]]\nfiles=["s.csv"]\n',
    )
    assert city.rows("sources")[1]["note"] == "the file has a header and no rows"
    assert city.rows("sightings") == []


def test_missing_file(city: LittleCity) -> None:
    fault = refused(city, {}, inputs='[[inputs.trees]]\nfiles=["nowhere.csv"]\n')
    assert fault.found == "no such file"
    assert "nowhere.csv" in fault.where


@pytest.mark.parametrize(
    "data", [b"\x00\x01\x02\xff\xfe binary", b"PK\x03\x04 a workbook", b"\x1f\x8b broken gzip"]
)
def test_bytes_that_are_no_text(city: LittleCity, data: bytes) -> None:
    fault = refused(city, {"trees.csv": data})
    assert any(word in fault.found for word in ("binary", "zip"))


def test_an_encoding_that_is_told_and_wrong(city: LittleCity) -> None:
    inputs = '[[inputs.trees]]\nfiles=["trees.csv"]\nencoding="ascii"\n'
    fault = refused(city, {"trees.csv": inventory(tree(1, notes="Stra\u00dfe"))}, inputs=inputs)
    assert "not ascii" in fault.found
    inputs = inputs.replace("ascii", "klingon")
    assert "klingon" in refused(city, {"trees.csv": inventory()}, inputs=inputs).found


def test_the_wrong_delimiter(city: LittleCity) -> None:
    inputs = '[[inputs.trees]]\nfiles=["trees.csv"]\ndelimiter=";"\n'
    fault = refused(city, {"trees.csv": inventory()}, inputs=inputs)
    assert "trees.csv" in fault.where


def test_most_records_broken(city: LittleCity) -> None:
    text = HEADER + "\n" + "1,2\n" * 20
    fault = refused(city, {"trees.csv": text})
    assert "20 of 20 records with another number of cells than the 6 headers" in fault.found


def test_no_place_at_all(city: LittleCity) -> None:
    with pytest.raises(NoPlaceError) as caught:
        city.ingest({"trees.csv": "tree_id,species,street\n1,Acer rubrum,Mill Street\n1,,\n"})
    assert caught.value.expected.startswith("a place")
    assert "1 rows name a street, 0 of them with an address" in caught.value.remedy
    assert city.codes("quarantine") == {"place_missing": 1, "row_empty": 1}
    assert city.rows("trees") == []


def test_only_places_that_are_none(city: LittleCity) -> None:
    text = "\n".join([HEADER, *(tree(n, longitude="0", latitude="0") for n in range(9))]) + "\n"
    with pytest.raises(NoPlaceError) as caught:
        city.ingest({"trees.csv": text})
    assert "no usable place" in caught.value.found
    assert city.codes("quarantine") == {"place_zero": 9}
    (source,) = city.rows("sources")
    assert (source["rows_in"], source["rows_accepted"], source["rows_set_aside"]) == (9, 0, 9)


def test_a_file_of_which_nothing_is_understood(city: LittleCity) -> None:
    fault = refused(city, {"trees.csv": "baum,art\n1,Linde\n2,Linde\n"})
    assert fault.found == "columns baum, art"


def as_grid(number: int) -> str:
    """A tree in metres of UTM zone 18, under the columns x and y."""
    return f"G{number},{345000 + 10 * number},{4784000 + 7 * number}"


GRID = "tree_id,x,y\n" + "\n".join(as_grid(n) for n in range(30)) + "\n"


def test_coordinates_without_a_crs(city: LittleCity) -> None:
    assert refused(city, {"trees.csv": GRID}).found == "coordinates and no CRS"


def test_metres_under_a_crs_of_degrees(city: LittleCity) -> None:
    inputs = '[[inputs.trees]]\nfiles=["trees.csv"]\ncrs="EPSG:4326"\n'
    fault = refused(city, {"trees.csv": GRID}, inputs=inputs)
    assert "345145 4.7841e+06 under CRS EPSG:4326 (of the settings)" in fault.found
    assert fault.expected.startswith("degrees")


def test_metres_in_the_columns_of_degrees(city: LittleCity) -> None:
    fault = refused(city, {"trees.csv": GRID.replace("x,y", "longitude,latitude")})
    assert "by the columns longitude and latitude" in fault.found


def test_degrees_under_a_crs_of_metres(city: LittleCity) -> None:
    text = inventory().replace("longitude,latitude", "x,y")
    inputs = '[[inputs.trees]]\nfiles=["trees.csv"]\ncrs="EPSG:32618"\n'
    fault = refused(city, {"trees.csv": text}, inputs=inputs)
    assert fault.expected.startswith("lengths on a grid")
    assert "EPSG:32618" in fault.found


def test_the_right_grid_is_read(city: LittleCity) -> None:
    city.ingest({"trees.csv": GRID}, inputs=TREES_AND + 'crs="EPSG:32618"\n')
    assert city.store.epsg == 32618
    first = city.rows("trees")[0]
    assert (first["x_m"], first["y_m"]) == pytest.approx((345000, 4784000), abs=2e-3)


def test_a_grid_of_another_zone_lies_far_from_the_wards(city: LittleCity) -> None:
    wards = gpd.GeoDataFrame(
        {"name": ["A"]}, crs="EPSG:4326",
        geometry=[shapely.box(LON - 0.05, LAT - 0.05, LON + 0.05, LAT + 0.05)],
    )  # fmt: skip
    wards.to_file(city.folder / "wards.geojson", driver="GeoJSON")
    inputs = TREES_AND + 'crs="EPSG:32633"\n[[inputs.wards]]\nfiles=["wards.geojson"]\n'
    fault = refused(city, {"trees.csv": GRID}, inputs=inputs)
    assert "km from the wards" in fault.found


def test_an_unknown_crs(city: LittleCity) -> None:
    fault = refused(city, {"trees.csv": GRID}, inputs=TREES_AND + 'crs="EPSG:999999"\n')
    assert "EPSG:999999" in fault.found
    fault = refused(city, {"trees.csv": inventory()}, city='crs = "EPSG:4326"')
    assert fault.expected.startswith("a projected CRS in metres")


def test_geometry_that_is_no_tree(city: LittleCity) -> None:
    boxes = gpd.GeoDataFrame({"a": [1]}, geometry=[shapely.box(0, 0, 1, 1)], crs="EPSG:4326")
    boxes.to_file(city.folder / "t.gpkg", driver="GPKG")
    fault = refused(city, {}, inputs='[[inputs.trees]]\nfiles=["t.gpkg"]\n')
    assert fault.found == "only Polygon geometry"


@pytest.mark.parametrize("name", ["t.gpkg", "t.geojson", "t.parquet", "t.xlsx", "t.shp.zip"])
def test_a_name_that_promises_another_format(city: LittleCity, name: str) -> None:
    fault = refused(city, {name: "a,b\n1,2\n"}, inputs=f'[[inputs.trees]]\nfiles=["{name}"]\n')
    assert name in fault.where


def test_an_ending_that_nobody_reads(city: LittleCity) -> None:
    fault = refused(city, {"t.doc": "x"}, inputs='[[inputs.trees]]\nfiles=["t.doc"]\n')
    assert ".gpkg" in fault.expected


def test_faults_of_all_inputs_are_told_together(city: LittleCity) -> None:
    inputs = (
        '[[inputs.trees]]\nfiles=["trees.csv"]\ncolumns="no_such_map"\n'
        '[[inputs.sightings]]\nfiles=["missing.csv"]\n[[inputs.zones]]\nfiles=["z.csv"]\n'
    )
    with pytest.raises(ManyFaults) as caught:
        city.ingest({"trees.csv": inventory(), "z.csv": ""}, inputs=inputs)
    kinds = [type(fault) for fault in caught.value.faults]
    assert len(kinds) == 3
    assert issubclass(kinds[0], SettingsError)
    assert issubclass(kinds[1], InputError)


def test_markup_and_formulas_are_only_text(city: LittleCity) -> None:
    nasty = "<script>alert(1)</script>"
    city.ingest({"trees.csv": inventory(tree(1, notes=nasty), tree(2, notes="=1+1"))})
    assert city.trees()["T1"]["notes"] == nasty
    assert city.trees()["T2"]["notes"] == "=1+1"


def test_huge_numbers_and_long_cells(city: LittleCity) -> None:
    rows = [tree(1, dbh_cm="9" * 400), tree(2, notes="x" * 3_000_000), tree(3, longitude="9" * 400)]
    city.ingest({"trees.csv": inventory(*rows)})
    assert city.trees()["T1"]["dbh_how"] == "impossible"
    assert len(str(city.trees()["T2"]["notes"])) == 3_000_000
    assert "T3" not in city.trees()


def test_an_inventory_that_is_one_default_point(
    city: LittleCity, shared_file: Callable[[str], Path]
) -> None:
    """38,598 rows on one point, 15 without one: counted in the file's own description."""
    path = shared_file("data/inventory/oakland/oakland_street_trees.csv")
    fault = refused(city, {"trees.csv": path.read_bytes()})
    assert "38,598 of 38,598 rows on one point" in fault.found


def test_a_metric_crs_of_another_city_although_the_wards_agree(city: LittleCity) -> None:
    ward = gpd.GeoDataFrame(
        {"name": ["one"]},
        geometry=[shapely.box(LON - 0.01, LAT - 0.01, LON + 0.01, LAT + 0.01)],
        crs="EPSG:4326",
    )
    ward.to_file(city.folder / "wards.gpkg", driver="GPKG")
    inputs = TREES_AND + '[[inputs.wards]]\nfiles=["wards.gpkg"]\n'
    fault = refused(city, {"trees.csv": inventory()}, inputs=inputs, city='crs = "EPSG:31256"')
    assert "km from the area of EPSG:31256" in fault.found


def test_a_file_far_outside_the_area_of_its_own_crs(city: LittleCity) -> None:
    # metres of a zone in America, said to be on the grid of Vienna
    fault = refused(city, {"trees.csv": GRID}, inputs=TREES_AND + 'crs="EPSG:31256"\n')
    assert "km from the area of EPSG:31256" in fault.found


def test_a_crs_whose_area_lies_over_the_180th_meridian_is_no_fault(city: LittleCity) -> None:
    rows = [HEADER, *(tree(n, longitude=f"{174.76 + n * 1.1e-4:.6f}", latitude="-36.85")
                      for n in range(30))]  # fmt: skip
    city.ingest({"trees.csv": "\n".join(rows) + "\n"}, city='crs = "EPSG:2193"')
    assert city.store.epsg == 2193


def test_one_word_among_the_numbers_of_a_zone_file(city: LittleCity) -> None:
    zones = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"kind": "path", "occupancy": "rare", "persons_per_h": number},
                "geometry": {"type": "Point", "coordinates": [LON, LAT]},
            }
            for number in (3, "lots", None, 4.5)
        ],
    }
    city.ingest(
        {"trees.csv": inventory(), "z.geojson": json.dumps(zones)},
        inputs=TREES_AND + '[[inputs.zones]]\nfiles=["z.geojson"]\n',
    )
    assert city.codes("findings")["persons_per_h_number_unreadable"] == 1
    assert [row["persons_per_h"] for row in city.rows("zones")] == [3.0, None, None, 4.5]


def test_evidence_from_after_the_day_of_the_run_is_set_aside(city: LittleCity) -> None:
    files = {
        "trees.csv": inventory(),
        "s.csv": "sighting_id,tree_id,seen_on,name\na,T100,2026-11-16,Fomes fomentarius\n"
        "b,T101,2026-11-15,Fomes fomentarius\n",
        "i.csv": "tree_id,inspected_on,part,defect\nT102,2027-01-01,stem,crack\n",
    }
    inputs = TREES_AND + (
        '[[inputs.sightings]]\nfiles=["s.csv"]\n[[inputs.inspections]]\nfiles=["i.csv"]\n'
    )
    city.ingest(files, inputs=inputs)
    assert city.codes("quarantine") == {"dated_after_run": 2}
    assert [row["sighting_id"] for row in city.rows("sightings")] == ["b"]
    assert city.rows("inspections") == []
