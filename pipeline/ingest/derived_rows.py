"""Evidence read from tree rows, laid under what people reported, and counted apart."""

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.derived import (
    Derived,
    DerivedDecisions,
    DerivedDefects,
    DerivedReadings,
    DerivedSightings,
)
from pipeline.ingest.names import NameBook
from pipeline.tables.catalogue_ingest import (
    DECISIONS,
    DEFECTS,
    INSPECTIONS,
    READINGS,
    SIGHTING_MATCHES,
    SIGHTINGS,
)
from pipeline.tables.schema import Kind, TableSchema
from pipeline.units import Flags, Ints

_NOT_STANDING = ("stump", "vacant", "removed")
_NO_INSPECTION = -1
_UNTOLD = -1
_KINDS = {SIGHTINGS: "sighting", DEFECTS: "defect", READINGS: "reading", DECISIONS: "decision"}
_ORIGIN_SAID = {"column": "columns", "note": "notes"}


def merged(
    written: Mapping[TableSchema, pa.Table],
    said: Sequence[Derived],
    *,
    trees: pa.Table,
    book: NameBook,
) -> dict[TableSchema, pa.Table]:
    """The tables of evidence with what all readers of tree rows made, earlier readers first.

    Parameters
    ----------
    written : sightings and their matches, inspections, defects, readings and decisions as reported.
    trees : ingest.trees in the order of their keys.
    """
    sightings, matches = with_sightings(
        written[SIGHTINGS],
        written[SIGHTING_MATCHES],
        [part for one in said for part in one.sightings],
        trees=trees,
        book=book,
    )
    return {
        **written,
        SIGHTINGS: sightings,
        SIGHTING_MATCHES: matches,
        DEFECTS: with_defects(
            written[DEFECTS],
            [part for one in said for part in one.defects],
            trees=trees,
            inspections=written[INSPECTIONS],
        ),
        READINGS: with_readings(written[READINGS], [part for one in said for part in one.readings]),
        DECISIONS: with_decisions(
            written[DECISIONS], [part for one in said for part in one.decisions], trees=trees
        ),
    }


def with_sightings(
    table: pa.Table,
    matches: pa.Table,
    added: Sequence[DerivedSightings],
    *,
    trees: pa.Table,
    book: NameBook,
) -> tuple[pa.Table, pa.Table]:
    """ingest.sightings and ingest.sighting_matches with these after the reported ones.

    Each is joined by id to its tree, with the whole weight. A note that says again what a column
    of the same row said (same fungus or none named, same position or none told) adds nothing.
    """
    start = table.num_rows
    tree = np.concatenate([one.tree_key for one in added] or [np.zeros(0, np.int64)])
    if not len(tree):
        return table, matches
    told = pa.concat_tables([_sighting_rows(one) for one in added]).combine_chunks()
    meant = book.resolve(told["name"].combine_chunks())
    told = told.append_column("taxon_id", meant.name.cast(pa.string()))
    told = told.append_column("name_how", meant.how.cast(pa.string()))
    fresh = ~_sightings_repeated(told, tree)
    told, tree = told.filter(pa.array(fresh)).combine_chunks(), tree[fresh]
    size, keys = len(tree), pa.array(tree)
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
        "taxon_id": told["taxon_id"],
        "name_how": told["name_how"],
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
    its tree is younger; one without a date always does, for nothing says that it is older. What an
    earlier witness (inspector, then column, then note) said of the same part is not added again:
    two witnesses of one crack are not two cracks. A dead tree of the inventory is one already.
    """
    start = table.num_rows
    tree = np.concatenate([one.tree_key for one in added] or [np.zeros(0, np.int64)])
    if not len(tree):
        return table
    told = pa.concat_tables([_defect_rows(one) for one in added]).combine_chunks()
    fresh = ~_defects_repeated(told, tree, table, trees)
    told, tree = told.filter(pa.array(fresh)).combine_chunks(), tree[fresh]
    size = len(tree)
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


def account(
    said: Sequence[Derived], written: Mapping[TableSchema, pa.Table], trees: pa.Table
) -> Mapping[int, tuple[int, str]]:
    """Of each tree file from which something was read: how much, and the same in words.

    Parameters
    ----------
    written : the tables of evidence with what was read.
    """
    source = trees["source_key"].to_numpy()
    read = np.zeros(int(source.max(initial=-1)) + 1, np.int64)
    for one in said:
        for keys in one.tree_keys:
            np.add.at(read, source[keys], 1)
    found: dict[int, tuple[int, str]] = {}
    for file in np.flatnonzero(read).tolist():
        counts = [
            (int(number), kind, origin)
            for schema, kind in _KINDS.items()
            for origin in _ORIGIN_SAID
            if (number := _own(written[schema], origin, source == file))
        ]
        many = sum(number for number, _, _ in counts)
        words = ", ".join(
            f"{number:,} {kind}{'s' if number > 1 else ''} from {_ORIGIN_SAID[origin]}"
            for number, kind, origin in counts
        )
        again = f"; {read[file] - many:,} more say again what is known" if read[file] > many else ""
        found[file] = many, f"read from its rows beside the trees: {words or 'nothing new'}{again}"
    return found


def _own(table: pa.Table, origin: str, of_file: Flags) -> int:
    """Rows of that origin about trees of one file."""
    mine = pc.equal(table["origin"].cast(pa.string()), origin).to_numpy()
    key = table["tree_key"].to_numpy()[mine]
    return int(np.count_nonzero(of_file[key[key >= 0]]))


def _sightings_repeated(told: pa.Table, tree: Ints) -> Flags:
    """Notes that say again what a column of the same row said, shape (rows,)."""
    by_column = pc.equal(told["origin"], "column").to_numpy()
    taxon, position = _codes(told["taxon_id"]), _codes(told["position"])
    repeated = np.zeros(len(tree), np.bool_)
    for any_taxon in (False, True):
        for any_position in (False, True):
            key = np.column_stack([tree, taxon * (not any_taxon), position * (not any_position)])
            known = _among_rows(key, key[by_column])
            open_taxon = (taxon == _UNTOLD) if any_taxon else np.True_
            open_position = (position == _UNTOLD) if any_position else np.True_
            repeated |= known & open_taxon & open_position
    found: Flags = repeated & ~by_column
    return found


def _defects_repeated(told: pa.Table, tree: Ints, table: pa.Table, trees: pa.Table) -> Flags:
    """Defects that an earlier witness told of the same part, shape (rows,)."""
    newest = table.filter(table["latest"])
    names = ("part", "defect")
    whole = pa.concat_tables(
        [one.select(names).cast(pa.schema([(n, pa.string()) for n in names]))
         for one in (newest, told)]
    )  # fmt: skip
    key = np.column_stack(
        [np.concatenate([newest["tree_key"].to_numpy(), tree]), *(_codes(whole[n]) for n in names)]
    )
    reported, own = key[: newest.num_rows], key[newest.num_rows :]
    by_note = pc.equal(told["origin"], "note").to_numpy()
    dead = pc.equal(trees["status"].cast(pa.string()), "dead").to_numpy()[tree]
    dead &= pc.equal(told["defect"], "dead_tree").to_numpy()
    again: Flags = _among_rows(own, reported) | (by_note & _among_rows(own, own[~by_note])) | dead
    return again


def _codes(column: pa.ChunkedArray) -> Ints:
    """A number for each different text, _UNTOLD where there is none."""
    coded = column.cast(pa.string()).combine_chunks().dictionary_encode()
    codes = coded.indices.cast(pa.int64()).fill_null(_UNTOLD)
    return np.asarray(codes.to_numpy(zero_copy_only=False), np.int64)


def _among_rows(rows: Ints, known: Ints) -> Flags:
    """Which rows of numbers from -1 on are among the known ones, shape (rows,)."""
    whole = np.concatenate([known, rows]) + 1
    packed = np.zeros(len(whole), np.int64)
    for column in whole.T:
        packed = packed * (int(column.max(initial=0)) + 1) + column
    found: Flags = np.isin(packed[len(known) :], packed[: len(known)])
    return found


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
