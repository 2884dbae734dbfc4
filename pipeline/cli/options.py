"""Options that several verbs share, declared once."""

from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

SettingsFile = Annotated[
    Path, typer.Argument(metavar="CITY.toml", help="The city's settings, as config/larkmere.toml.")
]
DataDir = Annotated[
    Path | None,
    typer.Option("--data", metavar="DIR", help="Folder of the input files; stands over the file."),
]
OutDir = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="New run folder; default: a free name in outputs/."),
]
BaseRun = Annotated[
    Path | None,
    typer.Option("--run", metavar="DIR", help="Earlier run whose tables are shared."),
]
Quarter = Annotated[
    str | None,
    typer.Option("--quarter", metavar="2027Q1", help="First quarter planned; default: the next."),
]
AsOf = Annotated[
    datetime | None,
    typer.Option("--as-of", formats=["%Y-%m-%d"], help="Day of the run; default: today."),
]
FailOnReview = Annotated[
    bool,
    typer.Option("--fail-on-review", help="Exit 3 where something needs a person now."),
]


def day(value: datetime | None) -> date | None:
    """The calendar day of an option."""
    return value.date() if value is not None else None
