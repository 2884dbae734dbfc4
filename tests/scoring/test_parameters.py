"""From published tables and settings to the objects of the maths."""

import pickle
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library
from pipeline.scoring.assembly.works import check_reasons
from pipeline.scoring.parameters import Parameters, build
from pipeline.settings.model import Rating
from pipeline.tables import inputs
from pipeline.terms import OccupancyWord, RatingWord
from tests.scoring.changed import RULES, Change, changed_library, changes_of, number_changes
from tests.scoring.small_world import settings

TMP = Path("nowhere")


def _built(change: Change | None = None, *, region: str = "us-mi") -> Parameters:
    library = changed_library(change) if change else Library()
    return build(settings(TMP, region=region), library)


PLAIN = pickle.dumps(_built())
# With no region all restrictions are in force, so that each row of that table is read.
EVERYWHERE = pickle.dumps(_built(region=""))


@pytest.mark.parametrize(
    "change",
    [
        *number_changes("occupancy_limits", "share_used", factor=0.3),
        *number_changes("occupancy_limits", "number_from", factor=0.5),
        *number_changes("targets", "stay_min"),
        *changes_of("targets", {"group": {"person": "vehicle", "": "person"}}),
        *number_changes("part_defaults", "value"),
        *number_changes("height_by_dbh", "height_m"),
        *number_changes("exposure_classes", "share_from", factor=0.5),
        *number_changes("assumed_targets", "direction_share", factor=0.5),
        *changes_of("assumed_targets", {"group": {"": "building"}}),
        *number_changes("review_limits", "value", factor=0.5),
        *number_changes("movement", "value"),
        *changes_of("no_climb", {"parts": {"": "branch"}}),
        *number_changes("action_codes", "look_within_days"),
    ],
    ids=str,
)
def test_every_row_reaches_the_maths(change: Change) -> None:
    assert pickle.dumps(_built(change)) != PLAIN


@pytest.mark.parametrize(
    "change", changes_of("restrictions", {"lifted_from": {"": "moderate"}}), ids=str
)
def test_every_restriction_reaches_the_maths(change: Change) -> None:
    assert pickle.dumps(_built(change, region="")) != EVERYWHERE


@pytest.mark.parametrize(
    ("table", "column", "text"),
    [
        ("impact_matrix", "impact", "sometimes"),
        ("consequence", "target", "dog"),
        ("actions", "phase", "later"),
        ("actions", "action", "paint it"),
        ("actions", "residual", "better"),
        ("actions", "failure_from", "maybe"),
        ("actions", "parts", "leaf"),
        ("actions", "defects", "sadness"),
        ("restrictions", "closed_from", "spring"),
        ("restrictions", "closed_to", "02-30"),
        ("restrictions", "lifted_from", "often"),
    ],
)
def test_a_cell_that_means_nothing_is_refused_by_name(table: str, column: str, text: str) -> None:
    with pytest.raises(PublishedValueError) as fault:
        _built((table, 0, column, text), region="")
    assert table in fault.value.where
    assert text in fault.value.found


def test_an_action_without_hours_is_refused() -> None:
    hours = Library().table("hours", folder="rules")
    row = hours.texts("action").index("inspect")
    with pytest.raises(PublishedValueError) as fault:
        _built(("hours", row, "action", "sound"))
    assert "inspect" in fault.value.found


def test_inspections_need_their_rules() -> None:
    rules = Library().table("actions", folder="rules")
    row = rules.texts("rule_id").index("inspect_due")
    with pytest.raises(PublishedValueError) as fault:
        _built(("actions", row, "rule_id", "look"))
    assert "inspect_due" in fault.value.found


def test_a_reason_without_a_sentence_is_refused() -> None:
    with pytest.raises(PublishedValueError) as fault:
        check_reasons(_built(("actions", 0, "why", "because")).work.rules)
    assert fault.value.found == "because"


def test_settings_reach_the_maths() -> None:
    rating = Rating(accepted_rating="low", assumed_occupancy="constant", method="points")
    made = build(settings(TMP, rating=rating, region=""), Library())
    assert made.accepted == RatingWord.LOW
    assert made.assumed_occupancy == OccupancyWord.CONSTANT
    assert made.method == "points"
    assert not made.work.region_known
    assert made.quarter_end.isoformat() == "2027-03-31"
    assert made.plan_end.isoformat() == "2027-12-31"


def test_every_kind_of_zone_has_a_target_group() -> None:
    assert len(_built().target.group_of_kind) == len(inputs.ZONE_KINDS)


def test_every_action_has_a_rule_that_knows_how_it_is_done() -> None:
    assert {rule.action for rule in _built().work.rules} == set(inputs.ACTIONS)


def test_the_prior_of_a_worse_condition_is_never_lower() -> None:
    prior = _built().work.prior
    good_to_dead = prior.middle[: len(inputs.CONDITIONS)]
    assert (np.diff(good_to_dead) >= 0).all()
    assert (prior.low <= prior.middle).all()
    assert (prior.middle <= prior.high).all()


@pytest.mark.parametrize("name", RULES)
def test_every_source_of_a_rule_table_is_known(name: str) -> None:
    library = Library()
    assert set(library.table(name, folder="rules").texts("source")) <= set(library.sources)


@pytest.mark.parametrize(
    "name",
    ["occupancy_limits", "movement", "targets", "part_sizes", "part_defaults", "height_by_dbh",
     "exposure_classes", "impact_matrix", "assumed_targets", "consequence", "consequence_harm",
     "inspection_cycles", "deadlines", "prior_failure", "review_limits"],
)  # fmt: skip
def test_sources_are_known_and_published_rows_say_where(name: str) -> None:
    library = Library()
    for row in library.table(name).rows:
        assert row["source"] in library.sources
        assert row["basis"] != "published" or row["locator"]
