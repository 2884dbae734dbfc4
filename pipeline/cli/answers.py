"""Identifications as a table, and as words for one who stands before the tree."""

import numpy as np
import pyarrow as pa
import typer

from pipeline.cli.reading import Sighted
from pipeline.cli.spoken import Asked, said, wrapped
from pipeline.render.files import inert
from pipeline.scoring.assembly.identified import SHOWN, Identified
from pipeline.scoring.identification.meaning import ROTS, Decay
from pipeline.scoring.parameters.identification import IdentificationParameters

_DIGITS, _MOST = 4, 20


def table(sighted: Sighted, found: Identified, parameters: IdentificationParameters) -> pa.Table:
    """The columns of the answer file, one row a sighting, in the order of the file."""
    ids = np.array(parameters.key.taxon_id)
    looks = np.array([*parameters.looks.character, ""])
    columns: dict[str, object] = {
        "sighting_id": [inert(text) for text in sighted.sighting_id],
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
    return pa.table(columns)


def tell(sighted: Sighted, found: Identified, asked: Asked) -> None:
    """Print each identification: a ranked list, what decided, what it means, what to do next."""
    count = len(sighted.sighting_id)
    for at in range(min(count, _MOST)):
        if count > 1:
            typer.echo(f"--- {sighted.sighting_id[at]}")
        for line in said(at, sighted, found, asked):
            typer.echo(wrapped(line))
        typer.echo("")
    if count > _MOST:
        typer.echo(f"... and {count - _MOST:,} more: write them with --out")
    typer.echo("A screening aid: it says what a fungus tells of the wood, never that a tree holds.")
