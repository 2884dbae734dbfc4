"""What a fruiting body alone says of failure: never more than probable, never imminent.

It speaks by the action code of the taxon, by how it is attached, and by whether it sits on a part
that the taxon rots. A name alone condemns no tree: the extent of the decay must be measured.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.scoring.failure.words import Findings
from pipeline.scoring.identification.catalogue import Catalogue
from pipeline.scoring.identification.names import TaxonPosterior
from pipeline.terms import FailureWord, Part
from pipeline.units import Flags, Ints, Words

ATTACHMENTS = ("attached", "soil_over_root", "unknown")
# It sits on a part that the taxon rots; it sits elsewhere; nobody said where it sits.
MATCHES = ("on", "off", "unplaced")
CODES = ("R0", "R1", "R2", "R3", "R4", "R5", "unnamed")
UNNAMED = len(CODES) - 1


@dataclass(frozen=True)
class FungusRules:
    """From config/published/fungus_failure.csv, shape (codes, attachments, matches) = (7, 3, 3).

    Parameters
    ----------
    word, points : the answer; 0 where the table has no such row, which says nothing.
    row : row of the table, -1 where there is none.
    rule_id : of each row of the table.
    advice : of each row of the table: an action to be advised, '' if none.
    """

    word: Words
    points: Words
    row: Ints
    rule_id: tuple[str, ...]
    advice: tuple[str, ...]

    def __post_init__(self) -> None:
        """Refuse a table that lets a fungus alone condemn a tree.

        Raises
        ------
        PublishedValueError
            If a word is imminent, or a code below R4 says more than possible.
        """
        light = self.word[[*range(4), UNNAMED]]
        if (self.word > FailureWord.PROBABLE).any() or (light > FailureWord.POSSIBLE).any():
            raise PublishedValueError(
                where="published table fungus_failure",
                found="a word that a name alone must not give",
                expected="at most probable for R4 and R5, at most possible for the rest",
                remedy="Mend the table or the override.",
            )


@dataclass(frozen=True)
class SightedBodies:
    """Fruiting bodies joined to trees, all fields with first axis (sightings,).

    Parameters
    ----------
    tree : tree key, -1 where it is joined to none or is no decay evidence: such say nothing.
    attachment : index into ATTACHMENTS; -1 for 'free', which says nothing. A body whose only
        position is 'soil_over_root' and whose attachment nobody told belongs to 'soil_over_root'.
    sits_on : parts that its position means, by config/published/position_parts.csv, several
        positions joined, the row 'untold' where none counts, shape (sightings, 4).
    placed : a position that counts is told, shape (sightings,).
    """

    tree: Ints
    attachment: Ints
    sits_on: Flags
    placed: Flags


def fungus_findings(
    bodies: SightedBodies, posterior: TaxonPosterior, catalogue: Catalogue, rules: FungusRules
) -> Findings:
    """What every taxon that is heard says of every part it touches, by sighting, taxon and part.

    A part is touched if the taxon rots it, or if the body sits on it: where it sits on a part that
    the taxon is not known to rot it speaks there as an unnamed body does. A look-alike that rots no
    wood says nothing, but the chance that the name is wrong may: 'unlisted' speaks as unnamed.
    """
    at = np.flatnonzero(
        posterior.heard
        & (bodies.tree[posterior.sighting] >= 0)
        & (bodies.attachment[posterior.sighting] >= 0)
    )
    sighting, taxon = posterior.sighting[at], posterior.taxon[at]
    named = (taxon != catalogue.unlisted)[:, None]
    attacked = catalogue.attacks[taxon]
    attachment = bodies.attachment[sighting][:, None]
    # Fruiting on soil over roots is a place of its own, whatever else is told.
    over_root = attachment == ATTACHMENTS.index("soil_over_root")
    on_roots = np.arange(attacked.shape[1]) == Part.ROOTS
    sits = np.where(over_root, on_roots, bodies.sits_on[sighting])
    placed = bodies.placed[sighting][:, None] | over_root
    code = np.where(named & attacked, catalogue.action_code[taxon][:, None], UNNAMED)
    harmless = named & ~attacked.any(axis=1, keepdims=True)
    match = np.where(placed, np.where(sits, 0, 1), MATCHES.index("unplaced"))
    row = rules.row[code, attachment, match]
    speaks: Flags = np.asarray(((named & attacked) | sits) & ~harmless & (row >= 0))
    which, part = np.nonzero(speaks)
    answer = (code[which, part], attachment[which, 0], match[which, part])
    return Findings(
        evidence=sighting[which],
        tree=bodies.tree[sighting[which]],
        part=part.astype(np.int8),
        rule=row[which, part],
        word=rules.word[answer],
        points=rules.points[answer],
        act_at_once=np.zeros(which.size, dtype=np.bool_),
    )
