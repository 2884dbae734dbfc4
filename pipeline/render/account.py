"""What a run read, lacked, assumed and left out, as counts and plain sentences for its pages."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.published.sentences import Texts
from pipeline.render.context import RenderContext
from pipeline.render.style import day, number
from pipeline.settings.quarter import Quarter
from pipeline.terms import RatingWord, word
from pipeline.units import Flags

_SURVEYED = ("survey", "map_tag", "building")


@dataclass(frozen=True, slots=True)
class Note:
    """One thing that a reader must know, and what it costs or means."""

    what: str
    cost: str


@dataclass(frozen=True, slots=True)
class QuarterTotals:
    """Totals of the jobs placed in one quarter."""

    name: str
    jobs: int
    hours: float
    late: int
    make_safe: int


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Jobs left out for one reason; `make_safe` of them were on the make-safe list."""

    reason: str
    jobs: int
    hours: float
    make_safe: int


@dataclass(frozen=True, slots=True)
class LookedAt:
    """Rated trees by what their rating rests on; the three counts add up to all of them."""

    inspected: int
    otherwise: int
    not_assessed: int

    @property
    def words(self) -> str:
        """The three counts, each with its meaning."""
        return (
            f"{self.inspected:,} inspected inside the city's cycle, {self.otherwise:,} rated from "
            "a sighting, an older inspection or the inventory alone, "
            f"{self.not_assessed:,} not assessed"
        )


def rating_counts(context: RenderContext) -> list[tuple[RatingWord, int]]:
    """Rated trees by rating, worst first; trees that nobody assessed come last and apart."""
    ratings = context.table("scoring.tree_ratings")
    words = ratings.filter(ratings["rated"])["rating"].to_numpy()
    counts = np.bincount(words, minlength=len(RatingWord))
    order = (*sorted(RatingWord, reverse=True)[:-1], RatingWord.NOT_ASSESSED)
    return [(rating, int(counts[rating])) for rating in order]


def looked_at(context: RenderContext, among: Flags | None = None) -> LookedAt:
    """How the rated trees, or those among these rows, came by their rating, or why they lack one.

    A tree counts as inspected while its last inspection is inside the city's cycle. Ratings that
    rest on a sighting, on an older inspection or on the inventory alone are counted apart.
    """
    ratings = context.table("scoring.tree_ratings")
    kept = _flags(ratings["rated"])
    kept = kept if among is None else kept & among
    rating = ratings["rating"].to_numpy(zero_copy_only=False)
    due = pc.greater_equal(ratings["inspection_due_on"], pa.scalar(context.as_of, pa.date32()))
    has_rating = kept & (rating > RatingWord.NOT_ASSESSED)
    inspected = int((has_rating & _flags(due.fill_null(False))).sum())
    return LookedAt(
        inspected=inspected,
        otherwise=int(has_rating.sum()) - inspected,
        not_assessed=int((kept & ~has_rating).sum()),
    )


def sources(context: RenderContext) -> list[dict[str, Any]]:
    """One row a file read, with its account: rows in = accepted + set aside."""
    return list(context.table("ingest.sources").to_pylist())


def quarters(context: RenderContext) -> list[QuarterTotals]:
    """Totals of each quarter that has jobs, in their order."""
    queue = context.table("planning.queue")
    jobs = context.table("planning.jobs")
    table = pa.table(
        {
            "quarter": queue["quarter"].cast(pa.string()),
            "hours": jobs["hours"].take(queue["job_key"]),
            "late": pc.greater(queue["late_days"], 0).cast(pa.int64()),
            "safe": jobs["make_safe"].take(queue["job_key"]).cast(pa.int64()),
        }
    )
    totals = table.group_by("quarter").aggregate(
        [("quarter", "count"), ("hours", "sum"), ("late", "sum"), ("safe", "sum")]
    )
    return [
        QuarterTotals(
            row["quarter"], row["quarter_count"], row["hours_sum"], row["late_sum"], row["safe_sum"]
        )
        for row in totals.sort_by("quarter").to_pylist()
    ]


def make_safe_days(context: RenderContext) -> str:
    """When the make-safe jobs that have a place are done, as one clause; empty without any."""
    queue, jobs = context.table("planning.queue"), context.table("planning.jobs")
    days = queue.filter(jobs["make_safe"].take(queue["job_key"])).select(["day", "quarter"])
    told = [row["day"] or Quarter.parse(row["quarter"]).last_day for row in days.to_pylist()]
    now = sum(row["day"] == context.as_of for row in days.to_pylist())
    if not told:
        return ""
    jobs_are = "make-safe job is" if len(told) == 1 else "make-safe jobs are"
    clause = f"{number(len(told))} {jobs_are} placed"
    later = len(told) - now
    if now:
        clause += f": {number(now)} at once, on {day(context.as_of)}"
    if later:
        clause += f"{', and' if now else ':'} {number(later)} later, the last by {day(max(told))}"
    return clause


def left_out(context: RenderContext) -> list[LeftOut]:
    """Jobs left out by their binding reason, most first."""
    left = context.table("planning.unscheduled")
    jobs = context.table("planning.jobs")
    table = pa.table(
        {
            "reason": left["reason"].cast(pa.string()),
            "hours": jobs["hours"].take(left["job_key"]),
            "safe": jobs["make_safe"].take(left["job_key"]).cast(pa.int64()),
        }
    )
    totals = table.group_by("reason").aggregate(
        [("reason", "count"), ("hours", "sum"), ("safe", "sum")]
    )
    rows = totals.sort_by([("reason_count", "descending"), ("reason", "ascending")]).to_pylist()
    return [
        LeftOut(row["reason"], row["reason_count"], row["hours_sum"], row["safe_sum"])
        for row in rows
    ]


def missing_inputs(context: RenderContext) -> list[Note]:
    """Inputs that were not given, with what each costs."""
    settings = context.settings.settings
    zones = pc.is_in(
        context.table("ingest.zones")["how"].cast(pa.string()), value_set=pa.array(_SURVEYED)
    )
    absent = (
        (_rows(context, "ingest.sightings"), "No sightings of fungi",
         ("Ratings rest on the defects that inspectors noted. Decay that only a fungus shows is "
          "not seen.")),
        (_rows(context, "ingest.inspections"), "No inspections",
         "Nearly all trees are not assessed. The queue can only say where to look first."),
        (pc.sum(zones).as_py() or 0, "No target zones",
         ("Who is under a tree is taken from street classes, or assumed to be "
          f"'{settings.rating.assumed_occupancy}' where no street is known.")),
        (_rows(context, "ingest.streets"), "No streets",
         ("Crews are routed along straight lines, made "
          f"{settings.planning.straight_line_factor:g} times as long. Times on the road are "
          "rough.")),
        (_rows(context, "ingest.wards"), "No ward borders",
         "Trees outside the city are not found, and wards are those that the inventory names."),
        (_rows(context, "ingest.basemap"), "No water, parks or buildings",
         "The maps draw less to find one's way by. Buildings are not counted as targets."),
        (len(settings.crews), "No crews", "Nothing is scheduled. Every job is listed as left out."),
        (_rows(context, "ingest.decisions"), "No decisions by people",
         "The program's own choice stands for every tree."),
        (_rows(context, "ingest.work_done"), "No work brought back by crews",
         "Work that was done lately may stand in the queue again."),
        (len(settings.city.region), "No region",
         "The strictest closed windows for pruning and nests are used."),
    )  # fmt: skip
    return [Note(what, cost) for given, what, cost in absent if not given]


def assumptions(context: RenderContext) -> list[Note]:
    """Values that were filled or assumed, with how many trees they touch."""
    ratings = context.table("scoring.tree_ratings")
    trees = context.table("ingest.trees")
    rated = ratings["rated"]
    total = _true(rated)
    settings = context.settings.settings
    rows = (
        (_true(pc.and_(rated, ratings["height_filled"])),
         "have no height that could be used",
         "The height is filled from the diameter by published allometry, so reach is rougher."),
        (_true(pc.and_(rated, ratings["occupancy_assumed"])),
         "stand over no known target zone",
         f"Occupancy is assumed to be '{settings.rating.assumed_occupancy}'."),
        (_true(pc.is_null(trees["dbh_cm"])),
         "have no usable diameter", "Size classes and hours of work are assumed."),
        (_true(pc.equal(trees["wires"].cast(pa.string()), "unknown")),
         "have no word on wires",
         "Crews are told to look for wires and to treat any as live until the utility says more."),
        (_true(trees["place_doubtful"]),
         "stand at a doubtful place", "They lie outside the wards, or their point was mended."),
        (_true(pc.equal(trees["species_how"].cast(pa.string()), "genus_only")),
         "are known by genus only", "Values of the genus are used."),
        (_true(pc.and_(pc.is_null(trees["genus"]), pc.is_null(trees["species"]))),
         "have no known species", "They are rated as a tree of unknown kind."),
    )  # fmt: skip
    shelter = [Note("Buildings are taken to stop part of the falls on what stands behind them.",
                    "Such targets count with fewer falls; rating.shelter = false leaves it out.")
               ] * settings.rating.shelter  # fmt: skip
    return shelter + [
        Note(f"{number(count)} of {number(max(total, trees.num_rows))} trees {what}.", cost)
        for count, what, cost in rows
        if count
    ]


def in_words(code: str, t: Texts) -> str:
    """A job, or a reason why one is left out, as people read it."""
    return t.word("job", code, t.word("left_out", code))


def rating_word(rating: RatingWord) -> str:
    """The word of a rating with a capital."""
    return word(rating).capitalize()


def _rows(context: RenderContext, table: str) -> int:
    return int(context.table(table).num_rows)


def _flags(column: pa.ChunkedArray) -> Flags:
    return np.asarray(column.to_numpy(zero_copy_only=False), dtype=np.bool_)


def _true(flags: pa.ChunkedArray | pa.Array) -> int:
    return int(pc.sum(flags).as_py() or 0)
