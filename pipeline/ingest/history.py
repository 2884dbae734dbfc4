"""What people decided and did, tied to the trees, and what it changes on them.

Numbers and dates that cannot be have been emptied before (see checks); a row that then lacks what
it needs is set aside with its own words, so that nothing anybody wrote is lost.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.ingest.checks import AFTER_RUN, AFTER_RUN_SAID
from pipeline.ingest.columns import Mapped
from pipeline.ingest.places import finding, keyed
from pipeline.ingest.quarantine import Done, Finding, accepted_mask
from pipeline.settings.quarter import Quarter
from pipeline.tables.catalogue_ingest import DECISIONS, WORK_DONE
from pipeline.tables.inputs import ACTIONS
from pipeline.tables.schema import TableSchema
from pipeline.terms import RatingWord, word
from pipeline.units import Flags, Ints

_NEEDS_VALUE = ("override", "pin")
_ENDS_STANDING = {"remove": "removed", "habitat_pole": "habitat_pole"}
_PRUNINGS = ("prune_part", "reduce_crown")
_INSPECTIONS = ("inspect",)


@dataclass(frozen=True, slots=True)
class History:
    """A whole table with its keys, and the findings of each file."""

    table: pa.Table
    findings: tuple[tuple[Finding, ...], ...]


@dataclass(frozen=True, slots=True)
class TreeChanges:
    """What history says of each tree, null where it says nothing; all of length t.

    Parameters
    ----------
    status : the status that the latest work left, text.
    last_inspected_on, last_pruned_on : latest dates.
    """

    status: pa.Array
    last_inspected_on: pa.Array
    last_pruned_on: pa.Array


def tree_keys(told: pa.Array | pa.ChunkedArray, tree_id: pa.Array | pa.ChunkedArray) -> Ints:
    """Key of the tree that each text names, -1 where none; shape (n,).

    Parameters
    ----------
    tree_id : ids of the accepted trees in the order of their keys.
    """
    ids = tree_id.combine_chunks() if isinstance(tree_id, pa.ChunkedArray) else tree_id
    found = pc.index_in(told, value_set=ids.cast(pa.string()), skip_nulls=True)
    return np.asarray(found.fill_null(-1).to_numpy(), dtype=np.int64)


def decisions(files: Sequence[Mapped], tree_id: pa.Array) -> History:
    """ingest.decisions in file order; one about a job needs no tree, any other one that stands."""
    parts, findings = [], []
    for mapped in files:
        keys = tree_keys(mapped.text("tree_id"), tree_id)
        found = (
            *_subject(mapped),
            *lacking(mapped, "decision", "The row does not say what was decided.",
                     "Write accept, override, pin, defer or acknowledge."),
            *lacking(mapped, "decided_on", "The row has no date that can be.", "Give the date."),
            *lacking(mapped, "role", "The row does not say in which role somebody decided.",
                     "Write the role, as city forester; no name."),
            *_odd_values(mapped),
            *_of_no_tree(mapped, keys),
            *_ends_before(mapped),
            *finding(
                mapped, flags_of(mapped.text("reason").is_null()),
                code="reason_missing", done=Done.FLAGGED, column="reason",
                said=("The decision gives no reason; it stands and nobody will know why.",
                      "Write the reason."),
            ),
            *finding(
                mapped,
                flags_of(pc.equal(mapped.text("decision"), "defer"))
                & flags_of(mapped.dates("until").is_null()),
                code="defer_without_end", done=Done.FLAGGED, column="until",
                said=("The decision defers without saying until when; it holds until revoked.",
                      "Give the date until which it holds."),
            ),
        )  # fmt: skip
        findings.append(found)
        columns = {
            "tree_key": pa.array(keys),
            **{name: mapped.text(name) for name in ("tree_id", "job_id", "decision", "value")},
            "decided_on": mapped.dates("decided_on"),
            "role": mapped.text("role"),
            "reason": mapped.text("reason"),
            "until": mapped.dates("until"),
            "origin": pa.repeat(pa.scalar("reported"), len(mapped)),
            "quoted": pa.nulls(len(mapped), pa.string()),
        }
        parts.append(_accepted(DECISIONS, columns, mapped, found))
    return History(keyed(DECISIONS, parts), tuple(findings))


def work_done(files: Sequence[Mapped], tree_id: pa.Array) -> History:
    """ingest.work_done in file order; work on a tree that is gone is kept with key -1."""
    parts, findings = [], []
    for mapped in files:
        keys = tree_keys(mapped.text("tree_id"), tree_id)
        found = (
            *_subject(mapped),
            *lacking(mapped, "action", "The row does not say what was done.",
                     f"Write one of {', '.join(ACTIONS)}."),
            *lacking(mapped, "done_on", "The row has no date that can be.", "Give the date."),
            *_gone(mapped, keys),
        )  # fmt: skip
        findings.append(found)
        columns = {
            "tree_key": pa.array(keys),
            **{name: mapped.text(name) for name in ("tree_id", "job_id")},
            "done_on": mapped.dates("done_on"),
            "action": mapped.text("action"),
            "hours": numbers(mapped, "hours"),
            "decay_share_seen": numbers(mapped, "decay_share_seen"),
            "fungus_seen": mapped.text("fungus_seen"),
            "notes": mapped.text("notes"),
        }
        parts.append(_accepted(WORK_DONE, columns, mapped, found))
    return History(keyed(WORK_DONE, parts), tuple(findings))


def changes(inspections: pa.Table, work: pa.Table, *, trees: int, as_of: date) -> TreeChanges:
    """What inspections and work up to the day of the run change on the trees.

    Parameters
    ----------
    inspections, work : ingest.inspections and ingest.work_done.
    trees : number of trees.
    as_of : what lies after this day counts as not yet done.
    """
    key, day = work["tree_key"].to_numpy(), _days(work["done_on"])
    action = work["action"].cast(pa.string()).combine_chunks()
    counts = (key >= 0) & (day <= _day(as_of))
    status = np.full(trees, None, dtype=object)
    ends = np.flatnonzero(counts & _among(action, tuple(_ENDS_STANDING)))
    # Sorted by day, a later row is written over an earlier one.
    ends = ends[np.argsort(day[ends], kind="stable")]
    status[key[ends]] = [_ENDS_STANDING[one] for one in action.take(pa.array(ends)).to_pylist()]
    inspected = counts & _among(action, _INSPECTIONS)
    pruned = counts & _among(action, _PRUNINGS)
    seen_key, seen_day = inspections["tree_key"].to_numpy(), _days(inspections["inspected_on"])
    seen = (seen_key >= 0) & (seen_day <= _day(as_of))
    return TreeChanges(
        pa.array(status, type=pa.string()),
        _latest(
            trees,
            np.concatenate([seen_key[seen], key[inspected]]),
            np.concatenate([seen_day[seen], day[inspected]]),
        ),
        _latest(trees, key[pruned], day[pruned]),
    )


def lacking(mapped: Mapped, name: str, reason: str, remedy: str) -> tuple[Finding, ...]:
    """Set aside the rows in which a needed column is empty, or was emptied."""
    dated = name.endswith("_on")
    empty = (mapped.dates if dated else mapped.text)(name).is_null()
    missing = finding(
        mapped, flags_of(empty), code=f"{name}_missing", done=Done.SET_ASIDE, column=name,
        said=(reason, remedy),
    )  # fmt: skip
    return (*missing, *after_run(mapped, name)) if dated else missing


def after_run(mapped: Mapped, name: str) -> tuple[Finding, ...]:
    """Set aside the rows that are dated after the day of the run."""
    late = mapped.marks.get(AFTER_RUN)
    if late is None:
        return ()
    return finding(
        mapped, late, code=AFTER_RUN, done=Done.SET_ASIDE, column=name, said=AFTER_RUN_SAID
    )


def flags_of(mask: pa.Array) -> Flags:
    """A mask as numpy, null as false."""
    return np.asarray(mask.fill_null(False).to_numpy(zero_copy_only=False), dtype=np.bool_)


def numbers(mapped: Mapped, name: str) -> pa.Array:
    """A number column for a table, null where it is not told."""
    return pa.array(mapped.number(name), from_pandas=True)


def _accepted(
    schema: TableSchema,
    columns: dict[str, pa.Array],
    mapped: Mapped,
    findings: Sequence[Finding],
) -> pa.Table:
    rows = np.flatnonzero(accepted_mask(len(mapped), findings))
    table = pa.table({name: columns[name] for name in schema.column_names if name in columns})
    return table.take(pa.array(rows))


def _subject(mapped: Mapped) -> tuple[Finding, ...]:
    neither = pc.and_(mapped.text("tree_id").is_null(), mapped.text("job_id").is_null())
    return finding(
        mapped, flags_of(neither), code="tree_and_job_missing", done=Done.SET_ASIDE,
        said=("The row names neither a tree nor a job.", "Write the tree id or the job id."),
    )  # fmt: skip


def _gone(mapped: Mapped, keys: Ints) -> tuple[Finding, ...]:
    told = flags_of(mapped.text("tree_id").is_valid())
    return finding(
        mapped, told & (keys < 0), code="tree_unknown", done=Done.FLAGGED, column="tree_id",
        said=("The inventory has no such tree; the row is kept without one.",
              "Check the id, or leave the row if the tree is gone."),
    )  # fmt: skip


def _of_no_tree(mapped: Mapped, keys: Ints) -> tuple[Finding, ...]:
    """A decision must not be lost on a slip in an id: it comes back to who wrote it."""
    told, job = (
        flags_of(mapped.text("tree_id").is_valid()),
        flags_of(mapped.text("job_id").is_valid()),
    )
    return finding(
        mapped, told & (keys < 0) & ~job, code="tree_unknown", done=Done.SET_ASIDE,
        column="tree_id",
        said=("The inventory has no such tree: the decision bears on none.",
              "Check the id; leave the row if the tree is gone."),
    )  # fmt: skip


def _ends_before(mapped: Mapped) -> tuple[Finding, ...]:
    """Decisions that end before they were made."""
    ended = flags_of(pc.less(mapped.dates("until"), mapped.dates("decided_on")))
    return finding(
        mapped, ended, code="until_before_decision", done=Done.SET_ASIDE, column="until",
        said=("The decision ends before it was made.", "Mend one of the two dates."),
    )  # fmt: skip


def _odd_values(mapped: Mapped) -> tuple[Finding, ...]:
    """Overrides without an action or rating, and pins without a quarter, cannot be obeyed."""
    ratings = tuple(word(one) for one in RatingWord if one is not RatingWord.NOT_ASSESSED)
    value, decision = mapped.text("value"), mapped.text("decision")
    quarters = [one for one in pc.unique(value.drop_null()).to_pylist() if _is_quarter(one)]
    fits = pc.if_else(
        pc.equal(decision, "pin"),
        pc.is_in(value, value_set=pa.array(quarters, type=pa.string())),
        pc.is_in(value, value_set=pa.array((*ACTIONS, *ratings))),
    )
    needs = flags_of(pc.is_in(decision, value_set=pa.array(_NEEDS_VALUE)))
    return finding(
        mapped, needs & ~flags_of(fits), code="decision_value_unknown", done=Done.SET_ASIDE,
        column="value",
        said=("An override needs an action or a rating as its value, a pin needs a quarter.",
              f"Write one of {', '.join(ACTIONS)}, a rating, or a quarter as 2027Q1."),
    )  # fmt: skip


def _is_quarter(text: str) -> bool:
    try:
        Quarter.parse(text)
    except ValueError:
        return False
    return True


def _among(words: pa.Array, wanted: tuple[str, ...]) -> Flags:
    return flags_of(pc.is_in(words, value_set=pa.array(wanted)))


def _days(dates: pa.ChunkedArray) -> Ints:
    """Days since 1970 of a date column without nulls."""
    return np.asarray(dates.cast(pa.int32()).to_numpy(), dtype=np.int64)


def _day(one: date) -> int:
    return int(np.datetime64(one, "D").astype(np.int64))


def _latest(trees: int, key: Ints, day: Ints) -> pa.Array:
    """The latest day of each tree as a date column, null where there is none."""
    never = np.iinfo(np.int64).min
    latest = np.full(trees, never, dtype=np.int64)
    np.maximum.at(latest, key, day)
    none = latest == never
    days = np.where(none, 0, latest).astype(np.int32)
    return pa.array(days, type=pa.int32(), mask=none).cast(pa.date32())
