"""Every statement, review and reason has a plain sentence, and none says that a tree is safe."""

import re
from typing import Any

import pytest

from pipeline.errors import RenderError
from pipeline.published.table import Library
from pipeline.render import wording
from pipeline.render.wording_numbers import in_hundred
from pipeline.render.wording_words import FORMULAE
from pipeline.scoring.explanation import REVIEWS, STATEMENTS
from pipeline.tables.catalogue import TABLES

# A value for each name; the words are the trade's.
_VALUES: dict[str, Any] = {
    "about": "tree LK-1, Mill Street",
    "acknowledged_on": "2026-11-01", "action": "remove", "attachment": "attached",
    "best_weight": 0.5, "candidates": 3, "code": "R5", "consequence": "severe", "count": 2,
    "crew": "lift", "days": 1, "deadline_days": 30, "decayed_share": 0.6,
    "decided_on": "2026-10-02", "until": "2026-10-31", "decision": "override", "defect": "crack",
    "diameter_cm": 60.0,
    "dbh_cm": 40.0, "direction_share": 0.25, "distance_m": 4.2, "extent_share": 0.4,
    "failure": "probable", "formula": "wagener", "harm": 0.001, "height_m": 12.0, "high": 0.002,
    "high_share": 0.6, "hours": 2.5, "impact": "medium", "kind": "school", "lifted_by":
    "paint_wounds", "likelihood": "likely", "limit_share": 0.33, "low": 0.0005, "low_share": 0.03,
    "match": "by_place", "name": "Kretzschmaria deusta", "sighting": "F0001",
    "not_before": "2027-07-16",
    "occupancy": "frequent", "occupied_share": 0.17, "opening_share": 0.1, "part": "butt",
    "passed": True, "points": 9, "position": "butt|cavity", "probability": 0.6,
    "program_rating": "high", "rating": "moderate", "reason": "No place.", "residual_rating":
    "low", "rot": "soft", "rule": "split", "seen_on": "2026-10-01", "shell_cm": 6.0,
    "state": "overdue", "status": "stump", "target": "person", "tree_id": "t1", "value": "x",
    "value_share": 0.4, "voltage_v": None, "why": "no_place", "wires": "high_voltage",
    "witness": "visual", "words": "root plate lifting", "years": 3.0,
    "names": ["Kretzschmaria deusta", "Xylaria", "another fungus"],
    "probabilities": [0.7, 0.2, 0.05], "unlisted": 0.05, "sightings": 2,
    "beside": "Xylaria", "decided_by": "form|upper_colour", "against": "month",
    "character": "flesh", "look": "Cut a small piece from the edge.", "running": 3,
    "established": True, "photographs": ["the upper side", "the pore side"],
    "next_look": "Cut a small piece from the edge.",
    "share": 0.4, "reports": 2, "host": "Quercus robur", "genus": "Fagus",
    "trees": [
        {"tree_id": "t1", "genus": "Fagus", "distance_m": 4.2, "named": True, "probability": 0.6},
        {"tree_id": "t2", "genus": None, "distance_m": None, "named": False, "probability": 0.2},
    ],
    "median_share": 0.5, "tenth_share": 0.1, "ninetieth_share": 0.9, "mean_share": 0.5,
    "probability_beyond": 0.2, "p1": 0.02, "p1_low": 0.001, "p1_high": 0.1, "p3": 0.05,
    "critical_gust_m_per_s": 45.0, "crown_m": 8.0, "height_filled": True, "crown_filled": True,
    "region": "as_nzs_a", "terrain": "suburban", "gust_50_m_per_s": 33.0, "wet": True,
    "seen": "possible", "computed": "probable", "apart": True,
    "quoted": "Stammriss", "origin": "note",
    "told_id": "LK-9",
    "serious": "Kretzschmaria deusta", "serious_by": ["public"], "other": "Xylaria polymorpha",
    "other_by": ["laboratory"], "tell_apart": "The fingers of the other stand up.",
    "told": [
        {"word": "crack", "name": None, "part": "stem", "doubted": False, "quoted": "Stammriss"},
        {"word": "fungus", "name": "Kretzschmaria deusta", "part": None, "doubted": True,
         "quoted": "Brandkrustenpilz"},
        {"word": "fungus", "name": None, "part": "butt", "doubted": False, "quoted": "Pilz"},
    ],
}  # fmt: skip
_NULLABLE = ("name", "seen_on", "position", "extent_share", "deadline_days", "height_m",
             "acknowledged_on", "not_before", "why", "about", "decided_by", "against",
             "next_look", "share", "host", "told_id")  # fmt: skip


def _all_sentences(values: dict[str, Any]) -> list[str]:
    told = [
        wording.sentence(name, {key: values[key] for key in keys})
        for name, (_, keys) in STATEMENTS.items()
    ]
    told += [
        wording.review_sentence(code, {key: values[key] for key in keys})
        for code, (_, keys) in REVIEWS.items()
    ]
    reasons = TABLES["planning.unscheduled"].column("reason").allowed
    return told + [wording.unscheduled_sentence(reason) for reason in reasons]


def test_scoring_and_wording_know_the_same_statements() -> None:
    assert set(wording.statements()) == set(STATEMENTS)
    assert set(wording.reviews()) == set(REVIEWS)


@pytest.mark.parametrize("known", [True, False], ids=["all told", "what may be empty is empty"])
def test_each_sentence_is_one_a_person_can_read(known: bool) -> None:
    values = {k: None if not known and k in _NULLABLE else v for k, v in _VALUES.items()}
    for text in _all_sentences(values):
        assert re.match(r"[A-Z0-9]", text), text
        assert text.rstrip()[-1] in ".!", text
        assert "None" not in text, text
        assert "_" not in text, text


def test_no_sentence_says_that_a_tree_is_safe() -> None:
    for text in _all_sentences(_VALUES):
        # "Make safe" is the trade's name of the work that keeps people away.
        plain = re.sub(r"[Mm]ake[- ]safe|[Mm]ake safe", "", text)
        assert not re.search(r"\bsafe(ly|ty)?\b|\bharmless\b", plain, re.IGNORECASE), text


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0297, "about 3 in 100"),
        (0.657, "about 66 in 100"),
        (1.0, "nearly all"),
        (0.0005, "about 5 in 10,000"),
        (0.0, "none"),
        (None, "an unknown share"),
    ],
)
def test_shares_are_told_as_frequencies(share: float | None, text: str) -> None:
    assert in_hundred(share) == text


def test_the_words_of_failure_are_told_over_the_time_frame() -> None:
    told = wording.sentence("failure_frequency", _VALUES)
    assert "about 3 in 100" in told
    assert "over three years" in told


def test_unknown_voltage_prints_no_distance() -> None:
    told = wording.sentence("wires_near", _VALUES)
    assert "call the utility" in told
    assert "line-clearance qualified crew only" in told
    assert not re.search(r"\d+(\.\d+)? ?(m|ft)\b", told)


def test_a_statement_without_sentence_is_refused() -> None:
    with pytest.raises(RenderError) as fault:
        wording.sentence("no_such_thing", {})
    assert "no_such_thing" in fault.value.found


def test_every_published_formula_has_words() -> None:
    assert set(Library().table("strength_limits").texts("formula")) == set(FORMULAE)


def test_an_id_that_no_inventory_has_is_named() -> None:
    for code in ("sighting_serious_unmatched", "sighting_unmatched", "sighting_id_unknown",
                 "sighting_ambiguous", "sighting_serious_ambiguous"):  # fmt: skip
        said = wording.review_sentence(code, {**_VALUES, "told_id": "XX-77", "why": "id_unknown"})
        assert "names tree XX-77, which is in no inventory" in said


def test_what_stands_in_the_row_of_a_tree_was_seen_by_nobody() -> None:
    told = {**_VALUES, "quoted": "Pilz am Ast", "position": "branch", "name": None}
    remark = wording.sentence("seen_told", {**told, "seen_on": None})
    assert "remark reads \u201cPilz am Ast\u201d" in remark
    assert "a fungus without a name on a branch" in remark
    assert "seen" not in remark
    assert "unknown day" not in remark
    column = wording.sentence("seen_told", {**told, "origin": "column"})
    assert column.startswith("The inventory\u2019s own columns tell of a fungus")
    assert "seen on a branch on" in wording.sentence("seen_sighting", told)
    nothing = wording.sentence("seen_height_assumed", _VALUES)
    assert "from the diameter" not in nothing
    assert "12 m, the height of a usual tree, is assumed" in nothing


def test_words_do_not_say_more_than_is_known() -> None:
    at_once = wording.sentence("failure_act_at_once", _VALUES)
    assert "the rating decides what is done and by when" in at_once
    done = wording.sentence("action_chosen", _VALUES)
    assert done.endswith("; rating afterwards: low.")
    apart = wording.sentence("action_chosen", {**_VALUES, "action": "make_safe"})
    assert "rating" not in apart  # keeping people out leaves the tree as it is
    waits = wording.sentence("action_make_safe", {**_VALUES, "acknowledged_on": None})
    assert waits.endswith("Nobody has confirmed that it was done.")
    hangs = {**_VALUES, "defect": "hanging_branch", "part": "branch"}
    assert "branch on the branch" not in wording.sentence("seen_defect", hangs)
    cracked = wording.sentence("seen_defect", {**hangs, "defect": "crack"})
    assert "a crack on the branch" in cracked
