"""What is done to whole trees: tests only where they may change it, windows, value kept."""

from datetime import date
from pathlib import Path
from typing import Any, Literal

import pytest

from pipeline.published.table import Library
from pipeline.settings.model import Rating
from tests.scoring.small_world import AS_OF, Rows, box, rows, score
from tests.scoring.test_stage import SIGHTING, actions, one, told, trees, world

TESTS = {"drill", "tomography", "sound", "dig_root_collar", "pull_test", "expert_identification"}
SEEN = date(2026, 8, 1)


def _tests(found: dict[str, dict[str, Any]]) -> set[str]:
    return {name for name, row in found.items() if row["chosen"]} & TESTS


NOBODY = {"zone_id": "far", "kind": "path", "geometry": box(900.0, 900.0, 910.0),
          "occupancy": "rare"}  # fmt: skip
FAR: dict[str, Rows] = {"zones": [NOBODY]}


@pytest.mark.parametrize(
    ("genus", "taxon"), [("Quercus", "hericium_erinaceus"), ("Betula", "fomitopsis_betulina")]
)
def test_a_low_tree_with_nobody_below_is_not_drilled(
    tmp_path: Path, genus: str, taxon: str
) -> None:
    """Whatever a drill finds, nobody is there: nothing that is done would change."""
    body = {**SIGHTING, "taxon_id": taxon, "name_text": taxon, "seen_on": SEEN}
    store = score(tmp_path, world(trees=trees(1, genus=genus), sightings=[body], **FAR))
    assert one(store)["rating"] == 1
    assert not _tests(actions(store))
    assert one(store)["best_action"] == "retain_monitor"
    # Not without a date: a fungus of code R3 is looked at every year.
    worth = rows(store, "tests_that_pay")
    assert worth
    assert all(not row["probability_changes"] for row in worth)


def test_a_drilled_butt_with_an_opening_is_not_drilled_again(tmp_path: Path) -> None:
    readings = [
        {"tree_key": 0, "part": "butt", "reading": "drill", "section_diameter_cm": 60.0,
         "shell_cm": 12.0, "azimuth_deg": float(at), "opening_cm": 20.0}
        for at in (0, 90, 180, 270)
    ]  # fmt: skip
    body = {**SIGHTING, "taxon_id": "ganoderma_applanatum", "position": "butt", "seen_on": SEEN}
    store = score(
        tmp_path,
        world(trees=trees(1, dbh_cm=60.0), sightings=[body], inspections=[{"tree_key": 0}],
              readings=readings),
    )  # fmt: skip
    assert "drill" not in _tests(actions(store))


def test_a_butt_rot_that_also_rots_roots_is_tested_at_the_roots_too(tmp_path: Path) -> None:
    """A drill of the butt judges no root (usfs_na_tp_03_03, chapter 3, root problems)."""
    body = {**SIGHTING, "taxon_id": "armillaria_mellea", "position": "butt", "seen_on": SEEN}
    store = score(tmp_path, world(trees=trees(1, dbh_cm=70.0), sightings=[body]))
    assert one(store)["rating"] > 1
    assert _tests(actions(store)) & {"dig_root_collar", "pull_test"}


def test_bared_roots_are_measured_roots(tmp_path: Path) -> None:
    body = {**SIGHTING, "taxon_id": "meripilus_giganteus", "position": "root_flare",
            "seen_on": SEEN}  # fmt: skip
    dug = {"tree_key": 0, "action": "dig_root_collar", "done_on": date(2026, 9, 1)}
    before = score(tmp_path / "before", world(sightings=[body]))
    after = score(tmp_path / "after", world(sightings=[body], work_done=[dug]))
    assert "dig_root_collar" in _tests(actions(before))
    assert "dig_root_collar" not in actions(after)
    earlier = {**dug, "done_on": date(2026, 7, 1)}
    stale = score(tmp_path / "stale", world(sightings=[body], work_done=[earlier]))
    assert "dig_root_collar" in _tests(actions(stale))


def test_a_measured_part_is_no_longer_judged_by_a_name(tmp_path: Path) -> None:
    """A name alone never condemns: the extent is measured first (pastircakova_2021)."""
    body = {**SIGHTING, "taxon_id": "ganoderma_applanatum", "position": "butt", "seen_on": SEEN}
    drilled = [
        {"tree_key": 0, "part": "butt", "reading": "drill", "section_diameter_cm": 40.0,
         "shell_cm": 19.0, "azimuth_deg": float(at)}
        for at in (0, 120, 240)
    ]  # fmt: skip

    def fungus(folder: str, readings: Rows) -> int:
        store = score(tmp_path / folder, world(sightings=[body], readings=readings,
                                               inspections=[{"tree_key": 0}]))  # fmt: skip
        said = [row["failure"] for row in rows(store, "failure")
                if row["witness"] == "fungus" and row["part"] == 1]  # fmt: skip
        return int(max(said))

    assert fungus("unmeasured", []) == 3
    assert fungus("measured", drilled) == 2
    # Soft rot is hidden from a drill (UMass Extension on Kretzschmaria deusta): the name stays.
    body["taxon_id"] = "kretzschmaria_deusta"
    assert fungus("soft", drilled) == 3


def test_what_fails_now_lifts_a_disease_window_though_nobody_is_below(tmp_path: Path) -> None:
    """An emergency overrides a disease window with its hygiene, never an active nest."""
    lifting = [
        {"tree_key": 0, "defect": "lean", "part": "roots", "soil_moved": True,
         "roots_broken": True, "with_crack": True}
    ]  # fmt: skip
    cut = {"tree_key": 0, "decision": "override", "value": "reduce_crown", "role": "forester"}
    cherry = world(trees=trees(1, genus="Prunus"), inspections=[{"tree_key": 0}],
                   decisions=[cut], **FAR)  # fmt: skip
    calm = score(tmp_path / "calm", cherry)
    urgent = score(tmp_path / "urgent", {**cherry, "defects": lifting})
    assert (one(urgent)["failure"], one(urgent)["rating"]) == (4, 1)
    # Silver leaf: cherries are cut in dry summer, not from November to March (from memory); the
    # nesting season follows from April to August.
    waits, goes = actions(calm)["reduce_crown"], actions(urgent)["reduce_crown"]
    assert (waits["season_code"], waits["not_before"]) == ("birds_us", date(2027, 9, 1))
    assert (goes["not_before"], goes["overridden_by"]) == (None, "clean_tools")
    nest = trees(1, genus="Prunus", notes="active nest in the fork")
    stays = score(tmp_path / "nest", {**cherry, "trees": nest, "defects": lifting})
    assert actions(stays)["reduce_crown"]["season_code"] == "active_nest"
    assert actions(stays)["reduce_crown"]["not_before"] > AS_OF


def test_wires_of_known_voltage_tell_a_distance_and_others_none(tmp_path: Path) -> None:
    """29 CFR 1910.269: 10 ft to 50 kV and 4 in for each 10 kV above; 69 kV gives 10.67 ft."""
    cut = {"tree_key": 0, "decision": "override", "value": "remove", "role": "forester"}

    def wires(folder: str, **more: object) -> dict[str, Any]:
        row = trees(1, wires="high_voltage", **more)
        return told(score(tmp_path / folder, world(trees=row, decisions=[cut])))["wires_near"]

    assert wires("known", voltage_v=69_000.0)["distance_m"] == pytest.approx(
        10.667 * 0.3048, abs=1e-3
    )
    assert wires("unknown")["distance_m"] is None


def _sightings_of(codes: tuple[str, ...]) -> Rows:
    taxa = Library().table("taxa").rows
    found = []
    for code in codes:
        named = [row["taxon_id"] for row in taxa if row["action_code"] == code]
        found += [(code, name) for name in named[:2]]
    return [
        {**SIGHTING, "tree_key": n, "taxon_id": name, "name_text": name, "seen_on": SEEN,
         "position": ("butt", "stem")[n % 2]}
        for n, (_, name) in enumerate(found)
    ]  # fmt: skip


def test_no_action_leaves_more_than_doing_nothing_and_value_is_told(tmp_path: Path) -> None:
    bodies = _sightings_of(("R1", "R2", "R3", "R4", "R5"))
    defects = [{"tree_key": n, "defect": name, "part": part, "extent_share": 0.5}
               for n, (name, part) in enumerate([
                   ("crack", "stem"), ("decay", "roots"), ("dead_branch", "branch"),
                   ("cavity", "butt"), ("dead_tree", "stem")])]  # fmt: skip
    town = world(trees=trees(10), sightings=bodies, defects=defects,
                 inspections=[{"tree_key": n} for n in range(5)])  # fmt: skip
    methods: tuple[Literal["matrix", "points"], ...] = ("matrix", "points")
    for method in methods:
        store = score(tmp_path / method, town, rating=Rating(method=method))
        rated = {row["tree_key"]: row for row in rows(store, "tree_ratings")}
        found = rows(store, "candidate_actions")
        assert len({row["action"] for row in found}) >= 8
        for row in found:
            tree = rated[row["tree_key"]]
            assert row["residual_rating"] <= max(tree["rating"], 1)
            assert row["residual_harm_per_year"] <= tree["harm_per_year"] * (1 + 1e-9)
            assert 0 <= row["value_kept_share"] <= 1
            if row["action"] in TESTS | {"retain_monitor", "inspect"}:
                assert row["value_kept_share"] == 1
            if row["action"] == "remove":
                assert row["value_kept_share"] == 0
