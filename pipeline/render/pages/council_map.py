"""The council's page: first a sentence, then the map, then the same as a table, then questions."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.published.sentences import PAGE, Texts
from pipeline.render import (
    account,
    cautions,
    files,
    ground,
    leaflet,
    packing,
    privacy,
    public_work,
    style,
)
from pipeline.render.account import LookedAt
from pipeline.render.context import RenderContext
from pipeline.render.public_work import PublicJob
from pipeline.settings.quarter import Quarter
from pipeline.terms import ConsequenceWord, FailureWord, Part, RatingWord, from_word, word
from pipeline.units import Flags, Ints

NAME = "council_map.html"
_NEARLY_ALL = 0.9  # of the trees without an owner: then the page says so first

_PARTS = {
    Part.ROOTS: "the roots",
    Part.BUTT: "the foot of the stem",
    Part.STEM: "the stem",
    Part.BRANCH: "a branch",
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
    doing: list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Account:
    """The counts behind the first sentence."""

    trees: int
    public: int
    looked_at: LookedAt
    unowned: int
    owner_unknown: int
    ratings: dict[RatingWord, int]
    fenced: list[PublicJob]
    planned: int
    before: int
    late: int
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
    work = public_work.jobs_of(context, shown)
    rows = _rows(context, shown, work)
    found = _account(context, shown, work)
    levels = [r for r in RatingWord if r >= _from(context)]
    longitude, latitude = (privacy.rounded(d[shown]) for d in context.layers.drawn_trees[:2])
    values: dict[str, object] = {
        "city": context.city,
        "as_of": context.as_of,
        "summary": _summary(context.city, found, levels, context.settings.first_quarter),
        "unassessed": _unassessed(found),
        "cautions": cautions.every_page(context.texts),
        "words": " or ".join(word(r) for r in levels),
        "rows": rows,
        "key": [(r, found.ratings[r]) for r in reversed(levels)],
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


def _rows(
    context: RenderContext,
    shown: Ints,
    work: dict[int, list[PublicJob]],
) -> list[Row]:
    at = pa.array(shown)
    trees = context.table("ingest.trees").select(privacy.PUBLIC_COLUMNS).take(at).to_pylist()
    ratings = context.table("scoring.tree_ratings").take(at).to_pylist()
    zones = context.table("ingest.zones")["kind"].cast(pa.string()).to_pylist()
    return [
        _row(tree, rating, zones, work.get(key, []), context.texts)
        for key, tree, rating in zip(shown.tolist(), trees, ratings, strict=True)
    ]


def _row(
    tree: dict[str, Any],
    rating: dict[str, Any],
    zones: list[str],
    jobs: list[PublicJob],
    t: Texts,
) -> Row:
    stands = RatingWord(rating["rating"])
    action = rating["best_action"]
    doing = [(job.action, job.words(t)) for job in jobs]
    undated = t.of(PAGE, "public", "undated", doing=t.word("public", action))
    return Row(
        tree=tree["tree_id"],
        species=tree["species"] or tree["genus"] or "species not recorded",
        rating=stands,
        word=word(stands),
        where=", ".join(filter(None, (tree["street"], tree["ward"]))) or "see the map",
        why=_why(rating, zones) + _decided(rating),
        doing=doing or [(action, undated)],
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


def _decided(rating: dict[str, Any]) -> str:
    """That a person decided what is done, where one overrode the program."""
    if rating["decision"] != "override":
        return ""
    if rating["best_action"] == "retain_monitor":
        return (
            f" A person decided to keep it; the rating stays {word(RatingWord(rating['rating']))}."
        )
    if rating["best_action"] != rating["program_action"]:
        return " A person decided what is done; the program alone would choose otherwise."
    return " A person decided on this tree."


def _account(
    context: RenderContext,
    shown: Ints,
    work: dict[int, list[PublicJob]],
) -> Account:
    owner = context.table("ingest.trees")["owner"]
    ratings = context.table("scoring.tree_ratings")
    rating = _values(ratings["rating"])
    public = privacy.is_public(owner) & _rated(context)
    unowned = privacy.owner_unknown(owner) & _rated(context)
    actions = ratings["best_action"].cast(pa.string()).take(pa.array(shown)).to_pylist()
    mains = [
        public_work.main_job(work.get(key, []), action)
        for key, action in zip(shown.tolist(), actions, strict=True)
    ]
    dated = [job for job in mains if job and job.quarter]
    begins = context.settings.first_quarter.first_day
    fenced = [
        job for several in work.values() for job in several if job.action == public_work.MAKE_SAFE
    ]
    reasons = [
        job.reason if job else "no job follows yet" for job in mains if not (job and job.quarter)
    ]
    return Account(
        trees=int(_rated(context).sum()),
        public=int(public.sum()),
        looked_at=account.looked_at(context, public),
        unowned=int(unowned.sum()),
        owner_unknown=int((unowned & (rating >= _from(context))).sum()),
        ratings={r: int((rating[shown] == r).sum()) for r in RatingWord},
        fenced=fenced,
        planned=len(dated),
        before=sum(job.until < begins for job in dated),
        late=sum(job.late for job in dated),
        last_day=max((job.until for job in dated), default=None),
        left={reason: reasons.count(reason) for reason in sorted(set(reasons))},
    )


def _summary(city: str, found: Account, levels: list[RatingWord], first: Quarter) -> list[str]:
    lines = _opening(city, found, levels)
    lines += _fenced(found.fenced)
    total = found.planned + sum(found.left.values())
    if found.planned and found.last_day:
        which = "all" if found.planned == total else f"{found.planned:,} of"
        late = f" For {found.late:,} it comes later than the rating asks." if found.late else ""
        before = (
            f" On {found.before:,} it is done before {style.day(first.first_day)}."
            if found.before
            else ""
        )
        lines.append(
            f"Work is planned on {which} these {total:,} trees, the last of it by "
            f"{style.day(found.last_day)}.{before}{late}"
        )
    if found.left:
        reasons = "; ".join(f"{count:,}: {reason}" for reason, count in found.left.items())
        lines.append(
            f"Work on {sum(found.left.values()):,} has no date yet. The reasons: {reasons}."
        )
    if found.owner_unknown:
        which = " or ".join(word(r) for r in reversed(levels))
        lines.append(
            f"{found.owner_unknown:,} trees are rated {which} whose owner is not on record; they "
            "are worked on and not shown here."
        )
    return lines


def _opening(city: str, found: Account, levels: list[RatingWord]) -> list[str]:
    """What the page is about: the city's trees, or why it can show none of them."""
    lines = []
    if found.unowned and found.unowned >= _NEARLY_ALL * found.trees:
        if found.unowned == found.trees:
            lines.append(
                f"The file does not say who owns its {found.trees:,} trees; none is shown here."
            )
        else:
            lines.append(
                f"The file does not say who owns {found.unowned:,} of its {found.trees:,} trees; "
                "none of these is shown here."
            )
    elif not found.public:
        lines.append(f"None of the {found.trees:,} trees of the file is public; none is shown.")
    if found.public:
        many = "tree" if found.public == 1 else "trees"
        lines.append(
            f"{city} looks after {found.public:,} public {many}{_rated_words(found, levels)}"
        )
    return lines


def _fenced(jobs: list[PublicJob]) -> list[str]:
    """From when people are kept out from under trees: at once, later, or no day was found."""
    now = sum(job.at_once for job in jobs)
    later = [job.until for job in jobs if job.quarter and not job.at_once]
    without = sum(job.quarter is None for job in jobs)
    lines = []
    if now:
        lines.append(f"At {now:,} of these trees people are kept out from under at once.")
    if later:
        lines.append(
            f"At {len(later):,} of these trees people are kept out from under from a later day, at "
            f"the last of them by {style.day(max(later))}."
        )
    if without:
        lines.append(
            f"At {without:,} of these trees people should be kept out from under at once and no "
            "day was found for it."
        )
    return lines


def _rated_words(found: Account, levels: list[RatingWord]) -> str:
    seen = found.looked_at
    if not seen.inspected + seen.otherwise:
        return (
            ". None of them has been assessed within the city's inspection cycle, nor has a rating."
        )
    said = f": {seen.words}."
    if not any(found.ratings[r] for r in levels):
        return f"{said} None is rated {' or '.join(word(r) for r in levels)}."
    counts = [f"{found.ratings[r]:,} {word(r)}" for r in reversed(levels)]
    counts[0] = counts[0].replace(
        " ", f" {'is' if found.ratings[levels[-1]] == 1 else 'are'} rated ", 1
    )
    return f"{said} {' and '.join(counts)}."


def _unassessed(found: Account) -> str:
    if not found.public:
        return "A tree that is not shown here may have any rating, or none."
    return (
        f"{found.looked_at.not_assessed:,} public trees are not assessed: nobody has looked at "
        "them within the inspection cycle. They have no rating; that says nothing good about them."
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
