"""Diameters held against girths, and heights that look like another unit."""

from pathlib import Path

import numpy as np
import pytest

from pipeline.ingest.sizes import SizeChecks
from pipeline.published.table import Library
from tests.ingest.little_city import LAT, LON, LittleCity

MAP = """
kind = "trees"
[columns]
tree_id = "id"
longitude = "lon"
latitude = "lat"
dbh_cm = "dbh"
girth_cm = "girth"
height_m = { column = "height", unit = "UNIT" }
"""


def city(
    folder: Path,
    dbh: list[float | None],
    girth: list[float | None],
    *,
    heights: float = 10.0,
    unit: str = "m",
) -> LittleCity:
    """A run over trees with these diameters and girths, and heights about the one told."""
    rows = ["id,lon,lat,dbh,girth,height"]
    for number, (d, g) in enumerate(zip(dbh, girth, strict=True)):
        cells = ["" if one is None else f"{one:.4f}" for one in (d, g)]
        place = f"{LON + number * 1.03e-4:.6f},{LAT + (number % 7) * 1.07e-4:.6f}"
        rows.append(f"T{number},{place},{cells[0]},{cells[1]},{heights * (0.8 + number % 5 / 10)}")
    return LittleCity(folder).ingest(
        {"trees.csv": "\n".join(rows) + "\n", "map.toml": MAP.replace("UNIT", unit)},
        inputs='[[inputs.trees]]\nfiles = ["trees.csv"]\ncolumns = "map.toml"\n',
    )


GIRTHS = [30.0 + 7 * n for n in range(40)]
FACTORS = [
    pytest.param(2.0, "is twice the diameter in 40 of 40", id="twice"),
    pytest.param(0.5, "a radius", id="radius"),
    pytest.param(np.pi, "the girth itself", id="girth"),
    pytest.param(10.0, "millimetres", id="mm"),
    pytest.param(1 / 2.54, "inches", id="inches"),
    pytest.param(7.3, "7.3 times the diameter", id="no known cause"),
]


@pytest.mark.parametrize(("factor", "said"), FACTORS)
def test_one_factor_in_all_rows_is_the_files_and_told(
    tmp_path: Path, factor: float, said: str
) -> None:
    found = city(tmp_path, [factor * g / np.pi for g in GIRTHS], list(GIRTHS))
    assert said in str(found.rows("sources")[0]["note"])
    rows = found.rows("trees")
    # the girth of a circle over pi is its diameter
    assert [row["dbh_cm"] for row in rows] == pytest.approx([g / np.pi for g in GIRTHS], abs=1e-3)
    assert {row["dbh_how"] for row in rows} == {"girth"}


def test_a_diameter_that_fits_its_girth_is_kept(tmp_path: Path) -> None:
    rounded: list[float | None] = [float(round(g / np.pi)) for g in GIRTHS]
    found = city(tmp_path, rounded, list(GIRTHS))
    assert found.rows("sources")[0]["note"] is None
    assert [row["dbh_cm"] for row in found.rows("trees")] == rounded
    assert {row["dbh_how"] for row in found.rows("trees")} == {"measured"}
    assert "dbh_girth_disagree" not in found.codes("findings")


def test_one_slip_among_many_is_the_rows_own(tmp_path: Path) -> None:
    dbh: list[float | None] = [g / np.pi for g in GIRTHS]
    dbh[5] = 99.0
    found = city(tmp_path, dbh, list(GIRTHS))
    assert found.codes("findings") == {"dbh_girth_disagree": 1}
    assert found.trees()["T5"]["dbh_cm"] == 99.0
    assert "dbh_girth_disagree" in str(found.trees()["T5"]["flags"])


def test_a_girth_gives_the_diameter_that_is_missing(tmp_path: Path) -> None:
    dbh: list[float | None] = [g / np.pi for g in GIRTHS]
    dbh[3] = None
    trees = city(tmp_path, dbh, list(GIRTHS)).trees()
    assert trees["T3"]["dbh_cm"] == pytest.approx(GIRTHS[3] / np.pi, abs=1e-3)
    assert (trees["T3"]["dbh_how"], trees["T4"]["dbh_how"]) == ("girth", "measured")


def test_a_wrong_diameter_without_a_girth_is_not_believed(tmp_path: Path) -> None:
    girths: list[float | None] = list(GIRTHS)
    girths[3] = None
    found = city(tmp_path, [2 * g / np.pi for g in GIRTHS], girths)
    assert found.trees()["T3"]["dbh_cm"] is None
    assert found.codes("findings") == {"dbh_without_girth": 1}


def test_too_few_rows_say_nothing_of_the_file(tmp_path: Path) -> None:
    few = GIRTHS[:4]
    found = city(tmp_path, [2 * g / np.pi for g in few], list(few))
    assert found.codes("findings") == {"dbh_girth_disagree": 4}
    assert found.rows("sources")[0]["note"] is None


# what becomes of the middle height: numbers beyond the tallest tree known, or under 10 cm, are
# emptied; the others stand as they are written
@pytest.mark.parametrize(
    ("written", "unit", "hint", "kept"),
    [
        pytest.param(700.0, "m", "as cm it would be 7.0 m", None, id="cm as m"),
        pytest.param(50.0, "m", "as ft it would be 15.2 m", 50.0, id="ft as m"),
        pytest.param(8.0, "cm", "as m it would be 8.0 m", None, id="m as cm"),
    ],
)
def test_heights_of_another_unit_are_told_and_not_converted(
    tmp_path: Path, written: float, unit: str, hint: str, kept: float | None
) -> None:
    found = city(tmp_path, [30.0] * 40, [None] * 40, heights=written, unit=unit)
    note = str(found.rows("sources")[0]["note"])
    assert hint in note
    assert "state the unit" in note
    assert found.trees()["T2"]["height_m"] == kept


def test_a_unit_that_the_map_states_is_taken_at_its_word(tmp_path: Path) -> None:
    found = city(tmp_path, [30.0] * 40, [None] * 40, heights=700.0, unit="cm")
    assert found.rows("sources")[0]["note"] is None
    assert found.trees()["T2"]["height_m"] == pytest.approx(7.0)


def test_the_limits_leave_room_between_right_and_wrong() -> None:
    """A factor of two, the least that is usual, is never mistaken for a rounding."""
    limits = SizeChecks.of(Library().table("size_checks"))
    assert limits.same_factor < limits.one_off < 0.5
    assert limits.median_height_low_m < limits.median_height_high_m
    assert 0.5 < limits.share_of_rows <= 1


def test_no_crown_is_deeper_than_its_tree_is_tall(tmp_path: Path) -> None:
    # geometry: the crown is a part of the height
    rows = ["tree_id,longitude,latitude,height_m,crown_depth_m"]
    told = [(12.0, 15.0), (12.0, 12.0), (12.0, 8.0), ("", 9.0), (12.0, 0)]
    for number, (height, depth) in enumerate(told):
        place = f"{LON + number * 1.03e-4:.6f},{LAT + number * 1.07e-4:.6f}"
        rows.append(f"T{number},{place},{height},{depth}")
    found = LittleCity(tmp_path).ingest(
        {"trees.csv": "\n".join(rows) + "\n"}, inputs='[[inputs.trees]]\nfiles = ["trees.csv"]\n'
    )
    assert [row["crown_depth_m"] for row in found.rows("trees")] == [None, 12.0, 8.0, 9.0, None]
    (finding,) = (row for row in found.rows("findings") if row["code"] == "crown_depth_over_height")
    assert (finding["value"], finding["column"], finding["row"]) == ("15.0", "crown_depth_m", 1)
    assert "height" in str(finding["remedy"])
