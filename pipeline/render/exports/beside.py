"""The layers for a GIS written by a second process, while this one writes the pages.

GDAL holds the interpreter's lock while it writes, and takes nearly as long as all the pages of a
large city together. For a small town the start of a process costs more than it saves.
"""

import json
import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pyarrow as pa

import pipeline
from pipeline.errors import PipelineError, RenderError
from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.render.exports import geopackage
from pipeline.render.wording import wording
from pipeline.settings.model import RunSettings
from pipeline.tables.catalogue_ingest import TREES
from pipeline.tables.store import RunStore

LEAST_TREES = 100_000
_REFUSED = 3  # exit code of a fault that the second process could name
_PLANNED = b"!"  # said to the second process when the plan stands
_PARTS = ("where", "found", "expected", "remedy")


class Layers:
    """A second process that writes the layers of a run folder.

    It begins with what needs no plan, and with the routes when it is told that they are there.
    """

    def __init__(self, settings: RunSettings, root: Path) -> None:
        """Begin; `root` is the folder of the run."""
        self._path = root.resolve() / geopackage.NAME
        package = str(Path(pipeline.__file__).resolve().parent.parent)
        known = os.environ.get("PYTHONPATH")
        path = package if known is None else os.pathsep.join((package, known))
        self._child = subprocess.Popen(
            [sys.executable, "-m", "pipeline.render.exports.beside"],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": path},
        )
        self._tell(pickle.dumps((settings, root.resolve())))

    def go_on(self) -> None:
        """The plan stands: the routes may be read."""
        self._tell(_PLANNED)
        if self._child.stdin is not None:
            with suppress(BrokenPipeError):
                self._child.stdin.close()

    def end(self) -> None:
        """Wait until the file is there.

        Raises
        ------
        RenderError
            If it cannot be written, as `geopackage.write` says it.
        """
        told = self._child.stderr.read() if self._child.stderr is not None else b""
        lines = told.decode("utf-8", "replace").strip().splitlines() or ["no word"]
        code = self._child.wait()
        if code == _REFUSED:
            raise RenderError(**json.loads(lines[-1]))
        if code != 0:
            raise RenderError(
                where=str(self._path),
                found=f"the process that writes it ended with {code}: {lines[-1]}",
                expected="the layers, written whole",
                remedy="Free memory and space, then run again.",
            )

    def stop(self) -> None:
        """Leave no process behind, whether it has ended or not."""
        if self._child.poll() is None:
            self._child.kill()
            self._child.wait()
        for pipe in (self._child.stdin, self._child.stderr):
            if pipe is not None:
                with suppress(BrokenPipeError):
                    pipe.close()

    def _tell(self, told: bytes) -> None:
        if self._child.stdin is not None:
            with suppress(BrokenPipeError):  # it has died already: how, its end will tell
                self._child.stdin.write(told)
                self._child.stdin.flush()


@contextmanager
def layers_ahead(
    settings: RunSettings, store: RunStore, *, least_trees: int = LEAST_TREES
) -> Iterator[Layers | None]:
    """Begin the layers of a large city before its work is planned; nothing for a small town.

    The process begun does not outlive the block.
    """
    trees = store.read(TREES, columns=("tree_key",)).num_rows if store.has(TREES) else 0
    if trees < least_trees:
        yield None
        return
    layers = Layers(settings, store.root)
    try:
        yield layers
    finally:
        layers.stop()


@contextmanager
def layers_begun(
    context: RenderContext, *, ahead: Layers | None = None, least_trees: int = LEAST_TREES
) -> Iterator[Callable[[], None]]:
    """Begin the layers of a large city at once; what is yielded ends them, or makes them here.

    Parameters
    ----------
    ahead : begun before; None begins here, and what is begun here does not outlive the block.

    Raises
    ------
    RenderError
        From what is yielded: if the file cannot be written, as `geopackage.write` says it.
    """
    if ahead is not None:
        ahead.go_on()
        yield ahead.end
        return
    if context.table("ingest.trees", columns=("tree_key",)).num_rows < least_trees:
        yield lambda: _write_here(context)
        return
    layers = Layers(context.settings, context.out)
    try:
        layers.go_on()
        yield layers.end
    finally:
        layers.stop()


def _write_here(context: RenderContext) -> None:
    geopackage.write(context)


class _Narrow(RenderContext):
    """The run, of the largest tables no more than the layers need."""

    def table(self, name: str, *, columns: tuple[str, ...] | None = None) -> pa.Table:
        """A table by its full name, read once."""
        return super().table(name, columns=columns or geopackage.READ.get(name))


def main() -> int:
    """Write the layers of the run that is told on the standard input; 0 when they are there."""
    settings, root = pickle.load(sys.stdin.buffer)  # noqa: S301 - written by the process above
    told = wording(settings)
    context = _Narrow(
        settings,
        RunStore(root),
        Library(overrides=settings.overrides_dir),
        root,
        told.sentence,
        told.review,
        told.texts,
    )
    try:
        geopackage.write(context, planned=_planned)
    except PipelineError as fault:
        parts = {name: getattr(fault, name) for name in _PARTS}
        sys.stderr.write(json.dumps(parts) + "\n")
        return _REFUSED
    return 0


def _planned() -> None:
    """Wait until the plan stands.

    Raises
    ------
    SystemExit
        If the process that plans has gone.
    """
    if sys.stdin.buffer.read(1) != _PLANNED:
        sys.exit("the run ended before its plan stood")


if __name__ == "__main__":
    sys.exit(main())
