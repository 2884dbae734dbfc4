"""What the city does about a tree, in words that a resident can read, and by when."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.published.sentences import PAGE, Texts
from pipeline.render.context import RenderContext
from pipeline.render.wording_numbers import day
from pipeline.settings.quarter import Quarter
from pipeline.tables.catalogue_planning import CUTS, TESTS
from pipeline.units import Ints

MAKE_SAFE = "make_safe"
LOOK_AGAIN = "retain_monitor"


@dataclass(frozen=True, slots=True)
class PublicJob:
    """One job on a tree; `quarter` is None where it is left out for `reason`.

    `tested` says that a test of the tree comes first, which may lift the job; `as_of` is the day
    of the run, and `due` the day by which the job should be done.
    """

    tree: int
    action: str
    quarter: str | None
    on: date | None
    late: bool
    reason: str
    tested: bool = False
    as_of: date | None = None
    due: date | None = None

    def words(self, t: Texts) -> str:
        """One sentence: what is done, and by when or why not yet."""
        if self.action == MAKE_SAFE:
            return self._fenced(t)
        if self.quarter is None:
            return self._say(t, "no_date", why=self.reason)
        unless = t.of(PAGE, "public", "unless") if self.tested else ""
        return self._say(t, "known", day=self._until(t), unless=unless, late=self._late(t))

    @property
    def at_once(self) -> bool:
        """The job is placed on the day of the run."""
        return self.on is not None and self.on == self.as_of

    def _fenced(self, t: Texts) -> str:
        """When people are kept out: at once only where that is the day of the run."""
        if self.quarter is None:
            return self._say(t, "nowhere", why=self.reason)
        if self.at_once:
            return self._say(t, "now", day=self._until(t))
        late = t.of(PAGE, "public", "late") if self.late else ""
        return self._say(t, "on" if self.on else "by", day=self._until(t), late=late)

    def _late(self, t: Texts) -> str:
        if not self.late:
            return ""
        if self.action == LOOK_AGAIN and self.due and self.as_of and self.due < self.as_of:
            return t.of(PAGE, "public", "since", year=self.due.year)
        return t.of(PAGE, "public", "late")

    def _say(self, t: Texts, variant: str, /, **told: object) -> str:
        return t.of(PAGE, "public", variant, doing=t.word("public", self.action), **told)

    def _until(self, t: Texts) -> str:
        return day(self.until.isoformat(), t)

    @property
    def until(self) -> date:
        """The day of the job, or the last day of its quarter."""
        return self.on or Quarter.parse(self.quarter or "").last_day


def jobs_of(context: RenderContext, trees: Ints) -> dict[int, list[PublicJob]]:
    """Jobs of the trees of these rows, what comes first in front, jobs without a date last."""
    jobs = context.table("planning.jobs")
    keep = np.isin(_whole(jobs["tree_key"]), trees)
    wanted = jobs.filter(pa.array(keep, pa.bool_()))
    keys = wanted["job_key"]
    queue = _by_job(context.table("planning.queue"), keys, ("quarter", "day", "late_days"))
    left = _by_job(context.table("planning.unscheduled"), keys, ("reason",))
    found: dict[int, list[PublicJob]] = {}
    t = context.texts
    for tree, job, action, due in zip(
        wanted["tree_key"].to_pylist(),
        wanted["job_key"].to_pylist(),
        wanted["action"].cast(pa.string()).to_pylist(),
        wanted["deadline_on"].to_pylist(),
        strict=True,
    ):
        quarter, on, late_days = queue.get(job, (None, None, 0))
        reason = t.word("no_date", left[job][0] if job in left else "other")
        made = PublicJob(
            tree, action, quarter, on, late_days > 0, reason, as_of=context.as_of, due=due
        )
        found.setdefault(tree, []).append(made)
    for several in found.values():
        if any(job.action in TESTS and job.quarter for job in several):
            several[:] = [replace(job, tested=job.action in CUTS) for job in several]
    return {tree: sorted(several, key=_when) for tree, several in found.items()}


def main_job(jobs: Iterable[PublicJob], action: str) -> PublicJob | None:
    """The job that carries out the chosen action, else the last that is not the isolation."""
    several = list(jobs)
    chosen = [job for job in several if job.action == action]
    others = [job for job in several if job.action != MAKE_SAFE]
    for among in (chosen, others[::-1], several):
        if among:
            return among[0]
    return None


def _when(job: PublicJob) -> tuple[bool, bool, date, str]:
    dated = job.quarter is not None
    return job.action != MAKE_SAFE, not dated, job.until if dated else date.max, job.action


def _by_job(
    table: pa.Table, jobs: pa.ChunkedArray, columns: tuple[str, ...]
) -> dict[int, tuple[Any, ...]]:
    table = table.filter(pc.is_in(table["job_key"], jobs.combine_chunks()))
    texts = (
        column.cast(pa.string()) if pa.types.is_dictionary(column.type) else column
        for column in (table[c] for c in columns)
    )
    rows = zip(*(text.to_pylist() for text in texts), strict=True)
    return dict(zip(table["job_key"].to_pylist(), rows, strict=True))


def _whole(column: pa.ChunkedArray) -> Ints:
    return np.asarray(column.to_numpy(zero_copy_only=False), dtype=np.int64)
