"""What the command says at its end: where to look, and what needs a person now."""

import json
from pathlib import Path

import typer

from pipeline.published.sentences import FILE, spoken
from pipeline.render.plausibility import warnings_of
from pipeline.render.wording import Wording
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore

_SHOWN = 10
_CAUTION = "A screening aid: local codes, the utility's rules and licensed practice come first."
_CHANGES = {
    "vanished": "vanished", "new": "new", "species_changed": "of another species",
    "species_respelt": "named in other words", "shrank": "thinner than before", "grew": "grown",
    "moved": "moved",
}  # fmt: skip
_PAGES = (
    ("index.html", "start here"),
    ("forester_map.html", "the forester's map and list"),
    ("council_map.html", "the council's map"),
    ("queue.xlsx", "the work queue"),
    ("crews", "the crews' day lists"),
    ("review.csv", "what an arborist should look at"),
    ("quarantine.csv", "rows set aside, to mend and feed back"),
    ("report.html", "accounts, assumptions and sources"),
)


def summary(folder: Path) -> int:
    """Print the account, where to look and what needs a person now; return how many do."""
    store = RunStore(folder)
    typer.echo(f"Written: {folder}")
    _account(store)
    for name, meaning in _PAGES:
        if (folder / name).exists():
            typer.echo(f"  {folder / name}  - {meaning}")
    _assessed(store)
    own = folder / "inputs" / FILE
    urgent = _urgent(store, Wording(spoken(own if own.is_file() else None)))
    for warning in warnings_of(folder):
        typer.echo(f"WARNING: this run is not believable as it stands. {warning}")
    typer.echo(_CAUTION)
    return urgent


def _assessed(store: RunStore) -> None:
    """Say it where no tree has a rating: an empty list of work would look like good news."""
    table = TABLES["scoring.tree_ratings"]
    if not store.has(table):
        return
    if not (store.read(table, columns=("rating",))["rating"].to_numpy() > 0).any():
        typer.echo("No tree was assessed: that is not low.")


def _account(store: RunStore) -> None:
    table = TABLES["ingest.sources"]
    if not store.has(table):
        return
    columns = ("input", "rows_in", "rows_accepted", "rows_set_aside")
    rows = store.read(table, columns=columns).to_pylist()
    for kind in dict.fromkeys(row["input"] for row in rows):
        of_kind = [row for row in rows if row["input"] == kind]
        total, accepted, aside = (sum(row[name] for row in of_kind) for name in columns[1:])
        typer.echo(f"  {kind}: {total:,} rows in, {accepted:,} accepted, {aside:,} set aside")
    changes(store)


def changes(store: RunStore) -> None:
    """Print what differs from each earlier vintage of the inventory, in one line each."""
    if not store.has(TABLES["ingest.history"]):
        return
    rows = store.query(
        "select surveyed_on, change, count(*) as n from ingest.history group by all order by 1, 2"
    ).to_pylist()
    for surveyed_on in dict.fromkeys(row["surveyed_on"] for row in rows):
        told = {row["change"]: row["n"] for row in rows if row["surveyed_on"] == surveyed_on}
        ordered = [f"{told[name]:,} {word}" for name, word in _CHANGES.items() if name in told]
        typer.echo(f"  since the inventory of {surveyed_on.isoformat()}: {', '.join(ordered)}")


def _urgent(store: RunStore, said: Wording) -> int:
    table = TABLES["scoring.reviews"]
    if not store.has(table):
        return 0
    reviews = [row for row in store.read(table).to_pylist() if row["urgency"] == 0]
    if not reviews:
        typer.echo("Nothing that the program can see needs a person today.")
        return 0
    typer.echo(f"Needs a person now ({len(reviews)}):")
    for row in reviews[:_SHOWN]:
        typer.echo(f"  - {said.review(row['code'], json.loads(row['detail']))}")
    if len(reviews) > _SHOWN:
        typer.echo(f"  ... and {len(reviews) - _SHOWN} more, in review.csv")
    return len(reviews)
