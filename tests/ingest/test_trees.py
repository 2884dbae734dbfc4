"""Trees: no place is lost to another fault; ids, places, wards and states."""

import json
from datetime import date
from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from pipeline.errors import InputError
from tests.ingest.little_city import LAT, LON, LittleCity, inventory, tree

WARDS = {"West": (LON - 0.01, LON + 0.011), "East": (LON + 0.011, LON + 0.03)}


def wards_file(folder: Path) -> str:
    """Two wards side by side as GeoJSON."""
    shapes = [shapely.box(west, LAT - 0.01, east, LAT + 0.01) for west, east in WARDS.values()]
    frame = gpd.GeoDataFrame({"name": list(WARDS)}, geometry=shapes, crs="EPSG:4326")
    frame.to_file(folder / "wards.geojson", driver="GeoJSON")
    return '[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.wards]]\nfiles=["wards.geojson"]\n'


def test_faults_of_other_fields_never_lose_a_tree(tmp_path: Path) -> None:
    rows = [
        tree(1, species="something grey"), tree(2, species=""), tree(3, dbh_cm="1000000"),
        tree(4, dbh_cm="-1"), tree(5, dbh_cm="0"), tree(6, dbh_cm="thick"), tree(7, dbh_cm=""),
        tree(8, species="Acer platnoides"),
    ]  # fmt: skip
    city = LittleCity(tmp_path).ingest({"trees.csv": inventory(*rows)})
    trees = city.trees()
    assert len(trees) == 38
    assert city.rows("quarantine") == []
    assert [trees[f"T{n}"]["dbh_how"] for n in range(3, 8)] == [
        "impossible", "impossible", "missing", "impossible", "missing",
    ]  # fmt: skip
    assert [trees[f"T{n}"]["species_how"] for n in (1, 2, 8)] == [
        "unknown", "missing", "misspelling",
    ]  # fmt: skip
    assert trees["T1"]["species_text"] == "something grey"
    assert trees["T5"]["flags"] == "dbh_zero"
    assert city.codes("findings") == {
        "dbh_cm_impossible": 2, "dbh_cm_number_unreadable": 1, "species_unknown": 1,
        "species_misspelt": 1,
    }  # fmt: skip


def test_places_that_cannot_be_used_are_set_aside(tmp_path: Path) -> None:
    rows = [
        tree(1, longitude="0", latitude="0"), tree(2, longitude="", latitude=""),
        tree(3, longitude="east"), tree(4, longitude="500", latitude="43"),
        tree(5, longitude="inf"), tree(6, longitude="-70"), tree(7, longitude=f"{LON + 0.91234}"),
    ]  # fmt: skip
    city = LittleCity(tmp_path).ingest({"trees.csv": inventory(*rows)})
    assert city.codes("quarantine") == {
        "place_zero": 1, "place_missing": 1, "place_unreadable": 2, "place_impossible": 1,
        "out_of_area": 1,
    }  # fmt: skip
    doubtful = city.trees()["T7"]
    assert doubtful["place_doubtful"]
    assert doubtful["flags"] == "far_from_city"


def test_swapped_places_are_changed_back_and_said(tmp_path: Path) -> None:
    swapped = tree(1, longitude=f"{LAT:.6f}", latitude=f"{LON:.6f}")
    city = LittleCity(tmp_path).ingest({"trees.csv": inventory(swapped)})
    found = city.trees()["T1"]
    straight = city.trees()["T100"]
    assert found["place_doubtful"]
    assert abs(float(str(found["x_m"])) - float(str(straight["x_m"]))) < 1000
    (finding,) = city.rows("findings")
    assert (finding["code"], finding["done"]) == ("lonlat_swapped", "mended")


@pytest.mark.parametrize("how", ["wards", "crs", "degrees"])
def test_a_whole_inventory_with_swapped_columns(tmp_path: Path, how: str) -> None:
    """Longitude and latitude are told apart by the wards, the CRS, or degrees that cannot be."""
    rows = inventory().splitlines()
    text = "\n".join([rows[0].replace("longitude,latitude", "latitude,longitude"), *rows[1:]])
    if how == "degrees":
        text = text.replace("-76.9", "-116.9").replace("-76.8", "-116.8")
    inputs = wards_file(tmp_path) if how == "wards" else ""
    city = LittleCity(tmp_path).ingest(
        {"trees.csv": text}, inputs=inputs, city='crs = "EPSG:32618"' if how == "crs" else ""
    )
    assert len(city.trees()) == 30
    assert city.codes("findings") == {"lonlat_swapped": 30}


def test_a_metric_crs_that_stretches_the_city_is_refused(tmp_path: Path) -> None:
    """Web mercator is in metres of its own: 1/cos(43.2 degrees) = 1.37 of those on the ground."""
    city = LittleCity(tmp_path)
    with pytest.raises(InputError, match="37% too long") as caught:
        city.ingest({"trees.csv": inventory()}, city='crs = "EPSG:3857"')
    assert "EPSG:32618" in caught.value.remedy


def test_repeated_ids(tmp_path: Path) -> None:
    city = LittleCity(tmp_path).ingest(
        {
            "trees.csv": inventory(
                tree(1), tree(1), tree(1, longitude=f"{LON + 0.002:.6f}"), tree(1, dbh_cm="31"),
                tree(1, dbh_cm="31"),  # repeats the fourth row, not the first
                tree(2), tree(2, latitude=f"{LAT + 0.002:.6f}", tree_id="T2"),
                tree(3, tree_id="T2~2"), tree(4, tree_id=""),
            )
        }
    )  # fmt: skip
    trees = city.trees()
    assert {"T1", "T1~2", "T1~3", "T2", "T2~2", "T2~3", "no id-0-39"} <= set(trees)
    assert trees["T1~2"]["flags"] == "id_repeated"
    assert trees["no id-0-39"]["id_made_up"]
    assert city.codes("quarantine") == {"row_repeated": 2}
    assert [row["tree_key"] for row in city.rows("trees")] == list(range(37))


def test_rows_that_share_a_point_are_counted(tmp_path: Path) -> None:
    city = LittleCity(tmp_path).ingest(
        {"trees.csv": inventory(tree(1), tree(1, tree_id="A"), tree(1, tree_id="B"))}
    )
    assert [city.trees()[one]["shares_place"] for one in ("T1", "A", "B", "T100")] == [3, 3, 3, 1]


def test_an_inventory_on_one_point_is_refused(tmp_path: Path) -> None:
    rows = [tree(1, tree_id=f"A{n}") for n in range(60)]
    with pytest.raises(InputError, match="60 of 90 rows on one point"):
        LittleCity(tmp_path).ingest({"trees.csv": inventory(*rows)})


def test_wards_by_place_and_strays_outside_them(tmp_path: Path) -> None:
    stray = tree(1, longitude=f"{LON - 0.03:.6f}", latitude=f"{LAT + 0.001234:.6f}")
    near = tree(2, longitude=f"{LON - 0.012:.6f}")
    city = LittleCity(tmp_path).ingest(
        {"trees.csv": inventory(stray, near)}, inputs=wards_file(tmp_path)
    )
    trees = city.trees()
    assert (trees["T100"]["ward"], trees["T120"]["ward"]) == ("West", "East")
    assert (trees["T1"]["ward"], trees["T1"]["place_doubtful"]) == (None, True)
    assert (trees["T2"]["ward"], trees["T2"]["flags"]) == (None, "")
    assert city.codes("findings") == {"outside_wards": 1}


def test_states(tmp_path: Path) -> None:
    header = "tree_id,longitude,latitude,status,condition,removed_on,planted_on,ward,owner"
    rows = [f"{n},{LON + n * 1e-4:.6f},{LAT:.6f},{rest}" for n, rest in enumerate([
        ",,,,,", "Stump,,,,,", "dead,,,,,", ",dead,,,,", "standing,dead,,,,", "felled,,,,,",
        "standing,,2013,1987,Old Town,private", "vacant site,,,,,"])]  # fmt: skip
    city = LittleCity(tmp_path).ingest({"trees.csv": "\n".join([header, *rows]) + "\n"})
    trees = city.rows("trees")
    assert [row["status"] for row in trees] == [
        "standing", "stump", "dead", "dead", "standing", "removed", "removed", "vacant",
    ]  # fmt: skip
    last = trees[6]
    assert (last["planted_year"], last["ward"], last["owner"]) == (1987, "Old Town", "private")
    assert trees[0]["owner"] == "unknown"


def test_work_done_changes_the_tree(tmp_path: Path) -> None:
    work = "tree_id,done_on,action\nT100,2026-10-01,remove\nT101,2026-09-01,prune_part\n"
    looked = "tree_id,inspected_on,defect\nT102,2026-05-01,none_seen\n"
    inputs = (
        '[[inputs.trees]]\nfiles=["trees.csv"]\n[[inputs.work_done]]\nfiles=["w.csv"]\n'
        '[[inputs.inspections]]\nfiles=["i.csv"]\n'
    )
    files = {"trees.csv": inventory(), "w.csv": work, "i.csv": looked}
    trees = LittleCity(tmp_path).ingest(files, inputs=inputs).trees()
    assert (trees["T100"]["status"], trees["T100"]["flags"]) == ("removed", "status_by_work_done")
    assert trees["T101"]["last_pruned_on"] == date(2026, 9, 1)
    assert trees["T102"]["last_inspected_on"] == date(2026, 5, 1)
    assert trees["T103"]["status"] == "standing"


def test_several_files_are_one_inventory(tmp_path: Path) -> None:
    files = {"a.csv": inventory(), "b.csv": inventory(tree(1), ordinary=0)}
    city = LittleCity(tmp_path).ingest(files, inputs='[[inputs.trees]]\nfiles=["a.csv", "b.csv"]\n')
    assert [row["rows_accepted"] for row in city.rows("sources")] == [30, 1]
    assert city.trees()["T1"]["source_key"] == 1


def test_metric_coordinates_and_wood(tmp_path: Path) -> None:
    """Against GeoPandas' own reprojection of the same points."""
    city = LittleCity(tmp_path).ingest({"trees.csv": inventory()})
    rows = city.rows("trees")
    assert city.store.epsg == 32618
    frame = gpd.read_file(tmp_path / "trees.csv")
    points = gpd.points_from_xy(frame.longitude.astype(float), frame.latitude.astype(float))
    series = gpd.GeoSeries(points, crs="EPSG:4326").to_crs(32618)
    assert [row["x_m"] for row in rows] == pytest.approx(series.x.to_list(), abs=1e-3)
    assert [row["y_m"] for row in rows] == pytest.approx(series.y.to_list(), abs=1e-3)
    assert {row["wood"] for row in rows} == {"broadleaf"}


def test_a_geojson_inventory_without_some_geometries(tmp_path: Path) -> None:
    features = [
        {"type": "Feature", "properties": {"tree_id": f"G{n}"},
         "geometry": None if n == 3 else {"type": "Point", "coordinates": [LON + n * 1e-4, LAT]}}
        for n in range(5)
    ]  # fmt: skip
    text = json.dumps({"type": "FeatureCollection", "features": features})
    city = LittleCity(tmp_path).ingest(
        {"t.geojson": text}, inputs='[[inputs.trees]]\nfiles=["t.geojson"]\n'
    )
    assert sorted(map(str, city.trees())) == ["G0", "G1", "G2", "G4"]
    assert city.codes("quarantine") == {"place_missing": 1}
