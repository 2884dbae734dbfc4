"""Inspections as arrays: defects and measured sections, and what they say of failure."""

from dataclasses import dataclass, fields

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import (
    codes,
    day_text,
    days,
    latest,
    numbers,
    texts,
    truths,
    whole,
)
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.decay.strength import (
    MeasuredSections,
    StrengthTable,
    sections_from_readings,
    shell_of_reading,
    strength_table,
)
from pipeline.scoring.failure.hearsay import told_and_heard
from pipeline.scoring.failure.measured import measured_findings
from pipeline.scoring.failure.visual import Defects
from pipeline.scoring.failure.words import Findings
from pipeline.scoring.parameters.failure import DEFECTS, FailureParameters
from pipeline.tables import inputs
from pipeline.terms import Part
from pipeline.units import Flags, Floats, Ints, Words

_PARTS = len(inputs.PARTS)
_NOTE, _COLUMN = "note", "column"
_INVENTORY = -2
_SOUNDS = {"hollow": "sounds_hollow", "doubtful": "sounds_doubtful"}


@dataclass(frozen=True)
class Looks:
    """What inspectors saw and measured.

    Parameters
    ----------
    defects : ingest.defects and what mallets told, in that order.
    defect_day : day of each, shape (defects,).
    seen, strength_said : findings of the two witnesses.
    section_tree, section_part, section_day : of each measured section.
    reading_tree, reading_part, reading_day, reading_kind : every reading of wood that gave a
        shell, and every pull test.
    from_inventory : statement and values of the defects that the inventory tells, by row: its
        dead trees, and what its remarks name.
    hearsay : rows of defects that rest on a remark, shape (defects,).
    """

    defects: Defects
    defect_day: Ints
    seen: Findings
    sections: MeasuredSections
    section_tree: Ints
    section_part: Words
    section_day: Ints
    strength: StrengthTable
    strength_said: Findings
    reading_tree: Ints
    reading_part: Words
    reading_day: Ints
    reading_kind: Ints
    from_inventory: dict[int, tuple[str, dict[str, object]]]
    hearsay: Flags


def read_looks(
    inspections: pa.Table,
    defects: pa.Table,
    readings: pa.Table,
    trees: Trees,
    parameters: FailureParameters,
) -> Looks:
    """Defects, sections and their findings; trees that are not rated are left out."""
    shells = _Readings.of(readings, inspections, trees)
    rows, day = _with_dead(*_defects(defects, shells, trees), trees)
    dead_from = len(rows.tree) - int((trees.dead & trees.rated).sum())
    place = shells.tree * _PARTS + shells.part
    gave = ~np.isnan(shells.shell)
    newest = _newest(place, shells.day, gave)
    used = np.flatnonzero(gave & newest)
    keys, section_of = np.unique(place[used], return_inverse=True)
    sections = sections_from_readings(
        section_of.astype(np.int64),
        shells.diameter[used],
        shells.shell[used],
        shells.opening[used],
        sections=len(keys),
    )
    section_day = latest(section_of.astype(np.int64), shells.day[used], len(keys))
    section_tree, section_part = keys // _PARTS, (keys % _PARTS).astype(np.int8)
    strength = strength_table(sections, parameters.limits)
    read = _read_from_rows(defects, trees)
    hearsay = _hearsay(read, len(rows.tree))
    crack = np.isin(rows.defect, (parameters.kinds.crack, parameters.kinds.split)) & rows.latest
    crack &= ~hearsay
    cracked = np.isin(keys, rows.tree[crack] * _PARTS + rows.part[crack])
    tells = gave | (shells.kind == inputs.READINGS.index("pull_test"))
    return Looks(
        defects=rows,
        defect_day=day,
        seen=told_and_heard(rows, hearsay, parameters.visual, parameters.kinds, parameters.hearsay),
        sections=sections,
        section_tree=section_tree,
        section_part=section_part,
        section_day=section_day,
        strength=strength,
        strength_said=measured_findings(
            section_tree,
            section_part,
            cracked,
            sections=sections,
            table=strength,
            words=parameters.measured,
        ),
        reading_tree=shells.tree[tells],
        reading_part=shells.part[tells],
        reading_day=shells.day[tells],
        reading_kind=shells.kind[tells],
        from_inventory={
            **read,
            **{row: ("seen_dead_by_inventory", {}) for row in range(dead_from, len(rows.tree))},
        },
        hearsay=hearsay,
    )


def _hearsay(read: dict[int, tuple[str, dict[str, object]]], size: int) -> Flags:
    """Free remarks; a column is a surveyor's own answer to what was asked. Shape (size,)."""
    hearsay = np.zeros(size, np.bool_)
    hearsay[[row for row, (statement, _) in read.items() if statement == "seen_note"]] = True
    return hearsay


def _read_from_rows(defects: pa.Table, trees: Trees) -> dict[int, tuple[str, dict[str, object]]]:
    """What remarks and columns of the inventory name, by row among the rated trees' defects."""
    tree = whole(defects, "tree_key")
    kept = np.flatnonzero(trees.rated[tree]) if len(tree) else tree
    origin = codes(defects, "origin", (_NOTE, _COLUMN))[kept]
    own = np.flatnonzero(origin >= 0)
    rows = defects.take(pa.array(kept[own]))
    told = (texts(rows, name) for name in ("defect", "part", "quoted"))
    named = [
        (int(row), {"defect": defect, "part": part, "quoted": quoted})
        for row, defect, part, quoted in zip(own, *told, strict=True)
    ]
    seen = [day_text(int(day)) for day in days(rows, "seen_on")]
    return {
        row: ("seen_note", said) if origin[row] == 0 else ("seen_column", {**said, "seen_on": day})
        for (row, said), day in zip(named, seen, strict=True)
    }


@dataclass(frozen=True)
class _Readings:
    tree: Ints
    part: Words
    day: Ints
    kind: Ints
    sounded: Ints
    look: Ints
    from_latest: Flags
    diameter: Floats
    shell: Floats
    opening: Floats

    @classmethod
    def of(cls, readings: pa.Table, inspections: pa.Table, trees: Trees) -> "_Readings":
        """Readings of rated trees; a section without its own diameter takes the stem's."""
        tree = whole(readings, "tree_key")
        part = codes(readings, "part", inputs.PARTS)
        told = numbers(readings, "section_diameter_cm")
        stem = trees.dbh[tree] if len(tree) else told
        diameter = np.where(told > 0, told, stem)
        newest = latest(
            whole(inspections, "tree_key"), days(inspections, "inspected_on"), len(trees)
        )
        day = days(readings, "measured_on")
        known = diameter > 0
        shell = shell_of_reading(
            np.where(known, diameter, 1.0),
            shell=numbers(readings, "shell_cm"),
            hollow_diameter=numbers(readings, "hollow_diameter_cm"),
            decayed_area=numbers(readings, "decayed_share"),
        )
        kept = trees.rated[tree] if len(tree) else np.zeros(0, np.bool_)
        return cls(
            tree=tree[kept],
            part=part[kept].astype(np.int8),
            day=day[kept],
            kind=codes(readings, "reading", inputs.READINGS)[kept],
            sounded=codes(readings, "reading_result", inputs.SOUNDING)[kept],
            look=whole(readings, "inspection_key")[kept],
            from_latest=(day >= newest[tree])[kept] if len(tree) else kept,
            diameter=diameter[kept],
            shell=np.where(known, shell, np.nan)[kept],
            opening=numbers(readings, "opening_cm")[kept],
        )


def _newest(place: Ints, day: Ints, counted: Flags) -> Flags:
    """Rows of the newest day among the counted ones of the same place."""
    keys, group = np.unique(place, return_inverse=True)
    best = np.full(len(keys), np.iinfo(np.int64).min)
    np.maximum.at(best, group[counted], day[counted])
    is_newest: Flags = day == best[group]
    return is_newest


def _defects(table: pa.Table, readings: _Readings, trees: Trees) -> tuple[Defects, Ints]:
    tree = whole(table, "tree_key")
    kept = trees.rated[tree] if len(tree) else np.zeros(0, np.bool_)
    rows, tree = table.filter(pa.array(kept)), tree[kept]
    place = readings.tree * _PARTS + readings.part
    with_shell = np.isin(place, place[~np.isnan(readings.shell)])
    sounds = np.full(len(inputs.SOUNDING) + 1, -1, np.int64)
    for told, meant in _SOUNDS.items():
        sounds[inputs.SOUNDING.index(told)] = DEFECTS.index(meant)
    heard = sounds[readings.sounded]
    mallet = np.flatnonzero((heard >= 0) & ~with_shell)
    blank, no = np.full(len(mallet), np.nan), np.zeros(len(mallet), np.bool_)

    def joined(name: str) -> Flags:
        return np.concatenate([truths(rows, name), no])

    all_trees = np.concatenate([tree, readings.tree[mallet]])
    made = Defects(
        tree=all_trees,
        part=np.concatenate([codes(rows, "part", inputs.PARTS), readings.part[mallet]]).astype(
            np.int8
        ),
        defect=np.concatenate([codes(rows, "defect", DEFECTS), heard[mallet]]),
        wood=trees.wood[all_trees] if len(all_trees) else all_trees,
        extent=np.concatenate([numbers(rows, "extent_share"), blank]),
        diameter=np.concatenate([numbers(rows, "part_diameter_cm"), blank]),
        with_decay=joined("with_decay"),
        with_crack=joined("with_crack"),
        touches_soil=joined("touches_soil"),
        soil_moved=joined("soil_moved"),
        roots_broken=joined("roots_broken"),
        latest=np.concatenate([truths(rows, "latest"), readings.from_latest[mallet]]),
        look=np.concatenate([whole(rows, "inspection_key"), readings.look[mallet]]),
    )
    return made, np.concatenate([days(rows, "seen_on"), readings.day[mallet]])


def _with_dead(rows: Defects, day: Ints, trees: Trees) -> tuple[Defects, Ints]:
    """A tree that the inventory calls dead is a dead tree, whether inspected or not.

    Its own word is a look of its own: an inspector who finds it dead tells the same thing again.
    """
    tree = np.flatnonzero(trees.dead & trees.rated)
    blank, no = np.full(len(tree), np.nan), np.zeros(len(tree), np.bool_)
    added = Defects(
        tree=tree,
        part=np.full(len(tree), np.int8(Part.STEM)),
        defect=np.full(len(tree), DEFECTS.index("dead_tree")),
        wood=trees.wood[tree],
        extent=blank,
        diameter=blank,
        with_decay=no,
        with_crack=no,
        touches_soil=no,
        soil_moved=no,
        roots_broken=no,
        latest=np.ones(len(tree), np.bool_),
        look=np.full(len(tree), _INVENTORY),
    )
    joined = Defects(
        **{
            f.name: np.concatenate([getattr(rows, f.name), getattr(added, f.name)])
            for f in fields(Defects)
        }
    )
    return joined, np.concatenate([day, trees.last_inspected[tree]])
