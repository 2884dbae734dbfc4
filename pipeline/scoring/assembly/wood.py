"""How much wood is left in the parts of trees with evidence: posterior grids, and their table."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.columns import labels, optional, place_of, texts
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.assembly.wood_evidence import PARTS, WoodEvidence, wood_evidence
from pipeline.scoring.consequence.severity import branch_diameters
from pipeline.scoring.decay.grid import Masses, Summary, joined, summary
from pipeline.scoring.decay.instruments import ROTS
from pipeline.scoring.decay.update import PartRows, posteriors
from pipeline.scoring.parameters import Parameters
from pipeline.terms import Part
from pipeline.units import Floats, Ints, Words

BASES = ("measured", "seen", "fungus")


@dataclass(frozen=True)
class Wood:
    """The four parts of each tree with evidence; row = 4 x place of the tree + part.

    Parameters
    ----------
    tree : key, part : terms.Part; shape (rows,).
    diameter : of the section that decay is reckoned for [cm], (rows,).
    masses : posterior grid of every row, the prior where nothing speaks, (rows, cells + 1).
    evidence : rows of which something speaks, rising.
    by_rot : posterior of those, (evidence rows, rots, cells + 1).
    summary : of every row.
    told : what it rests on.
    section : row of looks.sections of each row, -1 without one.
    opening : share of the girth that is open, 0 if closed, (rows,).
    offset : of the column where three or more azimuths show it, NaN else [share of the shell].
    """

    tree: Ints
    part: Words
    diameter: Floats
    masses: Masses
    evidence: Ints
    by_rot: Masses
    summary: Summary
    told: WoodEvidence
    section: Ints
    opening: Floats
    offset: Floats


def wood_left(
    evidence: Evidence,
    sightings: Sightings,
    looks: Looks,
    readings: pa.Table,
    trees: Trees,
    parameters: Parameters,
) -> Wood:
    """Posterior grids of the four parts of all trees with evidence.

    Raises
    ------
    TableError
        If a reading or a diameter cannot be.
    """
    keys, decay = evidence.trees, parameters.decay
    told = wood_evidence(keys, sightings, looks, readings, trees, parameters)
    part = np.tile(np.arange(PARTS, dtype=np.int8), len(keys))
    tree = np.repeat(keys, PARTS)
    place = tree * PARTS + part
    section = place_of(place, looks.section_tree * PARTS + looks.section_part)
    rows = PartRows(
        part=part,
        diameter_cm=_diameters(evidence, looks, told, section, trees, parameters),
        condition=trees.condition[tree],
        host=np.repeat(_hosts(keys, trees, parameters), PARTS),
    )
    levels, grid = decay.law.levels, decay.law.grid
    width = grid.cells + 1
    masses = np.empty((len(part), width), np.float32)
    found, by_rot, told_in_few = [], [], []
    for block in posteriors(rows, told.fungus, told.readings, decay.law):
        masses[block.start : block.stop] = block.masses
        found.append(block.evidence)
        by_rot.append(block.by_rot.astype(np.float32))
        told_in_few.append(summary(block.masses, grid, levels))
    return Wood(
        tree=tree,
        part=part,
        diameter=rows.diameter_cm,
        masses=masses,
        evidence=np.concatenate([np.empty(0, np.int64), *found]),
        by_rot=np.concatenate([np.empty((0, len(ROTS), width), np.float32), *by_rot]),
        summary=joined(told_in_few),
        told=told,
        section=section,
        opening=_openings(looks, told, section),
        offset=_offsets(looks, section, decay.law.instruments.azimuths),
    )


def _hosts(keys: Ints, trees: Trees, parameters: Parameters) -> Ints:
    """Class of each tree as a host, shape (trees with evidence,)."""
    rows = trees.table.take(pa.array(keys))
    return parameters.decay.hosts(texts(rows, "species"), texts(rows, "genus"))


def _diameters(
    evidence: Evidence,
    looks: Looks,
    told: WoodEvidence,
    section: Ints,
    trees: Trees,
    parameters: Parameters,
) -> Floats:
    """Diameter of each part: measured there, else that of the stem; of a branch told of, its own.

    A branch of which nothing speaks takes the stem's, as its base rate does.
    """
    stem = trees.dbh_used[evidence.trees]
    limb, _ = branch_diameters(evidence.branch_cm, stem, tables=parameters.target.severity)
    found = np.repeat(stem, PARTS)
    touched = np.zeros(len(found), np.bool_)
    touched[told.fungus.row] = True
    touched[told.readings.row] = True
    branch = np.arange(len(found)) % PARTS == Part.BRANCH
    found = np.where(branch & touched, np.repeat(limb, PARTS), found)
    own = np.append(looks.sections.diameter, np.nan)[section]
    return np.where(np.isnan(own), found, own)


def _openings(looks: Looks, told: WoodEvidence, section: Ints) -> Floats:
    measured = np.append(looks.sections.opening, 0.0)[section]
    return np.asarray(np.minimum(np.maximum(measured, told.opening), 1.0))


def _offsets(looks: Looks, section: Ints, azimuths: int) -> Floats:
    """Offset of the column as the azimuths show it [share of the shell], NaN where too few do."""
    sections = looks.sections
    mean = np.where(sections.mean_shell > 0, sections.mean_shell, 1.0)
    offset = np.clip((sections.mean_shell - sections.thinnest_shell) / mean, 0.0, 1.0)
    offset = np.where(sections.azimuths >= azimuths, offset, np.nan)
    return np.append(offset, np.nan)[section]


def touched_rows(wood: Wood, evidence: Evidence) -> Ints:
    """Rows whose decay something loud enough speaks of, or that were measured; rising."""
    parts = evidence.parts
    spoken = parts.tree * PARTS + parts.part
    rots = (parts.taxon >= 0) | np.isin(spoken, wood.evidence)
    return np.union1d(spoken[rots], np.flatnonzero(wood.section >= 0))


def decay_columns(
    wood: Wood, evidence: Evidence, looks: Looks, parameters: Parameters
) -> dict[str, object]:
    """Columns of scoring.decay: parts that were measured, seen to rot, or that a fungus rots."""
    rows, parts = touched_rows(wood, evidence), evidence.parts
    at = place_of(rows, parts.tree * PARTS + parts.part)
    measured = wood.told.measured[rows] | (wood.section[rows] >= 0)
    basis = np.select([measured, wood.told.seen[rows]], [0, 1], 2)
    section, s = wood.section[rows], wood.summary
    known = section >= 0

    def of_section(values: Floats) -> pa.Array:
        return optional(np.append(values, np.nan)[section], known)

    opening = wood.opening[rows]
    return {
        "tree_key": wood.tree[rows],
        "part": wood.part[rows],
        "basis": labels(basis, BASES),
        "rot": np.append(parts.rot, np.int8(0))[at],
        "taxon_id": labels(np.append(parts.taxon, -1)[at], parameters.failure.catalogue.taxon_id),
        "decayed_share": _share(s.middle[rows]),
        "decayed_share_low": _share(s.low[rows]),
        "decayed_share_high": _share(s.high[rows]),
        "mean_share": _share(s.mean[rows]),
        "probability_beyond": _share(s.serious[rows]),
        "diameter_cm": wood.diameter[rows],
        "thinnest_shell_cm": of_section(looks.sections.thinnest_shell),
        "opening_share": optional(opening, known | (opening > 0)),
    }


def _share(values: Floats) -> Floats:
    """Shares, which the rounding of single precision may carry over one."""
    return np.clip(values, 0.0, 1.0)
