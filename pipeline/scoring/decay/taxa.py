"""From which fungus it may be to which grids count, and with what weight, for each part of a tree.

    where the body sits, if the taxon rots that part      class grid with weight 1
        on soil over the roots, for the roots             class grid with `over_soil`
    another part in the taxon's failure modes             class grid with `elsewhere`
    any other part                                        none: the prior stays
    significance 0, no decay fungus, free in the soil     none

What the weights leave to 1 is the prior's. A body without a name, or of a taxon that the catalogue
does not list, counts as the class of unnamed bodies where it sits and nowhere else.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.decay.instruments import ROTS
from pipeline.terms import Part
from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True)
class TaxonDecay:
    """What the taxa do to wood, in catalogue order with 'unlisted' last.

    Parameters
    ----------
    kind : of `spread.class_grids`, -1 for none, shape (taxa,).
    root_kind : of `roots.root_grids`, -1 for none, shape (taxa,).
    rot : place in instruments.ROTS; none and unknown stand with white, shape (taxa,).
    attacks, fails : parts that the taxon rots, and parts in its failure modes, shape (taxa, 4).
    elsewhere : weight of the class grid for a part where the body does not sit.
    over_soil : weight for roots under a body on soil.
    """

    kind: Ints
    root_kind: Ints
    rot: Ints
    attacks: Flags
    fails: Flags
    elsewhere: float
    over_soil: float


@dataclass(frozen=True)
class Weights:
    """Grids that count for parts, each field of shape (entries,), none of weight 0.

    Parameters
    ----------
    body : the fruiting body that tells it.
    part : terms.Part.
    kind : of `spread.class_grids`, or of `roots.root_grids` where the part is the roots.
    rot : place in instruments.ROTS.
    weight : share of this grid; over the entries of a body and part at most 1.
    """

    body: Ints
    part: Words
    kind: Ints
    rot: Ints
    weight: Floats


def weights(
    posterior: Floats, sits: Flags, over_soil: Flags, attached: Flags, taxa: TaxonDecay
) -> Weights:
    """Grids and weights of each body for the four parts.

    Parameters
    ----------
    posterior : probability of each taxon, shape (bodies, taxa).
    sits : parts on which the body sits, shape (bodies, 4).
    over_soil : whether it stands on soil over roots, shape (bodies,).
    attached : whether it grows on the tree's wood or roots, shape (bodies,); else it says nothing.
    """
    found = [_of_part(part, posterior, sits, over_soil, taxa) for part in Part]
    where = [np.nonzero(one * attached[:, None]) for one in found]
    each = [one[at] for one, at in zip(found, where, strict=True)]
    cell = np.concatenate([at[1] for at in where])
    return Weights(
        body=np.concatenate([at[0] for at in where]),
        part=np.repeat(np.arange(len(Part), dtype=np.int8), [one.size for one in each]),
        kind=cell // len(ROTS),
        rot=cell % len(ROTS),
        weight=np.concatenate(each),
    )


def _of_part(
    part: Part, posterior: Floats, sits: Flags, over_soil: Flags, taxa: TaxonDecay
) -> Floats:
    """Weights of kinds and rots, shape (bodies, kinds x rots)."""
    kind = taxa.root_kind if part == Part.ROOTS else taxa.kind
    width = (int(kind.max(initial=0)) + 1) * len(ROTS)
    onto = np.zeros((len(kind), width))
    known = np.flatnonzero(kind >= 0)
    onto[known, kind[known] * len(ROTS) + taxa.rot[known]] = 1.0
    soil = (part == Part.ROOTS) & over_soil
    here = np.where(soil, taxa.over_soil, 1.0)[:, None]
    other = taxa.fails[:, part] * taxa.elsewhere
    beside = posterior @ (onto * other[:, None])
    # A taxon that does not rot the part where it sits may still fail it from elsewhere.
    rots = taxa.attacks[:, part]
    on_it = here * (posterior @ (onto * rots[:, None]))
    on_it += posterior @ (onto * (other * ~rots)[:, None])
    return np.where(sits[:, part, None], on_it, beside)
