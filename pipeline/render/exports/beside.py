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
from pipeline.tables.store import RunStore

LEAST_TREES = 100_000
_REFUSED = 3  # exit code of a fault that the second process could name
_PARTS = ("where", "found", "expected", "remedy")


@contextmanager
def layers_begun(
    context: RenderContext, *, least_trees: int = LEAST_TREES
) -> Iterator[Callable[[], None]]:
    """Begin the layers of a large city at once; what is yielded ends them, or makes them here.

    The process begun does not outlive the block.

    Raises
    ------
    RenderError
        From what is yielded: if the file cannot be written, as `geopackage.write` says it.
    """
    if context.table("ingest.trees", columns=("tree_key",)).num_rows < least_trees:
        yield lambda: _write_here(context)
        return
    child = _begun(context)
    try:
        yield lambda: _ended(child, context.out / geopackage.NAME)
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
        for pipe in (child.stdin, child.stderr):
            if pipe is not None:
                pipe.close()


def _write_here(context: RenderContext) -> None:
    geopackage.write(context)


def _begun(context: RenderContext) -> subprocess.Popen[bytes]:
    package = str(Path(pipeline.__file__).resolve().parent.parent)
    known = os.environ.get("PYTHONPATH")
    path = package if known is None else os.pathsep.join((package, known))
    child = subprocess.Popen(
        [sys.executable, "-m", "pipeline.render.exports.beside"],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": path},
    )
    if child.stdin is not None:
        with suppress(BrokenPipeError):  # it has died already: how, its end will tell
            child.stdin.write(pickle.dumps((context.settings, context.out.resolve())))
            child.stdin.close()
    return child


def _ended(child: subprocess.Popen[bytes], path: Path) -> None:
    told = child.stderr.read().decode("utf-8", "replace") if child.stderr is not None else ""
    code = child.wait()
    if code == _REFUSED:
        raise RenderError(**json.loads(told.splitlines()[-1]))
    if code != 0:
        last = (told.strip().splitlines() or ["no word"])[-1]
        raise RenderError(
            where=str(path),
            found=f"the process that writes it ended with {code}: {last}",
            expected="the layers, written whole",
            remedy="Free memory and space, then run again.",
        )


class _Narrow(RenderContext):
    """The run, of the largest tables no more than the layers need."""

    def table(self, name: str, *, columns: tuple[str, ...] | None = None) -> pa.Table:
        """A table by its full name, read once."""
        return super().table(name, columns=columns or geopackage.READ.get(name))


def main() -> int:
    """Write the layers of the run that is told on the standard input; 0 when they are there."""
    settings, root = pickle.load(sys.stdin.buffer)  # noqa: S301 - written by the process above
    context = _Narrow(
        settings,
        RunStore(root),
        Library(overrides=settings.overrides_dir),
        root,
        wording(settings).sentence,
    )
    try:
        geopackage.write(context)
    except PipelineError as fault:
        parts = {name: getattr(fault, name) for name in _PARTS}
        sys.stderr.write(json.dumps(parts) + "\n")
        return _REFUSED
    return 0


if __name__ == "__main__":
    sys.exit(main())
