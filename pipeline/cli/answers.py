"""Identifications as a table, and as words for one who stands before the tree."""

import numpy as np
import pyarrow as pa
import typer

from pipeline.cli.reading import Sighted
from pipeline.render.files import inert
from pipeline.scoring.assembly.identified import SHOWN, Identified, deciding
from pipeline.scoring.identification.meaning import PHOTOGRAPHS, ROTS, Decay
from pipeline.scoring.parameters.identification import IdentificationParameters
from pipeline.terms import Part, word

_DIGITS, _BAR, _MOST = 4, 30, 20


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


def tell(sighted: Sighted, found: Identified, parameters: IdentificationParameters) -> None:
    """Print each identification: a ranked list, what decided, what it means, what to do next."""
    for at in range(min(len(sighted.sighting_id), _MOST)):
        _tell_one(at, sighted, found, parameters)
    if len(sighted.sighting_id) > _MOST:
        typer.echo(f"... and {len(sighted.sighting_id) - _MOST:,} more: write them with --out")
    typer.echo("A screening aid: it says what a fungus tells of the wood, never that a tree holds.")


def _tell_one(
    at: int, sighted: Sighted, found: Identified, parameters: IdentificationParameters
) -> None:
    typer.echo(f"\nSighting {sighted.sighting_id[at]}")
    for taxon, share in zip(found.taxon[at], found.probability[at], strict=True):
        bar = "#" * round(_BAR * float(share))
        typer.echo(f"  {share:5.0%} {bar:<{_BAR}} {parameters.names[taxon]}")
    _tell_why(at, sighted, found, parameters)
    parts = [f"{word(part)} {found.attacks[at, part]:.0%}" for part in Part]
    typer.echo(f"  Rot: {ROTS[found.rot[at]]} ({found.rot_probability[at]:.0%}); "
               f"attacks {', '.join(parts)}; action code R{found.code[at]}")  # fmt: skip
    typer.echo(f"  Evidence of decay in this tree: {Decay(int(found.decay[at])).name.lower()}")
    if not np.isnan(sighted.layers[at]):
        typer.echo(f"  The infection is at least {sighted.layers[at]:.0f} years old (its layers).")
    if found.look[at] >= 0:
        typer.echo(f"  Look next: {parameters.looks.look[found.look[at]]}")
    if found.serious[at] >= parameters.limits.serious_share:
        typer.echo("  A serious fungus is likely enough: nobody climbs before it is assessed.")
    if found.expert[at]:
        typer.echo(f"  Send photographs to somebody who knows: {', '.join(PHOTOGRAPHS)}.")
    if sighted.unread[at]:
        typer.echo(f"  Not understood, not used: {sighted.unread[at]!r}")


def _tell_why(
    at: int, sighted: Sighted, found: Identified, parameters: IdentificationParameters
) -> None:
    first, second = found.taxon[at, 0], found.taxon[at, 1]
    speaks = deciding(sighted.evidence.rows(np.array([at])), found.taxon[[at]], parameters.key)[0]
    said = parameters.key.vocabulary.characters
    order = [n for n in np.argsort(-np.abs(speaks))[:SHOWN] if abs(speaks[n]) > 0]
    for number in order:
        side = parameters.names[first if speaks[number] > 0 else second]
        typer.echo(f"  {said[number].replace('_', ' ')} speaks for {side}")
    ids = parameters.key.taxon_id[first], parameters.key.taxon_id[second]
    apart = parameters.tell_apart.get(ids) or parameters.tell_apart.get(ids[::-1])
    if apart:
        typer.echo(f"  Told apart: {apart}")
