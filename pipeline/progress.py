"""Progress that a person sees on a terminal and nobody sees in a log file."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn


class Teller(Protocol):
    """Something that can be told what is being done."""

    def step(self, text: str) -> None:
        """Say what starts now; the step before it is done."""


class Silent:
    """Tells nobody; used by tests and by library callers."""

    def step(self, text: str) -> None:
        """Say nothing."""


class _Bar:
    def __init__(self, bar: Progress, steps: int) -> None:
        self._bar = bar
        self._task = bar.add_task("starting", total=steps)
        self._started = False

    def step(self, text: str) -> None:
        if self._started:
            self._bar.advance(self._task)
        self._started = True
        self._bar.update(self._task, description=text)


@contextmanager
def shown(steps: int, *, console: Console | None = None) -> Iterator[Teller]:
    """A progress bar over a known number of steps on a terminal, nothing elsewhere."""
    console = console or Console(stderr=True)
    if not console.is_terminal:
        yield Silent()
        return
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        yield _Bar(bar, steps)
