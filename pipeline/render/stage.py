"""The render stage: which outputs a run has, in what order; each is written whole or not at all."""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from pipeline.progress import Teller
from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.render.exports import beside, lists, looks, occurrences, spreadsheet
from pipeline.render.pages import (
    council_map,
    crew_sheet,
    forester_map,
    index,
    run_report,
    tree_pages,
)
from pipeline.render.wording import wording
from pipeline.settings.model import RunSettings
from pipeline.tables.store import RunStore

begun_ahead = beside.layers_ahead  # what needs no plan, while the work is planned
Writer = Callable[[RenderContext], list[Path]]

OUTPUTS: list[tuple[str, Writer]] = [
    ("council map", council_map.write),
    ("forester's map", forester_map.write),
    ("crew sheets", crew_sheet.write),
    ("tree pages", tree_pages.write),
    ("queue as lists", lists.write_queue),
    ("review list", lists.write_review),
    ("tests that pay", looks.write_tests),
    ("rounds of inspection", looks.write_rounds),
    ("rows set aside", lists.write_quarantine),
    ("queue as a workbook", spreadsheet.write),
    ("sightings for others", occurrences.write),
    ("run report", run_report.write),
]
# A second thread writes these: numpy, zlib and Arrow do most of it without the interpreter's lock;
# the sheets and the workbook need nothing but that lock.
_SECOND = (forester_map.write, lists.write_queue)


def write_rows_aside(settings: RunSettings, store: RunStore, library: Library) -> None:
    """Write only the lists of rows set aside, of a run that has no tree to show."""
    lists.write_quarantine(_context(settings, store, library))


def _context(settings: RunSettings, store: RunStore, library: Library) -> RenderContext:
    said = wording(settings)
    return RenderContext(
        settings, store, library, store.root, said.sentence, said.review, said.texts
    )


def run(
    settings: RunSettings,
    store: RunStore,
    library: Library,
    teller: Teller,
    *,
    ahead: beside.Layers | None = None,
) -> None:
    """Write every output of a run into its folder.

    Parameters
    ----------
    ahead : the layers, where they were begun before the work was planned.

    Raises
    ------
    RenderError
        If an output cannot be written as it should be.
    """
    context = _context(settings, store, library)
    with (
        beside.layers_begun(context, ahead=ahead) as end_layers,
        ThreadPoolExecutor(1) as second,
    ):
        waiting: dict[Writer, Future[list[Path]]] = {}
        for name, write in OUTPUTS:
            teller.step(name)
            if write in _SECOND:
                waiting[write] = second.submit(write, context)
                continue
            if write is run_report.write:  # it cites what the pages before it have read
                waiting[forester_map.write].result()
            write(context)
        for future in waiting.values():
            future.result()
        teller.step("layers for a GIS")
        end_layers()
    teller.step("index")  # last: it links to what is there
    index.write(context)
