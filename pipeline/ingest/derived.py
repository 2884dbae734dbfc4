"""Evidence that rows of the tree files tell of, added to what people reported.

Columns that are evidence and remarks that were read both come as `Derived`: arrays that name the
tree by its key, so that nothing has to be joined, with the words on which they rest. They are
counted apart from the rows of files: rows in = accepted + set aside stays true of every file.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.columns import Mapped
from pipeline.ingest.names import NameBook
from pipeline.ingest.quarantine import Finding
from pipeline.tables.catalogue_ingest import (
    DECISIONS,
    DEFECTS,
    READINGS,
    SIGHTING_MATCHES,
    SIGHTINGS,
)
from pipeline.tables.schema import Kind, TableSchema
from pipeline.units import Flags, Floats, Ints

_NOT_STANDING = ("stump", "vacant", "removed")
_NO_INSPECTION = -1
_ORIGIN_SAID = {"column": "columns", "note": "notes"}


@dataclass(frozen=True, slots=True)
class DerivedSightings:
    """Fruiting bodies, each on the tree whose row tells of it; every array of length n.

    Parameters
    ----------
    origin : column or note.
    tree_key : the tree.
    quoted : the words on which it rests, text.
    name : the fungus as told, null where none is named ("champignon").
    name_certainty : 0 to 1, NaN where nothing says how sure the name is.
    name_by, attachment : words of the canonical columns; null reads as unknown.
    position : words of the canonical column joined with |, or null.
    seen_on : date, null where it is not known.
    flags : codes joined with |, empty where there are none.
    """

    origin: str
    tree_key: Ints
    quoted: pa.Array
    name: pa.Array
    name_certainty: Floats
    name_by: pa.Array
    attachment: pa.Array
    position: pa.Array
    seen_on: pa.Array
    flags: pa.Array

    def __len__(self) -> int:
        """Number of sightings."""
        return len(self.tree_key)


@dataclass(frozen=True, slots=True)
class DerivedDefects:
    """Defects, each on the tree whose row tells of it; every array of length n.

    Parameters
    ----------
    origin : column or note.
    tree_key : the tree.
    quoted : the words on which it rests, text.
    part, defect : words of the canonical columns.
    extent_share : share of girth, crown or roots, NaN where not told.
    with_decay, with_crack : True where the words say so.
    seen_on : date, null where it is not known.
    flags : codes joined with |, empty where there are none.
    """

    origin: str
    tree_key: Ints
    quoted: pa.Array
    part: pa.Array
    defect: pa.Array
    extent_share: Floats
    with_decay: Flags
    with_crack: Flags
    seen_on: pa.Array
    flags: pa.Array

    def __len__(self) -> int:
        """Number of defects."""
        return len(self.tree_key)


@dataclass(frozen=True, slots=True)
class DerivedReadings:
    """Measurements of wood, each of the tree whose row tells of it; every array of length n.

    Parameters
    ----------
    part, reading, reading_result : words of the canonical columns; no result where not sounded.
    measures : canonical column that `value` stands in, None where nothing was measured.
    measured_on : date, null where it is not known.
    """

    origin: str
    tree_key: Ints
    quoted: pa.Array
    part: pa.Array
    reading: pa.Array
    reading_result: pa.Array
    measures: str | None
    value: Floats
    measured_on: pa.Array

    def __len__(self) -> int:
        """Number of readings."""
        return len(self.tree_key)


@dataclass(frozen=True, slots=True)
class DerivedDecisions:
    """Decisions, each about the tree whose row tells of it; every array of length n."""

    origin: str
    tree_key: Ints
    quoted: pa.Array
    decision: pa.Array
    value: pa.Array
    until: pa.Array
    decided_on: pa.Array

    def __len__(self) -> int:
        """Number of decisions."""
        return len(self.tree_key)


@dataclass(frozen=True, slots=True)
class Derived:
    """What one reader made of the tree files.

    Parameters
    ----------
    findings : what it met in each tree file, in their order; it sets no row aside.
    """

    sightings: tuple[DerivedSightings, ...] = ()
    defects: tuple[DerivedDefects, ...] = ()
    readings: tuple[DerivedReadings, ...] = ()
    decisions: tuple[DerivedDecisions, ...] = ()
    findings: tuple[tuple[Finding, ...], ...] = field(default=())


def keys_of_rows(mapped: Mapped, trees: pa.Table) -> Ints:
    """Key of the tree of each row of a tree file, -1 where it was set aside; shape (rows,).

    Parameters
    ----------
    trees : ingest.trees, in the order of their keys.
    """
    own = np.flatnonzero(trees["source_key"].to_numpy() == mapped.raw.source_key)
    kept = trees["row"].to_numpy()[own]
    order = np.argsort(kept)
    rows = np.asarray(mapped.raw.rows, dtype=np.int64)
    if not len(own):
        return np.full(len(rows), -1, dtype=np.int64)
    at = np.minimum(np.searchsorted(kept, rows, sorter=order), len(own) - 1)
    found = own[order[at]]
    return np.where(kept[order[at]] == rows, found, -1).astype(np.int64)


def with_sightings(
    table: pa.Table,
    matches: pa.Table,
    added: Sequence[DerivedSightings],
    *,
    trees: pa.Table,
    book: NameBook,
) -> tuple[pa.Table, pa.Table]:
    """ingest.sightings and ingest.sighting_matches with these after the reported ones.

    Each is joined by id to its tree, with the whole weight.
    """
    start = table.num_rows
    tree = np.concatenate([one.tree_key for one in added] or [np.zeros(0, np.int64)])
    if not len(tree):
        return table, matches
    size = len(tree)
    told = pa.concat_tables([_sighting_rows(one) for one in added]).combine_chunks()
    keys = pa.array(tree)
    meant = book.resolve(told["name"].combine_chunks())
    status = trees["status"].cast(pa.string()).take(keys)
    gone = pc.is_in(status, value_set=pa.array(_NOT_STANDING))
    tree_id = trees["tree_id"].cast(pa.string()).take(keys)
    columns: dict[str, pa.Array | pa.ChunkedArray] = {
        "sighting_key": pa.array(np.arange(start, start + size, dtype=np.int64)),
        "sighting_id": _ids(tree_id, told["origin"], tree),
        "source_key": trees["source_key"].take(keys),
        "row": trees["row"].take(keys),
        "tree_id_told": tree_id,
        "seen_on": told["seen_on"],
        "name_text": told["name"],
        "taxon_id": meant.name.cast(pa.string()),
        "name_how": meant.how.cast(pa.string()),
        "name_certainty": told["name_certainty"],
        "name_by": told["name_by"].fill_null("unknown"),
        "host_text": trees["species"].cast(pa.string()).take(keys),
        "attachment": told["attachment"].fill_null("unknown"),
        "position": told["position"],
        "match": pa.array(["by_id"] * size),
        "tree_key": keys,
        "match_weight": pa.array(np.ones(size)),
        "match_note": pc.if_else(gone, "tree_not_standing", pa.scalar(None, pa.string())),
        "origin": told["origin"],
        "quoted": told["quoted"],
        "flags": told["flags"],
    }
    candidates = pa.table(
        {
            "sighting_key": columns["sighting_key"], "tree_key": keys,
            "distance_m": pa.nulls(size, pa.float64()), "weight": columns["match_weight"],
        }
    )  # fmt: skip
    return _appended(SIGHTINGS, table, columns), _joined(SIGHTING_MATCHES, matches, candidates)


def with_defects(
    table: pa.Table, added: Sequence[DerivedDefects], *, trees: pa.Table, inspections: pa.Table
) -> pa.Table:
    """ingest.defects with these after the reported ones.

    They belong to no inspection (key -1). One counts as the latest word unless an inspection of
    its tree is younger; one without a date always does, for nothing says that it is older.
    """
    start = table.num_rows
    tree = np.concatenate([one.tree_key for one in added] or [np.zeros(0, np.int64)])
    if not len(tree):
        return table
    size = len(tree)
    told = pa.concat_tables([_defect_rows(one) for one in added]).combine_chunks()
    newest = np.full(trees.num_rows, np.iinfo(np.int32).min, dtype=np.int64)
    days = inspections["inspected_on"].cast(pa.int32()).to_numpy()
    np.maximum.at(newest, inspections["tree_key"].to_numpy(), days)
    forever = np.iinfo(np.int32).max
    seen = told["seen_on"].cast(pa.int32()).fill_null(forever).to_numpy()
    columns: dict[str, pa.Array | pa.ChunkedArray] = {
        **{name: told[name] for name in told.column_names},
        "defect_key": pa.array(np.arange(start, start + size, dtype=np.int64)),
        "inspection_key": pa.array(np.full(size, _NO_INSPECTION, dtype=np.int64)),
        "tree_key": pa.array(tree),
        "latest": pa.array(seen >= newest[tree]),
    }
    for name in ("touches_soil", "soil_moved", "roots_broken"):
        columns[name] = pa.array(np.zeros(size, np.bool_))
    return _appended(DEFECTS, table, columns)


def with_readings(table: pa.Table, added: Sequence[DerivedReadings]) -> pa.Table:
    """ingest.readings with these after the reported ones; they belong to no inspection (key -1)."""
    start = table.num_rows
    parts = [one for one in added if len(one)]
    for one in parts:
        size = len(one)
        texts = ("quoted", "part", "reading", "reading_result")
        columns: dict[str, pa.Array | pa.ChunkedArray] = {
            "reading_key": pa.array(np.arange(start, start + size, dtype=np.int64)),
            "inspection_key": pa.array(np.full(size, _NO_INSPECTION, dtype=np.int64)),
            "tree_key": pa.array(one.tree_key),
            "measured_on": one.measured_on.cast(pa.date32()),
            "origin": pa.array([one.origin] * size, pa.string()),
            **{name: getattr(one, name).cast(pa.string()) for name in texts},
        }
        if one.measures is not None:
            columns[one.measures] = pa.array(one.value, pa.float64(), from_pandas=True)
        table = _appended(READINGS, table, columns)
        start += size
    return table


def with_decisions(
    table: pa.Table, added: Sequence[DerivedDecisions], *, trees: pa.Table
) -> pa.Table:
    """ingest.decisions with these before the reported ones, which stand over them."""
    rows = []
    for one in added:
        size = len(one)
        rows.append(
            pa.table(
                {
                    "decision_key": pa.array(np.zeros(size, np.int64)),
                    "tree_key": pa.array(one.tree_key),
                    "tree_id": trees["tree_id"].cast(pa.string()).take(pa.array(one.tree_key)),
                    "job_id": pa.nulls(size, pa.string()),
                    "decision": one.decision.cast(pa.string()),
                    "value": one.value.cast(pa.string()),
                    "decided_on": one.decided_on.cast(pa.date32()),
                    "role": pa.nulls(size, pa.string()),
                    "reason": pa.nulls(size, pa.string()),
                    "until": one.until.cast(pa.date32()),
                    "origin": pa.array([one.origin] * size, pa.string()),
                    "quoted": one.quoted.cast(pa.string()),
                }
            )
        )
    for part in reversed(rows):
        table = _joined(DECISIONS, part, table)
    if not rows:
        return table
    key = pa.array(np.arange(table.num_rows, dtype=np.int64))
    return table.set_column(table.column_names.index("decision_key"), "decision_key", key)


def account(said: Sequence[Derived], trees: pa.Table) -> Mapping[int, tuple[int, str]]:
    """Of each tree file from which something was read: how much, and the same in words."""
    source = trees["source_key"].to_numpy()
    counts: dict[int, dict[tuple[str, str], int]] = {}
    for kind, parts in (
        ("sighting", [part for one in said for part in one.sightings]),
        ("defect", [part for one in said for part in one.defects]),
        ("reading", [part for one in said for part in one.readings]),
        ("decision", [part for one in said for part in one.decisions]),
    ):
        for part in parts:
            files, numbers = np.unique(source[part.tree_key], return_counts=True)
            for file, number in zip(files.tolist(), numbers.tolist(), strict=True):
                own = counts.setdefault(int(file), {})
                own[kind, part.origin] = own.get((kind, part.origin), 0) + number
    return {
        file: (
            sum(own.values()),
            "read from its rows beside the trees: "
            + ", ".join(
                f"{number:,} {kind}{'s' if number > 1 else ''} from {_ORIGIN_SAID[origin]}"
                for (kind, origin), number in own.items()
            ),
        )
        for file, own in counts.items()
    }


def _sighting_rows(one: DerivedSightings) -> pa.Table:
    texts = ("quoted", "name", "name_by", "attachment", "position", "flags")
    return pa.table(
        {
            "origin": pa.array([one.origin] * len(one), pa.string()),
            **{name: getattr(one, name).cast(pa.string()) for name in texts},
            "name_certainty": pa.array(one.name_certainty, pa.float64(), from_pandas=True),
            "seen_on": one.seen_on.cast(pa.date32()),
        }
    )


def _defect_rows(one: DerivedDefects) -> pa.Table:
    texts = ("quoted", "part", "defect", "flags")
    return pa.table(
        {
            "origin": pa.array([one.origin] * len(one), pa.string()),
            **{name: getattr(one, name).cast(pa.string()) for name in texts},
            "extent_share": pa.array(one.extent_share, pa.float64(), from_pandas=True),
            "with_decay": pa.array(one.with_decay),
            "with_crack": pa.array(one.with_crack),
            "seen_on": one.seen_on.cast(pa.date32()),
        }
    )


def _ids(tree_id: pa.ChunkedArray, origin: pa.ChunkedArray, tree: Ints) -> pa.Array:
    """<tree id>/<origin><number>, the number counted over the same tree and origin."""
    code = origin.combine_chunks().dictionary_encode().indices.to_numpy().astype(np.int64)
    order = np.lexsort((np.arange(len(tree)), code, tree))
    first = np.ones(len(tree), np.bool_)
    first[1:] = (np.diff(tree[order]) != 0) | (np.diff(code[order]) != 0)
    starts = np.flatnonzero(first)
    number = np.zeros(len(tree), np.int64)
    number[order] = np.arange(len(tree)) - starts[np.cumsum(first) - 1] + 1
    counted = pc.binary_join_element_wise(origin, pa.array(number).cast(pa.string()), "")
    return pc.binary_join_element_wise(tree_id, counted, "/")


def _appended(
    schema: TableSchema, table: pa.Table, columns: Mapping[str, pa.Array | pa.ChunkedArray]
) -> pa.Table:
    size = len(columns[schema.key[0]])
    rows = {
        column.name: columns.get(column.name, pa.nulls(size, pa.string()))
        if column.kind in {Kind.LABEL, Kind.TEXT}
        else columns.get(column.name, pa.nulls(size, column.arrow_type))
        for column in schema.columns
    }
    return _joined(schema, table, pa.table(rows))


def _joined(schema: TableSchema, table: pa.Table, rows: pa.Table) -> pa.Table:
    """One table under the other, labels as plain text: the store makes them labels again."""
    plain = pa.schema(
        [
            pa.field(column.name, pa.string() if column.kind is Kind.LABEL else column.arrow_type)
            for column in schema.columns
        ]
    )
    names = list(schema.column_names)
    return pa.concat_tables([table.select(names).cast(plain), rows.select(names).cast(plain)])
