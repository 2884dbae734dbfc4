"""What is made of remarks: fungi become weak sightings, damage becomes weak defects, all is told.

What a remark denies or tells of the past becomes nothing and is counted. A remark of a tree that no
longer stands is counted too: its evidence went with the tree.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.derived import Derived, DerivedDefects, DerivedSightings
from pipeline.ingest.notes import NoteReader
from pipeline.published.table import Library
from pipeline.tables.catalogue_notes import NOTES
from pipeline.units import Flags, Ints

Texts = npt.NDArray[np.str_]

ORIGIN = "note"
_POSITIONS = {"roots": "root_flare", "butt": "butt", "stem": "stem", "branch": "branch"}
_NO_LONGER_THERE = ("stump", "vacant", "removed")
_FLAG = "note_"


@dataclass(frozen=True)
class Said:
    """What remarks say.

    Parameters
    ----------
    derived : the sightings and defects made of them.
    table : ingest.notes.
    notes : for the account of each file, by its key, what was denied, past or not understood.
    """

    derived: Derived
    table: pa.Table
    notes: Mapping[int, str]

    def beside(self, counted: Mapping[int, tuple[int, str]]) -> Mapping[int, tuple[int, str]]:
        """What was read beside the trees of each file, with what is said here added to it."""
        every = dict(counted)
        for key, words in self.notes.items():
            many, told = every.get(key, (0, ""))
            every[key] = (many, f"{told}; {words}" if told else words)
        return every


def nothing() -> Said:
    """Where remarks are not to be read."""
    return Said(Derived(), NOTES.arrow_schema.empty_table(), {})


def read(trees: pa.Table, library: Library, *, surveyed_on: Mapping[int, date | None]) -> Said:
    """The remarks of all accepted trees.

    Parameters
    ----------
    trees : ingest.trees in the order of their keys, last_inspected_on as their rows tell it.
    surveyed_on : day of the survey of each tree file, by its key.
    """
    remarks = trees["notes"].combine_chunks()
    if remarks.null_count == len(remarks):
        return nothing()
    notes = NoteReader(library).read(remarks)
    table = _plain(notes.table)
    tree = table["row"].to_numpy()
    meanings = library.table("notes_meanings")
    danger = dict(zip(meanings.texts("word"), meanings.texts("danger"), strict=True))
    silent = dict(zip(meanings.texts("word"), meanings.texts("part_if_silent"), strict=True))
    live = np.asarray(pc.is_in(table["polarity"], pa.array(["stated", "suspected"])))
    status = trees["status"].cast(pa.string()).take(table["row"])
    live &= ~np.asarray(pc.is_in(status, pa.array(_NO_LONGER_THERE)))
    kind = table["kind"].to_numpy()
    seen, hurt = live & (kind == "sighting"), live & (kind == "defect")
    used = np.select([seen, hurt, live], ["sighting", "defect", "review"], "counted")
    urgent = live & _mapped(table["word"], danger, "1")
    told = table.drop_columns("row").add_column(0, "note_key", pa.array(np.arange(len(tree))))
    told = told.add_column(1, "tree_key", table["row"])
    told = told.append_column("speaks_of_danger", pa.array(urgent))
    told = told.append_column("used", pa.array(used.tolist(), pa.string()))
    days = _days(trees, surveyed_on)
    names = library.table("taxa")
    accepted = dict(zip(names.texts("taxon_id"), names.texts("accepted_name"), strict=True))
    derived = Derived(
        sightings=(_sightings(table, seen, days, accepted),),
        defects=(_defects(table, hurt, days, silent),),
    )
    return Said(derived, told, _account(trees, table, notes.unread, used))


def _plain(table: pa.Table) -> pa.Table:
    """The findings with their labels as plain texts."""
    columns = {
        name: column.cast(pa.string()) if pa.types.is_dictionary(column.type) else column
        for name, column in zip(table.column_names, table.columns, strict=True)
    }
    return pa.table(columns)


def _sightings(
    table: pa.Table, which: Flags, days: pa.Array, accepted: Mapping[str, str]
) -> DerivedSightings:
    rows = table.filter(pa.array(which))
    size = rows.num_rows
    position = _translated(rows["part"], _POSITIONS)
    attached = pc.if_else(position.is_valid(), "attached", pa.scalar(None, pa.string()))
    return DerivedSightings(
        origin=ORIGIN,
        tree_key=rows["row"].to_numpy(),
        quoted=rows["quoted"].combine_chunks(),
        name=_translated(rows["taxon_id"], accepted),
        name_certainty=rows["certainty"].to_numpy(),
        name_by=pa.nulls(size, pa.string()),
        attachment=attached,
        position=position,
        seen_on=days.take(rows["row"].combine_chunks()),
        flags=_flags(rows),
    )


def _defects(
    table: pa.Table, which: Flags, days: pa.Array, silent: Mapping[str, str]
) -> DerivedDefects:
    rows = table.filter(pa.array(which))
    no = np.zeros(rows.num_rows, np.bool_)
    return DerivedDefects(
        origin=ORIGIN,
        tree_key=rows["row"].to_numpy(),
        quoted=rows["quoted"].combine_chunks(),
        part=pc.coalesce(rows["part"].combine_chunks(), _translated(rows["word"], silent)),
        defect=rows["word"].combine_chunks(),
        extent_share=np.full(rows.num_rows, np.nan),
        with_decay=no,
        with_crack=no,
        seen_on=days.take(rows["row"].combine_chunks()),
        flags=_flags(rows),
    )


def _flags(rows: pa.Table) -> pa.Array:
    return pc.binary_join_element_wise(_FLAG, rows["polarity"].combine_chunks(), "")


def _days(trees: pa.Table, surveyed_on: Mapping[int, date | None]) -> pa.Array:
    """Day on which each row was written: its own, else that of the survey, null where unknown."""
    keys = sorted(surveyed_on)
    days = pa.array([surveyed_on[key] for key in keys], pa.date32())
    at = pc.index_in(trees["source_key"].combine_chunks(), pa.array(keys, pa.int32()))
    return pc.coalesce(trees["last_inspected_on"].combine_chunks(), days.take(at))


def _translated(column: pa.ChunkedArray, words: Mapping[str, str]) -> pa.Array:
    """Each word by its translation, null where there is none."""
    at = pc.index_in(column.combine_chunks(), pa.array(list(words), pa.string()))
    return pa.array(list(words.values()), pa.string()).take(at)


def _mapped(column: pa.ChunkedArray, words: Mapping[str, str], value: str) -> Flags:
    chosen = pa.array([word for word, told in words.items() if told == value], pa.string())
    return np.asarray(pc.is_in(column, chosen), np.bool_)


def _account(trees: pa.Table, table: pa.Table, unknown: Ints, used: Texts) -> Mapping[int, str]:
    """Of each file: how many findings became nothing, and how many remarks were not understood."""
    source = trees["source_key"].to_numpy()
    idle = np.flatnonzero(used == "counted")
    polarity = table["polarity"].to_numpy()[idle]
    why = np.select(
        [polarity == "negated", polarity == "former"], ["denied", "of the past"],
        "of trees no longer there",
    )  # fmt: skip
    said: dict[int, str] = {}
    file_of = source[table["row"].to_numpy()[idle]]
    for key in np.unique(file_of).tolist():
        kinds, numbers = np.unique(why[file_of == key], return_counts=True)
        told = [f"{number:,} {kind}" for kind, number in zip(kinds, numbers, strict=True)]
        said[key] = f"findings in notes that became nothing: {', '.join(told)}"
    files, unread = np.unique(source[unknown], return_counts=True)
    for key, number in zip(files.tolist(), unread.tolist(), strict=True):
        kept = f"{number:,} notes hold hardly a word that is known, and are kept as they are"
        said[key] = f"{said[key]}; {kept}" if key in said else kept
    return said
