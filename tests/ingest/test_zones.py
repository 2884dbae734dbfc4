"""Surveyed zones, zones of street lines, and the share of the year when a place is open."""

import numpy as np
import pyarrow as pa
import pytest

from pipeline.ingest import streets, zones
from pipeline.ingest.opening import open_share
from pipeline.ingest.places import keyed
from pipeline.ingest.quarantine import Done
from pipeline.ingest.school_terms import Fault, term_share
from pipeline.ingest.streets import RoadClasses
from pipeline.published.table import Library
from pipeline.tables.catalogue_places import ZONES
from pipeline.tables.inputs import ZONE_KINDS
from pipeline.tables.store import conform
from tests.ingest.geo_files import EPSG, file_of

SQUARE = "POLYGON ((0 0, 10 0, 10 10, 0 10, 0 0))"
WEEK = 7 * 24


# Counted by hand: hours of a week over 168, days of the months over 365.25.
@pytest.mark.parametrize(
    ("hours", "months", "share"),
    [
        ("24/7", None, 1.0),
        (None, None, 1.0),
        ("Mo-Fr 08:00-16:00", None, 40 / WEEK),
        ("Mo-Fr 08:00-16:00; Sa 09:00-12:00", None, 43 / WEEK),
        ("mo-fr 8:00-12:00, 13:00-17:00", None, 40 / WEEK),
        ("Mo-Fr 08:00-16:00; We off", None, 32 / WEEK),
        ("Fr,Sa 20:00-02:00", None, 12 / WEEK),
        ("Sa-Mo 10:00-12:00", None, 6 / WEEK),
        ("05:00-24:00", None, 19 / 24),
        ("Mo-Su 09:00-17:00; PH off", None, 8 / 24),
        ("Apr-Sep 08:00-20:00", None, 0.5 * 183 / 365.25),
        ("Apr-Oct 24/7", None, 214 / 365.25),
        ("Mo-Fr 08:00-16:00", "9-6", 40 / WEEK * (365.25 - 62) / 365.25),
        (None, "1,3-5", (31 + 92) / 365.25),
        (None, "Sep-Jun", (365.25 - 62) / 365.25),
        ("08:00-12:00, 10:00-14:00", None, 6 / 24),
        ("Sa-Su", None, 2 / 7),
    ],
)
def test_open_share(hours: str | None, months: str | None, share: float) -> None:
    assert open_share(hours, months) == pytest.approx(share)


@pytest.mark.parametrize(
    ("hours", "months"),
    [
        ("when the gate is open", None),
        ("Mo-Fr sunrise-sunset", None),
        ("08:00-61:00", None),
        ("08:75-09:00", None),
        ("Mo-Xx 08:00-09:00", None),
        ("Mo-Fr 08:00-16:00", "13-2"),
        ("week 2-10 Mo 08:00-09:00", None),
    ],
)
def test_hours_that_are_not_understood_are_not_guessed(hours: str, months: str | None) -> None:
    assert open_share(hours, months) is None


def test_every_opening_of_the_tag_table_is_understood() -> None:
    for text in Library().table("osm_targets").texts("use_hours"):
        if text:
            assert open_share(text) is not None, text


def test_surveyed_zones_of_any_shape_are_kept_and_faults_said() -> None:
    mapped = file_of(
        "zones",
        [
            SQUARE,
            "POINT (1 1)",
            "LINESTRING (0 0, 5 5)",
            "POLYGON ((0 0, 4 4, 4 0, 0 4, 0 0))",
            None,
        ],
        {
            "zone_id": ["Z1", None, "Z3", "Z4", "Z5"],
            "kind": ["school", "bus_stop", None, "building", "park"],
            "occupancy": ["frequent", None, "rare", None, "rare"],
            "persons_per_h": [60.0, -4.0, np.nan, 3.0, 1.0],
            "open_hours": ["Mo-Fr 07:30-16:00", "whenever", None, None, None],
            "months": ["9-6", None, "13", None, None],
        },
    )
    part = zones.survey(mapped, epsg=EPSG, crs=None)
    made = conform(ZONES, keyed(ZONES, [part.table])).to_pylist()
    assert [row["zone_id"] for row in made] == ["Z1", "zone-2", "Z3", "Z4"]
    assert [row["static"] for row in made] == [False, False, False, True]
    assert made[0]["open_share"] == pytest.approx(42.5 / WEEK * (365.25 - 62) / 365.25)
    assert made[1]["persons_per_h"] is None
    found = {f.code: (f.rows.tolist(), f.done) for f in part.findings}
    assert found == {
        "geometry_missing": ([4], Done.SET_ASIDE),
        "geometry_invalid": ([3], Done.MENDED),
        "persons_per_h_negative": ([1], Done.EMPTIED),
        "open_hours_unreadable": ([1], Done.FLAGGED),
        "months_unreadable": ([2], Done.FLAGGED),
        "zone_kind_missing": ([2], Done.FLAGGED),
        "zone_occupancy_missing": ([1], Done.FLAGGED),
    }


def test_an_area_drawn_as_a_line_is_kept_and_said() -> None:
    line = "LINESTRING (0 0, 10 0, 10 10)"
    mapped = file_of(
        "zones",
        [line, SQUARE, line, "MULTILINESTRING ((0 0, 5 5))", None],
        {
            "kind": ["school", "school", "path", "park", "park"],
            "occupancy": ["rare"] * 5,
        },
    )
    part = zones.survey(mapped, epsg=EPSG, crs=None)
    assert part.table.num_rows == 4
    (found,) = (f for f in part.findings if f.code == "area_given_as_line")
    assert (found.rows.tolist(), found.done) == ([0, 3], Done.FLAGGED)


def test_every_areal_kind_is_a_kind_of_zone() -> None:
    assert set(zones.AREAL_KINDS) <= set(ZONE_KINDS)


def test_streets_become_zones_with_the_traffic_of_their_class_or_their_own() -> None:
    table = Library().table("street_classes")
    classes = RoadClasses.of(table)
    mapped = file_of(
        "streets",
        ["LINESTRING (0 0, 9 0)", "LINESTRING (0 5, 9 5)", "LINESTRING (0 9, 9 9)"],
        {
            "class": ["secondary", "footway", None],
            "vehicles_per_day": [1234.0, np.nan, np.nan],
            "speed_km_h": [np.nan, np.nan, 20.0],
        },
    )
    lines = streets.lines_of(mapped, classes, epsg=EPSG, crs=None).lines
    made = conform(ZONES, keyed(ZONES, [zones.of_lines(lines, classes)])).to_pylist()
    assert [row["kind"] for row in made] == ["street", "path", "street"]
    assert [row["occupancy"] for row in made] == [
        table.row(road_class=name)["occupancy"] for name in ("secondary", "footway", "unknown")
    ]
    assert made[0]["vehicles_per_day"] == 1234
    assert made[2]["vehicles_per_day"] == table.number("vehicles_per_day", road_class="unknown")
    assert made[0]["speed_km_h"] == table.number("speed_km_h", road_class="secondary")
    assert made[2]["speed_km_h"] == 20
    assert made[1]["persons_per_h"] == table.number("persons_per_h", road_class="footway")
    assert made[1]["source"] == "street_classes: footway"


def test_shares_of_many_rows() -> None:
    hours = pa.array(["24/7", None, "odd", None], pa.string())
    months = pa.array([None, None, None, "1-6"], pa.string())
    share, unread = zones.open_shares(hours, months)
    np.testing.assert_allclose(share, [1, np.nan, np.nan, 181.25 / 365.25])
    assert unread.tolist() == [False, False, True, False]


def test_hours_days_and_terms_as_numbers_and_what_cannot_be_is_refused() -> None:
    year = "2026-09-07..2026-12-18; 2027-01-05..2027-03-26"
    mapped = file_of(
        "zones",
        [SQUARE] * 5,
        {
            "zone_id": ["S1", "S2", "S3", "S4", "S5"],
            "kind": ["school", "playground", "park", "market", "square"],
            "persons_per_h": [60.0] * 5,
            "hours_per_day": [8.0, 30.0, np.nan, 8.0, np.nan],
            "days_per_week": [5.0, 5.0, np.nan, 9.0, np.nan],
            "terms": [year, None, "2026-12-18..2026-09-07", None, "autumn"],
        },
    )
    part = zones.survey(mapped, epsg=EPSG, crs=None)
    made = conform(ZONES, keyed(ZONES, [part.table])).to_pylist()
    # Days counted by hand: 103 and 81.
    assert made[0]["open_share"] == pytest.approx(8 / 24 * 5 / 7 * (103 + 81) / 365.25)
    assert made[1]["open_share"] == pytest.approx(5 / 7)
    assert made[2]["open_share"] is None
    assert made[3]["open_share"] == pytest.approx(8 / 24)
    assert {row["numbers_from"] for row in made} == {"city"}
    found = {f.code: (f.rows.tolist(), f.values, f.done) for f in part.findings}
    assert found == {
        "hours_per_day_impossible": ([1], ("30",), Done.EMPTIED),
        "days_per_week_impossible": ([3], ("9",), Done.EMPTIED),
        "terms_end_before_they_begin": ([2], ("2026-12-18..2026-09-07",), Done.EMPTIED),
        "terms_unreadable": ([4], ("autumn",), Done.FLAGGED),
    }
    assert all(f.reason and f.remedy and f.column for f in part.findings)


def test_terms_of_two_school_years_are_those_of_one() -> None:
    one = "2026-09-01..2027-06-30"
    share, fault = term_share(one)
    assert fault == Fault.NONE
    assert share == pytest.approx(303 / 365.25)
    assert term_share(f"{one}; 2027-09-01..2028-06-30")[0] == pytest.approx(share, abs=0.01)
    assert term_share(f"{one}; {one}")[0] == share
    assert term_share("2026-02-30..2026-03-01")[1] == Fault.UNREADABLE


def test_a_place_that_is_told_twice_is_said() -> None:
    mapped = file_of(
        "zones",
        [SQUARE, "POLYGON ((1 0, 11 0, 11 10, 1 10, 1 0))", SQUARE, "POINT (1 1)"],
        {"kind": ["park", "park", "school", "park"], "occupancy": ["rare"] * 4},
    )
    part = zones.survey(mapped, epsg=EPSG, crs=None)
    (found,) = part.findings
    assert (found.code, found.rows.tolist(), found.done) == ("zone_told_twice", [1], Done.FLAGGED)
