"""Every statement, review and reason has a plain sentence, and none says that a tree is safe."""

import re
from typing import Any

import pytest

from pipeline.errors import RenderError
from pipeline.published.sentences import english
from pipeline.published.table import Library
from pipeline.render import wording
from pipeline.render.wording_numbers import band, in_hundred
from pipeline.scoring.explanation import REVIEWS, STATEMENTS

# A value for each name; the words are the trade's.
_VALUES: dict[str, Any] = {
    "about": "tree LK-1, Mill Street",
    "acknowledged_on": "2026-11-01", "action": "remove", "attachment": "attached",
    "best_weight": 0.5, "candidates": 3, "closed_from": "2027-04-01", "closed_to": "2027-08-31",
    "code": "R5", "consequence": "severe", "count": 2,
    "crew": "lift", "days": 1, "deadline_days": 30, "decayed_share": 0.6,
    "decided_on": "2026-10-02", "until": "2026-10-31", "role": "city forester",
    "decision": "override", "defect": "crack",
    "diameter_cm": 60.0,
    "dbh_cm": 40.0, "direction_share": 0.25, "distance_m": 4.2, "extent_share": 0.4,
    "failure": "probable", "formula": "wagener", "harm": 0.001, "height_m": 12.0,
    "harm_high": 0.002, "harm_low": 0.0005, "signs": "soil_moved|roots_broken",
    "beyond_share": 0.69, "factor_either_way": 3.0, "factor": 12.3, "over": 4, "under": 0,
    "why_above": "probe", "also": "stem", "always": True,
    "link": "impact", "most": "extent", "rank": 7, "rank_low": 2, "rank_high": 40, "ranked": 404,
    "variance_fungus": 0.1, "variance_extent": 0.6, "variance_wind": 0.2,
    "variance_occupancy": 0.1, "share_low": 0.0, "share_moderate": 0.1, "share_high": 0.7,
    "share_extreme": 0.2,
    "high_share": 0.6, "hours": 2.5, "impact": "medium", "kind": "school", "lifted_by":
    "paint_wounds", "likelihood": "likely", "limit_share": 0.33, "low_share": 0.03,
    "match": "by_place", "name": "Kretzschmaria deusta", "sighting": "F0001",
    "not_before": "2027-07-16",
    "occupancy": "frequent", "occupied_share": 0.17, "opening_share": 0.1, "part": "butt",
    "passed": True, "points": 9, "position": "butt|cavity", "probability": 0.6,
    "program_rating": "high", "rating": "moderate", "reason": "No place.", "residual_rating":
    "low", "rot": "soft", "rule": "split", "seen_on": "2026-10-01", "shell_cm": 6.0,
    "state": "overdue", "status": "stump", "target": "person", "tree_id": "t1", "value": "x",
    "value_share": 0.4, "voltage_v": None, "why": "no_place", "wires": "high_voltage",
    "differs": True, "what": "fungus", "changes_share": 0.2, "spares_share": 0.15,
    "takes_share": 0.05, "together_share": 0.4, "without": "retain_monitor",
    "likeliest": "reduce_crown",
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
             "next_look", "share", "host", "told_id", "role", "also",
             "until")  # fmt: skip


def _all_sentences(values: dict[str, Any]) -> list[str]:
    told = [
        wording.sentence(name, {key: values[key] for key in keys})
        for name, (_, keys) in STATEMENTS.items()
    ]
    told += [
        wording.review_sentence(code, {key: values[key] for key in keys})
        for code, (_, keys) in REVIEWS.items()
    ]
    return told


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
        # What a model gives no chance may happen all the same: never "none", never "0 in".
        (0.0, "fewer than 1 in 1,000,000"),
        (1e-9, "fewer than 1 in 1,000,000"),
        (0.0049, "about 5 in 1,000"),
        (0.005, "about 5 in 1,000"),
        (0.0095, "about 1 in 100"),
        (0.00094, "about 9 in 10,000"),
        (0.994, "about 99 in 100"),
        (None, "an unknown share of"),
    ],
)
def test_shares_are_told_as_frequencies(share: float | None, text: str) -> None:
    assert in_hundred(share) == text


def test_the_words_of_failure_are_told_over_the_time_frame() -> None:
    told = wording.sentence("failure_frequency", _VALUES)
    assert "about 3 to 60 in 100" in told
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


@pytest.mark.parametrize(
    ("table", "column", "kind"),
    [
        ("strength_limits", "formula", "formula"),
        ("failure_criteria", "rule_id", "rule"),
        ("fungus_failure", "rule_id", "rule"),
        ("action_codes", "action_code", "code"),
    ],
)
def test_every_row_of_a_published_table_that_is_named_has_words(
    table: str, column: str, kind: str
) -> None:
    keys = {"fungus_failure": ("action_code", "attachment", "position_match")}
    rows = Library().table(table, key=keys.get(table, ())).texts(column)
    assert set(rows) <= set(english().words(kind))


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
    assert "a crack on a branch" in cracked


def _said(statement: str, **other: object) -> str:
    return wording.sentence(statement, {**_VALUES, **other})


def test_two_ends_that_round_alike_are_told_once() -> None:
    assert band(0.0196, 0.0204) == "about 2 in 100"
    assert band(0.03, 0.657) == "about 3 to 66 in 100"
    assert band(0.003, 0.44) == "about 3 in 1,000 to about 44 in 100"
    assert band(0.0, 1.0) == "fewer than 1 in 1,000,000 to nearly all"
    assert "about 2 in 100 in three" in _said("holds_part", p1=0.02, p3=0.0204)


def test_limits_and_factors_are_those_of_the_values() -> None:
    # Typed into the sentence they would stay when a city replaces the row of the table.
    assert "more than 72 %" in _said("wood_left", beyond_share=0.72)
    assert "factor of 4.2 either way" in _said("holds_part", factor_either_way=4.2)
    assert "two thirds" not in _said("wood_left")


def test_what_is_of_what_is_said() -> None:
    left = _said("wood_left", part="roots", probability_beyond=0.02)
    assert "of the root plate" in left
    assert "In about 2 in 100 such trees it is more than 69 %." in left
    assert "hardly any of the diameter of the stem" in _said(
        "wood_left", part="stem", median_share=0.0, tenth_share=0.0
    )


def test_harm_is_told_as_years_between_deaths() -> None:
    told = _said("rating_harm", harm=4.9e-5, harm_low=4.9e-6, harm_high=2e-4)
    assert "one equivalent death in about 20,000 years" in told
    assert "one in 5,000 to 200,000 years" in told
    assert "too little to count" in _said("rating_harm", harm=0.0, harm_low=0.0)


@pytest.mark.parametrize(
    ("part", "falls"),
    [
        ("roots", "The tree may fall whole"),
        ("butt", "The tree may break off at the butt"),
        ("stem", "The stem may break"),
        ("branch", "A branch may break"),
    ],
)
def test_what_falls_is_the_part(part: str, falls: str) -> None:
    assert _said("consequence_of_part", part=part).startswith(falls)


def test_a_rule_is_told_in_words_and_one_of_a_city_by_its_name() -> None:
    told = _said("failure_rule", rule="lean_soil_roots", part="roots", failure="imminent")
    assert told == (
        "Failure of the roots is imminent by what was seen: a lean, the soil has moved and roots "
        "are freshly broken."
    )
    assert "a rule of this city (our own)" in _said("failure_rule", rule="our_own")


def test_whoever_must_not_climb_must_not_stand_below() -> None:
    for statement in STATEMENTS:
        if statement.startswith("no_climb"):
            assert "do not stand under the crown" in wording.sentence(statement, _VALUES)


def test_parts_that_are_alike_are_told_together() -> None:
    both = _said("holds_part", part="butt|stem")
    assert "by the butt and the stem each" in both
    assert "the butt and the stem" in _said("failure_rule", part="butt|stem")


def test_a_mean_outside_of_its_range_is_explained() -> None:
    # The chance is a mean over states of decay: few bad ones lift it over nine of ten others.
    told = _said("holds_part", p1=0.2, p1_low=0.001, p1_high=0.1)
    assert "in a few far more" in told


def test_agreeing_witnesses_are_not_said_to_differ() -> None:
    same = _said("holds_witnesses", seen="probable", computed="probable")
    assert "agrees" in same
    assert "worse" not in same
    assert "The worse counts" in _said("holds_witnesses")


def test_a_fungus_that_may_be_any_is_not_named_as_if_known() -> None:
    told = _said("fungus_candidates", probabilities=[0.18, 0.12, 0.11], sightings=1)
    assert told.startswith("Which fungus it is cannot be told")


def test_signs_beside_a_defect_are_told() -> None:
    told = _said("seen_defect", defect="lean", part="roots", extent_share=None)
    assert "a lean, the soil beside it has moved, roots are freshly broken" in told
    crack = _said("seen_defect", signs="with_decay|with_crack")
    assert "with extensive decay" in crack
    assert "with a crack" not in crack  # of a crack that says nothing
    damage = _said("seen_defect", defect="root_damage", part="roots", extent_share=0.55, signs="")
    assert damage.startswith("An inspector notes damaged roots, over 55 % of the roots")


def test_who_comes_first_among_trees_never_inspected_is_said() -> None:
    assert "those come first that would do the most harm" in _said("action_inspect", state="never")


def test_a_decision_is_told_with_who_why_and_until_when() -> None:
    assert _said("decision_stands", reason="Seen on site.", value="retain_monitor") == (
        "On 2 October 2026 the city forester decided otherwise than the program: keep and look "
        "again (\u201cSeen on site\u201d); that stands until 31 October 2026."
    )
    bare = _said("decision_stands", role=None, reason=None, until=None, value=None)
    assert bare == (
        "On 2 October 2026 a person whose role was not told decided otherwise than the program; "
        "that stands."
    )


def test_what_a_test_may_change_is_a_frequency_with_what_is_done_without_it() -> None:
    told = _said("test_worth", action="drill", part="butt")
    for part in ("20 in 100", "butt", "keep and look again"):
        assert part in told
    beside = _said("test_worth", changes_share=0.0)
    assert "40 in 100" in beside
    assert "alone it changes nothing" in beside
    assert "nothing else shows" in _said("test_worth", changes_share=0.0, together_share=0.0)
