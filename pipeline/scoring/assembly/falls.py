"""How far each part that a witness spoke of falls, and rather to which side."""

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import codes, numbers, place_of, truths, whole
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.impact.falling import FallDirections, sided
from pipeline.scoring.impact.reach import branch_reach
from pipeline.scoring.parameters import Parameters
from pipeline.tables import inputs
from pipeline.terms import Part
from pipeline.units import Floats, Ints, Words

_BRANCH = int(Part.BRANCH)
_PARTS = len(inputs.PARTS)


def part_reaches(evidence: Evidence, trees: Trees, parameters: Parameters) -> Floats:
    """Reach of each row of `evidence.words`: dead trees and dead branches throw farther."""
    words, reach = evidence.words, parameters.target.reach
    tree, branch = words.tree, words.part == _BRANCH
    limb = branch_reach(trees.height[tree], trees.crown[tree], values=reach)
    told = evidence.parts
    dead_tree = told.tree[(told.defects & _bit("dead_tree")) > 0]
    brittle = np.isin(np.searchsorted(evidence.trees, tree), dead_tree) & ~trees.dead[tree]
    as_one = np.where(brittle, reach.dead_factor, 1.0) * trees.reach[tree]
    limbs = told.tree[((told.defects & _bit("dead_branch")) > 0) & (told.part == _BRANCH)]
    dry = np.isin(np.searchsorted(evidence.trees, tree), limbs) | brittle | trees.dead[tree]
    return np.where(branch, limb * np.where(dry, reach.dead_factor, 1.0), as_one)


def _bit(defect: str) -> np.int64:
    return np.int64(1) << inputs.DEFECTS.index(defect)


def fall_sides(
    tree: Ints, part: Words, defects: pa.Table, parameters: Parameters
) -> FallDirections:
    """How the falls of each row of evidence are spread: by its most telling side, (rows,).

    A lean speaks for the whole tree, every other side for the part on which it was seen.
    """
    toward, resultant = np.zeros(len(tree)), np.zeros(len(tree))
    sides = parameters.target.sides
    latest = np.flatnonzero(truths(defects, "latest"))
    told = defects.take(pa.array(latest))
    kind = codes(told, "defect", inputs.DEFECTS)
    each = sided(kind, numbers(told, "side_deg"), numbers(told, "lean_deg"), sides=sides)
    speaks = np.flatnonzero(each.resultant > 0)
    place = whole(told, "tree_key")[speaks] * _PARTS + codes(told, "part", inputs.PARTS)[speaks]
    parts: list[tuple[Ints, Ints]] = [(place, speaks)]
    leans = kind[speaks] == inputs.DEFECTS.index("lean")
    for other in range(_BRANCH):
        moved = place[leans] // _PARTS * _PARTS + other
        parts.append((moved, speaks[leans]))
    at, row = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.lexsort((-row, each.resultant[row], at))
    at, row = at[order], row[order]
    last = np.flatnonzero(np.r_[at[1:] != at[:-1], True]) if len(at) else np.zeros(0, np.int64)
    found = place_of(tree * _PARTS + part, at[last])
    known = found >= 0
    chosen = row[last][found[known]]
    toward[known], resultant[known] = each.toward[chosen], each.resultant[chosen]
    return FallDirections(toward, resultant)
