"""Settings: every fault at once, as file, key, found, expected, what to do."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.errors import ManyFaults, SettingsError
from pipeline.settings.load import load
from pipeline.settings.quarter import Quarter

GOOD = """
data = "."
[city]
name = "Larkmere"
[[inputs.trees]]
files = ["trees.csv"]
"""


def _write(folder: Path, text: str) -> Path:
    path = folder / "city.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_complete_settings(tmp_path: Path) -> None:
    found = load(_write(tmp_path, GOOD), as_of=date(2026, 11, 15))
    assert found.first_quarter == Quarter(2027, 1)
    assert found.data_dir == tmp_path / "."


def test_command_line_stands_over_the_file(tmp_path: Path) -> None:
    path = _write(tmp_path, 'quarter = "2027Q2"\nas_of = 2026-01-01\n' + GOOD)
    found = load(path, as_of=date(2026, 2, 3), quarter="2028Q4")
    assert (found.as_of, found.first_quarter) == (date(2026, 2, 3), Quarter(2028, 4))


def test_every_fault_is_told_at_once(tmp_path: Path) -> None:
    text = GOOD + '[rating]\nmethod = "guess"\ncolour = 1\n[matching]\ncap_m = -1\n'
    with pytest.raises(ManyFaults) as caught:
        load(_write(tmp_path, text))
    where = {fault.where.split("key ")[1] for fault in caught.value.faults}
    assert where == {"rating.method", "rating.colour", "matching.cap_m"}
    unknown = next(f for f in caught.value.faults if f.where.endswith("rating.colour"))
    assert unknown.expected == "no such key"


@pytest.mark.parametrize(
    ("text", "found"),
    [
        pytest.param("city = [", "text that is not TOML", id="broken TOML"),
        pytest.param(GOOD.replace('data = "."', ""), "no data folder", id="no data folder"),
        pytest.param(GOOD.replace('"."', '"nowhere"'), "no such folder", id="folder not there"),
        pytest.param('quarter = "spring"\n' + GOOD, "'spring'", id="no quarter"),
    ],
)
def test_one_fault(tmp_path: Path, text: str, found: str) -> None:
    with pytest.raises(SettingsError) as caught:
        load(_write(tmp_path, text))
    assert found in caught.value.found
    assert caught.value.remedy


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="no such file"):
        load(tmp_path / "absent.toml")


def test_file_in_another_encoding(tmp_path: Path) -> None:
    path = tmp_path / "city.toml"
    path.write_bytes('[city]\nname = "Lärkmere"\n'.encode("latin-1"))
    with pytest.raises(SettingsError, match="UTF-8"):
        load(path)


def test_no_trees_and_a_crew_without_depot(tmp_path: Path) -> None:
    crew = '[[crews]]\nid = "A"\ntype = "climb"\ndepot = "East"\n'
    text = 'data = "."\n[city]\nname = "L"\n[inputs]\n' + crew + crew
    with pytest.raises(ManyFaults) as caught:
        load(_write(tmp_path, text))
    told = str(caught.value)
    assert "no tree inventory" in told
    assert "depot 'East'" in told
    assert "the same id twice" in told


def test_hours_cannot_be_negative(tmp_path: Path) -> None:
    text = GOOD + (
        '[[depots]]\nname = "E"\nlongitude = 1\nlatitude = 1\n'
        '[[crews]]\nid = "A"\ntype = "climb"\ndepot = "E"\nhours_per_day = -2\n'
    )
    with pytest.raises(ManyFaults, match="hours_per_day"):
        load(_write(tmp_path, text))


def test_overrides_folder_is_found_by_the_name_of_the_file(tmp_path: Path) -> None:
    folder = tmp_path / "city" / "overrides"
    folder.mkdir(parents=True)
    assert load(_write(tmp_path, GOOD)).overrides_dir == folder


def test_a_quarter_that_is_over_is_refused(tmp_path: Path) -> None:
    path = _write(tmp_path, 'quarter = "2026Q3"\n' + GOOD)
    with pytest.raises(SettingsError, match="2026Q3, which is over: it ended on 2026-09-30"):
        load(path, as_of=date(2026, 10, 1))
    last = load(path, as_of=date(2026, 9, 30))
    assert last.first_quarter == Quarter(2026, 3)


CREW = (
    '[[depots]]\nname = "E"\nlongitude = 1\nlatitude = 1\n'
    '[[crews]]\nid = "A"\ntype = "climb"\ndepot = "E"\n'
)


@pytest.mark.parametrize("value", ["inf", "nan", "-inf"])
@pytest.mark.parametrize("key", ["hours_per_quarter", "hourly_rate", "hours_per_day"])
def test_a_number_has_an_end(tmp_path: Path, key: str, value: str) -> None:
    with pytest.raises(ManyFaults, match=key):
        load(_write(tmp_path, GOOD + CREW + f"{key} = {value}\n"))


def test_years_that_are_a_slip_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="1900 to 2200"):
        load(_write(tmp_path, GOOD), quarter="9999Q4")
    with pytest.raises(SettingsError, match="1900 to 2200"):
        load(_write(tmp_path, GOOD), as_of=date(9999, 12, 31))


@pytest.mark.parametrize(
    ("text", "key", "expected"),
    [
        ("[matching]\ncap_m = 0\n", "matching.cap_m", "a number above 0"),
        ("[planning]\nlead_in_share = 2\n", "planning.lead_in_share", "a number of at most 1"),
        ("[planning]\nquarters = 1.5\n", "planning.quarters", "a whole number"),
        ("[planning]\nholidays = [2026-12-25, 'x']\n", "planning.holidays 2",
         "a date such as 2026-11-15"),
        (CREW + "hours_per_day = 'x'\n", "crews 1.hours_per_day", "a number"),
        (CREW + "hours_per_quarter = nan\n", "crews 1.hours_per_quarter",
         "a number with an end, neither inf nor nan"),
        (CREW + "machines = 'a'\n", "crews 1.machines", "a list, in square brackets"),
        (CREW + "days = ['Mo', 'Xx']\n", "crews 1.days 2",
         "one of 'Mo', 'Tu', 'We', 'Th', 'Fr', 'Sa' or 'Su'"),
        ("[output]\ncontact = 3\n", "output.contact", "a text, in quotes"),
    ],
)  # fmt: skip
def test_faults_are_told_in_plain_words(tmp_path: Path, text: str, key: str, expected: str) -> None:
    with pytest.raises(ManyFaults) as caught:
        load(_write(tmp_path, GOOD + text))
    (fault,) = caught.value.faults
    assert fault.where.endswith(f", key {key}")
    assert fault.expected == expected


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "city.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load(path).settings.city.name == "Larkmere"


def test_a_folder_is_no_settings_file(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="a folder") as caught:
        load(tmp_path)
    assert caught.value.remedy == "Give CITY.toml; a run goes with --run."
