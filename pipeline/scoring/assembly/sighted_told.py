"""What the thread of a tree tells of the fungi that were seen on it, or read in the inventory."""

from collections.abc import Callable

import numpy as np

from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.columns import day_text, texts, whole
from pipeline.scoring.assembly.which_tree import MATCHES
from pipeline.scoring.explanation import Facts
from pipeline.scoring.parameters import Parameters
from pipeline.units import Ints

_REPORTED = "reported"


def tell_sightings(
    facts: Facts, sightings: Sightings, place: Callable[[Ints], Ints], parameters: Parameters
) -> None:
    """Each sighting of trees with a fact set; what a column or remark says with its words.

    Parameters
    ----------
    place : fact set of tree keys, -1 for others.
    """
    table = sightings.table
    names, told = texts(table, "name_text"), texts(table, "taxon_id")
    position, attachment = texts(table, "position"), texts(table, "attachment")
    origin, quoted = texts(table, "origin"), texts(table, "quoted")
    count = whole(table, "count")
    accepted = dict(
        zip(parameters.failure.catalogue.taxon_id, parameters.failure.names, strict=True)
    )
    known = np.flatnonzero(sightings.tree >= 0)
    for row, at in zip(known.tolist(), place(sightings.tree[known]).tolist(), strict=True):
        if at < 0:
            continue
        seen = {
            "name": accepted.get(told[row] or "") or names[row],
            "seen_on": day_text(sightings.seen_on[row]),
            "position": position[row],
        }
        if (origin[row] or _REPORTED) != _REPORTED:
            facts.add(at, "seen_told", {**seen, "origin": origin[row], "quoted": quoted[row]})
            continue
        facts.add(at, "seen_sighting", {
            **seen,
            "count": int(count[row]) if count[row] >= 0 else None,
            "match": MATCHES[sightings.match[row]],
            "share": float(sightings.share[row]) if sightings.share[row] < 1 else None,
            "attachment": attachment[row],
        })  # fmt: skip
