"""The council's page: first a sentence, then the map, then the same as a table, then questions."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.render import cautions, files, ground, leaflet, packing, privacy, style
from pipeline.render.context import RenderContext
from pipeline.settings.quarter import Quarter
from pipeline.terms import ConsequenceWord, FailureWord, Part, RatingWord, from_word, word
from pipeline.units import Flags, Ints

NAME = "council_map.html"

_DOING = {
    "make_safe": "Keep people out from under it",
    "remove": "Take the tree down",
    "habitat_pole": "Take the crown off and keep the stem as a home for wildlife",
    "prune_part": "Prune the part that may fail",
    "reduce_crown": "Make the crown smaller",
    "dig_root_collar": "Dig at the root collar and look",
    "sound": "Sound the stem with a mallet",
    "drill": "Measure the wood with a drill",
    "tomography": "Measure the wood by tomography",
    "pull_test": "Test the roots by pulling",
    "expert_identification": "Have the fungus named by a specialist",
    "move_target": "Move what stands under it",
    "retain_monitor": "Keep the tree and look again",
    "inspect": "Inspect it",
    "none": "Nothing is planned yet",
}
_PARTS = {
    Part.ROOTS: "the roots",
    Part.BUTT: "the foot of the stem",
    Part.STEM: "the stem",
    Part.BRANCH: "a branch",
}
_LEFT = {
    "no_crew_of_type": "no crew of the kind needed",
    "no_machine": "no machine of the kind needed",
    "no_hours_left": "no crew-hours left",
    "out_of_season": "the season is closed",
    "deferred": "a person put it off",
    "longer_than_shift": "the job is longer than a shift",
    "do_not_climb_no_lift": "it must not be climbed and there is no lift",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One tree of the table, in words that anyone can read."""

    tree: str
    species: str
    rating: RatingWord
    word: str
    where: str
    why: str
    action: str
    doing: str
    left: str


@dataclass(frozen=True, slots=True)
class Account:
    """The counts behind the first sentence."""

    public: int
    assessed: int
    owner_unknown: int
    ratings: dict[RatingWord, int]
    planned: int
    last_day: date | None
    left: dict[str, int]


def write(context: RenderContext) -> list[Path]:
    """Write the page; returns its path.

    Raises
    ------
    RenderError
        If the page would load something, or cannot be written.
    """
    text = html(context)
    leaflet.assert_offline(text, where=NAME)
    return [files.write_text(context.out / NAME, text)]


def html(context: RenderContext) -> str:
    """The page as text, the same for the same run."""
    shown = _shown(context)
    work = _work(context)
    rows = _rows(context, shown, work)
    account = _account(context, shown, work)
    levels = [r for r in RatingWord if r >= _from(context)]
    longitude, latitude = (privacy.rounded(d[shown]) for d in context.layers.trees)
    values: dict[str, object] = {
        "city": context.city,
        "as_of": context.as_of,
        "summary": _summary(context.city, account, levels),
        "unassessed": _unassessed(account),
        "cautions": cautions.EVERY_PAGE,
        "words": " or ".join(word(r) for r in levels),
        "rows": rows,
        "key": [(r, account.ratings[r]) for r in reversed(levels)],
        "contact": context.settings.settings.output.contact,
    }
    if rows:
        values["map"] = leaflet.city_map(
            latitude=float(np.median(latitude)), longitude=float(np.median(longitude))
        )
        values["blocks"] = _blocks(context, shown, longitude, latitude)
    else:
        values["map"] = {"style": ""}
    return files.page("council_map.html.j2", values)


def _from(context: RenderContext) -> RatingWord:
    return from_word(RatingWord, context.settings.settings.output.council_from)


def _shown(context: RenderContext) -> Ints:
    """Rows of the trees shown, worst rating first, then largest expected harm, then row."""
    ratings = context.table("scoring.tree_ratings")
    rating = _values(ratings["rating"])
    harm = _values(ratings["harm_per_year"])
    public = privacy.is_public(context.table("ingest.trees")["owner"])
    placed = np.isfinite(context.layers.trees[0])
    keep = (rating >= _from(context)) & _rated(context) & public & placed
    rows = np.flatnonzero(keep)
    return rows[np.lexsort((rows, -harm[rows], -rating[rows]))]


def _rated(context: RenderContext) -> Flags:
    return _values(context.table("scoring.tree_ratings")["rated"]).astype(bool)


def _work(context: RenderContext) -> dict[int, tuple[str | None, date | None, str]]:
    """By tree of its first job: quarter, day, and the reason where it is left out."""
    jobs = context.table("planning.jobs")
    tree_of = _values(jobs["tree_key"]).astype(np.int64)
    left = context.table("planning.unscheduled")
    made: dict[int, tuple[str | None, date | None, str]] = {
        int(tree_of[job]): (None, None, _LEFT[reason])
        for job, reason in zip(
            left["job_key"].to_pylist(), left["reason"].cast(pa.string()).to_pylist(), strict=True
        )
    }
    queue = context.table("planning.queue")
    placed = sorted(
        zip(
            queue["quarter"].cast(pa.string()).to_pylist(),
            queue["queue_rank"].to_pylist(),
            queue["job_key"].to_pylist(),
            queue["day"].to_pylist(),
            strict=True,
        ),
        key=lambda entry: entry[:2],
        reverse=True,
    )
    made.update({int(tree_of[job]): (quarter, day, "") for quarter, _, job, day in placed})
    return made


def _rows(
    context: RenderContext,
    shown: Ints,
    work: dict[int, tuple[str | None, date | None, str]],
) -> list[Row]:
    at = pa.array(shown)
    trees = context.table("ingest.trees").select(privacy.PUBLIC_COLUMNS).take(at).to_pylist()
    ratings = context.table("scoring.tree_ratings").take(at).to_pylist()
    zones = context.table("ingest.zones")["kind"].cast(pa.string()).to_pylist()
    return [
        _row(tree, rating, zones, work.get(key))
        for key, tree, rating in zip(shown.tolist(), trees, ratings, strict=True)
    ]


def _row(
    tree: dict[str, Any],
    rating: dict[str, Any],
    zones: list[str],
    work: tuple[str | None, date | None, str] | None,
) -> Row:
    stands = RatingWord(rating["rating"])
    action = rating["best_action"]
    when, left = _when(work)
    return Row(
        tree=tree["tree_id"],
        species=tree["species"] or tree["genus"] or "species not recorded",
        rating=stands,
        word=word(stands),
        where=", ".join(filter(None, (tree["street"], tree["ward"]))) or "see the map",
        why=_why(rating, zones),
        action=action,
        doing=_DOING[action] + when,
        left=left,
    )


def _why(rating: dict[str, Any], zones: list[str]) -> str:
    """One sentence from the worst pair of part and target."""
    if rating["worst_part"] is None or rating["failure"] is None:
        return "A person set this rating."
    fails = word(FailureWord(rating["failure"]))
    said = f"Failure of {_PARTS[Part(rating['worst_part'])]} is judged {fails}."
    zone = rating["worst_zone"]
    target = zones[zone].replace("_", " ") if zone is not None and zone >= 0 else "people below"
    said += f" In reach: {target}"
    if rating["consequence"] is None:
        return f"{said}."
    return f"{said}; the consequences would be {word(ConsequenceWord(rating['consequence']))}."


def _when(work: tuple[str | None, date | None, str] | None) -> tuple[str, str]:
    if work is None:
        return ".", "No date yet."
    quarter, on, reason = work
    if on is not None:
        return f", planned for {style.day(on)}.", ""
    if quarter is not None:
        return f", by {style.day(Quarter.parse(quarter).last_day)}.", ""
    return ".", f"Not scheduled: {reason}."


def _account(
    context: RenderContext,
    shown: Ints,
    work: dict[int, tuple[str | None, date | None, str]],
) -> Account:
    owner = context.table("ingest.trees")["owner"]
    ratings = context.table("scoring.tree_ratings")
    rating = _values(ratings["rating"])
    public = privacy.is_public(owner) & _rated(context)
    assessed = _values(ratings["assessed"]).astype(bool)
    jobs = [work.get(key) for key in shown.tolist()]
    quarters = [job[0] for job in jobs if job and job[0]]
    reasons = [job[2] if job else "no job follows yet" for job in jobs if not (job and job[0])]
    return Account(
        public=int(public.sum()),
        assessed=int((public & assessed).sum()),
        owner_unknown=int(
            (privacy.owner_unknown(owner) & _rated(context) & (rating >= _from(context))).sum()
        ),
        ratings={r: int((rating[shown] == r).sum()) for r in RatingWord},
        planned=len(quarters),
        last_day=Quarter.parse(max(quarters)).last_day if quarters else None,
        left={reason: reasons.count(reason) for reason in sorted(set(reasons))},
    )


def _summary(city: str, account: Account, levels: list[RatingWord]) -> list[str]:
    counts = [f"{account.ratings[r]:,} {word(r)}" for r in reversed(levels)]
    rated = " and ".join([counts[0].replace(" ", " are rated ", 1), *counts[1:]])
    share = account.assessed / account.public if account.public else 0.0
    lines = [
        (
            f"{city} looks after {account.public:,} public trees. {account.assessed:,} of them "
            f"({_in_hundred(share)}) were assessed within the city's inspection cycle: {rated}."
        )
    ]
    total = account.planned + sum(account.left.values())
    if account.planned and account.last_day:
        lines.append(
            f"Work is planned on {account.planned:,} of these {total:,} trees, all of it by "
            f"{style.day(account.last_day)}."
        )
    if account.left:
        reasons = "; ".join(f"{count:,}: {reason}" for reason, count in account.left.items())
        lines.append(
            f"Work on {sum(account.left.values()):,} has no date yet. The reasons: {reasons}."
        )
    if account.owner_unknown:
        lines.append(
            f"{account.owner_unknown:,} more trees are rated so, but the records do not say whose "
            f"land they stand on; they are worked on and not shown here."
        )
    return lines


def _in_hundred(share: float) -> str:
    return "fewer than 1 in 100" if 0 < share < 0.01 else f"{round(100 * share)} in 100"  # noqa: PLR2004


def _unassessed(account: Account) -> str:
    rest = account.public - account.assessed
    return (
        f"{rest:,} public trees have not been looked at within the inspection cycle. They have no "
        "rating; that says nothing good about them."
    )


def _blocks(
    context: RenderContext, shown: Ints, longitude: packing.Array, latitude: packing.Array
) -> dict[str, str]:
    """Marks at rounded places with the row of the table that each stands for."""
    cells = packing.into_cells(longitude, latitude)
    rating = _values(context.table("scoring.tree_ratings")["rating"])[shown][cells.order]
    base = ground.basemap(context)
    trees = packing.columns(
        {
            "cells": cells.table,
            "x": cells.offset_x,
            "y": cells.offset_y,
            "rating": rating.astype(np.uint8),
            "flags": np.zeros(rating.size, np.uint8),
            "id": np.zeros(rating.size, np.uint32),
            "row": cells.order.astype(np.uint32),
        }
    )
    words = {"ids": {"prefix": "", "width": 0, "odd": {}}, "groundNames": base.names}
    return {
        "trees": trees.text,
        "words": packing.document(words).text,
        "ground": base.block.text,
    }


def _values(column: pa.ChunkedArray) -> packing.Array:
    found: packing.Array = np.asarray(column.to_numpy(zero_copy_only=False))
    return found
