"""The verbs that make runs: run, ingest, score, plan, render."""

from pathlib import Path

import typer

from pipeline import run as runs
from pipeline.cli import options, plans, tell
from pipeline.progress import shown
from pipeline.settings.load import load
from pipeline.settings.model import RunSettings

_EXIT_REVIEW = 3
_STEPS = {"ingest": 7, "scoring": 3, "planning": 4, "render": 10}


def register(app: typer.Typer) -> None:
    """Add the verbs to the command."""
    app.command("run")(run)
    app.command("ingest")(ingest)
    app.command("score")(score)
    app.command("plan")(plan)
    app.command("render")(render)


def run(
    city: options.SettingsFile,
    data: options.DataDir = None,
    out: options.OutDir = None,
    as_of: options.AsOf = None,
    quarter: options.Quarter = None,
    fail_on_review: options.FailOnReview = False,
) -> None:
    """Do everything: read the files, rate the trees, plan the work, write maps and lists.

    Example: soundwood run config/larkmere.toml --quarter 2027Q1
    """
    settings = load(city, data_dir=data, as_of=options.day(as_of), quarter=quarter)
    _execute(settings, tuple(runs.ORDER), out, None, fail_on_review=fail_on_review)


def ingest(
    city: options.SettingsFile,
    data: options.DataDir = None,
    out: options.OutDir = None,
    as_of: options.AsOf = None,
) -> None:
    """Only read and join the files; writes the ingest tables and quarantine.csv stays with render.

    Example: soundwood ingest config/larkmere.toml --out outputs/first-look
    """
    settings = load(city, data_dir=data, as_of=options.day(as_of))
    _execute(settings, ("ingest",), out, None)


def score(
    city: options.SettingsFile,
    run: options.BaseRun = None,
    data: options.DataDir = None,
    out: options.OutDir = None,
    as_of: options.AsOf = None,
) -> None:
    """Rate the trees of an earlier run again, into a new run.

    Example: soundwood score config/larkmere.toml --run outputs/larkmere-2026-11-15
    """
    settings = load(city, data_dir=data, as_of=options.day(as_of))
    _execute(settings, ("scoring",), out, run)


def plan(
    city: options.SettingsFile,
    run: options.BaseRun = None,
    data: options.DataDir = None,
    out: options.OutDir = None,
    as_of: options.AsOf = None,
    quarter: options.Quarter = None,
) -> None:
    """Plan the work of an earlier run again, into a new run, and say how the plans differ.

    Example: soundwood plan config/larkmere.toml --run outputs/larkmere-2026-11-15 --out outputs/b
    """
    settings = load(city, data_dir=data, as_of=options.day(as_of), quarter=quarter)
    folder = _execute(settings, ("planning", "render"), out, run)
    if run is not None:
        plans.told(run, folder)


def render(
    city: options.SettingsFile,
    run: options.BaseRun = None,
    data: options.DataDir = None,
    out: options.OutDir = None,
    as_of: options.AsOf = None,
    quarter: options.Quarter = None,
) -> None:
    """Write the maps and lists of an earlier run again, into a new run.

    Example: soundwood render config/larkmere.toml --run outputs/larkmere-2026-11-15
    """
    settings = load(city, data_dir=data, as_of=options.day(as_of), quarter=quarter)
    _execute(settings, ("render",), out, run)


def _execute(
    settings: RunSettings,
    stages: tuple[str, ...],
    out: Path | None,
    base: Path | None,
    *,
    fail_on_review: bool = False,
) -> Path:
    with shown(1 + sum(_STEPS[name] for name in stages)) as teller:
        done = runs.execute(settings, stages=stages, out=out, base=base, teller=teller)
    urgent = tell.summary(done.folder)
    if done.stopped is not None:
        raise done.stopped
    if fail_on_review and urgent:
        raise typer.Exit(_EXIT_REVIEW)
    return done.folder
