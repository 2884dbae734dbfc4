"""The report accounts for every file and value, and holds no clock time."""

import re
from pathlib import Path

import pytest
from lxml import html

from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.render.pages import run_report
from tests.render import map_world, sheet_world
from tests.render.map_world import say


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with its report."""
    made = sheet_world.context(tmp_path_factory.mktemp("run"))
    run_report.write(made)
    return made


def _rows(run: RenderContext, section: str) -> list[list[str]]:
    page = html.fromstring((run.out / run_report.NAME).read_bytes())
    rows = page.xpath(f'//section[@aria-labelledby="{section}"]//tbody/tr')
    return [[" ".join(" ".join(cell.itertext()).split()) for cell in row] for row in rows]


def test_each_file_has_its_account_and_how_it_was_read(run: RenderContext) -> None:
    first, second = _rows(run, "files")
    assert first[0] == "trees"
    assert first[3:7] == ["EPSG:4326, from the columns", "242", "240", "2"]
    assert second[1] == "sightings.csv Encoding detected."
    assert second[2] == "CSV, cp1252, parted by ;"


def test_faults_are_grouped_by_kind_with_examples(run: RenderContext) -> None:
    rows = {
        (row[1].split(" No ")[0].split(" The ")[0], row[3]): row for row in _rows(run, "faults")
    }
    dbh = rows["impossible dbh", "emptied"]
    assert dbh[4] == "4"
    assert dbh[5] == "row 1: 1000000 row 2: -3 row 3: x"
    assert rows["no place", "set aside"][4] == "1"
    assert ("unknown species", "flagged") in rows
    assert ("impossible date", "set aside") in rows


def test_an_override_is_shown_with_what_it_replaced(tmp_path: Path) -> None:
    overrides = tmp_path / "overrides"
    overrides.mkdir()
    header = "rule,value,unit,low,high,basis,source,locator,note\n"
    (overrides / "crew_hazards.csv").write_text(
        header + "school_near,300,m,50,300,elicited,project_elicited,,wider here\n", "utf-8"
    )
    (overrides / "deadlines.csv").write_text(header, "utf-8")
    made = sheet_world.context(tmp_path / "run")
    made.library = Library(overrides=overrides)
    made.settings = made.settings.model_copy(update={"overrides_dir": overrides})
    made.library.table("crew_hazards", key=("rule",), folder="rules")
    run_report.write(made)
    table, row, changes = _rows(made, "overrides")[0]
    assert table == "crew_hazards"
    assert row == "school_near"
    assert "value : 150 → 300" in changes
    text = (made.out / run_report.NAME).read_text(encoding="utf-8")
    assert "deadlines.csv" in text  # lies there, but nothing here asked for it


def test_no_path_of_a_machine_and_no_clock_time(run: RenderContext) -> None:
    text = (run.out / run_report.NAME).read_text(encoding="utf-8")
    assert str(run.out) not in text
    told = re.sub(r'aria-labelledby="settings".*?</section>', "", text, flags=re.DOTALL)
    assert not re.search(r"\d{1,2}:\d{2}", html.fromstring(told).text_content())


def test_settings_are_told_with_their_defaults(run: RenderContext) -> None:
    told = dict(_rows(run, "settings"))
    assert told["matching.cap_m"] == "60.0"
    assert told["crews 2.id"] == "Ground"
    assert told["first quarter"] == "2027Q1"


def test_sources_are_those_of_the_tables_read(run: RenderContext) -> None:
    run.library.table("crew_hazards", key=("rule",), folder="rules")
    cited = {source.id: rows for source, rows in run_report.cited(run)}
    assert cited["project_elicited"] >= 3
    assert cited["umass_kretzschmaria"] == 0  # said in a rating only
    assert "sinn_wessolly_1989" not in cited


def test_a_source_without_a_year_is_undated(run: RenderContext) -> None:
    source = run.library.sources["umass_kretzschmaria"]
    assert source.year == 0
    assert "(n.d.)" in source.citation
    assert all("(0)" not in one.citation for one in run.library.sources.values())


def test_versions_are_those_installed() -> None:
    told = dict(run_report.versions())
    assert set(told) >= {"soundwood", "Python", *run_report.LIBRARIES}


def test_a_run_without_tables_still_has_a_report(tmp_path: Path) -> None:
    made = map_world.context(tmp_path)
    bare = RenderContext(made.settings, type(made.store)(tmp_path / "bare"), Library(),
                         tmp_path, say)  # fmt: skip
    bare.store.epsg = sheet_world.EPSG
    run_report.write(bare)
    text = (tmp_path / run_report.NAME).read_text(encoding="utf-8")
    assert "No file was read in this run." in text
    assert "No fault was found in any row." in text


def test_nested_settings_become_dotted_keys() -> None:
    values = {"a": {"b": 1, "none": None}, "list": [{"x": 2}, {"x": 3}], "words": ["p", "q"]}
    assert dict(run_report.flat_settings(values)) == {
        "a.b": "1", "list 1.x": "2", "list 2.x": "3", "words": "p, q",
    }  # fmt: skip


def test_how_sure_the_fungi_are_is_counted(run: RenderContext) -> None:
    rows = {row[0]: row[1:] for row in _rows(run, "fungi")}
    table = run.table("scoring.identifications").to_pylist()
    sure = sum(row["probability_1"] >= 0.9 for row in table)
    assert rows["90% or more"] == [str(sure), str(len(table))]
    page = html.fromstring((run.out / run_report.NAME).read_bytes())
    text = " ".join(page.xpath('string(//section[@aria-labelledby="fungi"])').split())
    experts = sum(row["needs_expert"] for row in table)
    assert f"{experts} sightings of {experts} fungi belong before somebody who knows" in text
