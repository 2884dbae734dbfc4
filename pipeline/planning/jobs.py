"""Jobs: the chosen actions of scoring with deadline, window, worth, cost and people's decisions.

A chosen action becomes no job when
- its crew type is 'none': it is done at a desk, not by a crew;
- it is to look again at a tree that is kept, and the city's cycle ends after the plan; or
- crews brought it back as done on a day after the tree was last looked at (or when nobody ever
  looked). An action done on the day of the look, or before it, stays: the look may have called for
  it. Looks themselves (`inspect`, `retain_monitor`) stay: the city's cycle says when they return.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.errors import PlanningError
from pipeline.planning.quarters import NEVER, Horizon
from pipeline.settings.quarter import Quarter
from pipeline.tables.catalogue_planning import JOBS
from pipeline.units import Flags, Floats, Ints

_NO_CREW = "none"
LOOK_AGAIN = "retain_monitor"
RETURNING = ("inspect", LOOK_AGAIN)  # looks of the city's cycle


@dataclass(frozen=True, slots=True)
class Sources:
    """The tables that jobs are made of; `chosen` holds the chosen rows only, in key order."""

    chosen: pa.Table
    ratings: pa.Table
    trees: pa.Table
    decisions: pa.Table
    work_done: pa.Table


@dataclass(frozen=True, slots=True)
class Pinned:
    """People's standing decisions on jobs, both of shape (jobs,).

    Parameters
    ----------
    quarter : place in the horizon, -1 for none, `len(horizon)` for after it.
    until : day number up to which it is put off, NEVER's negative for none.
    """

    quarter: Ints
    label: npt.NDArray[np.object_]
    until: Ints


def make_jobs(sources: Sources, span: Horizon, *, as_of: int) -> pa.Table:
    """The table planning.jobs without costs, in the order of tree and action.

    Parameters
    ----------
    as_of : day number of the run.
    """
    chosen = sources.chosen.filter(_for_crews(sources.chosen))
    chosen = chosen.filter(_due_yet(chosen, sources.ratings, span, as_of))
    ids = _ids(chosen, sources.trees)
    chosen, ids = _not_done(chosen, ids, sources)
    tree = chosen["tree_key"].to_numpy()
    ratings = sources.ratings.take(tree)
    trees = sources.trees.take(tree)
    action = chosen["action"].cast(pa.string())
    pinned = decided(ids, tree, sources.decisions, span, as_of=as_of)
    make_safe = np.asarray(pc.equal(action, "make_safe"))
    # A person may put work off, but making safe is never put off: only done, or acknowledged.
    until = np.where(make_safe, NEVER, pinned.until)
    later = make_safe & (pinned.quarter > 0)
    columns = {
        "job_key": np.arange(chosen.num_rows, dtype=np.int64),
        "job_id": ids,
        "tree_key": tree,
        "action": action,
        "part": chosen["part"],
        "crew_type": chosen["crew_type"],
        "machine": chosen["machine"],
        "hours": chosen["hours"],
        "cost": pa.nulls(chosen.num_rows, pa.float64()),
        "deadline_on": as_dates(_deadline(chosen, ratings, action, as_of)),
        "not_before": as_dates(_window(chosen)),
        "closed_days": pc.if_else(
            pc.is_valid(chosen["overridden_by"]), None, chosen["closed_days"].cast(pa.string())
        ),
        "season_code": chosen["season_code"],
        "rating": ratings["rating"],
        "harm_removed": _worth(chosen, ratings),
        "make_safe": make_safe,
        "no_climb": ratings["no_climb"],
        "pinned_quarter": pa.array(pinned.label, pa.string(), mask=later),
        "deferred_until": as_dates(until),
        "ward": trees["ward"],
        "x_m": trees["x_m"],
        "y_m": trees["y_m"],
    }
    return pa.table({name: columns[name] for name in JOBS.column_names})


def days_of(column: pa.ChunkedArray, *, missing: int = NEVER) -> Ints:
    """Day numbers of a column of dates; `missing` where empty."""
    filled = column.cast(pa.int32()).fill_null(missing)
    return np.asarray(filled.to_numpy(), dtype=np.int64)


def as_dates(days: Ints) -> pa.Array:
    """Dates of day numbers; empty at NEVER."""
    return pa.array(days.astype(np.int32), mask=days == NEVER).cast(pa.date32())


def _for_crews(chosen: pa.Table) -> pa.ChunkedArray:
    return pc.not_equal(chosen["crew_type"].cast(pa.string()), _NO_CREW)


def _due_yet(chosen: pa.Table, ratings: pa.Table, span: Horizon, as_of: int) -> pa.Array:
    """Whether it is work, or a second look that falls due before the plan ends."""
    action = chosen["action"].cast(pa.string())
    due = _deadline(chosen, ratings.take(chosen["tree_key"]), action, as_of)
    again = np.asarray(pc.equal(action, LOOK_AGAIN))
    return pa.array(~again | (due <= span.end) | (due == NEVER))


def _ids(chosen: pa.Table, trees: pa.Table) -> pa.ChunkedArray:
    names = trees["tree_id"].take(chosen["tree_key"])
    return pc.binary_join_element_wise(names, chosen["action"].cast(pa.string()), "/")


def _not_done(
    chosen: pa.Table, ids: pa.ChunkedArray, sources: Sources
) -> tuple[pa.Table, pa.ChunkedArray]:
    done = sources.work_done
    if not done.num_rows or not chosen.num_rows:
        return chosen, ids
    names = sources.trees["tree_id"]
    key = done["tree_key"]
    told = names.take(pc.if_else(pc.greater_equal(key, 0), key, None))
    made = pc.binary_join_element_wise(told, done["action"].cast(pa.string()), "/")
    job = pc.coalesce(done["job_id"], made)
    latest = (
        pa.table({"job": job, "done": done["done_on"].cast(pa.int32())})
        .group_by("job", use_threads=False)
        .aggregate([("done", "max")])
    )
    row = pc.index_in(ids, latest["job"].combine_chunks())
    done_on = days_of(latest["done_max"].take(row), missing=-NEVER)
    looked = sources.ratings["last_looked_on"].take(chosen["tree_key"])
    returning = np.asarray(pc.is_in(chosen["action"].cast(pa.string()), pa.array(RETURNING)))
    keep = returning | (done_on <= days_of(looked, missing=1 - NEVER))
    keep = pa.array(keep)
    return chosen.filter(keep), ids.filter(keep)


def _deadline(chosen: pa.Table, ratings: pa.Table, action: pa.ChunkedArray, as_of: int) -> Ints:
    """Day numbers; where the rules set none, looks are due by the city's cycle."""
    days = chosen["deadline_days"].fill_null(-1).to_numpy().astype(np.int64)
    returning = np.asarray(pc.is_in(action, pa.array(RETURNING)))
    cycle = np.where(returning, days_of(ratings["inspection_due_on"]), NEVER)
    return np.where(days >= 0, as_of + days, cycle)


def _window(chosen: pa.Table) -> Ints:
    """First open day; what lifts the window lifts it here too."""
    lifted = np.asarray(pc.is_valid(chosen["overridden_by"]))
    return np.where(lifted, NEVER, days_of(chosen["not_before"]))


def _worth(chosen: pa.Table, ratings: pa.Table) -> Floats:
    """Harm less what is left; of a look or a test, after it and what follows from it."""
    harm = np.asarray(ratings["harm_per_year"].to_numpy(), dtype=np.float64)
    left = np.asarray(chosen["residual_harm_per_year"].to_numpy(), dtype=np.float64)
    return np.asarray(np.maximum(harm - left, 0.0))


def decided(
    ids: pa.ChunkedArray, tree: Ints, decisions: pa.Table, span: Horizon, *, as_of: int
) -> Pinned:
    """The standing pin or deferral of each job: the latest day's row on its job or its tree.

    Of one day the row that stands later in the file counts. A row with an end that has passed no
    longer stands. A deferral without an end holds for all quarters planned.

    Raises
    ------
    PlanningError
        If a pin names no quarter.
    """
    quarter = np.full(tree.shape, -1, dtype=np.int64)
    label = np.full(tree.shape, None, dtype=object)
    until = np.full(tree.shape, NEVER, dtype=np.int64)
    kind = np.asarray(decisions["decision"].cast(pa.string()))
    rows = np.flatnonzero((kind == "pin") | (kind == "defer"))
    told = days_of(decisions["decided_on"])[rows]
    for row in rows[np.lexsort((rows, told))].tolist():
        one = decisions.slice(row, 1).to_pylist()[0]
        ends = days_of(decisions["until"].slice(row, 1))[0]
        touched = _touched(one["job_id"], one["tree_key"], ids, tree)
        quarter[touched], label[touched], until[touched] = -1, None, NEVER
        if ends < as_of:
            continue
        if kind[row] == "pin":
            asked = _quarter(one)
            quarter[touched], label[touched] = span.index(asked), str(asked)
        else:
            until[touched] = ends if ends != NEVER else span.end + 1
    return Pinned(quarter, label, until)


def _touched(job_id: str | None, tree_key: int, ids: pa.ChunkedArray, tree: Ints) -> Flags:
    if job_id:
        return np.asarray(pc.equal(ids, job_id))
    return np.asarray(tree == tree_key)


def _quarter(decision: dict[str, object]) -> Quarter:
    try:
        return Quarter.parse(str(decision["value"]))
    except ValueError:
        raise PlanningError(
            where=f"decision on {decision['job_id'] or decision['tree_id']}, "
            f"{decision['decided_on']}",
            found=f"pin to {decision['value']!r}",
            expected="a quarter such as 2027Q1",
            remedy="Mend the value of that row in the decisions file.",
        ) from None
