"""Inspections: rows of findings become inspections, defects and readings, tied to the trees."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.columns import Mapped
from pipeline.ingest.history import flags_of, lacking, numbers, tree_keys
from pipeline.ingest.measured import (
    ReadingLimits,
    possible,
    repeated_azimuths,
    says_nothing,
    turned,
    without_value,
)
from pipeline.ingest.places import finding
from pipeline.ingest.quarantine import Done, Finding, accepted_mask
from pipeline.tables.catalogue_ingest import DEFECTS, INSPECTIONS, READINGS
from pipeline.units import Flags, Floats, Ints

NONE_SEEN = "none_seen"
_DEFECT_NUMBERS = ("extent_share", "part_diameter_cm", "side_deg", "lean_deg")
_DEFECT_TRUTHS = ("with_decay", "with_crack", "touches_soil", "soil_moved", "roots_broken")
_READING_NUMBERS = (
    "azimuth_deg", "section_diameter_cm", "shell_cm", "hollow_diameter_cm", "opening_cm",
    "decayed_share",
)  # fmt: skip
# The part that a finding speaks of where the row does not say: where the trade looks for it.
_PART_OF_DEFECT = {
    "root_damage": "roots", "girdling_root": "roots", "lean": "roots", "obstruction": "roots",
    "crown_dieback": "branch", "dead_branch": "branch", "hanging_branch": "branch",
}  # fmt: skip
_PART_OF_READING = {"pull_test": "roots"}
_USUAL_PART = "stem"


@dataclass(frozen=True, slots=True)
class Inspections:
    """ingest.inspections, ingest.defects and ingest.readings, and the findings of each file."""

    inspections: pa.Table
    defects: pa.Table
    readings: pa.Table
    findings: tuple[tuple[Finding, ...], ...]


def build(
    files: Sequence[Mapped],
    tree_id: pa.Array,
    *,
    dbh_cm: Floats | None = None,
    limits: ReadingLimits | None = None,
) -> Inspections:
    """The inspections of some files.

    Parameters
    ----------
    files : rows with the same inspection id, tree and date are one inspection; without an id,
        rows with the same tree and date.
    tree_id : ids of the accepted trees in the order of their keys.
    dbh_cm : their diameters, NaN where unknown.
    limits : how large a measurement may be; None believes every one.
    """
    parts, findings = [], []
    for mapped in files:
        keys = tree_keys(mapped.text("tree_id"), tree_id)
        found = _judged(mapped, keys)
        if limits is not None and dbh_cm is not None:
            own = np.where(keys < 0, np.nan, np.append(dbh_cm, np.nan)[keys])
            mapped, emptied = possible(mapped, own, limits)  # noqa: PLW2901 - the same file, mended
            found = (*found, *emptied, *without_value(mapped), *repeated_azimuths(mapped))
        findings.append(found)
        rows = pa.array(np.flatnonzero(accepted_mask(len(mapped), found)))
        parts.append(_rows(mapped, keys).take(rows))
    if not parts:
        none = [table.arrow_schema.empty_table() for table in (INSPECTIONS, DEFECTS, READINGS)]
        return Inspections(none[0], none[1], none[2], ())
    rows = pa.concat_tables(parts).combine_chunks()
    rows = rows.append_column("inspection_key", pa.array(_groups(rows)))
    return Inspections(_inspections(rows), _defects(rows), _readings(rows), tuple(findings))


def _judged(mapped: Mapped, keys: Ints) -> tuple[Finding, ...]:
    """What sets rows aside, and what is said of those that stay."""
    named = flags_of(mapped.text("tree_id").is_valid())
    defect, reading = mapped.text("defect"), mapped.text("reading")
    kindless = flags_of(_kinds(mapped).is_valid()) & flags_of(reading.is_null())
    no_part = flags_of(mapped.text("part").is_null())
    speaks = flags_of(defect.is_valid()) & ~flags_of(pc.equal(defect, NONE_SEEN))
    return (
        *lacking(mapped, "tree_id", "The row names no tree.", "Write the tree id."),
        *finding(
            mapped, named & (keys < 0), code="tree_unknown", done=Done.SET_ASIDE,
            column="tree_id",
            said=("The inventory has no such tree.", "Mend the id, or add the tree."),
        ),
        *lacking(mapped, "inspected_on", "The row has no date that can be.", "Give the date."),
        *finding(
            mapped, _unread(mapped, "defect"), code="defect_unknown", done=Done.SET_ASIDE,
            column="defect",
            said=("The word for the defect is not known; what it means for the tree is unclear.",
                  "Map the word in the column map, or write one of the canonical words."),
        ),
        *finding(
            mapped, _unread(mapped, "reading"), code="reading_unknown", done=Done.SET_ASIDE,
            column="reading",
            said=("The word for the measurement is not known.",
                  "Write sounding, probe, drill, core, tomogram or pull_test."),
        ),
        *finding(
            mapped, kindless, code="reading_kind_missing", done=Done.FLAGGED, column="reading",
            said=("The measurement names no kind; the coarsest that gives it is taken.",
                  "Write sounding, probe, drill, core, tomogram or pull_test."),
        ),
        *finding(
            mapped, no_part & (speaks | kindless | flags_of(reading.is_valid())),
            code="part_missing", done=Done.FLAGGED, column="part",
            said=("The row does not say which part it speaks of; the usual one is taken.",
                  "Write roots, butt, stem or branch."),
        ),
    )  # fmt: skip


def _kinds(mapped: Mapped) -> pa.Array:
    """The kind of measurement of each row, null where nothing is measured.

    A number without a kind is kept as the coarsest kind that gives such a number: an inspector who
    wrote how wide a hollow is has put something into it.
    """
    told = mapped.text("reading").cast(pa.string())
    share = pc.if_else(pa.array(~np.isnan(mapped.number("decayed_share"))), "tomogram", None)
    size = [~np.isnan(mapped.number(name)) for name in ("shell_cm", "hollow_diameter_cm")]
    probe = pc.if_else(pa.array(np.any(size, axis=0)), "probe", None)
    sounded = pc.if_else(mapped.text("reading_result").is_valid(), "sounding", None)
    return pc.coalesce(told, probe, share, sounded)


def _unread(mapped: Mapped, name: str) -> Flags:
    """Rows whose cell says something that was not understood."""
    told = flags_of(pc.greater(pc.utf8_length(pc.utf8_trim_whitespace(mapped.original(name))), 0))
    coded = {one for found in mapped.findings if found.code.startswith(name) for one in found.rows}
    flagged = np.zeros(len(mapped), dtype=np.bool_)
    flagged[list(coded)] = True
    return told & flagged & flags_of(mapped.text(name).is_null())


def _rows(mapped: Mapped, keys: Ints) -> pa.Table:
    """Everything that the three tables need, row by row."""
    day = mapped.dates("inspected_on")
    made_id = pc.binary_join_element_wise(mapped.text("tree_id"), day.cast(pa.string()), " ")
    texts = ("part", "defect", "reading_result", "notes")
    truths = (*_DEFECT_TRUTHS, "topped", "wet_in_winter")
    measures = (*_DEFECT_NUMBERS, *_READING_NUMBERS, "time_frame_years")
    return pa.table(
        {
            "inspection_id": pc.coalesce(mapped.text("inspection_id"), made_id).cast(pa.string()),
            "tree_key": pa.array(keys),
            "day": day.cast(pa.date32()),
            "dead_since": mapped.dates("dead_since").cast(pa.date32()),
            "reading": _kinds(mapped),
            **{name: mapped.text(name).cast(pa.string()) for name in texts},
            **{name: mapped.yes_no(name).cast(pa.bool_()) for name in truths},
            **{name: numbers(mapped, name).cast(pa.float64()) for name in measures},
            "azimuth_deg": pa.array(turned(mapped.number("azimuth_deg")), from_pandas=True),
        }
    )


def _groups(rows: pa.Table) -> Ints:
    """Number of the inspection of each row, counted in the order of their first rows."""
    code = rows["inspection_id"].combine_chunks().dictionary_encode().indices.to_numpy()
    day = rows["day"].cast(pa.int32()).to_numpy()
    keys = np.column_stack([code.astype(np.int64), rows["tree_key"].to_numpy(), day])
    _, first, group = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    return np.asarray(np.argsort(np.argsort(first))[group.reshape(-1)], dtype=np.int64)


def _inspections(rows: pa.Table) -> pa.Table:
    real = flags_of(pc.not_equal(rows["defect"].combine_chunks(), NONE_SEEN))
    rows = rows.append_column("real", pa.array(real.astype(np.int32)))
    # An empty answer stays empty: only a row that says no makes a no.
    some = pc.ScalarAggregateOptions(min_count=1)
    whole = rows.group_by("inspection_key", use_threads=False).aggregate(
        [
            ("inspection_id", "first"),
            ("tree_key", "first"),
            ("day", "first"),
            ("real", "sum"),
            ("topped", "any", some),
            ("dead_since", "min"),
            ("wet_in_winter", "any", some),
            ("time_frame_years", "max"),
        ]
    )
    spoken = rows.filter(rows["notes"].is_valid())
    notes = spoken.group_by("inspection_key", use_threads=False).aggregate([("notes", "list")])
    joined = pc.binary_join(notes["notes_list"], "; ")
    at = pc.index_in(whole["inspection_key"], value_set=notes["inspection_key"])
    return pa.table(
        {
            "inspection_key": whole["inspection_key"],
            "inspection_id": whole["inspection_id_first"],
            "tree_key": whole["tree_key_first"],
            "inspected_on": whole["day_first"],
            "findings": whole["real_sum"].cast(pa.int32()),
            "topped": whole["topped_any"],
            "dead_since": whole["dead_since_min"],
            "wet_in_winter": whole["wet_in_winter_any"],
            "time_frame_years": whole["time_frame_years_max"],
            "notes": joined.take(at),
        }
    )


def _defects(rows: pa.Table) -> pa.Table:
    latest = _from_latest(rows)
    rows = rows.append_column("latest", pa.array(latest))
    rows = rows.filter(rows["defect"].is_valid())
    return pa.table(
        {
            "defect_key": pa.array(np.arange(rows.num_rows, dtype=np.int64)),
            "inspection_key": rows["inspection_key"],
            "tree_key": rows["tree_key"],
            "seen_on": rows["day"],
            "part": _parts(rows, "defect", _PART_OF_DEFECT),
            "defect": rows["defect"],
            **{name: rows[name] for name in _DEFECT_NUMBERS},
            **{name: rows[name].fill_null(False) for name in _DEFECT_TRUTHS},
            "latest": rows["latest"],
            "origin": pa.array(["reported"] * rows.num_rows, pa.string()),
            "quoted": pa.nulls(rows.num_rows, pa.string()),
            "flags": pa.array([""] * rows.num_rows, pa.string()),
        }
    )


def _readings(rows: pa.Table) -> pa.Table:
    rows = rows.filter(rows["reading"].is_valid())
    rows = rows.filter(pa.array(~says_nothing(rows)))
    return pa.table(
        {
            "reading_key": pa.array(np.arange(rows.num_rows, dtype=np.int64)),
            "inspection_key": rows["inspection_key"],
            "tree_key": rows["tree_key"],
            "measured_on": rows["day"],
            "part": _parts(rows, "reading", _PART_OF_READING),
            "reading": rows["reading"],
            "reading_result": rows["reading_result"],
            **{name: rows[name] for name in _READING_NUMBERS},
            "origin": pa.array(["reported"] * rows.num_rows, pa.string()),
            "quoted": pa.nulls(rows.num_rows, pa.string()),
        }
    )


def _from_latest(rows: pa.Table) -> Flags:
    """Rows of the latest day on which each tree was inspected."""
    key, day = rows["tree_key"].to_numpy(), rows["day"].cast(pa.int32()).to_numpy()
    if not len(key):
        return np.zeros(0, dtype=np.bool_)
    latest = np.full(int(key.max()) + 1, np.iinfo(np.int32).min, dtype=np.int64)
    np.maximum.at(latest, key, day)
    return np.asarray(day == latest[key], dtype=np.bool_)


def _parts(rows: pa.Table, of: str, usual: dict[str, str]) -> pa.ChunkedArray:
    """The part told, else the usual one of the defect or reading."""
    at = pc.index_in(rows[of], value_set=pa.array(list(usual)))
    return pc.coalesce(
        rows["part"], pa.array(list(usual.values())).take(at.combine_chunks()), _USUAL_PART
    )
