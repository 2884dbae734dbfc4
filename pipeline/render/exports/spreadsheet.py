"""queue.xlsx: the forester's quarters, what was left out, what to review, measure and walk.

Text is written as text, so no cell of a city's file becomes a formula; widths, filters and print
set-up are fixed; the file carries the run's day as its date and is equal to the byte on repeat.
"""

import io
from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import xlsxwriter

from pipeline.render import fungi, style, work_rows
from pipeline.render.cautions import every_page
from pipeline.render.context import RenderContext
from pipeline.render.exports.lists import review_table
from pipeline.render.exports.looks import rounds_table, tests_table
from pipeline.render.files import write_bytes
from pipeline.settings.quarter import Quarter

NAME = "queue.xlsx"
MOST_ROWS = 5_000
_MOST_CHARACTERS = 32_767  # of one cell (ECMA-376 as office programs keep it); more is refused
_WIDTHS = {
    "why": 60, "detail": 50, "what_to_do": 80, "address": 28, "street": 24, "job_id": 24,
    "species": 26, "action": 20, "machine": 16, "crew_id": 16, "reason": 18, "what": 24,
    "tree_id": 14, "season_code": 18, "fungus": 26, "test": 20, "without": 18, "likeliest": 18,
    "ward": 16, "page": 24,
}  # fmt: skip
_HEADINGS = {
    "queue_rank": "Place", "quarter": "Quarter", "day": "Day", "crew_id": "Crew", "job_id": "Job",
    "tree_id": "Tree", "action": "What to do", "part": "Part", "rating": "Rating", "why": "Why",
    "deadline_on": "To be done by", "late_days": "Days late", "hours": "Crew-hours",
    "cost": "Cost", "machine": "Machine", "no_climb": "Do not climb", "make_safe": "Make safe now",
    "season_code": "Closed window", "not_before": "Not before", "species": "Species",
    "harm_removed": "Expected harm removed per million years", "dbh_cm": "Diameter cm",
    "street": "Street", "address": "Address", "ward": "Ward", "wires": "Wires",
    "longitude": "Longitude", "latitude": "Latitude", "reason": "Reason", "detail": "In words",
    "urgency": "When", "what": "What", "what_to_do": "What to do", "sighting_id": "Sighting",
    "row_set_aside": "Row set aside", "fungus": "Fungus, most likely",
    "probability_1": "How probable", "decay_evidence": "Evidence of decay", "rot_type": "Rot",
    "probability_rot": "Rot, how probable", "probability_serious": "Serious, how probable",
    "needs_expert": "Needs an expert", "next_look": "Look next at", "test": "Test",
    "probability_changes": "Changes what is done", "probability_spares": "Keeps more of the tree",
    "probability_takes": "Keeps less of it",
    "probability_together": "Changes it if the other parts prove sound",
    "without": "Done without any test", "likeliest": "Likeliest done instead",
    "harm_avoided": "Expected harm avoided per million years",
    "harm_avoided_per_hour": "The same for an hour", "hours_so_far": "Crew-hours so far",
    "also": "Also on", "note": "Note",
    "trees": "Trees", "never": "Never inspected", "overdue": "Past the cycle",
    "due": "Due within the plan", "earliest_due_on": "Earliest due",
    "harm": "Expected harm per million years", "page": "Page of the tree",
}  # fmt: skip
_JOB_COLUMNS = (
    "queue_rank", "day", "crew_id", "tree_id", "action", "part", "rating", "why", "deadline_on",
    "late_days", "hours", "cost", "machine", "no_climb", "make_safe", "season_code", "not_before",
    "harm_removed", "species", "dbh_cm", "street", "address", "ward", "wires", "job_id",
    *fungi.TOLD, "page",
)  # fmt: skip
_LEFT_COLUMNS = (
    "tree_id", "action", "part", "rating", "reason", "detail", "deadline_on", "hours", "machine",
    "harm_removed", "species", "dbh_cm", "street", "address", "ward", "job_id",
)  # fmt: skip
# Harm is printed per million years: the numbers are small, and people compare whole ones better.
_PER_MILLION = 1e6


def write(context: RenderContext) -> list[Path]:
    """Write queue.xlsx whole or not at all."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(
        buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    book.set_properties(
        {
            "title": f"{context.city}: work queue from {context.settings.first_quarter}",
            "comments": " ".join(every_page(context.texts)),
            "created": datetime.combine(context.as_of, time(), tzinfo=UTC).replace(tzinfo=None),
        }
    )
    sheets = _Sheets(book, context)
    queue = work_rows.queued(context)
    sheets.about(queue)
    planned = context.settings.first_quarter.following(context.settings.settings.planning.quarters)
    for quarter in sorted({*map(str, planned), *queue["quarter"].to_pylist()}):
        rows = queue.filter(pc.equal(queue["quarter"], quarter))
        shown = rows.slice(0, MOST_ROWS)
        links = shown["page"].to_pylist()
        sheets.table(quarter, shown.select(list(_JOB_COLUMNS)), total=rows.num_rows, links=links)
    left = work_rows.unscheduled(context, most=MOST_ROWS)
    total = context.table("planning.unscheduled").num_rows
    sheets.table("Left out", left.select(list(_LEFT_COLUMNS)), total=total)
    reviews = review_table(context)
    sheets.table("Review", reviews.slice(0, MOST_ROWS), total=reviews.num_rows)
    tests = tests_table(context)
    tests = tests.filter(tests["chosen"]).drop_columns(["chosen"])
    sheets.table("Tests that pay", tests.slice(0, MOST_ROWS), total=tests.num_rows)
    rounds = rounds_table(context)
    sheets.table("Rounds of inspection", rounds.slice(0, MOST_ROWS), total=rounds.num_rows)
    book.close()
    return [write_bytes(context.out / NAME, buffer.getvalue())]


class _Sheets:
    """Sheets of one workbook in one look."""

    def __init__(self, book: xlsxwriter.Workbook, context: RenderContext) -> None:
        self._book = book
        self._context = context
        self._head = book.add_format(
            {"bold": True, "text_wrap": True, "valign": "top", "bg_color": style.LIGHT["sunk"],
             "bottom": 1, "border_color": style.LIGHT["edge"]}
        )  # fmt: skip
        self._text = book.add_format({"text_wrap": True, "valign": "top"})
        self._link = book.add_format(
            {"text_wrap": True, "valign": "top", "font_color": style.LIGHT["accent"],
             "underline": 1}
        )  # fmt: skip
        self._date = book.add_format({"num_format": "yyyy-mm-dd", "valign": "top", "align": "left"})
        self._number = book.add_format({"num_format": "#,##0.0", "valign": "top"})
        self._share = book.add_format({"num_format": "0%", "valign": "top"})
        self._whole = book.add_format({"num_format": "#,##0", "valign": "top"})
        self._title = book.add_format({"bold": True, "font_size": 14})
        self._wrap = book.add_format({"text_wrap": True, "valign": "top"})

    def about(self, queue: pa.Table) -> None:
        """First sheet: what this is, with the totals of each quarter."""
        sheet = self._book.add_worksheet("Read first")
        sheet.set_column(0, 0, 24)
        sheet.set_column(1, 4, 18)
        sheet.write_string(0, 0, f"{self._context.city}: work queue", self._title)
        sheet.write_string(1, 0, f"As of {self._context.as_of.isoformat()}")
        cautions = every_page(self._context.texts)
        for offset, caution in enumerate(cautions):
            sheet.merge_range(3 + offset, 0, 3 + offset, 4, caution, self._wrap)
            sheet.set_row(3 + offset, 34)
        row = 4 + len(cautions)
        for column, heading in enumerate(("Quarter", "Jobs", "Crew-hours", "Late", "Make safe")):
            sheet.write_string(row, column, heading, self._head)
        for quarter in sorted(set(queue["quarter"].to_pylist())):
            of_quarter = queue.filter(pc.equal(queue["quarter"], quarter))
            row += 1
            sheet.write_string(row, 0, quarter)
            sheet.write_number(row, 1, of_quarter.num_rows, self._whole)
            sheet.write_number(row, 2, pc.sum(of_quarter["hours"]).as_py() or 0, self._number)
            late = pc.sum(pc.greater(of_quarter["late_days"], 0)).as_py() or 0
            sheet.write_number(row, 3, late, self._whole)
            sheet.write_number(row, 4, pc.sum(of_quarter["make_safe"]).as_py() or 0, self._whole)
        first = self._context.settings.first_quarter
        early = queue.filter(pc.less(queue["quarter"], str(first)))
        if early.num_rows:
            sheet.merge_range(row + 2, 0, row + 2, 4, _early(early, first), self._wrap)
            sheet.set_row(row + 2, 50)
        sheet.merge_range(row + 4, 0, row + 4, 4, _HARM_NOTE, self._wrap)
        sheet.set_row(row + 4, 66)
        self._print(sheet)

    def table(
        self,
        name: str,
        table: pa.Table,
        *,
        total: int | None = None,
        links: Sequence[str | None] = (),
    ) -> None:
        """One sheet from a table, with filter, frozen head, widths and print set-up.

        Parameters
        ----------
        links : path from the run's folder to the page of each row's tree, None without one.
        """
        sheet = self._book.add_worksheet(name)
        for column, header in enumerate(table.column_names):
            sheet.write_string(0, column, _HEADINGS.get(header, header), self._head)
            sheet.set_column(column, column, _WIDTHS.get(header, 12))
            self._column(sheet, column, header, table[header].to_pylist())
            if header == "tree_id":
                for row, link in enumerate(links, start=1):
                    if link is not None:
                        told = str(table[header][row - 1].as_py())[:_MOST_CHARACTERS]
                        sheet.write_url(row, column, f"external:{link}", self._link, told)
        sheet.freeze_panes(1, 0)
        if table.num_rows:
            sheet.autofilter(0, 0, table.num_rows, table.num_columns - 1)
        if total is not None and total > table.num_rows:
            note = (
                f"{table.num_rows:,} of {total:,} rows, the first of the list; all in the CSV file."
            )
            sheet.write_string(table.num_rows + 2, 0, note)
        self._print(sheet)

    def _column(
        self, sheet: xlsxwriter.worksheet.Worksheet, column: int, header: str, values: list[object]
    ) -> None:
        for row, value in enumerate(values, start=1):
            if value is None or value is False:
                continue
            if value is True:
                sheet.write_string(row, column, "yes", self._text)
            elif isinstance(value, date):
                sheet.write_datetime(row, column, datetime.combine(value, time()), self._date)
            elif isinstance(value, float):
                shown = value * _PER_MILLION if header.startswith("harm") else value
                share = header.startswith("probability_")
                sheet.write_number(row, column, shown, self._share if share else self._number)
            elif isinstance(value, int):
                sheet.write_number(row, column, value, self._whole)
            else:
                shown_text = _readable(header, str(value))[:_MOST_CHARACTERS]
                sheet.write_string(row, column, shown_text, self._text)

    def _print(self, sheet: xlsxwriter.worksheet.Worksheet) -> None:
        sheet.set_landscape()
        sheet.set_paper(9)  # A4; the margins fit Letter too
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)
        sheet.set_footer("&L&A &P/&N&R A planning aid; licensed practice comes first")


_HARM_NOTE = (
    "Expected harm removed per million years: how much less harm, as equivalent deaths, is "
    "expected over a year once the job is done, times one million. It rests on estimates, puts "
    "jobs in order and is no forecast for one tree."
)


def _early(jobs: pa.Table, first: Quarter) -> str:
    """What is done before the first planned quarter, in words."""
    safe = jobs.filter(jobs["make_safe"])
    words = f"{jobs.num_rows - safe.num_rows:,} jobs that are due before {first} begins are done"
    words += " in the days before it, on a share of each crew's days."
    if not safe.num_rows:
        return words
    last = pc.max(safe["day"]).as_py().isoformat()
    return f"{safe.num_rows:,} make-safe jobs are done at once, the last by {last}. {words}"


def _readable(header: str, text: str) -> str:
    coded = {
        "action",
        "machine",
        "reason",
        "season_code",
        "wires",
        "next_look",
        "test",
        "without",
        "likeliest",
    }
    return text.replace("_", " ") if header in coded else text
