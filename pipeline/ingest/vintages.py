"""Earlier vintages of an inventory against the present one: history, and never new trees.

Rows are paired by id. An id that a vintage repeats names several trees: those are paired by place,
nearest first, each with one at most, so that two trees under one id do not count as one that has
changed its species. A row without an id cannot be followed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.errors import InputError
from pipeline.geo import crs as geo_crs
from pipeline.ingest import points
from pipeline.ingest.gathering import Read
from pipeline.ingest.names import NameBook
from pipeline.ingest.quarantine import Done, Finding, accepted_mask
from pipeline.ingest.trees import Inventory
from pipeline.ingest.vintage_rows import (
    NO_TREE,
    OTHER_SPECIES,
    SHRANK,
    Limits,
    Vintage,
    changes,
    joined,
    kept,
    paired,
)
from pipeline.settings.model import EarlierTrees
from pipeline.tables.catalogue_reading import HISTORY
from pipeline.units import Flags, Ints

_SAID = {
    SHRANK: (
        "dbh_cm", "an earlier vintage gives a greater diameter, by more than reading explains",
        "Measure again: one of the two is wrong, or another tree stands there."),
    OTHER_SPECIES: (
        "species", "an earlier vintage names another plant under this id",
        "Look which it is: the name, the id, or a tree that was replaced."),
}  # fmt: skip


@dataclass(frozen=True)
class Compared:
    """What earlier vintages say of the inventory.

    Parameters
    ----------
    inventory : the same trees, those in doubt flagged and told.
    history : fits ingest.history.
    files : the earlier files, each with what was found in it.
    """

    inventory: Inventory
    history: pa.Table
    files: tuple[tuple[Read, tuple[Finding, ...]], ...]


def compare(
    inventory: Inventory,
    trees: Sequence[Read],
    earlier: Sequence[Read],
    *,
    epsg: int,
    book: NameBook,
    limits: Limits,
    as_of: date,
) -> Compared:
    """Compare each earlier file with the inventory.

    Parameters
    ----------
    trees, earlier : the files of the inventory and the earlier ones, whose settings are dated.
    as_of : day of the run.

    Raises
    ------
    InputError
        If a vintage is dated after the day of the run.
    """
    if not earlier:
        return Compared(inventory, HISTORY.arrow_schema.empty_table(), ())
    now = _present(inventory.table, trees)
    parts: list[pa.Table] = []
    files: list[tuple[Read, tuple[Finding, ...]]] = []
    doubt = {code: np.zeros(len(now.tree_id), np.bool_) for code in _SAID}
    told: dict[str, list[str | None]] = {code: [None] * len(now.tree_id) for code in _SAID}
    for day, reads in _by_day(earlier, as_of).items():
        vintages = [_past(read, epsg=epsg, book=book) for read in reads]
        found = [_unfollowed(read.mapped.raw.file, read, limits) for read in reads]
        files += list(zip(reads, found, strict=True))
        keep = np.concatenate(
            [accepted_mask(len(r.mapped), (*r.mapped.findings, *f))
             for r, f in zip(reads, found, strict=True)]
        )  # fmt: skip
        sizes = [len(read.mapped) for read in reads]
        sources = np.repeat([read.mapped.raw.source_key for read in reads], sizes)
        before = kept(joined(vintages), keep)
        pairs = paired(before, now, most=int(limits.most_of_one_id))
        part, marks = changes(before, now, pairs, limits)
        for code, (rows, values) in marks.items():
            doubt[code][rows] = True
            for row, value in zip(rows.tolist(), values, strict=True):
                told[code][row] = value
        parts.append(_dated(part, sources[keep], day))
    history = pa.concat_tables(parts)
    history = history.append_column("history_key", pa.array(np.arange(history.num_rows)))
    flagged = _flagged(inventory, trees, doubt, told)
    return Compared(flagged, history.select(HISTORY.column_names), tuple(files))


def _by_day(earlier: Sequence[Read], as_of: date) -> dict[date, list[Read]]:
    """The earlier files by the day of their vintage, oldest first.

    Raises
    ------
    InputError
        If a day lies after that of the run.
    """
    found: dict[date, list[Read]] = {}
    for read in earlier:
        day = read.spec.surveyed_on if isinstance(read.spec, EarlierTrees) else as_of
        if day > as_of:
            raise InputError(
                where=f"earlier trees file {read.mapped.raw.file}",
                found=f"surveyed on {day.isoformat()}",
                expected=f"a day before that of the run, {as_of.isoformat()}",
                remedy="Mend surveyed_on in the settings, or run with a later --as-of.",
            )
        found.setdefault(day, []).append(read)
    return dict(sorted(found.items()))


def _present(table: pa.Table, trees: Sequence[Read]) -> Vintage:
    """The accepted trees under the ids that the files themselves give them."""
    source = table["source_key"].to_numpy()
    row = table["row"].to_numpy()
    ids = pa.nulls(table.num_rows, pa.string())
    for read in trees:
        raw = read.mapped.raw
        own = np.flatnonzero(source == raw.source_key)
        places = pa.array(np.searchsorted(raw.rows, row[own]))
        told = read.mapped.text("tree_id").cast(pa.string()).take(places)
        mask = np.zeros(table.num_rows, np.bool_)
        mask[own] = True
        ids = pc.replace_with_mask(ids, pa.array(mask), told)
    return Vintage(
        ids,
        table["x_m"].to_numpy(),
        table["y_m"].to_numpy(),
        table["dbh_cm"].to_numpy(zero_copy_only=False),
        *(table[name].cast(pa.string()).combine_chunks()
          for name in ("species_text", "species", "genus")),
    )  # fmt: skip


def _past(read: Read, *, epsg: int, book: NameBook) -> Vintage:
    """All rows of an earlier file; one without a place is kept, for its id may be known."""
    mapped = read.mapped
    place = points.read_places(mapped, crs=read.spec.crs, need=False)
    lon, lat = place.longitude, place.latitude
    x, y = np.full(len(lon), np.nan), np.full(len(lon), np.nan)
    known = np.isfinite(lon) & np.isfinite(lat)
    x[known], y[known] = geo_crs.transform(
        lon[known], lat[known], source=geo_crs.WGS84, target=epsg
    )
    x[~np.isfinite(x)] = y[~np.isfinite(y)] = np.nan
    text = pc.coalesce(mapped.text("species").cast(pa.string()),
                       mapped.text("common_name").cast(pa.string()))  # fmt: skip
    meant = book.resolve(text.dictionary_encode())
    return Vintage(
        mapped.text("tree_id").cast(pa.string()), x, y, mapped.number("dbh_cm"), text,
        meant.name.cast(pa.string()), meant.genus.cast(pa.string()),
    )  # fmt: skip


def _unfollowed(file: str, read: Read, limits: Limits) -> tuple[Finding, ...]:
    """Rows of an earlier file whose id is missing or a filler: they are set aside.

    Raises
    ------
    InputError
        If no row of the file has an id.
    """
    ids = read.mapped.text("tree_id").cast(pa.string())
    if not len(ids) or ids.null_count == len(ids):
        raise InputError(
            where=f"earlier trees file {file}",
            found="no id in any row",
            expected="the ids of the trees, as the present inventory has them",
            remedy="Map the column of the id.",
        )
    code = ids.dictionary_encode().indices.fill_null(-1).to_numpy(zero_copy_only=False)
    often = np.bincount(code[code >= 0])[np.maximum(code, 0)] > limits.most_of_one_id
    found = []
    for reason, name, mask in (
        ("the row has no id, so that the tree cannot be followed", "id_missing", code < 0),
        ("so many rows share the id that it names no tree", "id_filler", often & (code >= 0)),
    ):
        rows = np.flatnonzero(mask)
        if len(rows):
            values = tuple(ids.take(pa.array(rows)).to_pylist())
            header = read.mapped.header("tree_id")
            found.append(Finding(name, rows, header, values, reason,
                                 "Give each tree its own id.", Done.SET_ASIDE))  # fmt: skip
    return tuple(found)


def _dated(part: pa.Table, sources: Ints, day: date) -> pa.Table:
    """The rows with the earlier file; a vanished tree's own, else the first of the vintage."""
    row = part["row_of"].to_numpy()
    gone = part["tree_key"].to_numpy() == NO_TREE
    source = np.full(part.num_rows, sources[0] if len(sources) else 0, np.int32)
    source[gone] = sources[row[gone]]
    days = pa.array([day], pa.date32()).take(pa.array(np.zeros(part.num_rows, np.int64)))
    made = part.drop_columns("row_of").append_column("source_key", pa.array(source))
    return made.append_column("surveyed_on", days)


def _flagged(
    inventory: Inventory,
    trees: Sequence[Read],
    doubt: Mapping[str, Flags],
    told: Mapping[str, Sequence[str | None]],
) -> Inventory:
    """The inventory with the trees in doubt flagged, and a finding in the file of each."""
    table = inventory.table
    source, row = table["source_key"].to_numpy(), table["row"].to_numpy()
    flags = table["flags"].cast(pa.string()).combine_chunks()
    findings = [list(found) for found in inventory.findings]
    for code, mask in doubt.items():
        marked = pc.if_else(
            pc.equal(flags, ""), code, pc.binary_join_element_wise(flags, code, "|")
        )
        flags = pc.if_else(pa.array(mask), marked, flags)
        column, reason, remedy = _SAID[code]
        for number, read in enumerate(trees):
            raw = read.mapped.raw
            keys = np.flatnonzero(mask & (source == raw.source_key))
            if len(keys):
                findings[number].append(Finding(
                    code, np.searchsorted(raw.rows, row[keys]), read.mapped.header(column),
                    tuple(told[code][key] for key in keys.tolist()), reason, remedy, Done.FLAGGED,
                ))  # fmt: skip
    place = table.column_names.index("flags")
    return replace(
        inventory,
        table=table.set_column(place, "flags", flags),
        findings=tuple(tuple(found) for found in findings),
    )
