"""Parts that somebody measured since the fungus was seen, and what the fungus may then still say.

The name of a fungus speaks of decay whose extent nobody knows. Once a reading that can see its rot
has measured the part, the reading speaks of the extent, through the wood that is left; that there
is decay remains.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.assembly.bodies import FungusParts
from pipeline.scoring.assembly.columns import place_of
from pipeline.scoring.assembly.looks import Looks
from pipeline.tables import inputs
from pipeline.terms import Part, RotType
from pipeline.units import Flags, Ints, Words

_PARTS = len(inputs.PARTS)
# A mallet or a drill under-reads soft rot and early brown rot: only these kinds see it.
_SEES_ALL_ROT = ("tomogram", "pull_test")
# One column: what is read at one of the two is carried to the other.
_COLUMN = ((Part.BUTT, Part.STEM), (Part.STEM, Part.BUTT))


@dataclass(frozen=True)
class Fungal:
    """The leading fungus of places (tree x 4 + part), each shape (places,).

    Parameters
    ----------
    taxon : -1 without one; rot : of terms.RotType; seen_on : day, NO_DAY without one.
    """

    taxon: Ints
    rot: Words
    seen_on: Ints


def leading(place: Ints, fungi: FungusParts) -> Fungal:
    """The leading fungus of each place."""
    at = place_of(place, fungi.tree * _PARTS + fungi.part)
    return Fungal(
        taxon=np.append(fungi.taxon, -1)[at],
        rot=np.append(fungi.rot, np.int8(RotType.NONE))[at].astype(np.int8),
        seen_on=np.append(fungi.seen_on, -1)[at],
    )


def measured_since(place: Ints, fungal: Fungal, looks: Looks, dug_on: Ints) -> Flags:
    """Places that were measured since their fungus was seen; shape (places,).

    A reading counts for its own part, and between butt and stem for the other one where one fungus
    rots both. Stem readings say nothing of roots: these are judged by a pull test, or by having
    been laid bare.

    Parameters
    ----------
    place : tree key x 4 + part, rising.
    dug_on : last day on which the root collar of each tree was laid bare, NO_DAY if never.
    """
    at = place_of(looks.reading_tree * _PARTS + looks.reading_part, place)
    good = np.flatnonzero(at >= 0)
    kinds = [inputs.READINGS.index(name) for name in _SEES_ALL_ROT]
    under_read = np.isin(fungal.rot[at[good]], (RotType.BROWN, RotType.SOFT))
    sees = ~under_read | np.isin(looks.reading_kind[good], kinds)
    sees &= looks.reading_day[good] >= fungal.seen_on[at[good]]
    measured = np.zeros(len(place), np.bool_)
    measured[at[good[sees]]] = True
    roots = place % _PARTS == Part.ROOTS
    dug = dug_on[place // _PARTS] if len(place) else dug_on[:0]
    measured |= roots & (dug >= 0) & (dug >= fungal.seen_on)
    return measured | _carried(place, fungal, measured)


def _carried(place: Ints, fungal: Fungal, measured: Flags) -> Flags:
    """Butts and stems whose other one was measured, with one fungus and no later body."""
    found = np.zeros(len(place), np.bool_)
    for near, other in _COLUMN:
        here = np.flatnonzero((place % _PARTS == near) & measured & (fungal.taxon >= 0))
        to = place_of(place[here] + int(other) - int(near), place)
        here, to = here[to >= 0], to[to >= 0]
        alike = fungal.taxon[here] == fungal.taxon[to]
        alike &= fungal.seen_on[to] <= fungal.seen_on[here]
        found[to[alike]] = True
    return found


def most_that_is_told(value: Words, of_fungus: Flags, measured: Flags, at_most: int) -> Words:
    """Words or points of findings, those of fungi on measured parts held down; same shape.

    Parameters
    ----------
    of_fungus, measured : of each finding.
    """
    held = np.minimum(value, np.int8(at_most))
    return np.where(of_fungus & measured, held, value).astype(np.int8)
