"""Each planted fault is in the files, where and as often as the list says."""

from collections import Counter
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pytest
from shapely.geometry.base import BaseGeometry

if TYPE_CHECKING:
    from tests.sample.conftest import Row, Town

DECIDED = {"set_aside", "emptied", "flagged", "review", "accepted_as_is"}
DBH, SPECIES = "DBH (in)", "Species"


def _in_town(row: "Row") -> bool:
    if not row["Lon"] or not row["Lat"]:
        return False
    return abs(float(row["Lon"]) + 76.9) < 0.03 and abs(float(row["Lat"]) - 43.2) < 0.03


def _float(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _binomial(row: "Row") -> bool:
    return len(row[SPECIES].split()) >= 2 and not row[SPECIES].endswith(" sp.")


# What a row of trees.csv with the fault looks like; no row without the fault may look so.
ONLY_THESE: dict[str, Callable[["Row"], bool]] = {
    "dbh_with_own_unit": lambda r: r[DBH].endswith(" cm"),
    "dbh_decimal_comma": lambda r: "," in r[DBH] and not r[DBH].endswith("cm"),
    "dbh_zero": lambda r: r[DBH] == "0",
    "dbh_negative": lambda r: r[DBH] == "-3",
    "dbh_impossible": lambda r: r[DBH] == "1000000",
    "dbh_not_a_number": lambda r: r[DBH] == "big",
    "date_year_9999": lambda r: r["Planted"] == "9999",
    "status_unknown_word": lambda r: r["State"] == "See file",
    "markup_in_street": lambda r: "<" in r["Street"],
    "markup_in_notes": lambda r: "<" in r["Notes"],
    "formula_in_notes": lambda r: r["Notes"][:1] in {"=", "+", "@", "-"} and r["Notes"] != "",
    "line_break_in_notes": lambda r: "\n" in r["Notes"],
    "lonlat_swapped": lambda r: _float(r["Lon"]) and float(r["Lon"]) > 40,
    "outside_town": lambda r: (
        not _in_town(r) and _float(r["Lon"]) and -77 < float(r["Lon"]) < -76 and r["Ward"] == ""
    ),
    "at_zero_zero": lambda r: r["Lon"] == "0" and r["Lat"] == "0",
    "no_place_danger": lambda r: r["Lon"] == "" and "root plate lifting" in r["Notes"].lower(),
    "no_place": lambda r: r["Lon"] == "" and "root plate" not in r["Notes"].lower(),
    "id_missing": lambda r: r["Tree No"] == "",
    "species_genus_only": lambda r: r[SPECIES].endswith(" sp."),
    "species_common_name_only": lambda r: r[SPECIES] == "" and r["Common Name"] != "",
    "species_missing": lambda r: (
        r[SPECIES] == "" and r["Common Name"] == "" and r["State"] != "Vacant site"
    ),
    "species_unknown": lambda r: r[SPECIES] != "" and r["Common Name"] == "" and not _genus(r),
    "date_in_three_styles": lambda r: len(r["Planted"]) == 10,
}  # fmt: skip


def _genus(row: "Row") -> bool:
    return row[SPECIES].endswith(" sp.")


@pytest.mark.parametrize("fault", ONLY_THESE)
def test_rows_with_the_fault_are_the_listed_ones(town: "Town", fault: str) -> None:
    found = Counter(_key(row) for row in town.trees if ONLY_THESE[fault](row))
    listed = Counter(_key(row) for row in town.rows_of(fault))
    assert found == listed
    assert listed.total() == len(town.fault_ids(fault, "trees.csv")) > 0


def _key(row: "Row") -> str:
    return "|".join(row.values())


def test_the_list_is_well_formed(town: "Town") -> None:
    assert {row["expected"] for row in town.faults} <= DECIDED
    for row in town.faults:
        ids = row["row_ids"].split("|")
        assert len(ids) == int(row["count"]) == len(set(ids)), row["fault"]
    pairs = [(row["fault"], row["file"]) for row in town.faults]
    assert len(pairs) == len(set(pairs))


def test_no_tree_carries_two_faults(town: "Town") -> None:
    ids = Counter(
        _key(row)
        for fault in {row["fault"] for row in town.faults if row["file"] == "trees.csv"}
        if not fault.startswith("status_") or fault == "status_unknown_word"
        for row in town.rows_of(fault)
    )
    assert max(ids.values()) == 1


def test_no_other_file_speaks_of_a_faulty_tree(town: "Town") -> None:
    told = {str(row["tree_id"]) for row in town.sightings.values()}
    told |= {row["tree_id"] for row in town.inspections}
    for row in town.faults:
        if row["file"] == "trees.csv" and not row["fault"].startswith("status_"):
            assert told.isdisjoint(town.fault_ids(row["fault"])), row["fault"]


def test_missing_diameters_are_those_of_standing_trees(town: "Town") -> None:
    standing = {"Standing", "Standing dead", "Wildlife pole"}
    missing = [r for r in town.trees if r["State"] in standing and r[DBH] in {"", "NULL", "n/a"}]
    assert len(missing) == len(town.fault_ids("dbh_missing")) == 120
    assert {row["Tree No"] for row in missing} == set(town.fault_ids("dbh_missing"))


@pytest.mark.parametrize("fault", ["species_synonym", "species_misspelt"])
def test_odd_names_occur_nowhere_else(town: "Town", fault: str) -> None:
    listed = town.rows_of(fault)
    names = {row[SPECIES] for row in listed}
    assert all(_binomial(row) for row in listed)
    assert {_key(r) for r in town.trees if r[SPECIES] in names} == {_key(r) for r in listed}


def test_exact_duplicates_repeat_a_row(town: "Town") -> None:
    repeated = [key for key, count in Counter(_key(row) for row in town.trees).items() if count > 1]
    assert sorted(repeated) == sorted(_key(row) for row in town.rows_of("id_exact_duplicate"))


def test_repeated_ids_stand_elsewhere(town: "Town") -> None:
    first: dict[str, Row] = {}
    later = []
    for number, row in enumerate(town.trees, start=1):
        before = first.setdefault(row["Tree No"], row)
        if row["Tree No"] and before is not row and _key(before) != _key(row):
            assert (before["Lon"], before["Lat"]) != (row["Lon"], row["Lat"])
            later.append(f"#{number}")
    assert later == town.fault_ids("id_repeated_elsewhere")


def test_states_are_listed_whole(town: "Town") -> None:
    words = {
        "status_stump": "Stump", "status_vacant": "Vacant site", "status_removed": "Removed",
        "status_dead": "Standing dead", "status_habitat_pole": "Wildlife pole",
    }  # fmt: skip
    for fault, word in words.items():
        main = [row["Tree No"] for row in town.trees if row["State"] == word]
        assert main == town.fault_ids(fault, "trees.csv")
        west = [row["Arbre"] for row in town.west if row["Status"] == word]
        assert west == town.fault_ids(fault, "trees_ward5.csv")
    assert [row["Arbre"] for row in town.west] == town.fault_ids("file_latin1_semicolons_girth")


def _point(row: dict[str, Any]) -> BaseGeometry:
    place = gpd.GeoSeries.from_xy(
        [float(row["longitude"])], [float(row["latitude"])], crs="EPSG:4326"
    )
    found: BaseGeometry = place.to_crs("EPSG:32618").iloc[0]
    return found


def test_conflicting_sightings_lie_on_another_tree(town: "Town", placed: gpd.GeoDataFrame) -> None:
    found = set()
    trees = placed.drop_duplicates("id").set_index("id")
    for key, row in town.sightings.items():
        if row["tree_id"] and row["tree_id"] in trees.index and row["longitude"] != "":
            away = trees.distance(_point(row))
            if away.idxmin() != row["tree_id"]:
                found.add(key)
                assert away.min() < 1.5
                assert away[row["tree_id"]] > 7
    assert found == set(town.fault_ids("sighting_nearer_to_another_tree"))


def test_sightings_between_trees_are_as_near_to_either(
    town: "Town", placed: gpd.GeoDataFrame
) -> None:
    found = set()
    for key, row in town.sightings.items():
        if row["tree_id"] == "" and row["accuracy_m"] == 6.0:
            nearest = placed.distance(_point(row)).nsmallest(2)
            if nearest.iloc[1] - nearest.iloc[0] < 0.5:
                found.add(key)
    assert found == set(town.fault_ids("sighting_between_two_trees"))


SIGHTING_LOOKS: dict[str, Callable[[dict[str, Any]], bool]] = {
    "sighting_accuracy_500_m": lambda r: r["accuracy_m"] == 500.0,
    "sighting_without_accuracy_or_tree": lambda r: (
        r["accuracy_m"] == "" and r["tree_id"] == "" and r["longitude"] != ""
    ),
    "sighting_without_place": lambda r: r["tree_id"] == "" and r["longitude"] == "",
    "sighting_free_standing": lambda r: r["attachment"] == "free",
    "sighting_unknown_tree": lambda r: str(r["tree_id"]).startswith("LK-9"),
}


@pytest.mark.parametrize("fault", SIGHTING_LOOKS)
def test_sightings_with_the_fault_are_the_listed_ones(town: "Town", fault: str) -> None:
    found = {key for key, row in town.sightings.items() if SIGHTING_LOOKS[fault](row)}
    assert found == set(town.fault_ids(fault))


def test_free_mushrooms_rot_no_wood_and_root_fungi_sit_over_roots(town: "Town") -> None:
    for sighting_id in town.fault_ids("sighting_free_standing"):
        assert town.sightings[sighting_id]["position"] in {"mulch", "turf", "soil"}
    listed = town.fault_ids("sighting_soil_over_roots")
    for sighting_id in listed:
        assert town.sightings[sighting_id]["attachment"] == "soil_over_root"
        assert "soil_over_root" in str(town.sightings[sighting_id]["position"])
    told = {key for key, row in town.sightings.items() if "above a root" in str(row["notes"])}
    assert told == set(listed)


def test_the_same_conk_is_reported_twice(town: "Town") -> None:
    same = ("tree_id", "name", "position")
    listed = town.fault_ids("sighting_reported_twice")
    for sighting_id in listed:
        row = town.sightings[sighting_id]
        twins = [
            other
            for key, other in town.sightings.items()
            if key != sighting_id and all(other[name] == row[name] for name in same)
        ]
        assert len(twins) == 1
        assert twins[0]["seen_on"] <= row["seen_on"]
        assert twins[0]["observer"] != row["observer"]
    again = {key for key, row in town.sightings.items() if row["observer"] == "volunteer-15"}
    assert again == set(listed)


def test_stories_carry_an_imminent_finding(town: "Town") -> None:
    found = {(row["tree_id"], row["defect"]) for row in town.inspections}
    for fault, defect in (
        ("split_over_school_path", "split"), ("root_plate_heaving", "lean"),
        ("hanging_branch_over_market", "hanging_branch"),
    ):  # fmt: skip
        (tree_id,) = town.fault_ids(fault)
        assert (tree_id, defect) in found


def test_inspections_of_unknown_trees(town: "Town") -> None:
    known = {row["Tree No"] for row in town.trees} | {row["Arbre"] for row in town.west}
    stray = {r["inspection_id"] for r in town.inspections if r["tree_id"] not in known}
    assert stray == set(town.fault_ids("inspection_unknown_tree"))
