"""The tree inventory: all its files under each other, one clean row a tree or planting site."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline.geo import crs as geo_crs
from pipeline.geo.shapes import Geometries
from pipeline.ingest.checks import joined_flags
from pipeline.ingest.columns import Mapped
from pipeline.ingest.history import TreeChanges
from pipeline.ingest.names import NameBook
from pipeline.ingest.places import polygon_of_point
from pipeline.ingest.points import Places
from pipeline.ingest.quarantine import Done, Finding
from pipeline.ingest.sizes import FROM_GIRTH
from pipeline.ingest.tree_rows import TreeRows
from pipeline.published.table import PublishedTable
from pipeline.tables.catalogue_ingest import TREES
from pipeline.units import Flags, Floats, Ints

# Nearer to the wards than this a tree outside them is taken for drawn loosely.
OUTSIDE_WARDS_M = 500.0
_DOUBTFUL = ("lonlat_swapped", "far_from_city", "place_rounded", "outside_wards")
_BY_WORK = "status_by_work_done"
_HOW_OF_MEASURE = {"girth": "girth", "diameter": "measured"}


@dataclass(frozen=True)
class Wards:
    """Ward polygons in the run's metric CRS and their names, both shape (p,)."""

    shapes: Geometries
    names: tuple[str, ...]


@dataclass(frozen=True)
class Inventory:
    """The accepted trees and what was found in the rows of each file.

    Parameters
    ----------
    table : fits ingest.trees.
    findings : one tuple a file, in the order of the files.
    """

    table: pa.Table
    findings: tuple[tuple[Finding, ...], ...]


def build(
    files: Sequence[Mapped],
    places: Sequence[Places],
    *,
    epsg: int,
    wards: Wards | None,
    book: NameBook,
    species: PublishedTable,
) -> Inventory:
    """The inventory of some files whose places are judged already.

    Parameters
    ----------
    species : the published table of tree species, for the kind of wood.
    """
    rows = TreeRows(files, places)
    rows.gather_flags()
    lon, lat = rows.place("longitude"), rows.place("latitude")
    keep = np.isfinite(lon) & np.isfinite(lat)
    x, y = np.full(rows.size, np.nan), np.full(rows.size, np.nan)
    x[keep], y[keep] = geo_crs.transform(lon[keep], lat[keep], source=geo_crs.WGS84, target=epsg)
    text = pc.coalesce(rows.text("species"), rows.text("common_name"))
    keep, tree_id, made_up = _ids(rows, keep, x, y, text)
    names = _names(rows, text, book, species)
    ward = _wards(rows, x, y, keep, wards)
    columns = {
        "tree_id": tree_id,
        "id_made_up": made_up,
        "source_key": rows.per_file([m.raw.source_key for m in files], np.int32),
        "row": np.concatenate([m.raw.rows for m in files]),
        "x_m": np.round(x, 3),
        "y_m": np.round(y, 3),
        "shares_place": _sharing(lon, lat, keep),
        "place_doubtful": rows.flagged(*_DOUBTFUL),
        **names,
        **_sizes(rows),
        **_states(rows),
        "ward": ward,
        "planted_year": pc.year(rows.dates("planted_on")).cast(pa.int16()),
        "street": rows.text("street"),
        "address": rows.text("address"),
        "notes": rows.text("notes"),
        "last_inspected_on": rows.dates("last_inspected_on"),
        "last_pruned_on": rows.dates("last_pruned_on"),
        "flags": joined_flags(rows.size, sorted(rows.flags.items())),
    }
    whole = pa.table({name: _array(value) for name, value in columns.items()})
    kept = whole if keep.all() else whole.filter(pa.array(keep))
    keys = pa.array(np.arange(kept.num_rows, dtype=np.int64))
    table = kept.add_column(0, "tree_key", keys).select(TREES.column_names)
    return Inventory(table, tuple(tuple(found) for found in rows.found))


def changed(table: pa.Table, changes: TreeChanges) -> pa.Table:
    """The trees with what inspections and work done have changed since the inventory was written.

    A status that work left stands over the inventory's; of dates the later one stands.
    """
    told = table["status"].cast(pa.string()).combine_chunks()
    status = pc.coalesce(changes.status, told)
    differs = pc.not_equal(status, told)
    flags = table["flags"].cast(pa.string()).combine_chunks()
    marked = pc.if_else(
        pc.equal(flags, ""), _BY_WORK, pc.binary_join_element_wise(flags, _BY_WORK, "|")
    )
    new = {"status": status, "flags": pc.if_else(differs, marked, flags)}
    for name in ("last_inspected_on", "last_pruned_on"):
        new[name] = pc.max_element_wise(table[name].combine_chunks(), getattr(changes, name))
    for name, values in new.items():
        table = table.set_column(table.column_names.index(name), name, values)
    return table


def as_told(after: pa.Table, before: pa.Table) -> pa.Table:
    """The trees as history left them, but inspected last on the day that their own rows tell."""
    name = "last_inspected_on"
    return after.set_column(after.column_names.index(name), name, before[name])


def _array(value: object) -> pa.Array | pa.ChunkedArray:
    if isinstance(value, np.ndarray):
        return pa.array(value, from_pandas=np.issubdtype(value.dtype, np.floating))
    return value


def _ids(
    rows: TreeRows, keep: Flags, x: Floats, y: Floats, species: pa.Array
) -> tuple[Flags, pa.Array, Flags]:
    """Unique ids; rows that repeat another tree in every way are set aside, others renamed."""
    ids = rows.text("tree_id")
    made_up = ids.is_null().to_numpy(zero_copy_only=False)
    if made_up.any():
        source = pa.array(rows.per_file([m.raw.source_key for m in rows.files], np.int32))
        number = pa.array(np.concatenate([m.raw.rows for m in rows.files]))
        made = pc.binary_join_element_wise(
            "no id", source.cast(pa.string()), number.cast(pa.string()), "-"
        )
        ids = pc.coalesce(ids, made)
        if any(m.has("tree_id") for m in rows.files):
            rows.mark("id_missing", made_up)
    code = ids.dictionary_encode().indices.to_numpy(zero_copy_only=False)
    seen = np.bincount(code[keep], minlength=int(code.max(initial=0)) + 1)
    often = np.flatnonzero(keep & (seen[code] > 1))
    if not len(often):
        return keep, ids, made_up
    often = often[np.argsort(code[often], kind="stable")]
    first = often[np.searchsorted(code[often], code[often], side="left")]
    named = species.fill_null("").take(pa.array(often)).dictionary_encode().indices
    dbh = np.nan_to_num(rows.number("dbh_cm")[often], nan=-1.0)
    told = np.column_stack((code[often], x[often], y[often], dbh, named.to_numpy()))
    same = np.ones(len(often), np.bool_)
    same[np.unique(told, axis=0, return_index=True)[1]] = False
    repeated = np.zeros(rows.size, np.bool_)
    repeated[often[same]] = True
    rows.tell(
        "row_repeated", repeated, column="tree_id", done=Done.SET_ASIDE,
        said=("the row repeats an earlier one: same id, place, species and diameter",
              "Delete the row."),
    )  # fmt: skip
    other = often[~same & (often != first)]
    renamed = np.zeros(rows.size, np.bool_)
    renamed[other] = True
    rows.tell(
        "id_repeated", renamed, column="tree_id", done=Done.FLAGGED,
        said=("an earlier row has the same id at another place; this one was given a new id",
              "Give each tree its own id."),
    )  # fmt: skip
    return keep & ~repeated, _renamed(ids, other), made_up


def repeated_ids(files: Sequence[Mapped]) -> list[tuple[Finding, ...]]:
    """Rows whose id an earlier row of any of the files has; one tuple a file.

    For an inventory without places, where nothing else tells two trees apart.
    """
    rows = TreeRows(files, [])
    ids = rows.text("tree_id")
    code = ids.dictionary_encode().indices.fill_null(-1).to_numpy(zero_copy_only=False)
    again = np.ones(rows.size, np.bool_)
    again[np.unique(code, return_index=True)[1]] = False
    rows.tell(
        "id_repeated", again & (code >= 0) & rows.standing(), column="tree_id", done=Done.FLAGGED,
        said=("an earlier row has the same id", "Give each tree its own id."),
    )  # fmt: skip
    return [tuple(found) for found in rows.found]


def _renamed(ids: pa.Array, rows: Ints) -> pa.Array:
    """'<id>~2', '~3' ... for the repeated ones; only these few are touched one by one."""
    taken = set(ids.to_pylist())
    fresh: dict[int, str] = {}
    for row, name in zip(rows.tolist(), ids.take(pa.array(rows)).to_pylist(), strict=True):
        number = 2
        while f"{name}~{number}" in taken:
            number += 1
        fresh[row] = f"{name}~{number}"
        taken.add(fresh[row])
    if not fresh:
        return ids
    order = sorted(fresh)
    mask = np.zeros(len(ids), np.bool_)
    mask[order] = True
    return pc.replace_with_mask(ids, pa.array(mask), pa.array([fresh[row] for row in order]))


def _names(
    rows: TreeRows, text: pa.Array, book: NameBook, species: PublishedTable
) -> dict[str, object]:
    """Species, genus, wood and how; the common name speaks where the species says nothing."""
    written = text.dictionary_encode()
    found = book.resolve(written)
    name, genus, how = found.name, found.genus, found.how
    if any(m.has("common_name") for m in rows.files):
        silent = pc.is_in(how, value_set=pa.array(["unknown", "missing"]))
        silent = pc.or_(silent, pc.and_(pc.equal(how.cast(pa.string()), "misspelling"),
                                        pc.is_valid(rows.text("common_name"))))  # fmt: skip
        if pc.any(silent).as_py():
            name, genus, how = _by_common_name(rows, book, (name, genus, how))
    wood = _wood(species)
    woods = pc.coalesce(_looked_up(name, wood), _looked_up(genus, wood))
    how_text = how.cast(pa.string())
    rows.tell(
        "species_unknown", _equal(how_text, "unknown"), column="species", done=Done.FLAGGED,
        said=("the name means no plant that is known here; the tree is kept",
              "Write the scientific name, or add the name to the table of tree names."),
    )  # fmt: skip
    rows.tell(
        "species_misspelt", _equal(how_text, "misspelling"), column="species", done=Done.MENDED,
        said=("the name was taken for a slip of the pen", "Mend the name in the file."),
    )  # fmt: skip
    return {
        "species_text": written, "species": name, "genus": genus, "species_how": how, "wood": woods,
    }  # fmt: skip


_Triple = tuple[pa.Array, pa.Array, pa.Array]


def _by_common_name(rows: TreeRows, book: NameBook, found: _Triple) -> _Triple:
    """Take the common name's meaning where the species column says nothing."""
    common = book.resolve(rows.text("common_name").dictionary_encode())
    use = pc.and_(_says_nothing(found[2]), pc.invert(_says_nothing(common.how)))
    return (
        _either(use, common.name, found[0]),
        _either(use, common.genus, found[1]),
        _either(use, common.how, found[2]),
    )


def _says_nothing(how: pa.DictionaryArray) -> pa.Array:
    mute = pc.is_in(how.dictionary, value_set=pa.array(["unknown", "missing"]))
    return mute.take(how.indices).fill_null(False)


def _either(use: pa.Array, new: pa.DictionaryArray, old: pa.DictionaryArray) -> pa.DictionaryArray:
    """One label or the other, by their codes: a text is looked at once, not once a tree."""
    both = pa.concat_arrays([new.dictionary.cast(pa.string()), old.dictionary.cast(pa.string())])
    words = pc.unique(both)
    code = pc.if_else(use, new.indices, pc.add(old.indices, len(new.dictionary)))
    codes = pc.index_in(both, value_set=words).take(code)
    return pa.DictionaryArray.from_arrays(codes, words)


def _wood(species: PublishedTable) -> dict[str, str]:
    """Kind of wood by species, and by genus where all its species agree."""
    wood = {row["species"]: row["wood"] for row in species.rows}
    by_genus: dict[str, set[str]] = {}
    for row in species.rows:
        by_genus.setdefault(row["genus"], set()).add(row["wood"])
    return wood | {genus: next(iter(kinds)) for genus, kinds in by_genus.items() if len(kinds) == 1}


def _looked_up(names: pa.Array, table: dict[str, str]) -> pa.Array:
    values = [table.get(name) for name in names.dictionary.to_pylist()]
    return pa.array(values, pa.string()).take(names.indices)


def _equal(text: pa.Array, word: str) -> Flags:
    return np.asarray(
        pc.equal(text, word).fill_null(False).to_numpy(zero_copy_only=False), np.bool_
    )


def _wards(rows: TreeRows, x: Floats, y: Floats, keep: Flags, wards: Wards | None) -> pa.Array:
    """The ward that holds each tree, else the file's own word; far outside all is a finding."""
    told = rows.text("ward")
    if wards is None or not len(wards.shapes):
        return told
    inside = np.flatnonzero(keep)
    found = polygon_of_point(x[inside], y[inside], wards.shapes)
    code = np.full(rows.size, -1, dtype=np.int32)
    code[inside] = found
    out = inside[found < 0]
    if len(out):
        away = np.zeros(rows.size)
        whole = shapely.union_all(wards.shapes)
        away[out] = shapely.distance(shapely.points(x[out], y[out]), whole)
        rows.tell(
            "outside_wards", away > OUTSIDE_WARDS_M, column="longitude", done=Done.FLAGGED,
            said=(f"the place lies more than {OUTSIDE_WARDS_M:.0f} m outside every ward",
                  "Look whether the coordinates are right."),
        )  # fmt: skip
    names = pa.array(wards.names, pa.string())
    return pc.coalesce(names.take(pa.array(code, mask=code < 0)), told)


def _sharing(lon: Floats, lat: Floats, keep: Flags) -> npt.NDArray[np.int32]:
    """How many accepted rows have exactly this point, itself included."""
    # Bits of both numbers mixed to one; two points in ten million million million collide.
    bits = lon.view(np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    bits ^= lat.view(np.uint64) * np.uint64(0xC2B2AE3D27D4EB4F)
    points, code = np.unique(bits, return_inverse=True)
    counts = np.bincount(code[keep], minlength=len(points))
    return np.asarray(np.maximum(counts[code], 1), np.int32)


def _sizes(rows: TreeRows) -> dict[str, object]:
    """Diameters and other sizes, and where the diameter comes from."""
    dbh = rows.number("dbh_cm")
    kinds = []
    for mapped in rows.files:
        rule = mapped.rules.get("dbh_cm")
        how = "measured" if rule is None else _HOW_OF_MEASURE[rule.measure]
        kinds.append("class" if rule is not None and rule.classes else how)
    words = ("measured", "girth", "class", "missing", "impossible")
    code = rows.per_file([words.index(kind) for kind in kinds], np.int32).copy()
    code[rows.flagged(FROM_GIRTH)] = words.index("girth")
    code[np.isnan(dbh)] = words.index("missing")
    faulty = [code_ for code_ in rows.flags if code_.startswith("dbh_cm_")]
    code[np.isnan(dbh) & rows.flagged(*faulty)] = words.index("impossible")
    stems = rows.number("stems")
    return {
        "dbh_cm": dbh,
        "dbh_how": pa.DictionaryArray.from_arrays(pa.array(code), pa.array(words)),
        "height_m": rows.number("height_m"),
        "crown_width_m": rows.number("crown_width_m"),
        "crown_depth_m": rows.number("crown_depth_m"),
        "stems": pa.array(np.nan_to_num(stems).astype(np.int16), mask=np.isnan(stems)),
        "lean_deg": rows.number("lean_deg"),
        "voltage_v": rows.number("voltage_v"),
    }


def _states(rows: TreeRows) -> dict[str, object]:
    """Status, condition, owner and wires; a given removal date stands over the status told."""
    condition = rows.text("condition")
    status = rows.text("status")
    dead = pc.if_else(pc.equal(condition, "dead"), "dead", None)
    status = pc.coalesce(status, dead, pa.scalar("standing"))
    removed = rows.dates("removed_on").is_valid()
    status = pc.if_else(removed, "removed", status)
    return {
        "condition": condition,
        "status": status,
        "owner": rows.text("owner").fill_null("unknown"),
        "wires": rows.text("wires").fill_null("unknown"),
    }
