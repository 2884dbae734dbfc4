"""What is dangerous about each stop of a crew, in words; the crew reads it before anything else.

Everything is read from the run's tables and from config/rules; how near is near stands in
config/rules/crew_hazards.csv. The conditions for stopping work are common practice, no source.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import shapely

from pipeline import terms
from pipeline.geo.shapes import from_wkb
from pipeline.published.sentences import SHEET, Texts
from pipeline.render import hazards_fungus
from pipeline.render.context import RenderContext
from pipeline.render.style import number
from pipeline.render.wording_fungi import how_often
from pipeline.render.wording_numbers import capital, joined
from pipeline.render.work_rows import action_sentences
from pipeline.units import Floats

# The drawing of each hazard, in a box of 24 by 24; a page carries each once.
MARKS: dict[str, str] = {
    "make_safe": "M3 9h18v6H3zM7 15l4-6M13 15l4-6M6 15v5M18 15v5",
    "no_climb": "M8 3v18M16 3v18M8 8h8M8 13h8M8 18h8M3 4l18 17",
    "fungus": "M7 3v18M7 8c8-2 12 1 12 3H7M7 14c6-2 10 1 10 3H7",
    "brittle": "M8 21V3M16 21v-6l-3-2 3-3-3-2 3-2V3",
    "wires": "M3 6c6 4 12 4 18 0M12 9l-3 5h5l-3 6",
    "traffic": "M12 3l5 17H7zM9.500 12h5M5 20h14",
    "railway": "M8 3l-4 18M16 3l4 18M7 8h10M6 13h12M5 18h14",
    "school": "M12 4l9 5-9 5-9-5zM7 11v5c3 2 7 2 10 0v-5",
    "nest": "M4 12h16c0 9-16 9-16 0zM9 12c0-7 6-7 6 0",
    "window": "M4 6h16v14H4zM4 10h16M8 3v5M16 3v5M8 13l8 5M16 13l-8 5",
}
CUTTING = frozenset(
    {"make_safe", "remove", "habitat_pole", "prune_part", "reduce_crown", "pull_test"}
)
_ROT_NAMES = {0: "unknown", 2: "brown", 3: "soft"}
_SCHOOLS = ("school", "kindergarten")


@dataclass(frozen=True, slots=True)
class Hazard:
    """One danger: its mark, the words that stand out, and what follows from it."""

    mark: str
    head: str
    text: str


class Hazards:
    """Finds the dangers of stops.

    Parameters
    ----------
    context : the run.
    """

    def __init__(self, context: RenderContext) -> None:
        """Read the distances that count as near."""
        self._context = context
        self._t = context.texts
        table = context.library.table("crew_hazards", key=("rule",), folder="rules")
        self._near = {
            name: table.number("value", rule=name)
            for name in ("school_near", "traffic_near", "traffic_from", "railway_near")
        }

    def of(self, stops: pa.Table) -> list[list[Hazard]]:
        """The dangers of each stop, gravest first, shape (stops,).

        Parameters
        ----------
        stops : described jobs with the columns day, x_m and y_m.
        """
        rows = stops.select(
            ["day", "tree_key", "action", "wires", "voltage_v", "no_climb", "make_safe",
             "season_code"]
        ).to_pylist()  # fmt: skip
        points = shapely.points(stops["x_m"].to_numpy(), stops["y_m"].to_numpy())
        schools = self._nearest(points, self._schools, self._near["school_near"])
        roads = self._nearest(points, self._roads, self._near["traffic_near"])
        rails = self._nearest(points, self._rails, self._near["railway_near"])
        fungi = hazards_fungus.of_trees(self._context, stops["tree_key"])
        least = hazards_fungus.limits(self._context)
        brittle = self._brittle(fungi, least)
        reasons = action_sentences(self._context, stops["tree_key"], starts="no_climb")
        return [
            [
                *self._now(row),
                *self._climb(
                    row,
                    reasons.get(row["tree_key"], ""),
                    fungi.get(row["tree_key"]),
                    hazards_fungus.serious_words(fungi.get(row["tree_key"]), least, self._t),
                ),
                *brittle.get(row["tree_key"], ()),
                *self._wires(row),
                *self._season(row),
                *self._railway(rail, row["action"]),
                *self._traffic(road),
                *self._school(school, row["action"]),
            ]
            for row, school, road, rail in zip(rows, schools, roads, rails, strict=True)
        ]

    def _brittle(
        self,
        fungi: Mapping[int, hazards_fungus.FungusOfTree],
        least: hazards_fungus.Limits,
    ) -> Mapping[int, list[Hazard]]:
        decay = self._context.table("scoring.decay")
        decay = decay.filter(pc.is_in(decay["rot"], value_set=pa.array(_ROT_NAMES, pa.int8())))
        found: dict[tuple[int, int], list[str]] = defaultdict(list)
        for key, rot, part in zip(
            decay["tree_key"].to_pylist(),
            decay["rot"].to_pylist(),
            decay["part"].to_pylist(),
            strict=True,
        ):
            found[key, rot].append(self._t.word("card", terms.word(terms.Part(part))))
        made: dict[int, list[Hazard]] = defaultdict(list)
        for (key, rot), parts in sorted(found.items()):
            share = fungi[key].rots.get(_ROT_NAMES[rot]) if key in fungi else None
            doubt = rot == 0 or (share is not None and share < least.rot_certain)
            where = joined(parts, self._t)
            if share is not None:
                often = how_often(share, self._t)
                where = self._say("brittle", "share", parts=where, share=often)
            head = self._say("brittle", "doubt" if doubt else "head")
            text = self._say("brittle", _ROT_NAMES[rot], parts=where)
            made[key].append(Hazard("brittle", head, text))
        for key, one in fungi.items():
            words = hazards_fungus.doubt_words(one, least, self._t)
            if words and key not in made:
                made[key].append(Hazard("brittle", self._say("brittle", "doubt"), words))
        return made

    def _season(self, row: Mapping[str, Any]) -> list[Hazard]:
        rule = self._restrictions.get(row["season_code"] or "")
        if rule is None or row["action"] not in CUTTING:
            return []
        extra = self._t.word("hygiene", rule["lifted_by"], "")
        if rule["concern"] not in self._t.words("concern"):
            return [self._hazard("nest", " ".join([extra, self._say("nest", "text")]).strip())]
        if not within(row["day"], rule["closed_from"], rule["closed_to"]):
            return []
        concern = capital(self._t.word("concern", rule["concern"]))
        return [
            self._hazard(
                "window", f"{self._say('window', 'text', concern=concern)} {extra}".strip()
            )
        ]

    def _school(self, zone: int, action: str) -> list[Hazard]:
        if zone < 0:
            return []
        row = self._context.table("ingest.zones").slice(zone, 1).to_pylist()[0]
        hours = self._say("school", "hours_unknown")
        if row["open_hours"]:
            hours = self._say("school", "hours", hours=row["open_hours"])
        name = row["name"] or self._say("school", str(row["kind"]))
        rule = self._say("school", "rule") if action in CUTTING else ""
        text = self._say("school", "text", name=name, hours=hours, rule=rule)
        return [self._hazard("school", text)]

    def _traffic(self, zone: int) -> list[Hazard]:
        if zone < 0:
            return []
        row = self._context.table("ingest.zones").slice(zone, 1).to_pylist()[0]
        how = "class"
        if row["how"] == "survey":
            how = "survey"
        elif str(row["source"]).endswith("unknown"):
            how = "unknown"
        name = f"{row['name']}. " if row["name"] else ""
        told = {"name": name, "number": number(row["vehicles_per_day"])}
        return [self._hazard("traffic", self._say("traffic", how, **told))]

    def _now(self, row: Mapping[str, Any]) -> list[Hazard]:
        return [self._hazard("make_safe")] if row["make_safe"] else []

    def _railway(self, zone: int, action: str) -> list[Hazard]:
        return [] if zone < 0 or action not in CUTTING else [self._hazard("railway")]

    def _climb(
        self,
        row: Mapping[str, Any],
        reason: str,
        fungus: hazards_fungus.FungusOfTree | None,
        serious: str,
    ) -> list[Hazard]:
        """The ban on climbing, with how probable a serious fungus is; it bans also by itself."""
        if not row["no_climb"] and (not serious or fungus is None):
            return []
        if not row["no_climb"] and fungus is not None and fungus.measured:
            return [self._hazard("fungus", self._say("fungus", "text", serious=serious))]
        told = (self._say("no_climb", "text"), reason, serious)
        return [self._hazard("no_climb", " ".join(part for part in told if part))]

    def _wires(self, row: Mapping[str, Any]) -> list[Hazard]:
        wires, volts = row["wires"], row["voltage_v"]
        live = self._say("wires", "live")
        if wires in {"low_voltage", "high_voltage"}:
            voltage = self._say("wires", "voltage_unknown")
            if volts:
                voltage = self._say("wires", "voltage", volts=number(volts))
            return [self._hazard("wires", self._say("wires", wires, voltage=voltage, live=live))]
        if wires == "communication" and row["action"] in CUTTING:
            head, text = self._say("wires", "communication_head"), self._say("wires", wires)
            return [Hazard("wires", head, text)]
        if wires == "unknown" and row["action"] in CUTTING:
            head, text = self._say("wires", "unknown_head"), self._say("wires", wires, live=live)
            return [Hazard("wires", head, text)]
        return []

    def _say(self, name: str, variant: str, /, **told: object) -> str:
        return self._t.of(SHEET, name, variant, **told)

    def _hazard(self, mark: str, text: str | None = None) -> Hazard:
        """The hazard with the words of its mark; its text that of the table where none is told."""
        return Hazard(mark, self._say(mark, "head"), text or self._say(mark, "text"))

    @cached_property
    def _restrictions(self) -> dict[str, Mapping[str, str]]:
        table = self._context.library.table("restrictions", key=("code",), folder="rules")
        return {row["code"]: row for row in table.rows}

    @cached_property
    def _schools(self) -> npt.NDArray[np.int64]:
        kinds = self._context.table("ingest.zones")["kind"].cast(pa.string())
        chosen = pc.is_in(kinds, value_set=pa.array(_SCHOOLS))
        return np.flatnonzero(chosen.to_numpy(zero_copy_only=False))

    @cached_property
    def _rails(self) -> npt.NDArray[np.int64]:
        kinds = self._context.table("ingest.zones")["kind"].cast(pa.string())
        return np.flatnonzero(pc.equal(kinds, "railway").to_numpy(zero_copy_only=False))

    @cached_property
    def _roads(self) -> npt.NDArray[np.int64]:
        traffic = self._context.table("ingest.zones")["vehicles_per_day"]
        busy = pc.greater_equal(traffic, self._near["traffic_from"]).fill_null(False)
        return np.flatnonzero(busy.to_numpy(zero_copy_only=False))

    def _nearest(
        self, points: npt.NDArray[np.object_], zones: npt.NDArray[np.int64], within_m: float
    ) -> list[int]:
        """The nearest of these zones for each point, -1 where none is near enough."""
        found = np.full(points.shape, -1, np.int64)
        if zones.size and points.size:
            wkb = self._context.table("ingest.zones")["geometry"].take(pa.array(zones))
            shapes = from_wkb(np.asarray(wkb.to_pylist(), dtype=object))
            at, which = shapely.STRtree(shapes).query_nearest(
                points, max_distance=within_m, all_matches=False
            )
            found[at] = zones[which]
        return [int(zone) for zone in found]


def expected_decay(context: RenderContext) -> dict[int, str]:
    """How much decay to expect, by tree, worst part first, so that a cut is compared."""
    decay = context.table("scoring.decay")
    known = decay.filter(pc.is_valid(decay["decayed_share"])).sort_by(
        [("tree_key", "ascending"), ("decayed_share", "descending")]
    )
    made: dict[int, str] = {}
    t = context.texts
    for row in known.to_pylist():
        low, high = row["decayed_share_low"], row["decayed_share_high"]
        span = ""
        if low is not None and high is not None:
            span = t.of(SHEET, "decay", "span", low=_percent(low), high=_percent(high))
        told = t.of(
            SHEET,
            "decay",
            "roots" if row["part"] == terms.Part.ROOTS else "known",
            part=t.word("card", terms.word(terms.Part(row["part"]))),
            share=_percent(row["decayed_share"]),
            span=span,
        )
        key = row["tree_key"]
        made[key] = f"{made[key]}; {told}" if key in made else told
    return made


def _percent(share: float) -> str:
    return f"{share:.0%}".removesuffix("%")


def stop_conditions(action: str, hazards: list[Hazard], t: Texts, *, decay_told: bool) -> list[str]:
    """When to stop at this stop and call the office: common practice, no source.

    Parameters
    ----------
    decay_told : the card says how much decay to expect.
    """
    if action not in CUTTING:
        return [t.word("halt", "moves_or_drops"), t.word("halt", "hangs")]
    told = ["moves", "people"]
    if decay_told:
        told.insert(1, "decay")
    elif {hazard.mark for hazard in hazards} & {"brittle", "no_climb"}:
        told.insert(1, "worse")
    return [t.word("halt", one) for one in (*told, "wire", "nest")]


def within(day: date, first: str, last: str) -> bool:
    """Whether a day lies in a yearly window of month-day texts; an empty window never holds."""
    if not first or not last:
        return False
    today = f"{day:%m-%d}"
    return first <= today <= last if first <= last else today >= first or today <= last


def coordinates(stops: pa.Table) -> Floats:
    """Metric places of the stops, shape (stops, 2)."""
    return np.column_stack((stops["x_m"].to_numpy(), stops["y_m"].to_numpy()))
