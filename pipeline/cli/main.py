"""The command `soundwood`: its verbs, and errors told in one line each."""

import gc
import sys
from typing import Annotated

import typer

import pipeline
from pipeline.cli import explain, project, questions, stages
from pipeline.errors import ManyFaults, PipelineError

_HELP = """From sightings of wood-decay fungi on city trees to scheduled, explained work.

A screening and planning aid for qualified people. It does not replace an inspection, local codes,
the utility's clearance rules or licensed practice, and it never says that a tree is harmless.

Start with:  soundwood run config/larkmere.toml
"""

app = typer.Typer(
    name="soundwood",
    help=_HELP,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"soundwood {pipeline.__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Options that stand before the verb."""
    del version


stages.register(app)
project.register(app)
questions.register(app)
explain.register(app)


def main() -> None:
    """Run the command line; exit 0 done, 1 refused, 2 wrong usage, 3 needs a person (if asked)."""
    # What the imports made stays to the end: the collector need not look through it again.
    gc.freeze()
    try:
        app()
    except ManyFaults as fault:
        for one in fault.faults:
            sys.stderr.write(f"soundwood: {one}\n")
        count = len(fault.faults)
        faults = "1 fault" if count == 1 else f"{count} faults"
        sys.stderr.write(f"soundwood: {faults}; nothing was written\n")
        sys.exit(1)
    except PipelineError as fault:
        sys.stderr.write(f"soundwood: {fault}\n")
        sys.exit(1)
