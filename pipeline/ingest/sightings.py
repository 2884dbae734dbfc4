"""Sightings of fruiting bodies: read, named, gated by attachment and joined to trees."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.geo import crs as geo_crs
from pipeline.ingest import matching
from pipeline.ingest.cells import by_distinct
from pipeline.ingest.checks import joined_flags
from pipeline.ingest.columns import Mapped
from pipeline.ingest.history import after_run
from pipeline.ingest.names import NameBook
from pipeline.ingest.points import Places
from pipeline.ingest.quarantine import Done, Finding, accepted_mask
from pipeline.settings.model import Matching
from pipeline.tables.catalogue_ingest import SIGHTING_MATCHES, SIGHTINGS
from pipeline.units import Flags, Floats, Ints

PSEUDONYM = "observer-"
PSEUDONYM_NOTE = "names of observers were replaced by pseudonyms, the same name by the same one"
_FREE_POSITIONS = frozenset({"soil", "mulch", "turf"})
_NO_PLACE_CODES = frozenset({"place_missing", "place_unreadable", "place_zero",
                             "place_outside_crs", "place_impossible", "out_of_area"})  # fmt: skip
_NOT_THERE = ("stump", "vacant", "removed")
_NO_CANDIDATE = ("vacant", "removed")
_COPIED = (
    "position", "form", "upper_colour", "under_colour", "upper_texture", "under_surface", "flesh",
    "arrangement", "stalk", "bruising", "photo", "notes", "license",
)  # fmt: skip
_NOTES = ("id_unknown", "id_and_place_disagree", "no_place", "accuracy_unknown",
          "accuracy_beyond_cap", "no_tree_near", "several_trees_near", "free_in_soil",
          "tree_not_standing")  # fmt: skip
_SAID = {
    "name_unknown": ("the name means no fungus of the catalogue; the sighting is kept",
                     "Write the scientific name, or have the fungus looked at.", Done.FLAGGED),
    "name_misspelt": ("the name was taken for a slip of the pen", "Mend the name.", Done.MENDED),
    "seen_on_missing": ("the sighting has no date", "Give the date.", Done.FLAGGED),
    "accuracy_zero": ("an accuracy of zero is no accuracy; it counts as unknown",
                      "Leave the cell empty, or give the radius.", Done.EMPTIED),
    "tree_id_respelt": ("the id is taken for the one tree whose id differs by case or spaces",
                        "Write the id as the inventory does.", Done.MENDED),
    "sighting_id_repeated": ("an earlier row has the same id; both are kept as sightings",
                             "Give each sighting its own id, or take the repeated row out.",
                             Done.FLAGGED),
}  # fmt: skip
_MATCHES = ("by_id", "by_place", "ambiguous", "unmatched", "not_decay")


@dataclass(frozen=True)
class TreeIndex:
    """What joining needs of the trees, in the order of their keys; all of length t."""

    tree_id: pa.Array
    x_m: Floats
    y_m: Floats
    status: pa.Array


@dataclass(frozen=True)
class Joined:
    """The accepted sightings, their candidate trees, and what was found in each file's rows."""

    table: pa.Table
    matches: pa.Table
    findings: tuple[tuple[Finding, ...], ...]


def build(
    files: Sequence[Mapped],
    places: Sequence[Places],
    trees: TreeIndex,
    *,
    epsg: int,
    book: NameBook,
    settings: Matching,
) -> Joined:
    """The sightings of some files, joined to trees: by the id told, else by place."""
    parts, findings = [], []
    for mapped, place in zip(files, places, strict=True):
        part, found = _one_file(mapped, place, book, trees.tree_id)
        parts.append(part)
        findings.append(found)
    if not parts:
        return Joined(_empty(SIGHTINGS.arrow_schema), _empty(SIGHTING_MATCHES.arrow_schema), ())
    whole = pa.concat_tables(parts, promote_options="permissive").combine_chunks()
    lon, lat = _numbers(whole["longitude"]), _numbers(whole["latitude"])
    x, y = np.full(len(lon), np.nan), np.full(len(lon), np.nan)
    there = np.isfinite(lon) & np.isfinite(lat)
    x[there], y[there] = geo_crs.transform(
        lon[there], lat[there], source=geo_crs.WGS84, target=epsg
    )
    joins, matches = _join(whole, np.column_stack([x, y]), trees, settings)
    columns = {name: whole[name] for name in whole.column_names}
    columns |= {"x_m": _floats(np.round(x, 3)), "y_m": _floats(np.round(y, 3)), **joins}
    columns["sighting_key"] = pa.array(np.arange(len(lon), dtype=np.int64))
    table = pa.table({name: columns[name] for name in SIGHTINGS.column_names})
    return Joined(table, matches, tuple(findings))


def pseudonym(name: str) -> str:
    """The same stand-in for the same name, whatever its case and spaces; a stand-in stays."""
    if name.startswith(PSEUDONYM):
        return name
    plain = " ".join(name.casefold().split())
    return (
        PSEUDONYM + hashlib.blake2b(plain.encode(), digest_size=5, person=b"observer").hexdigest()
    )


def _one_file(
    mapped: Mapped, places: Places, book: NameBook, tree_ids: pa.Array
) -> tuple[pa.Table, tuple[Finding, ...]]:
    """Accepted rows of one file with everything but the join, and the file's findings."""
    size = len(mapped)
    has_id = mapped.text("tree_id").is_valid().to_numpy(zero_copy_only=False)
    findings = _with_id_excused(places.findings, has_id)
    name = mapped.text("name")
    meant = book.resolve(name)
    how = meant.how.cast(pa.string())
    accuracy = mapped.number("accuracy_m")
    tree_id, respelt = _id_meant(mapped.text("tree_id"), tree_ids)
    told = {
        "name_unknown": ("name", _rows(pc.equal(how, "unknown"))),
        "name_misspelt": ("name", _rows(pc.equal(how, "misspelling"))),
        "seen_on_missing": ("seen_on", _rows(mapped.dates("seen_on").is_null())),
        "accuracy_zero": ("accuracy_m", accuracy == 0),
        "tree_id_respelt": ("tree_id", respelt),
        "sighting_id_repeated": ("sighting_id", _repeated(mapped.text("sighting_id"))),
    }
    for code, (column, mask) in told.items():
        findings += _flagged(mapped, mask, code, column)
    findings += after_run(mapped, "seen_on")
    keep = accepted_mask(size, (*mapped.findings, *findings))
    masks = {**places.flags, **mapped.marks}
    for finding in (*mapped.findings, *findings):
        if finding.done is not Done.SET_ASIDE:
            masks[finding.code] = np.isin(np.arange(size), finding.rows)
    made = pc.binary_join_element_wise(
        str(mapped.raw.source_key), pa.array(mapped.raw.rows).cast(pa.string()), "-"
    )
    columns = {
        "tree_id_meant": tree_id,
        "sighting_id": pc.coalesce(mapped.text("sighting_id"), made),
        "source_key": pa.array(np.full(size, mapped.raw.source_key, np.int32)),
        "row": pa.array(mapped.raw.rows),
        "tree_id_told": mapped.text("tree_id"),
        "longitude": _floats(places.longitude),
        "latitude": _floats(places.latitude),
        "accuracy_m": _floats(np.where(accuracy == 0, np.nan, accuracy)),
        "seen_on": mapped.dates("seen_on"),
        "name_text": name,
        "taxon_id": meant.name.cast(pa.string()),
        "name_how": how,
        "name_certainty": _floats(mapped.number("name_certainty")),
        "name_by": mapped.text("name_by").fill_null("unknown"),
        "host_text": pc.replace_substring_regex(mapped.text("host"), r"(?i)^\s*host:\s*", ""),
        "host_certain": mapped.yes_no("host_certain"),
        "attachment": _attachment(mapped),
        "height_above_ground_m": _floats(mapped.number("height_above_ground_m")),
        "count": _integers(mapped.number("count")),
        "layers": _integers(mapped.number("layers")),
        "width_cm": _floats(mapped.number("width_cm")),
        **{column: mapped.text(column) for column in _COPIED},
        "observer": by_distinct(mapped.text("observer"), lambda text: (pseudonym(text), None))[0],
        "origin": pa.array(["reported"] * size, pa.string()),
        "quoted": pa.nulls(size, pa.string()),
        "flags": joined_flags(size, sorted(masks.items())).cast(pa.string()),
    }
    return pa.table(columns).filter(pa.array(keep)), findings


def _with_id_excused(findings: Sequence[Finding], has_id: Flags) -> tuple[Finding, ...]:
    """A sighting that names its tree needs no place: a bad one is told, a missing one not."""
    kept: list[Finding] = []
    for finding in findings:
        if finding.code not in _NO_PLACE_CODES:
            kept.append(finding)
            continue
        excused = has_id[finding.rows]
        for mask, done in ((~excused, finding.done), (excused, Done.FLAGGED)):
            if mask.any() and not (done is Done.FLAGGED and finding.code == "place_missing"):
                values = tuple(np.array(finding.values, dtype=object)[mask])
                kept.append(replace(finding, rows=finding.rows[mask], values=values, done=done))
    return tuple(kept)


def _attachment(mapped: Mapped) -> pa.Array:
    """Attachment as told, else as the position says, else unknown."""

    def by_position(words: str) -> tuple[str, None]:
        said = set(words.split("|"))
        if said <= _FREE_POSITIONS:
            return "free", None
        return (
            "soil_over_root" if said <= {*_FREE_POSITIONS, "soil_over_root"} else "attached"
        ), None

    implied, _ = by_distinct(mapped.text("position"), by_position)
    told = mapped.text("attachment")
    # 'free' beside a position on the tree contradicts itself: it must not clear the tree
    clash = pc.and_(pc.equal(told, "free"), pc.equal(implied, "attached")).fill_null(False)
    told = pc.if_else(pc.equal(told, "unknown").fill_null(False), None, told)
    return pc.if_else(clash, "unknown", pc.coalesce(told, implied, pa.scalar("unknown")))


def _join(
    whole: pa.Table, xy: Floats, trees: TreeIndex, settings: Matching
) -> tuple[dict[str, pa.Array], pa.Table]:
    """Columns of the join, and the table of candidates."""
    size = len(xy)
    accuracy = _numbers(whole["accuracy_m"])
    free = _rows(pc.equal(whole["attachment"], "free"))
    told = whole["tree_id_meant"]
    by_id = pc.index_in(told, value_set=trees.tree_id).fill_null(-1).to_numpy().astype(np.int64)
    id_unknown = _rows(told.is_valid()) & (by_id < 0)
    status = trees.status.to_numpy(zero_copy_only=False)
    usable = np.flatnonzero(~np.isin(status, _NO_CANDIDATE))
    searched = xy.copy()
    searched[free] = np.nan
    found = matching.candidates(
        searched, accuracy, np.column_stack([trees.x_m, trees.y_m])[usable],
        cap_m=settings.cap_m, inventory_error_m=settings.inventory_error_m,
        unlisted_per_listed=settings.unlisted_per_listed,
    )  # fmt: skip
    best = np.where(found.best_tree >= 0, usable[found.best_tree] if len(usable) else -1, -1)
    sure = (found.best_tree >= 0) & (found.best_weight >= settings.attach_at)
    match = np.full(size, _MATCHES.index("unmatched"), np.int32)
    match[found.best_tree >= 0] = _MATCHES.index("ambiguous")
    match[sure] = _MATCHES.index("by_place")
    match[by_id >= 0] = _MATCHES.index("by_id")
    match[free] = _MATCHES.index("not_decay")
    tree = np.where(by_id >= 0, by_id, np.where(sure, best, -1))
    tree[free] = -1
    weight = np.where(by_id >= 0, 1.0, found.best_weight)
    weight[free] = 0.0
    apart = np.full(size, np.nan)
    named = np.flatnonzero((by_id >= 0) & ~free)
    apart[named] = np.hypot(
        xy[named, 0] - trees.x_m[by_id[named]], xy[named, 1] - trees.y_m[by_id[named]]
    )
    disagrees, _ = matching.disagree(apart, accuracy, inventory_error_m=settings.inventory_error_m)
    note = _notes(found, match, id_unknown, disagrees, np.isin(status, _NOT_THERE), tree)
    joins = {
        "match": _coded(match, _MATCHES),
        "tree_key": pa.array(tree),
        "match_weight": pa.array(np.clip(weight, 0.0, 1.0)),
        "match_note": _coded(note, _NOTES),
    }
    return joins, _matches(found, usable, named, by_id, apart)


def _notes(
    found: matching.Candidates,
    match: npt.NDArray[np.int32],
    id_unknown: Flags,
    disagrees: Flags,
    not_there: Flags,
    tree: Ints,
) -> npt.NDArray[np.int32]:
    """One note a sighting, the weightiest last: code into _NOTES, -1 for none."""
    note = np.full(len(match), -1, np.int32)
    unmatched = match == _MATCHES.index("unmatched")
    by_reason = np.array(
        [_NOTES.index(name) if name else -1 for name in matching.REASONS], np.int32
    )
    note[unmatched] = by_reason[found.reason[unmatched]]
    note[match == _MATCHES.index("ambiguous")] = _NOTES.index("several_trees_near")
    attached = tree >= 0
    gone = np.zeros(len(match), np.bool_)
    gone[attached] = not_there[tree[attached]]
    note[gone] = _NOTES.index("tree_not_standing")
    note[disagrees] = _NOTES.index("id_and_place_disagree")
    note[id_unknown] = _NOTES.index("id_unknown")
    note[match == _MATCHES.index("not_decay")] = _NOTES.index("free_in_soil")
    return note


def _matches(
    found: matching.Candidates, usable: Ints, named: Ints, by_id: Ints, apart: Floats
) -> pa.Table:
    """Candidates by place, and the told tree of those that name theirs.

    A told tree that is none of the candidates by place has no weight by distance; where the place
    names no candidate it has all of it.
    """
    listed = found.tree >= 0
    tree = np.full(len(found.tree), -1, np.int64)
    tree[listed] = usable[found.tree[listed]]
    among = np.zeros(len(by_id), np.bool_)
    among[found.sighting[tree == by_id[found.sighting]]] = True
    named = named[~among[named]]
    alone = np.where(found.reason[named] == matching.MATCHED, 0.0, 1.0)
    sighting = np.concatenate([found.sighting, named])
    order = np.lexsort((np.concatenate([tree, by_id[named]]), sighting))
    columns = {
        "sighting_key": sighting[order],
        "tree_key": np.concatenate([tree, by_id[named]])[order],
        "distance_m": _floats(np.concatenate([found.distance_m, apart[named]])[order]),
        "weight": np.clip(np.concatenate([found.weight, alone])[order], 0, 1),
    }
    return pa.table(columns)


def _flagged(mapped: Mapped, mask: Flags, code: str, column: str) -> tuple[Finding, ...]:
    rows = np.flatnonzero(mask)
    if not len(rows):
        return ()
    values = tuple(mapped.original(column).take(pa.array(rows)).to_pylist())
    problem, remedy, done = _SAID[code]
    return (Finding(code, rows, mapped.header(column), values, problem, remedy, done),)


def _id_meant(told: pa.Array, tree_ids: pa.Array) -> tuple[pa.Array, Flags]:
    """The tree ids told, as the inventory spells them where case and spaces alone differ.

    Where two trees differ by no more than that, none of them is meant.
    """
    unknown = _rows(pc.and_(told.is_valid(), pc.invert(pc.is_in(told, value_set=tree_ids))))
    if not unknown.any():
        return told, unknown
    plain = _plain_id(tree_ids)
    counts = pc.value_counts(plain)
    alone = counts.field("values").filter(pc.equal(counts.field("counts"), 1))
    asked = _plain_id(told)
    respelt = unknown & _rows(pc.is_in(asked, value_set=alone))
    meant = tree_ids.take(pc.index_in(asked, value_set=plain))
    return pc.if_else(pa.array(respelt), meant, told), respelt


def _plain_id(ids: pa.Array) -> pa.Array:
    return pc.replace_substring_regex(pc.utf8_lower(ids), r"\s+", "")


def _repeated(ids: pa.Array) -> Flags:
    """Rows whose id an earlier row has."""
    code = ids.dictionary_encode().indices
    known = np.flatnonzero(_rows(ids.is_valid()))
    _, first = np.unique(code.filter(ids.is_valid()).to_numpy(), return_index=True)
    repeated = np.zeros(len(ids), np.bool_)
    repeated[known] = True
    repeated[known[first]] = False
    return repeated


def _rows(mask: pa.Array | pa.ChunkedArray) -> Flags:
    if isinstance(mask, pa.ChunkedArray):
        mask = mask.combine_chunks()
    return np.asarray(mask.fill_null(False).to_numpy(zero_copy_only=False), np.bool_)


def _numbers(column: pa.ChunkedArray) -> Floats:
    return np.asarray(column.fill_null(float("nan")).to_numpy(), np.float64)


def _floats(values: Floats) -> pa.Array:
    return pa.array(values, from_pandas=True)


def _integers(values: Floats) -> pa.Array:
    return pa.array(np.nan_to_num(values).astype(np.int32), mask=np.isnan(values))


def _coded(codes: npt.NDArray[np.int32], words: tuple[str, ...]) -> pa.Array:
    return pa.DictionaryArray.from_arrays(pa.array(codes, mask=codes < 0), pa.array(words))


def _empty(schema: pa.Schema) -> pa.Table:
    return schema.empty_table()
