"""index.html: what was run on what, what needs a person now, and the way to everything else."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import pyarrow.compute as pc

from pipeline.render import account, fungi, plausibility
from pipeline.render.cautions import every_page
from pipeline.render.context import RenderContext
from pipeline.render.exports.lists import URGENCY, place_of
from pipeline.render.files import page, write_text
from pipeline.terms import RatingWord

NAME = "index.html"
MOST_SHOWN = 10
_URGENT = 1  # now and this week

# Every output that a run may have: file, what it is, who it is for.
DOORS = (
    ("forester_map.html", "Forester's map", "Every tree with its chain of reasons.", "forester"),
    ("trees/index.html", "Tree pages",
     "Each tree with evidence or rated above low: the whole chain with its sources.",
     "forester, court"),
    ("council_map.html", "Council map", "High-risk public trees in plain words.",
     "council, residents"),
    ("crews/index.html", "Crew sheets", "One sheet a crew and day, hazards first.", "crew leaders"),
    ("queue.xlsx", "Queue, as a workbook", "What is done in which quarter, by whom, and why.",
     "forester"),
    ("queue.csv", "Queue, as a list", "The same, for other programs.", "forester, GIS"),
    ("unscheduled.csv", "Left out", "Every job that has no place, with its reason.", "forester"),
    ("review.csv", "To review", "Sightings, names and rows that a person must judge.",
     "arborist"),
    ("tests.csv", "Tests that pay",
     "Which measurement may change what is done, for this quarter's instrument days.",
     "arborist"),
    ("rounds.csv", "Rounds of inspection", "The looks that are due, street by street.",
     "inspectors"),
    ("quarantine.csv", "Rows set aside",
     "Mend them and feed them back; quarantine/ has a list a file.", "clerk"),
    ("occurrences.zip", "Sightings, for others",
     "Darwin Core occurrences: no observer, no remark, private land blurred.",
     "collectors of fungus records"),
    ("layers.gpkg", "Layers", "Trees, ratings, zones and routes for a GIS.", "GIS"),
    ("field_page.html", "Field page", "Naming a fungus with no signal.", "inspectors"),
    ("report.html", "Run report", "Accounts, assumptions, sources, versions.", "IT, audit"),
    ("plausibility.csv", "Plausibility", "Rates of the run beside rates counted elsewhere.",
     "IT, audit"),
    ("soundwood.duckdb", "Tables", "All tables of the run, for SQL.", "IT"),
)  # fmt: skip
_WRITTEN_LATER = frozenset({"soundwood.duckdb"})


@dataclass(frozen=True, slots=True)
class Need:
    """One thing that needs a person: the sentence, where, and by when."""

    sentence: str
    where: str
    when: str
    now: bool


def write(context: RenderContext) -> list[Path]:
    """Write index.html; it links to what is in the run's folder, so it is written last."""
    reviews = context.table("scoring.reviews")
    counts = np.bincount(reviews["urgency"].to_numpy(), minlength=len(URGENCY)).tolist()
    ratings = account.rating_counts(context)
    left_out = account.left_out(context)
    quarters = account.quarters(context)
    first = str(context.settings.first_quarter)
    early = [quarter for quarter in quarters if quarter.name < first]
    text = page(
        "index.html.j2",
        {
            "context": context,
            "needs": list(_needs(context)),
            "counts": counts,
            "waiting": sum(counts[: _URGENT + 1]),
            "reviews": reviews.num_rows,
            "unsure": pc.sum(fungi.bodies(context)["needs_expert"]).as_py() or 0,
            "ratings": ratings[:-1],
            "not_assessed": ratings[-1][1],
            "looked_at": account.looked_at(context).words,
            "not_assessed_word": RatingWord.NOT_ASSESSED,
            "rated": sum(count for _, count in ratings),
            "rating_word": account.rating_word,
            "implausible": [check.warning
                            for check in plausibility.checks_of(context)
                            if check.loud],
            "sources": account.sources(context),
            "quarters": quarters,
            "in_first": sum(quarter.jobs for quarter in quarters if quarter.name == first),
            "early": sum(quarter.jobs for quarter in early),
            "safe": account.make_safe_days(context),
            "left_out": left_out,
            "unsafe": sum(row.make_safe for row in left_out),
            "in_words": partial(account.in_words, t=context.texts),
            "missing": account.missing_inputs(context),
            "assumptions": account.assumptions(context),
            "doors": [door for door in DOORS
                      if door[0] in _WRITTEN_LATER or (context.out / door[0]).exists()],
            "cautions": every_page(context.texts),
        },
    )  # fmt: skip
    return [write_text(context.out / NAME, text)]


def _needs(context: RenderContext) -> Iterator[Need]:
    """Reviews due now or this week, at most ten; they are stored most urgent first."""
    rows = context.table("scoring.reviews")
    for row in (
        rows.filter(pc.less_equal(rows["urgency"], _URGENT)).slice(0, MOST_SHOWN).to_pylist()
    ):
        yield Need(
            context.review_sentence(row["code"], json.loads(row["detail"])),
            place_of(context, row),
            URGENCY[row["urgency"]],
            row["urgency"] == 0,
        )
