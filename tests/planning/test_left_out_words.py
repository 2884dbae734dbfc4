"""Why work is left out is said in the city's own language, with its numbers."""

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from tests.other_language import own, table
from tests.planning.small_town import CREWS, Town, crew
from tests.planning.test_stage import busy_town
from tests.planning.test_wanted import cutting_town


def _hindered() -> Town:
    town = Town(trees=5, crews=(crew("Climbers", "climb"), crew("Lookers", "inspect")))
    town.ratings = {0: {"no_climb": True}}
    town.add(0, "prune_part", crew_type="climb")
    town.add(1, "remove", crew_type="climb", machine="crane")
    town.add(2, "tomography", crew_type="instrument")
    town.add(3, "remove", crew_type="climb", hours=400.0)
    return town


def _waiting() -> Town:
    town = Town(trees=4)
    for tree in range(4):
        town.add(tree, "prune_part", crew_type="climb")
    town.actions[0]["closed_days"] = "2026-11-01/2029-02-28"
    town.decisions = [
        {"tree_key": 1, "decision": "defer", "until": date(2030, 1, 1)},
        {"job_id": "T-00002/prune_part", "decision": "pin", "value": "2031Q2"},
        {"tree_key": 3, "decision": "defer"},
    ]
    return town


def _idle() -> Town:
    crews = tuple(one.model_copy(update={"hours_per_quarter": 0.0}) for one in CREWS)
    return busy_town(crews=crews)


def _scarce() -> Town:
    return cutting_town(machine_hours={"crane": 13.0}, quarters=2)


@pytest.mark.parametrize(
    ("made", "reasons"),
    [
        (_hindered, {"do_not_climb_no_lift", "no_machine", "no_crew_of_type", "longer_than_shift"}),
        (_waiting, {"out_of_season", "deferred"}),
        (_idle, {"no_hours_left"}),
        (lambda: cutting_town(budget=2000.0), {"no_money_left"}),
        (
            lambda: cutting_town(machine_hours={"crane": 13.0}, quarters=2),
            {"no_machine_hours_left"},
        ),
    ],
    ids=["hindered", "waiting", "no hours", "no money", "no machine hours"],
)
def test_each_reason_is_said_in_the_language_of_the_city(
    tmp_path: Path, made: Callable[[], Town], reasons: set[str]
) -> None:
    file = tmp_path / "own.toml"
    file.write_text(table({("left_out", "deferred", "until"): "{day} atendas {span}"}), "utf-8")
    plain, told = made(), made()
    told.sentences = file
    english = plain.plan(tmp_path / "english").by_id("unscheduled")
    other = told.plan(tmp_path / "other").by_id("unscheduled")
    assert {row["reason"] for row in other.values()} == reasons
    for name, row in other.items():
        assert own(row["detail"]), row["detail"]
        bare = row["detail"].replace("\u00ab", "").replace("\u00bb", "")
        if "atendas" in bare:
            assert bare == "2030-01-01 atendas 2027Q1 to 2027Q4"
        else:
            assert bare == english[name]["detail"]
