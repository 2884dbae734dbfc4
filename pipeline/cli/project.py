"""The verb check: settings and inputs are judged, nothing is written."""

import tempfile
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli import column_account, options, tell
from pipeline.errors import SettingsError
from pipeline.ingest import evidence_map
from pipeline.ingest import stage as ingest_stage
from pipeline.ingest.siting import NoPlaceError
from pipeline.progress import shown
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.tables.catalogue import TABLES
from pipeline.tables.inputs import INPUTS, InputKind
from pipeline.tables.store import RunStore

_EXIT_REVIEW = 3
_STEPS = 7
_SHOWN = 20
# Inputs that a city fills in by hand or exports from its own system, told column by column.
_WITH_COLUMNS = ("trees", "earlier_trees", "sightings", "inspections", "decisions", "work_done")


def register(app: typer.Typer) -> None:
    """Add the verb to the command."""
    app.command("check")(check)


def check(
    city: Annotated[
        Path | None, typer.Argument(metavar="CITY.toml", help="The city's settings.")
    ] = None,
    data: options.DataDir = None,
    as_of: options.AsOf = None,
    columns: Annotated[
        bool, typer.Option("--columns", help="Print the canonical columns of every input.")
    ] = False,
    fail_on_review: options.FailOnReview = False,
) -> None:
    """Judge settings and inputs; write nothing.

    Says for each file how many rows would be accepted and set aside, and lists each kind of fault
    with where, what was found and what to do.

    Example: soundwood check config/larkmere.toml
    """  # noqa: DOC501 - the text is the verb's help; what it raises, the command line tells
    if columns:
        for kind in INPUTS.values():
            _print_columns(kind)
        typer.echo(f"\n{str(evidence_map.__doc__).strip()}")
        return
    if city is None:
        raise SettingsError(
            where="soundwood check",
            found="no settings file",
            expected="CITY.toml, or --columns",
            remedy="Name the settings to check, as: soundwood check config/larkmere.toml",
        )
    settings = load(city, data_dir=data, as_of=options.day(as_of))
    with tempfile.TemporaryDirectory(prefix="soundwood-check-") as folder:
        store = RunStore(Path(folder))
        stopped = None
        with shown(_STEPS) as teller:
            try:
                ingest_stage.run(settings, store, Library(overrides=settings.overrides_dir), teller)
            except NoPlaceError as fault:
                stopped = fault
        aside = _judge(store, stopped=stopped is not None)
    if stopped is not None:
        raise stopped
    if fail_on_review and aside:
        raise typer.Exit(_EXIT_REVIEW)


def _print_columns(kind: InputKind) -> None:
    typer.echo(f"\n{kind.name}: {kind.meaning}\n  must carry {kind.needs}")
    for column in kind.columns:
        unit = f" [{column.unit}]" if column.unit else ""
        words = f" ({', '.join(column.allowed)})" if column.allowed else ""
        typer.echo(f"  {column.name:<24}{column.kind}{unit}: {column.meaning}{words}")


def _judge(store: RunStore, *, stopped: bool) -> int:
    sources = store.read(TABLES["ingest.sources"]).to_pylist()
    kinds = tuple(dict.fromkeys(row["input"] for row in sources if row["input"] in _WITH_COLUMNS))
    for row in sources:
        # where every row is set aside for one reason, that is said once, at the end
        note = f"; {row['note']}" if row["note"] and not stopped else ""
        crs = f", {row['crs_found']}" if row["crs_found"] else ""
        typer.echo(
            f"{row['input']} {row['file']} ({row['format']}{crs}): {row['rows_in']:,} rows in, "
            f"{row['rows_accepted']:,} accepted, {row['rows_set_aside']:,} set aside{note}"
        )
    tell.changes(store)
    aside = int(store.read(TABLES["ingest.quarantine"], columns=("quarantine_key",)).num_rows)
    column_account.tell(store, kinds)
    if stopped:
        column_account.tell_faults(store, kinds)
    else:
        _list(store, "quarantine", "set aside")
        _list(store, "findings", "accepted with a fault")
    typer.echo("Nothing was written.")
    return aside


def _list(store: RunStore, table: str, title: str) -> None:
    groups = store.query(
        f"""
        select s.file, f.code, count(*) as n, arg_min(f.reason, f.row) as reason,
               arg_min(f.remedy, f.row) as remedy, min(coalesce(f.line, f.row)) as first
        from ingest.{table} f join ingest.sources s using (source_key)
        group by s.file, f.code order by n desc, s.file, f.code
        """
    ).to_pylist()
    if not groups:
        return
    typer.echo(f"\n{title}:")
    for row in groups[:_SHOWN]:
        typer.echo(
            f"  {row['n']:>7,} x {row['code']} in {row['file']}, first at line {row['first']}: "
            f"{row['reason'].rstrip('.')}. {row['remedy']}"
        )
    if len(groups) > _SHOWN:
        typer.echo(f"  ... and {len(groups) - _SHOWN} more kinds")
