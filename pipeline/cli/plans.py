"""Plan against plan: what another plan of the same trees costs, removes and misses."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow.compute as pc
import typer

from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore

_PER_MILLION = 1e6


@dataclass(frozen=True, slots=True)
class PlanTotals:
    """What a run's plan comes to; make-safe and looks are among the jobs."""

    jobs: int
    left_out: int
    removed: float
    removed_first: float
    missed: int
    late_days: int
    hours: float
    cost: float


def totals(folder: Path) -> PlanTotals | None:
    """The totals of a run; None where it has no plan."""
    store = RunStore(folder)
    jobs_table, queue_table = TABLES["planning.jobs"], TABLES["planning.queue"]
    if not store.has(jobs_table) or not store.has(queue_table):
        return None
    jobs, queue = store.read(jobs_table), store.read(queue_table)
    left = store.read(TABLES["planning.unscheduled"])
    at = queue["job_key"].to_numpy()
    harm = jobs["harm_removed"].to_numpy()
    late = queue["late_days"].to_numpy()
    quarter = np.asarray(queue["quarter"].cast("string").to_pylist(), dtype=object)
    early = np.asarray(pc.is_valid(queue["day"]).to_numpy(zero_copy_only=False), dtype=bool)
    due = pc.is_valid(jobs["deadline_on"].take(left["job_key"]))
    cost = pc.sum(jobs["cost"].take(queue["job_key"])).as_py()
    return PlanTotals(
        jobs=quarter.size,
        left_out=left.num_rows,
        removed=float(harm[at].sum()),
        removed_first=float(harm[at][early].sum()),
        missed=int((late > 0).sum()) + int(pc.sum(due).as_py() or 0),
        late_days=int(late.sum()),
        hours=float(jobs["hours"].to_numpy()[at].sum()),
        cost=float(cost or 0.0),
    )


def told(old: Path, new: Path) -> None:
    """Print the old plan beside the new one."""
    before, after = totals(old), totals(new)
    if before is None or after is None:
        return
    typer.echo(f"Plan against plan: {old.name} -> {new.name}")
    for name, one, other, form in (
        ("harm removed a year, per million", before.removed * _PER_MILLION,
         after.removed * _PER_MILLION, ",.1f"),
        ("of it by the end of the first quarter", before.removed_first * _PER_MILLION,
         after.removed_first * _PER_MILLION, ",.1f"),
        ("deadlines missed, left out after one included", before.missed, after.missed, ",d"),
        ("days late in all", before.late_days, after.late_days, ",d"),
        ("jobs in the plan", before.jobs, after.jobs, ",d"),
        ("jobs left out", before.left_out, after.left_out, ",d"),
        ("crew-hours at the trees", before.hours, after.hours, ",.1f"),
        ("cost", before.cost, after.cost, ",.0f"),
    ):  # fmt: skip
        typer.echo(f"  {name}: {one:{form}} -> {other:{form}} ({other - one:+{form}})")
