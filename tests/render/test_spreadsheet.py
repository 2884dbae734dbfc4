"""The workbook, opened with another library: inert, filtered, printable, equal on repeat."""

import io
import re
from pathlib import Path

import openpyxl
import pytest
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.published.sentences import english
from pipeline.render.cautions import every_page
from pipeline.render.context import RenderContext
from pipeline.render.exports import spreadsheet
from tests.render import sheet_world
from tests.render.sheet_world import FORMULA


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with its workbook."""
    made = sheet_world.context(tmp_path_factory.mktemp("run"))
    spreadsheet.write(made)
    return made


def _book(run: RenderContext) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO((run.out / spreadsheet.NAME).read_bytes()))


def _column(sheet: Worksheet, heading: str) -> list[object]:
    heads = [cell.value for cell in sheet[1]]
    at = heads.index(heading)
    return [row[at].value for row in sheet.iter_rows(min_row=2)]


def test_sheets_are_the_quarters_and_what_is_beside_them(run: RenderContext) -> None:
    assert _book(run).sheetnames == [
        "Read first", "2027Q1", "2027Q2", "Left out", "Review", "Tests that pay",
        "Rounds of inspection",
    ]  # fmt: skip


def test_no_cell_is_a_formula_and_links_lead_to_pages_of_the_run(run: RenderContext) -> None:
    cells = [cell for sheet in _book(run) for row in sheet.iter_rows() for cell in row]
    assert [cell.coordinate for cell in cells if cell.data_type == "f"] == []
    # Nothing of a city's file becomes a link: each leads to the page of a tree, by a plain name.
    # Office programs write a path in a workbook with the other slash.
    targets = [str(cell.hyperlink.target).replace("\\", "/") for cell in cells if cell.hyperlink]
    assert all(re.fullmatch(r"trees/[A-Za-z0-9_-]+\.html", target) for target in targets)
    sheet = _book(run)["2027Q1"]
    assert FORMULA in _column(sheet, "Street")
    linked = [str(cell.hyperlink.target).replace("\\", "/") for row in sheet.iter_rows()
              for cell in row if cell.hyperlink]  # fmt: skip
    told = [page for page in _column(sheet, "Page of the tree") if page is not None]
    assert told == linked
    assert told, "some of these trees have a page"


def test_every_job_is_on_its_sheet(run: RenderContext) -> None:
    book = _book(run)
    placed = run.table("planning.queue").num_rows
    assert len(_column(book["2027Q1"], "Tree")) == placed
    assert len(_column(book["Left out"], "Tree")) == run.table("planning.unscheduled").num_rows
    assert _column(book["2027Q1"], "Place") == list(range(1, placed + 1))


def test_filters_heads_and_widths_are_set(run: RenderContext) -> None:
    for sheet in _book(run).worksheets[1:]:
        assert sheet.freeze_panes == "A2"
        if sheet.max_row > 1:
            assert sheet.auto_filter.ref == sheet.dimensions
        assert sheet.column_dimensions["A"].width >= 10
    quarter = _book(run)["2027Q1"]
    heads = [cell.value for cell in quarter[1]]
    why = get_column_letter(heads.index("Why") + 1)
    assert quarter.column_dimensions[why].width >= 50


def test_sheets_print_landscape_one_page_wide_with_the_caution(run: RenderContext) -> None:
    for sheet in _book(run):
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr is not None
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.fitToWidth in (None, 1)  # 1 is the default of the format
        assert sheet.page_setup.fitToHeight == 0
        assert sheet.oddFooter is not None
        assert sheet.oddFooter.right is not None
        assert "planning aid" in (sheet.oddFooter.right.text or "")
        assert sheet.print_title_rows == "$1:$1"


def test_the_first_sheet_carries_the_cautions_and_the_totals(run: RenderContext) -> None:
    sheet = _book(run)["Read first"]
    texts = [cell.value for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert set(every_page(english())) <= set(texts)
    totals = next(row for row in sheet.iter_rows(values_only=True) if row[0] == "2027Q1")
    assert totals[1] == run.table("planning.queue").num_rows


def test_dates_and_numbers_are_no_text(run: RenderContext) -> None:
    sheet = _book(run)["2027Q1"]
    days = _column(sheet, "Day")
    assert all(getattr(day, "year", None) == 2027 for day in days)
    assert all(isinstance(hours, int | float) for hours in _column(sheet, "Crew-hours"))


def test_a_long_list_is_cut_and_says_so(
    run: RenderContext, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    del run
    monkeypatch.setattr(spreadsheet, "MOST_ROWS", 3)
    made = sheet_world.context(tmp_path)
    spreadsheet.write(made)
    for name, total in (("Left out", made.table("planning.unscheduled").num_rows),
                        ("2027Q1", made.table("planning.queue").num_rows)):  # fmt: skip
        first = [row[0].value for row in _book(made)[name].iter_rows(min_row=2)]
        assert first[-1] == f"3 of {total} rows, the first of the list; all in the CSV file."


def test_the_bytes_are_equal_on_repeat(run: RenderContext, tmp_path: Path) -> None:
    again = sheet_world.context(tmp_path)
    spreadsheet.write(again)
    assert (tmp_path / spreadsheet.NAME).read_bytes() == (run.out / spreadsheet.NAME).read_bytes()


def test_jobs_and_reviews_carry_the_fungus_and_how_probable_it_is(run: RenderContext) -> None:
    book = _book(run)
    for name in ("2027Q1", "Review"):
        sheet = book[name]
        shares = [share for share in _column(sheet, "How probable") if share is not None]
        assert shares
        assert all(isinstance(share, float) and 0 < share < 1 for share in shares)
        at = [cell.value for cell in sheet[1]].index("How probable")
        formats = {row[at].number_format for row in sheet.iter_rows(min_row=2)} - {"General"}
        assert formats == {"0%"}
