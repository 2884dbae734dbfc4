"""crews/: a sheet and a GPX a crew and day, an index of the days, a form that feeds `work done`.

A sheet is a card a stop, hazards on top. It prints two cards to a page, is read on a phone with no
signal, and each place opens in any navigation app by its geo: link.
"""

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.geo import crs
from pipeline.geo.shapes import from_wkb
from pipeline.published.sentences import SHEET
from pipeline.render import before_cut, work_rows
from pipeline.render.account import in_words
from pipeline.render.cautions import every_page
from pipeline.render.context import RenderContext
from pipeline.render.exports import crew_gpx
from pipeline.render.exports.lists import csv_bytes
from pipeline.render.files import page, write_bytes, write_text
from pipeline.render.hazards import (
    CUTTING,
    MARKS,
    Hazards,
    coordinates,
    expected_decay,
    stop_conditions,
)
from pipeline.render.sketch import Streets, sketch
from pipeline.render.wording_numbers import capital
from pipeline.render.wording_numbers import day as day_words
from pipeline.tables.inputs import WORK_DONE
from pipeline.terms import RatingWord
from pipeline.units import MINUTES_PER_HOUR, Floats

FOLDER = "crews"
_OF_STOP = (
    "day", "crew_id", "seq", "arrive_min", "begin_min", "leave_min", "drive_min", "drive_m", "how",
)  # fmt: skip
_WORDS = {rating.name.lower().replace("_", " "): rating for rating in RatingWord}


@dataclass(frozen=True, slots=True)
class Day:
    """One crew on one day: its row of planning.routes and its place in the stops."""

    stem: str
    weekday: str
    route: dict[str, Any]
    first: int
    last: int


def write(context: RenderContext) -> list[Path]:
    """Write the sheets, their return forms and the index of the days."""
    days = _days(context)
    if not days:
        return [_index(context, [])]
    stops = _stops(context)
    cards = _cards(context, stops)
    places = coordinates(stops)
    streets = Streets(context)
    depots = _depots(context)
    routes = from_wkb(np.asarray(context.table("planning.routes")["geometry"].to_pylist(), object))
    neighbours = _neighbours(days)
    written = []
    for row, day in enumerate(days):
        held = slice(day.first, day.last)
        drawing = sketch(
            streets,
            routes[row : row + 1],
            places[held],
            depots.get(day.route["depot"]),
            [card["street"] for card in cards[held] if card["street"]],
        )
        text = page(
            "crew_sheet.html.j2",
            {
                "context": context,
                "day": day,
                "cards": cards[held],
                "yard": _yard(context, day),
                "waits": _waits(context, day, cards[held]),
                "sketch": drawing,
                "hazard_marks": MARKS,
                "rating_words": RatingWord,
                "cautions": every_page(context.texts),
                "t": context.texts,
                "say": partial(context.texts.of, SHEET, "card"),
                "before": neighbours[row][0],
                "after": neighbours[row][1],
                "clock": clock,
                "early": _early(context, day, cards[held]),
            },
        )
        written.append(write_text(context.out / FOLDER / f"{day.stem}.html", text))
        way = crew_gpx.of_day(context, day.route, cards[held], routes[row])
        written.append(write_bytes(context.out / FOLDER / f"{day.stem}.gpx", way))
        form = csv_bytes(return_form(stops.slice(day.first, day.last - day.first)))
        written.append(write_bytes(context.out / FOLDER / f"{day.stem}_return.csv", form))
    return [*written, _index(context, days)]


def return_form(stops: pa.Table) -> pa.Table:
    """The form that a crew fills in: the canonical columns of work done, what is known filled in.

    The date stays empty: a row counts as done only when somebody writes the day.
    """
    filled = {name: stops[name] for name in ("job_id", "tree_id", "action")}
    nothing = pa.nulls(stops.num_rows, pa.string())
    return pa.table({c.name: filled.get(c.name, nothing) for c in WORK_DONE.columns})


def slugs(names: Sequence[str]) -> dict[str, str]:
    """A file name for each crew, in plain letters, no two alike."""
    made: dict[str, str] = {}
    for name in names:
        plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
        stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "crew"
        number, slug = 1, stem
        while slug in made.values():
            number += 1
            slug = f"{stem}-{number}"
        made[name] = slug
    return made


def clock(minutes: float) -> str:
    """Minutes after midnight as a time of day."""
    whole = round(minutes)
    hours, rest = divmod(whole, int(MINUTES_PER_HOUR))
    return f"{hours:02d}:{rest:02d}"


def _days(context: RenderContext) -> list[Day]:
    routes = context.table("planning.routes").drop_columns(["geometry"]).to_pylist()
    names = slugs(sorted({row["crew_id"] for row in routes}))
    last = np.cumsum([row["stops"] for row in routes], dtype=np.int64).tolist()
    return [
        Day(
            f"{row['day'].isoformat()}_{names[row['crew_id']]}",
            context.texts.word("weekday", row["day"].weekday()),
            row,
            end - row["stops"],
            end,
        )
        for row, end in zip(routes, last, strict=True)
    ]


def _neighbours(days: Sequence[Day]) -> list[tuple[Day | None, Day | None]]:
    """The day before and the day after of the same crew."""
    before: list[Day | None] = [None] * len(days)
    after: list[Day | None] = [None] * len(days)
    latest: dict[str, int] = {}
    for row, day in enumerate(days):
        seen = latest.get(day.route["crew_id"])
        if seen is not None:
            before[row], after[seen] = days[seen], day
        latest[day.route["crew_id"]] = row
    return list(zip(before, after, strict=True))


def _stops(context: RenderContext) -> pa.Table:
    """Stops of all days in the order of planning.routes, as described jobs."""
    stops = context.table("planning.stops")
    described = work_rows.by_key(context, stops["job_key"])
    for name in _OF_STOP:
        described = described.append_column(name, work_rows.flat(stops[name]))
    return described


def _cards(context: RenderContext, stops: pa.Table) -> list[dict[str, Any]]:
    hazards = Hazards(context).of(stops)
    cards: list[dict[str, Any]] = stops.drop_columns(
        ["harm_removed", "crew_type", "x_m", "y_m"]
    ).to_pylist()
    whole = pc.round(pc.multiply(stops["dbh_cm"], 1.0)).to_pylist()
    decay = expected_decay(context)
    days = Counter(stops["job_key"].to_pylist())
    tests, also = before_cut.tests_first(context), before_cut.other_parts(context)
    begun: Counter[int] = Counter()
    t = context.texts
    for card, found, dbh in zip(cards, hazards, whole, strict=True):
        begun[card["job_key"]] += 1
        card["nth"], card["days"] = begun[card["job_key"]], days[card["job_key"]]
        card["hazards"] = found
        card["decay"] = decay.get(card["tree_key"], "")
        card["halt"] = stop_conditions(card["action"], found, t, decay_told=bool(card["decay"]))
        card["looking"] = card["action"] not in CUTTING
        card["rating"] = _WORDS[card["rating"]]
        card["from"] = clock(card["arrive_min"])
        card["to"] = clock(card["leave_min"])
        card["what"] = capital(in_words(card["action"], t))
        card["dbh"] = dbh
        due = card["deadline_on"]
        card["by"] = day_words(due.isoformat(), t) if due else ""
        card["tests"] = before_cut.words(card["tree_key"], card["action"], tests, t)
        card["also"] = also.get((card["tree_key"], card["action"]), "")
        card["minutes"] = round(card["leave_min"] - card["arrive_min"])
    return cards


def _early(context: RenderContext, day: Day, cards: Sequence[dict[str, Any]]) -> str:
    """What this day is for where it lies before the first planned quarter, or makes safe."""
    if cards and all(card["make_safe"] for card in cards):
        return context.texts.of(SHEET, "day", "make_safe")
    first = context.settings.first_quarter
    if day.route["day"] < first.first_day:
        return context.texts.of(SHEET, "day", "early", quarter=first)
    return ""


def _yard(context: RenderContext, day: Day) -> str:
    """What the crew does at the depot before it leaves and after it is back."""
    crew = next((c for c in context.settings.settings.crews if c.id == day.route["crew_id"]), None)
    said = []
    if crew is not None and crew.load_min:
        begins = day.route["start_min"] - crew.load_min
        said.append(context.texts.of(SHEET, "day", "load", time=clock(begins)))
    if crew is not None and crew.unload_min:
        minutes = f"{crew.unload_min:.0f}"
        said.append(context.texts.of(SHEET, "day", "unload", minutes=minutes))
    return " ".join(said)


def _waits(context: RenderContext, day: Day, cards: Sequence[dict[str, Any]]) -> dict[int, str]:
    """By stop: from when work may begin, where the crew is there a minute or more before."""
    setup = context.settings.settings.planning.stop_setup_min
    pause, minutes = day.route["break_start_min"], day.route["break_min"]
    said = {}
    for card in cards:
        inside = pause is not None and card["arrive_min"] <= pause < card["begin_min"]
        idle = card["begin_min"] - card["arrive_min"] - setup - (minutes if inside else 0.0)
        if idle >= 1.0:
            begin = clock(card["begin_min"])
            said[card["seq"]] = context.texts.of(SHEET, "day", "wait", time=begin)
    return said


def _depots(context: RenderContext) -> dict[str, Floats]:
    """Metric place of each depot, shape (1, 2)."""
    depots = context.settings.settings.depots
    x, y = crs.transform(
        np.array([depot.longitude for depot in depots]),
        np.array([depot.latitude for depot in depots]),
        source=crs.WGS84,
        target=context.store.epsg,
    )
    return {
        depot.name: np.array([[east, north]])
        for depot, east, north in zip(depots, x, y, strict=True)
    }


def _index(context: RenderContext, days: Sequence[Day]) -> Path:
    """The list of all crew-days, by day."""
    by_date: dict[Any, list[Day]] = {}
    for day in days:
        by_date.setdefault(day.route["day"], []).append(day)
    text = page(
        "crew_index.html.j2",
        {
            "context": context,
            "dates": [
                (context.texts.word("weekday", on.weekday()), on, held)
                for on, held in by_date.items()
            ],
            "crews": sorted({day.route["crew_id"] for day in days}),
            "early": sum(on < context.settings.first_quarter.first_day for on in by_date),
            "clock": clock,
            "cautions": every_page(context.texts),
        },
    )
    return write_text(context.out / FOLDER / "index.html", text)
