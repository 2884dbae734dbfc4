"""The verb identify: which fungus it may be, how sure, and what to look at next."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import pyarrow as pa
import pyarrow.csv
import typer

from pipeline.cli import answers
from pipeline.cli.reading import (
    COLUMNS,
    Sighted,
    distinct_rows,
    ids_of,
    read_file,
    read_table,
)
from pipeline.cli.spoken import Asked, what_to_look_at, wrapped
from pipeline.errors import InputError
from pipeline.published.table import Library
from pipeline.render.files import write_bytes
from pipeline.scoring.assembly.identified import identify as run_key
from pipeline.scoring.assembly.seen import distinct
from pipeline.scoring.parameters.identification import (
    IdentificationParameters,
    identification_parameters,
)

_Word = Annotated[str | None, typer.Option(metavar="WORD", show_default=False)]


def register(app: typer.Typer) -> None:
    """Add the verb to the command."""
    app.command("identify")(identify)


def identify(  # noqa: PLR0913, PLR0917 - each option is one thing to look at
    form: _Word = None,
    upper_colour: _Word = None,
    under_colour: _Word = None,
    upper_texture: _Word = None,
    under_surface: _Word = None,
    flesh: _Word = None,
    arrangement: _Word = None,
    stalk: _Word = None,
    bruising: _Word = None,
    attachment: _Word = None,
    position: _Word = None,
    host: _Word = None,
    host_certain: _Word = None,
    month: _Word = None,
    region: _Word = None,
    layers: _Word = None,
    name: _Word = None,
    name_by: _Word = None,
    name_certainty: _Word = None,
    source: Annotated[
        Path | None, typer.Option("--from", metavar="FILE", help="Sightings, one a row.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE.csv", help="Where to write the answers.")
    ] = None,
) -> None:
    """Say which fungus it may be, how sure that is, what it means and what to look at next.

    Give what was seen, in the words that `soundwood check --columns` lists under sightings; several
    words for one thing are joined with |. What nobody looked at is left out. Nothing here says that
    a tree is sound: it says what the fungus tells of the wood.

    Example: soundwood identify --form shelf --under-colour white --host Quercus --position butt
    """
    told = {column: value for column, value in locals().items() if column in COLUMNS}
    library = Library()
    parameters = identification_parameters(library)
    sure = library.table("review_limits").number("value", quantity="name_sure")
    if source is not None:
        _need_alone(told)
        table = read_file(source)
    else:
        _need_something(told, parameters)
        table = pa.table({column: pa.array([value], pa.string()) for column, value in told.items()})
    # Many records of a file say the same: each is read and identified once.
    once, back = distinct_rows(table)
    sighted = read_table(once, library, parameters)
    if source is None:
        _need_sense(sighted)
    few, first, place = distinct(sighted.evidence, sighted.odd)
    found = run_key(few, sighted.odd[first], parameters, sure=sure).rows(place)
    if out is not None:
        _write(answers.table(sighted, found, parameters, ids_of(table), back), out)
        return
    shown = replace(sighted.rows(back[: answers.MOST]), sighting_id=ids_of(table)[: answers.MOST])
    asked = Asked(parameters, library)
    answers.tell(shown, found.rows(back[: answers.MOST]), asked, of=table.num_rows)


def _write(table: pa.Table, out: Path) -> None:
    sink = pa.BufferOutputStream()
    pyarrow.csv.write_csv(
        table, sink, pyarrow.csv.WriteOptions(quoting_style="needed", delimiter=",")
    )
    write_bytes(out, sink.getvalue().to_pybytes())
    typer.echo(f"Written: {out} ({table.num_rows:,} sightings)")


def _need_alone(told: dict[str, str | None]) -> None:
    """Refuse options beside a file.

    Raises
    ------
    InputError
        If both were given.
    """
    given = [column for column, value in told.items() if value is not None]
    if given:
        raise InputError(
            where="soundwood identify",
            found=f"--from together with {', '.join(given)}",
            expected="a file, or what was seen on one fungus",
            remedy="Put what was seen into the file, or leave --from away.",
        )


def _need_something(told: dict[str, str | None], parameters: IdentificationParameters) -> None:
    """Refuse to identify nothing, and say what there is to look at.

    Raises
    ------
    InputError
        If no option says what was seen.
    """
    if any((value or "").strip() for value in told.values()):
        return
    for line in what_to_look_at(parameters):
        typer.echo(wrapped(line))
    raise InputError(
        where="soundwood identify",
        found="nothing that was seen",
        expected="at least one of --form, --under-colour, --host, --name, or --from FILE",
        remedy="Begin with: soundwood identify --form shelf --position butt",
    )


def _need_sense(sighted: Sighted) -> None:
    """Refuse a single sighting of which nothing was understood.

    Raises
    ------
    InputError
        If no word is known and there is no name.
    """
    if sighted.evidence.seen.any() or (sighted.evidence.name >= 0).any():
        return
    raise InputError(
        where="soundwood identify",
        found=sighted.unread[0].replace("|", ", ") or "no character of a fungus",
        expected="words of the key, such as --form shelf, --under-colour white, --host Quercus",
        remedy="Call soundwood identify without anything: it lists what to look at and the words.",
    )
