"""Identifications as a table, and as words for one who stands before the tree."""

import numpy as np
import pyarrow as pa
import typer

from pipeline.cli.reading import Sighted
from pipeline.cli.spoken import Asked, printable, said, wrapped
from pipeline.render.files import inert
from pipeline.scoring.assembly.identified import SHOWN, Identified
from pipeline.scoring.identification.meaning import ROTS, Decay
from pipeline.scoring.parameters.identification import IdentificationParameters
from pipeline.units import Ints

MOST = 20
_DIGITS = 4


def table(
    sighted: Sighted,
    found: Identified,
    parameters: IdentificationParameters,
    sighting_id: tuple[str, ...],
    back: Ints,
) -> pa.Table:
    """The columns of the answer file, one row a sighting, in the order of the file.

    Parameters
    ----------
    sighted, found : each different record once.
    sighting_id, back : of each sighting its id and its place among the records.
    """
    ids = np.array(parameters.key.taxon_id)
    looks = np.array([*parameters.looks.character, ""])
    columns: dict[str, object] = {
        "sighting_id": [inert(text) for text in sighting_id],
        "decay_evidence": [Decay(at).name.lower() for at in found.decay.tolist()],
    }
    for place in range(SHOWN):
        columns[f"taxon_{place + 1}"] = ids[found.taxon[:, place]]
        columns[f"probability_{place + 1}"] = found.probability[:, place].round(_DIGITS)
    columns |= {
        "probability_unlisted": found.unlisted.round(_DIGITS),
        "rot_type": np.array(ROTS)[found.rot],
        "probability_rot": found.rot_probability.round(_DIGITS),
        "significance": found.significance.round(1),
        "needs_expert": np.where(found.expert, "yes", "no"),
        "next_look": looks[found.look],
        "unread_words": [inert(text) for text in sighted.unread],
    }
    return pa.table(
        {
            name: values if name == "sighting_id" else pa.array(values).take(pa.array(back))
            for name, values in columns.items()
        }
    )


def tell(sighted: Sighted, found: Identified, asked: Asked, *, of: int) -> None:
    """Print each identification: a ranked list, what decided, what it means, what to do next.

    Parameters
    ----------
    of : number of all sightings, of which these are the first.
    """
    for at, sighting_id in enumerate(sighted.sighting_id):
        if of > 1:
            typer.echo(f"--- {printable(sighting_id)}")
        for line in said(at, sighted, found, asked):
            typer.echo(wrapped(line))
        typer.echo("")
    if of > MOST:
        typer.echo(f"... and {of - MOST:,} more: write them with --out")
    typer.echo("A screening aid: it says what a fungus tells of the wood, never that a tree holds.")
