"""What the fungi of a tree mean for the crew under it: climbing, and wood that breaks.

Everything rests on probabilities of scoring.identifications, never on a name alone: what matters
to a crew is whether a fungus that fells or breaks trees is at work, and whether the wood is
brittle. From which probability on stands in config/published/key_limits.csv.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.published.sentences import SHEET, Texts
from pipeline.render import fungi
from pipeline.render.context import RenderContext
from pipeline.render.wording_fungi import how_often

BRITTLE = ("brown", "soft", "unknown")


@dataclass(slots=True)
class FungusOfTree:
    """What is at work in one tree.

    Parameters
    ----------
    serious : highest probability of a fungus whose action code is serious.
    rots : each rot that is most probable for one of its fungi, with its probability.
    measured : somebody has measured how far the decay reaches.
    """

    serious: float = 0.0
    rots: dict[str, float] = field(default_factory=dict)
    measured: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """From which probability a serious fungus matters, and a rot counts as certain [share]."""

    serious: float
    rot_certain: float


def limits(context: RenderContext) -> Limits:
    """The limits of the run."""
    table = context.library.table("key_limits", key=("quantity",))
    return Limits(
        table.number("value", quantity="serious_share"),
        table.number("value", quantity="rot_certain"),
    )


def of_trees(context: RenderContext, tree_keys: pa.ChunkedArray) -> Mapping[int, FungusOfTree]:
    """Those of these trees with a fungus that may rot them."""
    found = fungi.bodies(context)
    speaks = pc.and_(
        pc.is_in(found["tree_key"], value_set=pc.unique(tree_keys)),
        pc.not_equal(found["decay_evidence"].cast("string"), "no"),
    )
    found = found.filter(speaks)
    made: dict[int, FungusOfTree] = {}
    for tree, serious, rot, share in zip(
        found["tree_key"].to_pylist(),
        found["probability_serious"].to_pylist(),
        found["rot_type"].cast("string").to_pylist(),
        found["probability_rot"].to_pylist(),
        strict=True,
    ):
        one = made.setdefault(tree, FungusOfTree())
        one.serious = max(one.serious, serious)
        one.rots[rot] = max(one.rots.get(rot, 0.0), share)
    decay = context.table("scoring.decay")
    measured = pc.equal(decay["basis"].cast("string"), "measured")
    for tree in decay["tree_key"].filter(measured).to_pylist():
        if tree in made:
            made[tree].measured = True
    return made


def serious_words(one: FungusOfTree | None, least: Limits, t: Texts) -> str:
    """How probable a fungus is that may fell or break the tree; '' where it is not enough."""
    if one is None or one.serious < least.serious:
        return ""
    return t.of(SHEET, "fungus", "serious", share=how_often(one.serious, t))


def doubt_words(one: FungusOfTree, least: Limits, t: Texts) -> str:
    """That the wood may be brittle where the rot is thought to be white, but not surely so."""
    share = one.rots.get("white")
    if share is None or share >= least.rot_certain or set(one.rots) & set(BRITTLE):
        return ""
    return t.of(SHEET, "brittle", "white", share=how_often(share, t))
