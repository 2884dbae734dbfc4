"""Why one tree is rated as it is: the statements of its thread with sentences, values and sources.

The facts and sentences are those of the pages; nothing is worded or computed a second time.

`explain` gives plain values ready for JSON, in this order of keys; the format's number goes up when
a key goes or changes its meaning, new keys may come:

* `format`: 1.
* `run`: `city`, `as_of` (year-month-day), `folder`; the command adds `program`, its version then.
* `trees`, one for each tree asked for, each with
  - `tree_id`, `tree_key`, `species`, `street`, `ward`, `status`,
  - `measures`: name to `{"value", "unit", "assumed"}` of the stem and the height,
  - `rating`, `action`: words; `make_safe`, `no_climb`, `rated`, `evidence`: yes or no,
  - `knots`: the eight links in order, each with `link`, `title`, `missing` (what it says, and what
    to look at, where it has no statement; else null), and `statements`: each with `statement` (its
    id), `sentence`, `values` (name to `{"value", "unit"}`; a unit is null for words and days),
    `source` (`{"id", "citation", "locator"}` or null), `basis`, `note` (of the rule, or null) and
    `assumed`,
  - `words`: of the worst pair of part and target, `failure`, `impact`, `likelihood` and
    `consequence`, each null where the tree has none,
  - `drawing`: of the stem section: `part`, `decayed_share`, `low`, `high`, `opening_share`,
    `shells` (pairs of azimuth in degrees and sound share of the radius) and `lean_deg`,
  - `decay`: each part with `part`, `basis`, `rot`, `taxon` and `values`,
  - `mechanics`: each part with `part`, `applicable`, `reason` (why not) and `values`,
  - `work`: each job with `sentence`, `action`, `deadline_on`, `quarter`, `day`, `crew`,
    `left_out` (reason, or null),
  - `asked`: what a person is asked about this tree, each with `urgency` (0 the most) and
    `sentence`,
  - `weighed`: each action with `action`, `rating_left` (null where the tree stays as it is) and
    `chosen`.
* `cautions`: sentences that every reader must see.
"""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import IntEnum
from functools import cached_property
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.published.sentences import PAGE
from pipeline.render.cautions import do_not_climb, every_page
from pipeline.render.context import RenderContext
from pipeline.render.knots import knots, unit_of
from pipeline.render.said import facts as said_facts
from pipeline.render.wording_numbers import capital, day
from pipeline.tables import inputs
from pipeline.tables.catalogue import TABLES
from pipeline.tables.catalogue_wood import DECAY
from pipeline.tables.schema import Kind
from pipeline.terms import (
    ConsequenceWord,
    FailureWord,
    ImpactWord,
    LikelihoodWord,
    RatingWord,
    word,
)

FORMAT = 1
MECHANICS = "scoring.mechanics"
NOT_STANDING = ("stump", "vacant", "removed", "habitat_pole")
_SOURCE_ID = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
_ROTS = ("unknown", "white", "brown", "soft")
# Tables whose rows are rules that a statement may name, with the column of the name.
_RULES = (("failure_criteria", "rule_id"), ("fungus_failure", "rule_id"),
          ("strength_limits", "formula"))  # fmt: skip
_KEYS = {"fungus_failure": ("action_code", "attachment", "position_match")}
_PAIR: dict[str, type[IntEnum]] = {
    "failure": FailureWord,
    "impact": ImpactWord,
    "likelihood": LikelihoodWord,
    "consequence": ConsequenceWord,
}
_DECAY = tuple(column for column in DECAY.columns if column.kind is Kind.FLOAT)


def explain(
    context: RenderContext, tree_keys: Sequence[int], replaced: Sequence[Mapping[str, Any]] = ()
) -> dict[str, Any]:
    """The threads of some trees of a run, as the module says.

    Parameters
    ----------
    tree_keys : keys of the trees, in the order wanted.
    replaced : rows of published tables that the run's city had replaced, as its manifest has them.
    """
    told = _Told(context, tuple(tree_keys), tuple(replaced))
    trees = [told.tree(key) for key in told.tree_keys]
    climbing = [do_not_climb(context.texts)] if any(tree["no_climb"] for tree in trees) else []
    return {
        "format": FORMAT,
        "run": {
            "city": context.city,
            "as_of": context.as_of.isoformat(),
            "folder": context.store.root.name,
        },
        "trees": trees,
        "cautions": [*every_page(context.texts), *climbing],
    }


@dataclass
class _Told:
    """Rows of the run's tables that speak of some trees."""

    context: RenderContext
    tree_keys: tuple[int, ...]
    replaced: tuple[Mapping[str, Any], ...]
    _known: dict[str, dict[int, list[dict[str, Any]]]] = field(default_factory=dict)

    def tree(self, key: int) -> dict[str, Any]:
        """All that is told of one tree."""
        tree, rating = self._row("ingest.trees", key), self._row("scoring.tree_ratings", key)
        return {
            "tree_id": tree["tree_id"],
            "tree_key": key,
            "species": tree["species"] or tree["species_text"],
            "street": tree["street"],
            "ward": tree["ward"],
            "status": tree["status"],
            "measures": _measures(tree, rating),
            "rating": word(RatingWord(rating["rating"])) if rating["rated"] else "not rated",
            "action": self._does(rating["best_action"]),
            "make_safe": rating["make_safe"],
            "no_climb": rating["no_climb"],
            "rated": rating["rated"],
            "evidence": rating["evidence"],
            "knots": self._knots(rating["fact_set"], tree["status"]),
            "words": {
                name: None if rating[name] is None else word(kind(rating[name]))
                for name, kind in _PAIR.items()
            },
            "drawing": self._drawing(key, rating["worst_part"]),
            "decay": [_decay(row) for row in self._of("scoring.decay", key)],
            "mechanics": [
                _mechanics(row) for row in (self._of(MECHANICS, key) if MECHANICS in TABLES else ())
            ],
            "work": [self._job(job) for job in self._of("planning.jobs", key)],
            "asked": [self._asked(row) for row in self._of("scoring.reviews", key)],
            "weighed": [
                {
                    "action": self._does(row["action"]),
                    "rating_left": None
                    if row["action"] == "make_safe"  # the tree stays as it is
                    else word(RatingWord(row["residual_rating"])),
                    "chosen": row["chosen"],
                }
                for row in self._of("scoring.candidate_actions", key)
            ],
        }

    def _does(self, action: str) -> str:
        return self.context.texts.word("action", action)

    def _asked(self, row: Mapping[str, Any]) -> dict[str, Any]:
        said = self.context.review_sentence(row["code"], json.loads(row["detail"]))
        return {"urgency": row["urgency"], "sentence": said}

    def _drawing(self, key: int, worst: int | None) -> dict[str, Any]:
        """The section of the worst part, or of the part most decayed."""
        rows = [row for row in self._of("scoring.decay", key) if row["decayed_share"] is not None]
        first = max(rows, default=None, key=lambda row: row["decayed_share"])
        row = next((row for row in rows if row["part"] == worst), first)
        part = None if row is None else inputs.PARTS[row["part"]]
        shells = [
            [_figures(one["azimuth_deg"]), _figures(min(2 * one["shell_cm"] / width, 1.0))]
            for one in self._of("ingest.readings", key)
            if one["part"] == part and one["azimuth_deg"] is not None
            if one["shell_cm"] is not None and (width := one["section_diameter_cm"] or 0) > 0
        ]
        leans = [
            one["side_deg"]
            for one in self._of("ingest.defects", key)
            if one["defect"] == "lean" and one["latest"] and one["side_deg"] is not None
        ]
        names = ("decayed_share", "decayed_share_low", "decayed_share_high", "opening_share")
        shares = [None if row is None else _figures(row[name]) for name in names]
        kept = dict(zip(("decayed_share", "low", "high", "opening_share"), shares, strict=True))
        return {"part": part, **kept, "shells": shells, "lean_deg": leans[0] if leans else None}

    def _knots(self, fact_set: int, status: str) -> list[dict[str, Any]]:
        """Every statement of the set, in its knot; a link without any says what to look at."""
        rows = self._facts.get(fact_set, [])
        stands = status not in NOT_STANDING  # what to sound where no tree stands is no question
        made = []
        for link, title, missing in knots(self.context.texts):
            statements = [self._statement(row) for row in rows if row["link"] == link]
            said = missing if stands and not statements else None
            made.append({"link": link, "title": title, "missing": said, "statements": statements})
        return made

    def _statement(self, row: Mapping[str, Any]) -> dict[str, Any]:
        values = json.loads(row["values"])
        rule = self._rules.get(str(values.get("rule") or values.get("formula")), {})
        source = None
        if row["source"] is not None:
            known = self.context.library.sources.get(row["source"])
            source = {
                "id": row["source"],
                "citation": known.citation if known else row["source"],
                "locator": self._named(rule.get("locator")),
            }
        return {
            "statement": row["statement"],
            "sentence": self.context.sentence(row["statement"], values),
            "values": {
                name: {"value": value, "unit": unit_of(name)} for name, value in values.items()
            },
            "source": source,
            "basis": rule.get("basis") or None,
            "note": self._named(rule.get("note")),
            "assumed": row["assumed"],
        }

    def _named(self, text: str | None) -> str | None:
        """A text of a published table, the ids of sources in it as authors and year."""

        def of(found: re.Match[str]) -> str:
            source = self.context.library.sources.get(found.group())
            if source is None:
                return found.group()
            first, _, more = source.authors.partition(";")
            return f"{first.split(',')[0]}{' and others' if more else ''} {source.year or 'n.d.'}"

        return _SOURCE_ID.sub(of, text) if text else None

    def _job(self, job: Mapping[str, Any]) -> dict[str, Any]:
        placed = self._jobs["planning.queue"].get(job["job_key"])
        left = self._jobs["planning.unscheduled"].get(job["job_key"])
        said = {"action": capital(self._does(job["action"])), "due": ""}
        if job["deadline_on"]:
            said["due"] = self._say("due", day=self._on(job["deadline_on"]))
        if placed and placed["day"] and job["deadline_on"] and placed["day"] > job["deadline_on"]:
            said["due"] += self._say("late")
        if placed:
            said |= {"quarter": placed["quarter"], "crew": placed["crew_id"]}
            sentence = self._say("planned", **said)
            if placed["day"]:
                sentence = self._say("planned_day", **said, day=self._on(placed["day"]))
        else:
            why = left["detail"] if left else self._say("no_reason")
            sentence = self._say("not_planned", **said, why=why)
        return {
            "sentence": sentence,
            "action": job["action"],
            "deadline_on": _day(job["deadline_on"]),
            "quarter": placed["quarter"] if placed else None,
            "day": _day(placed["day"]) if placed else None,
            "crew": placed["crew_id"] if placed else None,
            "left_out": left["reason"] if left else None,
        }

    def _say(self, variant: str, /, **told: object) -> str:
        return self.context.texts.of(PAGE, "job", variant, **told)

    def _on(self, value: date) -> str:
        return day(value.isoformat(), self.context.texts)

    @cached_property
    def _facts(self) -> dict[int, list[dict[str, Any]]]:
        """Statements by their set, read once for all the trees."""
        sets = [self._row("scoring.tree_ratings", key)["fact_set"] for key in self.tree_keys]
        return _grouped(said_facts(self.context, among=sets).to_pylist(), "fact_set")

    @cached_property
    def _rules(self) -> dict[str, Mapping[str, str]]:
        """Rows of rules by their name; what the run's city had replaced stands over them."""
        library = self.context.library
        found: dict[str, Mapping[str, str]] = {}
        for table, column in _RULES:
            rows = library.table(table, key=_KEYS.get(table, ())).rows
            found.update({row[column]: row for row in rows})
            own = [one["row"] for one in self.replaced if one.get("table") == table]
            found.update({row[column]: row for row in own if column in row})
        return found

    def _of(self, table: str, key: int) -> list[dict[str, Any]]:
        """Rows of a table that speak of a tree, in the table's order; none if the run lacks it."""
        return self._read(table).get(key, [])

    def _row(self, table: str, key: int) -> dict[str, Any]:
        """The row of a table that has one for each tree."""
        return self._of(table, key)[0]

    def _read(self, table: str) -> dict[int, list[dict[str, Any]]]:
        """Rows by the trees that are asked for: of a large city no more is read."""
        if table not in self._known:
            schema, rows = TABLES[table], []
            if self.context.store.has(schema):
                keys = ", ".join(map(str, self.tree_keys))
                order = ", ".join(f'"{name}"' for name in schema.key)
                rows = self.context.store.query(
                    f"select * from {table} where tree_key in ({keys}) order by {order}"
                ).to_pylist()
            self._known[table] = _grouped(rows, "tree_key")
        return self._known[table]

    @cached_property
    def _jobs(self) -> dict[str, dict[int, dict[str, Any]]]:
        """Rows of both tables of jobs by their job, of these trees' jobs alone."""
        jobs = self._read("planning.jobs").values()
        own = pa.array([job["job_key"] for of_tree in jobs for job in of_tree], pa.int64())
        found = {}
        for name in ("planning.queue", "planning.unscheduled"):
            rows = self.context.table(name)
            kept = rows.filter(pc.is_in(rows["job_key"], own)).to_pylist()
            found[name] = {row["job_key"]: row for row in kept}
        return found


def _grouped(rows: list[dict[str, Any]], by: str) -> dict[int, list[dict[str, Any]]]:
    """Rows by the number in one of their columns, in their order."""
    groups: dict[int, list[dict[str, Any]]] = {}
    for row in rows:
        groups.setdefault(row[by], []).append(row)
    return groups


def _measures(tree: Mapping[str, Any], rating: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    return {
        "dbh_cm": {"value": tree["dbh_cm"], "unit": "cm", "assumed": False},
        "height_m": {
            "value": _figures(rating["height_used_m"]),
            "unit": "m",
            "assumed": rating["height_filled"],
        },
    }


def _decay(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "part": inputs.PARTS[row["part"]],
        "basis": row["basis"],
        "rot": _ROTS[row["rot"]],
        "taxon": row["taxon_id"],
        "values": {
            column.name: {"value": _figures(row.get(column.name)), "unit": column.unit}
            for column in _DECAY
        },
    }


def _mechanics(row: Mapping[str, Any]) -> dict[str, Any]:
    numbers = [one for one in TABLES[MECHANICS].columns if one.kind is Kind.FLOAT]
    return {
        "part": inputs.PARTS[row["part"]],
        "applicable": row.get("applicable"),
        "reason": row.get("reason"),
        "values": {
            one.name: {"value": _figures(row.get(one.name)), "unit": one.unit} for one in numbers
        },
    }


def _figures(value: float | None) -> float | None:
    """Four significant digits, as in the statements: nobody knows more."""
    return None if value is None else float(f"{value:.4g}")


def _day(value: date | None) -> str | None:
    return value.isoformat() if value else None
