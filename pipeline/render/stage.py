"""The render stage: which outputs a run has, in what order; each is written whole or not at all."""

from collections.abc import Callable
from pathlib import Path

from pipeline.progress import Teller
from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.render.pages import council_map, forester_map
from pipeline.render.wording import sentence
from pipeline.settings.model import RunSettings
from pipeline.tables.store import RunStore

Writer = Callable[[RenderContext], list[Path]]

OUTPUTS: list[tuple[str, Writer]] = [
    ("forester's map", forester_map.write),
    ("council map", council_map.write),
]


def run(settings: RunSettings, store: RunStore, library: Library, teller: Teller) -> None:
    """Write every output of a run into its folder.

    Raises
    ------
    RenderError
        If an output cannot be written as it should be.
    """
    context = RenderContext(settings, store, library, store.root, sentence)
    for name, write in OUTPUTS:
        teller.step(name)
        write(context)
