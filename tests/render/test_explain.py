"""An explanation holds every statement of a tree's thread, with sentence, unit and source."""

import json
import re
from collections.abc import Iterator
from datetime import date
from typing import Any

import pyarrow.compute as pc
import pytest

from pipeline.published.sentences import english
from pipeline.published.table import Library
from pipeline.render.context import RenderContext
from pipeline.render.explain import FORMAT, explain
from pipeline.render.files import plain
from pipeline.render.knots import knots, unit_of
from pipeline.render.said import facts
from pipeline.render.wording import review_sentence, sentence
from pipeline.scoring.explanation import LINKS
from pipeline.settings.load import load
from pipeline.tables.store import RunStore
from tests.conftest import LarkmereRun

TREE = {
    "tree_id", "tree_key", "species", "street", "ward", "status", "measures", "rating", "action",
    "make_safe", "no_climb", "rated", "evidence", "knots", "decay", "mechanics", "work", "weighed",
    "words", "drawing", "asked",
}  # fmt: skip
STATEMENT = {"statement", "sentence", "values", "source", "basis", "note", "assumed"}


@pytest.fixture(scope="module")
def town(larkmere: LarkmereRun) -> RenderContext:
    """The sample town's run as the command opens it."""
    folder = larkmere.first
    settings = load(folder / "inputs" / "settings.toml", data_dir=folder, as_of=date(2026, 11, 15))
    return RenderContext(settings, RunStore(folder), Library(), folder, sentence, review_sentence)


@pytest.fixture(scope="module")
def told(town: RenderContext) -> dict[str, Any]:
    """All trees with evidence, and some without."""
    ratings = town.table("scoring.tree_ratings")
    keys = ratings.filter(ratings["evidence"])["tree_key"].to_pylist()
    # Each tenth: enough to meet nearly all statements, and quick.
    return explain(town, [*keys[::10], *range(30)])


def _statements(told: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for tree in told["trees"]:
        for knot in tree["knots"]:
            yield from knot["statements"]


def test_the_structure_is_the_one_that_is_documented(told: dict[str, Any]) -> None:
    assert set(told) == {"format", "run", "trees", "cautions"}
    assert told["format"] == FORMAT == 1
    assert told["run"]["city"] == "Larkmere"
    assert told["run"]["as_of"] == "2026-11-15"
    for tree in told["trees"]:
        assert set(tree) == TREE
        assert [knot["link"] for knot in tree["knots"]] == list(LINKS)
        for knot in tree["knots"]:
            assert set(knot) == {"link", "title", "missing", "statements"}
        for job in tree["work"]:
            assert set(job) == {
                "sentence", "action", "deadline_on", "quarter", "day", "crew", "left_out",
            }  # fmt: skip
            assert bool(job["quarter"]) != bool(job["left_out"])
    for one in _statements(told):
        assert set(one) == STATEMENT
        if one["source"]:
            assert set(one["source"]) == {"id", "citation", "locator"}
    assert json.loads(json.dumps(told, allow_nan=False)) == told


def test_every_statement_of_the_set_is_there_once_and_in_order(
    town: RenderContext, told: dict[str, Any]
) -> None:
    table = facts(town)
    ratings = town.table("scoring.tree_ratings")
    for tree in told["trees"]:
        own = ratings["fact_set"][tree["tree_key"]].as_py()
        rows = table.filter(pc.equal(table["fact_set"], own)).to_pylist()
        for knot in tree["knots"]:
            expected = [
                (row["statement"], sentence(row["statement"], json.loads(row["values"])))
                for row in rows
                if row["link"] == knot["link"]
            ]
            found = [(one["statement"], one["sentence"]) for one in knot["statements"]]
            assert found == expected
        assert sum(len(knot["statements"]) for knot in tree["knots"]) == len(rows)


def test_every_number_has_a_unit(town: RenderContext) -> None:
    # A statement with a new number needs its unit in pipeline/render/knots.py.
    bare = set()
    for raw in set(town.table("scoring.facts")["values"].to_pylist()):
        for name, value in json.loads(raw).items():
            several = value if isinstance(value, list) else [value]
            numbers = [x for x in several if isinstance(x, int | float) and x is not True]
            if any(not isinstance(x, bool) for x in numbers) and unit_of(name) is None:
                bare.add(name)
    assert not bare


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("dbh_cm", "cm"), ("distance_m", "m"), ("voltage_v", "V"), ("deadline_days", "days"),
        ("hours", "crew-hours"), ("low_share", "share"), ("moment_kn_m", "kN m"),
        ("critical_gust_m_per_s", "m/s"), ("p1", "share"), ("p3_low", "share"), ("name", None),
        ("seen_on", None), ("part", None),
    ],
)  # fmt: skip
def test_units_by_name(name: str, unit: str | None) -> None:
    assert unit_of(name) == unit


def test_sources_are_cited_in_full(town: RenderContext, told: dict[str, Any]) -> None:
    cited = [one["source"] for one in _statements(told) if one["source"]]
    assert cited
    for source in cited:
        assert source["citation"] == town.library.sources[source["id"]].citation
    rules = [one for one in _statements(told) if one["statement"] == "failure_rule"]
    assert rules
    assert all(one["basis"] for one in rules)
    printed = [one for one in rules if one["basis"] == "published"]
    assert printed
    assert all(one["source"]["locator"] for one in printed)


def test_sources_in_notes_are_named_as_people_cite_them(told: dict[str, Any]) -> None:
    notes = {one["note"] for one in _statements(told) if one["note"]}
    locators = {one["source"]["locator"] for one in _statements(told) if one["source"]}
    said = " ".join(notes | {text for text in locators if text})
    assert not re.findall(r"[a-z]+_[a-z]*_?\d{4}", said)
    assert "Kane and others 2001" in said


def test_a_rule_that_the_city_replaced_is_told_as_it_was(town: RenderContext) -> None:
    table = facts(town)
    values = [json.loads(raw) for raw in table["values"].to_pylist()]
    at = next(n for n, value in enumerate(values) if value.get("rule") == "union_weak")
    ratings = town.table("scoring.tree_ratings")
    key = pc.index(ratings["fact_set"], table["fact_set"][at]).as_py()
    row = {"rule_id": "union_weak", "note": "the city's own", "basis": "elicited", "locator": ""}
    replaced = [{"table": "failure_criteria", "row": row, "replaced": {}}]
    notes = {
        one["note"]
        for one in _statements(explain(town, [key], replaced))
        if one["statement"] == "failure_rule" and one["values"]["rule"]["value"] == "union_weak"
    }
    assert notes == {"the city's own"}


def test_a_knot_without_evidence_says_what_to_look_at(told: dict[str, Any]) -> None:
    missing = {link: said for link, _, said in knots(english())}
    for tree in told["trees"]:
        stands = tree["status"] in {"standing", "dead"}
        for knot in tree["knots"]:
            if knot["statements"] or not stands:
                assert knot["missing"] is None
            else:
                assert knot["missing"] == missing[knot["link"]]
    assert any(knot["missing"] for tree in told["trees"] for knot in tree["knots"])


def test_knots_are_those_of_the_page() -> None:
    script = plain("forester_thread.js")
    on_page = re.findall(r'^  \["(\w+)", "([^"]+)", "([^"]+)"\],$', script, flags=re.MULTILINE)
    assert tuple(on_page) == knots(english())


def test_nothing_says_that_a_tree_is_safe(told: dict[str, Any]) -> None:
    texts = [one["sentence"] for one in _statements(told)]
    texts += [one["note"] or "" for one in _statements(told)]
    texts += [knot["missing"] or "" for tree in told["trees"] for knot in tree["knots"]]
    said = " ".join(texts).lower()
    # "make safe" is an order to keep people out, "make-safe" its name.
    said = said.replace("make safe", "").replace("make-safe", "").replace("made safe", "")
    assert not re.search(r"\b(safe|safely|harmless|no danger|no risk)\b", said)
    assert any("may still fail" in caution for caution in told["cautions"])


def test_what_a_person_is_asked_about_a_tree_is_told_with_it(town: RenderContext) -> None:
    # A remark that heads the list of what needs a person now must not be missing where the tree
    # itself is explained, whatever the rating makes of it.
    reviews = town.table("scoring.reviews")
    rows = [row for row in reviews.to_pylist() if row["tree_key"] >= 0][:40]
    by_tree: dict[int, list[str]] = {}
    for row in rows:
        said = town.review_sentence(row["code"], json.loads(row["detail"]))
        by_tree.setdefault(row["tree_key"], []).append(said)
    told = explain(town, list(by_tree))
    for tree in told["trees"]:
        assert set(by_tree[tree["tree_key"]]) <= {one["sentence"] for one in tree["asked"]}
