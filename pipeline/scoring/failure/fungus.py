"""What a fruiting body alone says of failure: never more than probable, never imminent.

It speaks by the action code that is probable enough, by how it is attached, and by whether it sits
on the part that is rotted. A fungus alone condemns no tree: the extent of the decay must be
measured.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.scoring.failure.words import Findings
from pipeline.scoring.identification.heard import Heard
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


def fungus_findings(bodies: SightedBodies, loud: Heard, rules: FungusRules) -> Findings:
    """What is heard of every part that a body touches, by body and part.

    A part is touched if a taxon that is heard rots it, or if the body sits on it: where it may be
    one that is not known to rot that part, or one that nobody knows, it speaks there as an unnamed
    body does. Look-alikes that rot no wood say nothing.

    Parameters
    ----------
    loud : what is heard of each, first axis bodies.
    """
    at = np.flatnonzero((bodies.tree >= 0) & (bodies.attachment >= 0))
    attachment = bodies.attachment[at][:, None]
    # Fruiting on soil over roots is a place of its own, whatever else is told.
    over_root = attachment == ATTACHMENTS.index("soil_over_root")
    on_roots = np.arange(bodies.sits_on.shape[1]) == Part.ROOTS
    sits = np.where(over_root, on_roots, bodies.sits_on[at])
    placed = bodies.placed[at][:, None] | over_root
    match = np.where(placed, np.where(sits, 0, 1), MATCHES.index("unplaced"))
    heard = loud.rows(at)
    said = [
        _said(bodies, at, np.where(speaks, code, -1), attachment[:, 0], match, rules)
        for speaks, code in (
            (heard.code > 0, heard.code.astype(np.int64)),
            (heard.unnamed & sits, np.full(sits.shape, UNNAMED, np.int64)),
        )
    ]
    return Findings(
        *(np.concatenate([getattr(one, f) for one in said]) for f in Findings.__dataclass_fields__)
    )


def _said(
    bodies: SightedBodies, at: Ints, code: Ints, attachment: Ints, match: Ints, rules: FungusRules
) -> Findings:
    """Answers of the table for the bodies `at`; a code of -1 does not speak."""
    row = rules.row[np.maximum(code, 0), attachment[:, None], match]
    which, part = np.nonzero((code >= 0) & (row >= 0))
    answer = (code[which, part], attachment[which], match[which, part])
    return Findings(
        evidence=at[which],
        tree=bodies.tree[at[which]],
        part=part.astype(np.int8),
        rule=row[which, part],
        word=rules.word[answer],
        points=rules.points[answer],
        act_at_once=np.zeros(which.size, dtype=np.bool_),
    )
