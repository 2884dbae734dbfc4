"""A measurement that cannot be is emptied and said, and never reads as sound wood."""

from pathlib import Path

import pytest

from pipeline.ingest.measured import ReadingLimits
from pipeline.published.table import Library
from tests.conftest import LarkmereRun
from tests.ingest.little_city import LittleCity, inventory

HEADER = (
    "inspection_id,tree_id,inspected_on,part,defect,reading,section_diameter_cm,shell_cm,"
    "hollow_diameter_cm,opening_cm\n"
)
INPUTS = """
[[inputs.trees]]
files = ["trees.csv"]
[[inputs.inspections]]
files = ["inspections.csv"]
"""


def _city(tmp_path: Path, *rows: str) -> LittleCity:
    files = {"trees.csv": inventory(), "inspections.csv": HEADER + "\n".join(rows) + "\n"}
    return LittleCity(tmp_path).ingest(files, inputs=INPUTS)


def test_limits_are_those_of_the_table() -> None:
    limits = ReadingLimits.of(Library().table("reading_limits"))
    assert limits.shell_over_radius == pytest.approx(1.05)
    assert limits.opening_over_girth == 1.0


def test_impossible_measurements_say_nothing(tmp_path: Path) -> None:
    city = _city(
        tmp_path,
        "i1,T100,2026-05-01,stem,,drill,40,60,,",
        "i2,T101,2026-05-01,stem,cavity,probe,40,,80,",
        "i3,T102,2026-05-01,stem,cavity,probe,40,5,,900",
        "i4,T103,2026-05-01,stem,,drill,40,19,,",
        "i5,T104,2026-05-01,stem,,drill,,300,,",
    )
    codes = city.codes("findings")
    assert codes["shell_cm_beyond_section"] == 2
    assert codes["hollow_diameter_cm_beyond_section"] == 1
    assert codes["opening_cm_beyond_section"] == 1
    kept = {row["shell_cm"] for row in city.rows("readings")}
    assert kept == {5.0, 19.0}
    assert all(row["opening_cm"] is None for row in city.rows("readings"))


def test_a_measurement_left_without_a_value_is_said_and_not_kept(tmp_path: Path) -> None:
    city = _city(
        tmp_path,
        "i1,T100,2026-05-01,stem,,drill,40,60,,",
        "i2,T101,2026-05-01,stem,,drill,40,,,",
        "i3,T102,2026-05-01,stem,,drill,40,-3,,",
        "i4,T103,2026-05-01,stem,,drill,40,19,,",
        "i5,T104,2026-05-01,stem,decay,,40,,,",
    )
    assert city.codes("findings")["reading_without_value"] == 3
    assert [row["shell_cm"] for row in city.rows("readings")] == [19.0]
    assert len(city.rows("inspections")) == 5


def test_shares_beyond_the_whole_are_emptied(tmp_path: Path) -> None:
    header = "tree_id,inspected_on,part,defect,reading,decayed_share,extent_share\n"
    files = {
        "trees.csv": inventory(),
        "inspections.csv": header
        + "T100,2026-05-01,stem,,tomogram,140 %,\n"
        + "T101,2026-05-01,stem,crack,,,140 %\n"
        + "T102,2026-05-01,stem,,tomogram,40 %,\n",
    }
    city = LittleCity(tmp_path).ingest(files, inputs=INPUTS)
    codes = city.codes("findings")
    assert codes["decayed_share_impossible"] == 1
    assert codes["extent_share_impossible"] == 1
    assert [row["decayed_share"] for row in city.rows("readings")] == pytest.approx([0.4])


@pytest.mark.parametrize(
    ("column", "value", "kept"),
    [
        ("lean_deg", "200", None),  # from the vertical: 90 degrees lies on the ground
        ("lean_deg", "-5", None),
        ("lean_deg", "90", 90.0),
        ("side_deg", "400", None),
    ],
)
def test_a_lean_beyond_the_ground_and_a_side_beyond_the_round_are_emptied(
    tmp_path: Path, column: str, value: str, kept: float | None
) -> None:
    files = {
        "trees.csv": inventory(),
        "inspections.csv": f"tree_id,inspected_on,part,defect,{column}\n"
        f"T100,2026-05-01,roots,lean,{value}\n",
    }
    city = LittleCity(tmp_path).ingest(files, inputs=INPUTS)
    (row,) = city.rows("defects")
    assert row[column] == kept
    assert (f"{column}_impossible" in city.codes("findings")) is (kept is None)


def test_a_drill_that_went_deeper_than_the_stem_says_nothing(tmp_path: Path) -> None:
    # The stem of a section without its own diameter is bounded by that of the inventory.
    city = _city(
        tmp_path,
        "i1,T100,2026-05-01,stem,,drill,30,15.5,,",  # 1.05 of the radius is bark and tape
        "i2,T101,2026-05-01,stem,,drill,30,16,,",
        "i3,T102,2026-05-01,stem,,drill,,200,,",
    )
    assert city.codes("findings")["shell_cm_beyond_section"] == 2
    assert [row["shell_cm"] for row in city.rows("readings")] == [15.5]


def test_of_a_shell_and_a_hollow_that_do_not_fit_the_hollow_stands(tmp_path: Path) -> None:
    city = _city(
        tmp_path,
        "i1,T100,2026-05-01,stem,,probe,40,15,30,",  # 45 cm in a stem of 40
        "i2,T101,2026-05-01,stem,,probe,40,15,22,",  # off centre: 3 cm on the other side
        "i3,T102,2026-05-01,stem,,probe,40,15,,",
    )
    assert city.codes("findings")["shell_and_hollow_disagree"] == 1
    kept = [(row["shell_cm"], row["hollow_diameter_cm"]) for row in city.rows("readings")]
    assert kept == [(None, 30.0), (15.0, 22.0), (15.0, None)]


def test_a_reading_told_again_for_the_same_azimuth_is_said(tmp_path: Path) -> None:
    header = "tree_id,inspected_on,part,reading,section_diameter_cm,azimuth_deg,shell_cm\n"
    rows = [
        "T100,2026-05-01,stem,drill,60,0,12",
        "T100,2026-05-01,stem,drill,60,360,14",  # north again
        "T100,2026-05-01,stem,drill,60,120,12",
        "T100,2026-05-01,butt,drill,60,0,12",  # another part
        "T100,2026-05-01,stem,drill,55,0,12",  # another section of it
        "T100,2026-05-02,stem,drill,60,0,12",  # another day
        "T101,2026-05-01,stem,drill,60,0,12",
        "T101,2026-05-01,stem,drill,60,,12",
        "T101,2026-05-01,stem,drill,60,,12",  # no azimuth: nothing is known of the side
    ]
    files = {"trees.csv": inventory(), "inspections.csv": header + "\n".join(rows) + "\n"}
    city = LittleCity(tmp_path).ingest(files, inputs=INPUTS)
    assert city.codes("findings")["azimuth_repeated"] == 1
    found = [row for row in city.rows("findings") if row["code"] == "azimuth_repeated"]
    assert [row["row"] for row in found] == [2]
    azimuths = {row["azimuth_deg"] for row in city.rows("readings")}
    assert azimuths == {0.0, 120.0, None}


def test_the_sample_town_keeps_its_measurements(larkmere: LarkmereRun) -> None:
    (row,) = larkmere.sql(
        """
        select count(*) as n, count(*) filter (shell_cm > section_diameter_cm / 2 * 1.05) as wrong
        from ingest.readings
        """
    )
    assert row["n"] > 50
    assert row["wrong"] == 0
