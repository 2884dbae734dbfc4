"""Wood left and witness B through the stage: worked trees, laws, and what each new row changes.

The worked trees were computed beforehand, by a separate prototype of the same published formulae
and elicited numbers, not by this program: to 2 %.
"""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.published.table import Library
from pipeline.settings.model import Wind
from pipeline.tables.store import RunStore
from tests.scoring.changed import changed_library
from tests.scoring.small_world import rows, score

NEAR = 0.02
ROOTS, BUTT, STEM, BRANCH = range(4)
# A maple and a beech of no particular species, so that wood and host are those of the genus.
MAPLE = {"x_m": 0.0, "y_m": 0.0, "genus": "Acer", "species": "Acer", "condition": "fair"}
BEECH = {**MAPLE, "genus": "Fagus", "species": "Fagus"}
SHELF = {"tree_key": 0, "taxon_id": "ganoderma_sessile", "name_text": "Ganoderma sessile",
         "position": "butt", "name_by": "laboratory"}  # fmt: skip
ROSETTE = {**SHELF, "taxon_id": "meripilus_giganteus", "name_text": "Meripilus giganteus",
           "position": "root_flare"}  # fmt: skip


def of_part(store: RunStore, table: str, part: int, tree: int = 0) -> dict[str, Any]:
    """The row of a part."""
    return next(row for row in rows(store, table) if (row["tree_key"], row["part"]) == (tree, part))


def words(store: RunStore, witness: str) -> dict[tuple[int, int], int]:
    """Worst word of a witness by tree and part."""
    found: dict[tuple[int, int], int] = {}
    for row in rows(store, "failure"):
        if row["witness"] == witness:
            key = (row["tree_key"], row["part"])
            found[key] = max(found.get(key, 0), row["failure"])
    return found


def test_a_lacquered_shelf_on_the_butt_of_a_maple(tmp_path: Path) -> None:
    tree = {**MAPLE, "dbh_cm": 55.0, "height_m": 15.0, "crown_width_m": 12.0}
    store = score(tmp_path, {"trees": [tree], "sightings": [SHELF]})
    left, held = of_part(store, "decay", BUTT), of_part(store, "mechanics", BUTT)
    assert left["mean_share"] == pytest.approx(0.512, rel=NEAR)
    assert left["decayed_share_low"] == pytest.approx(0.172, rel=NEAR)
    assert left["decayed_share_high"] == pytest.approx(0.942, rel=NEAR)
    assert held["critical_gust_m_per_s"] == pytest.approx(55.9, rel=NEAR)
    assert held["p1"] == pytest.approx(0.0232, rel=NEAR)
    assert held["p3"] == pytest.approx(0.0531, rel=NEAR)
    assert held["p1_low"] == pytest.approx(0.0006, abs=0.00005)
    assert held["p1_high"] == pytest.approx(0.115, rel=NEAR)
    assert of_part(store, "mechanics", ROOTS)["p1"] == pytest.approx(0.0073, rel=NEAR)
    assert words(store, "mechanics")[0, BUTT] == 3


def test_a_giant_rosette_on_the_roots_of_a_beech_in_wet_ground(tmp_path: Path) -> None:
    tree = {**BEECH, "dbh_cm": 80.0, "height_m": 22.0, "crown_width_m": 18.0}
    store = score(tmp_path, {"trees": [tree], "sightings": [ROSETTE]}, wind=Wind(ground="wet"))
    left, held = of_part(store, "decay", ROOTS), of_part(store, "mechanics", ROOTS)
    assert left["mean_share"] == pytest.approx(0.600, rel=NEAR)
    assert left["decayed_share_low"] == pytest.approx(0.287, rel=NEAR)
    assert left["decayed_share_high"] == pytest.approx(0.879, rel=NEAR)
    assert held["critical_gust_m_per_s"] == pytest.approx(26.2, rel=NEAR)
    assert held["p1"] == pytest.approx(0.153, rel=NEAR)
    assert held["p1_low"] == pytest.approx(0.049, rel=NEAR)
    assert held["p1_high"] == pytest.approx(0.323, rel=NEAR)
    assert held["p3"] == pytest.approx(0.316, rel=NEAR)
    assert words(store, "mechanics")[0, ROOTS] == 3


def test_a_mushroom_in_mulch_leaves_the_chance_of_any_such_tree_and_no_word(tmp_path: Path) -> None:
    tree = {**MAPLE, "dbh_cm": 45.0, "height_m": None, "crown_width_m": None, "condition": "good"}
    loose = {**SHELF, "taxon_id": "agrocybe_praecox", "attachment": "free", "position": "mulch"}
    store = score(tmp_path, {"trees": [tree], "sightings": [loose]})
    assert of_part(store, "mechanics", ROOTS)["p1"] == pytest.approx(0.00173, rel=NEAR)
    assert not words(store, "mechanics")
    assert not rows(store, "decay")


@pytest.mark.parametrize("taxon", ["ganoderma_applanatum", "kretzschmaria_deusta"])
def test_more_layers_never_lower_the_word(tmp_path: Path, taxon: str) -> None:
    tree = {**MAPLE, "dbh_cm": 70.0, "height_m": 18.0, "crown_width_m": 12.0}
    years = (1, 4, 9, 20)
    told = [
        {**SHELF, "tree_key": key, "taxon_id": taxon, "layers": layers}
        for key, layers in enumerate(years)
    ]
    trees = [{**tree, "x_m": 50.0 * key} for key in range(len(years))]
    store = score(tmp_path, {"trees": trees, "sightings": told})
    p = [of_part(store, "mechanics", BUTT, key)["p1"] for key in range(len(years))]
    said = words(store, "mechanics")
    assert p == sorted(p)
    assert [said[key, BUTT] for key in range(4)] == sorted(said[key, BUTT] for key in range(4))


def test_a_windier_place_never_lowers_the_chance(tmp_path: Path) -> None:
    world = {"trees": [{**MAPLE, "dbh_cm": 55.0}, {**MAPLE, "dbh_cm": 30.0, "x_m": 90.0}],
             "sightings": [SHELF]}  # fmt: skip
    before: dict[tuple[int, int], float] = {}
    for gust in (20.0, 28.0, 40.0, 80.0):
        store = score(tmp_path / f"{gust}", world, wind=Wind(gust_50_m_per_s=gust))
        now = {(r["tree_key"], r["part"]): r["p1"] for r in rows(store, "mechanics")}
        assert all(now[key] >= p for key, p in before.items())
        before = now


def test_a_crown_from_the_ground_up_catches_more_wind_than_a_lifted_one(tmp_path: Path) -> None:
    # The area that the wind meets is width by depth; common practice, no source: lifting a crown
    # lessens its load less than its area, since what stays is the higher part.
    tree = {**MAPLE, "dbh_cm": 55.0, "height_m": 18.0, "crown_width_m": 10.0}
    depths = (4.0, 9.0, 17.0)
    trees = [{**tree, "x_m": 60.0 * n, "crown_depth_m": m} for n, m in enumerate(depths)]
    told = [{**SHELF, "tree_key": n} for n in range(len(depths))]
    store = score(tmp_path, {"trees": trees, "sightings": told})
    p = [of_part(store, "mechanics", BUTT, n)["p1"] for n in range(len(depths))]
    assert p[0] < p[1] < p[2]
    gust = [
        of_part(store, "mechanics", BUTT, n)["critical_gust_m_per_s"] for n in range(len(depths))
    ]
    # load ~ area * height of its centre * gust^(1.5 to 2): area alone would give the root of 2.
    assert 1.0 < gust[0] / gust[1] < 2 ** (1 / 1.5)


def test_routine_pruning_earns_no_credit(tmp_path: Path) -> None:
    # Luley et al. 2002 (F1): units pruned by rota did not fail less than those that were not.
    trees = [{**MAPLE, "dbh_cm": 55.0, "x_m": 60.0 * n, "last_pruned_on": day}
             for n, day in enumerate((None, date(2026, 10, 1)))]  # fmt: skip
    store = score(
        tmp_path, {"trees": trees, "sightings": [{**SHELF, "tree_key": n} for n in (0, 1)]}
    )
    for part in (ROOTS, BUTT, STEM, BRANCH):
        plain, pruned = ({**of_part(store, "mechanics", part, n), "tree_key": 0} for n in (0, 1))
        assert plain == pruned


def test_a_decayed_neighbour_says_nothing_of_a_tree(tmp_path: Path) -> None:
    # Nelson et al. 2022 (F6): failures show no pattern in space, so nothing is smoothed over it.
    own = {**MAPLE, "dbh_cm": 55.0}
    near = [{**own, "x_m": 8.0}, {**own, "x_m": -8.0}]
    alone = score(tmp_path / "a", {"trees": [own], "sightings": [SHELF]})
    told = [SHELF, *({**ROSETTE, "tree_key": n} for n in (1, 2))]
    beside = score(tmp_path / "b", {"trees": [own, *near], "sightings": told})
    for part in (ROOTS, BUTT, STEM, BRANCH):
        one, other = of_part(alone, "mechanics", part), of_part(beside, "mechanics", part)
        # sums over a batch of another size may differ in the last digit
        assert [one[p] for p in ("p1", "p3")] == pytest.approx(
            [other[p] for p in ("p1", "p3")], rel=1e-12
        )
        assert one["failure"] == other["failure"]
    assert rows(alone, "failure") == [r for r in rows(beside, "failure") if r["tree_key"] == 0]


def test_a_topped_tree_is_left_to_the_eye(tmp_path: Path) -> None:
    # Crown and height of a topped tree are no longer those that the wind load is set on.
    topped = [{"tree_key": 0, "topped": True}]
    store = score(tmp_path, {"trees": [MAPLE], "sightings": [SHELF], "inspections": topped})
    row = of_part(store, "mechanics", BUTT)
    assert (row["applicable"], row["reason"]) == (False, "topped")
    assert not words(store, "mechanics")
    assert words(store, "fungus")


def test_ground_that_an_inspector_found_wet_counts_as_a_town_of_wet_ground(tmp_path: Path) -> None:
    tree = {**BEECH, "dbh_cm": 80.0}
    world: dict[str, Any] = {
        "trees": [tree],
        "sightings": [ROSETTE],
        "inspections": [{"tree_key": 0}],
    }
    dry = score(tmp_path / "dry", world)
    told = score(
        tmp_path / "told", {**world, "inspections": [{"tree_key": 0, "wet_in_winter": True}]}
    )
    town = score(tmp_path / "town", world, wind=Wind(ground="wet"))
    p = [of_part(store, "mechanics", ROOTS)["p1"] for store in (dry, told, town)]
    assert p[0] < p[1] == p[2]
    stem = [of_part(store, "mechanics", STEM)["p1"] for store in (dry, told, town)]
    assert stem[0] == stem[1] == stem[2]


def test_the_order_of_trees_and_reports_changes_nothing(tmp_path: Path) -> None:
    sizes = (30.0, 55.0, 90.0)
    trees = [{**MAPLE, "dbh_cm": D, "x_m": 60.0 * n} for n, D in enumerate(sizes)]
    told = [{**SHELF, "tree_key": 0}, {**ROSETTE, "tree_key": 2}]
    turned = [{**SHELF, "tree_key": 2}, {**ROSETTE, "tree_key": 0}]
    one = score(tmp_path / "a", {"trees": trees, "sightings": told})
    other = score(tmp_path / "b", {"trees": trees[::-1], "sightings": turned[::-1]})
    for table in ("decay", "mechanics"):
        mine = {(r["tree_key"], r["part"]): {**r, "tree_key": 0} for r in rows(one, table)}
        his = {(2 - r["tree_key"], r["part"]): {**r, "tree_key": 0} for r in rows(other, table)}
        assert mine == his


@pytest.mark.parametrize(
    ("tree", "reason"),
    [
        ({"wood": "palm", "genus": "Phoenix", "species": "Phoenix dactylifera"}, "palm"),
        ({"stems": 3}, "multi_stem"),
        ({"dbh_cm": None}, "no_diameter"),
    ],
)
def test_where_mechanics_cannot_speak_the_eye_stands_alone(
    tmp_path: Path, tree: Mapping[str, Any], reason: str
) -> None:
    store = score(tmp_path, {"trees": [{**MAPLE, **tree}], "sightings": [SHELF]})
    row = of_part(store, "mechanics", BUTT)
    assert (row["applicable"], row["reason"], row["p1"]) == (False, reason, None)
    assert not words(store, "mechanics")
    assert words(store, "fungus")
    facts = {row["statement"] for row in rows(store, "facts")}
    assert "holds_not_applicable" in facts


def test_witnesses_two_words_apart_ask_for_a_closer_look(tmp_path: Path) -> None:
    # A stout and low tree, measured by tomogram to be nearly whole, under a fungus of code R4.
    tree = {**MAPLE, "dbh_cm": 80.0, "height_m": 9.0, "crown_width_m": 5.0}
    seen = {"tree_key": 0, "part": "butt", "reading": "tomogram", "section_diameter_cm": 80.0,
            "decayed_share": 0.01}  # fmt: skip
    store = score(
        tmp_path,
        {"trees": [tree], "sightings": [SHELF], "inspections": [{"tree_key": 0}],
         "readings": [seen]},
    )  # fmt: skip
    assert words(store, "fungus")[0, BUTT] == 3
    assert words(store, "mechanics")[0, BUTT] == 1
    assert "witnesses_apart" in [row["code"] for row in rows(store, "reviews")]
    rated = rows(store, "tree_ratings")[0]
    assert (rated["failure"], rated["advanced_assessment"]) == (3, True)


def test_an_assumed_year_of_death_makes_nothing_imminent(tmp_path: Path) -> None:
    tall = {**MAPLE, "dbh_cm": 30.0, "height_m": 22.0, "crown_width_m": 12.0, "status": "dead"}
    store = score(tmp_path, {"trees": [tall]})
    assert of_part(store, "mechanics", STEM)["p1"] > 0.3
    assert words(store, "mechanics") == {(0, STEM): 3}
    assert rows(store, "tree_ratings")[0]["failure"] == 3


def test_a_day_of_death_that_was_told_stands_over_the_years_assumed(tmp_path: Path) -> None:
    # Common practice, no source: dead wood loses strength by the year, so the day matters.
    dead = {**MAPLE, "dbh_cm": 40.0, "status": "dead"}
    days = (date(2026, 6, 1), date(2024, 6, 1), date(2020, 6, 1), None)
    trees = [{**dead, "x_m": 60.0 * n} for n in range(len(days))]
    told = [{"tree_key": n, "dead_since": day} for n, day in enumerate(days)]
    store = score(tmp_path, {"trees": trees, "inspections": told})
    p = [of_part(store, "mechanics", STEM, n)["p1"] for n in range(len(days))]
    assert p[0] < p[1] < p[2]
    # Nobody told of the last: it counts as dead for two years, so between the first and the third.
    assert p[0] < p[3] < p[2]


def test_the_winds_of_the_place_are_asked_for_where_nobody_told_them(tmp_path: Path) -> None:
    world = {"trees": [{**MAPLE, "dbh_cm": 55.0}], "sightings": [SHELF]}
    silent = score(tmp_path / "a", world)
    told = score(tmp_path / "b", world, wind=Wind(gust_50_m_per_s=38.0))
    assert "wind_unknown" in [row["code"] for row in rows(silent, "reviews")]
    assert "wind_unknown" not in [row["code"] for row in rows(told, "reviews")]


@pytest.mark.parametrize(
    ("table", "key", "column", "text"),
    [
        ("anchorage", "dead_before_told", "value", "4"),
        ("fragility", "set_from", "value", "20"),
        ("failure_probability_words", "possible", "from_per_year", "0.0006"),
        ("failure_probability_words", "probable", "from_per_year", "0.02"),
    ],
)
def test_each_row_that_the_wiring_reads_changes_a_result(
    tmp_path: Path, table: str, key: str, column: str, text: str
) -> None:
    sizes = (6.0, 140.0, 40.0, 30.0, 50.0)
    trees = [{**MAPLE, "dbh_cm": D, "x_m": 60.0 * n} for n, D in enumerate(sizes)]
    trees[2]["status"] = "dead"
    for tree in trees[:2]:
        tree |= {"height_m": None, "crown_width_m": None}
    told = [{**SHELF, "tree_key": key} for key in (3, 4)]
    world = {"trees": trees, "sightings": told}
    at = [next(iter(row.values())) for row in Library().table(table).rows].index(key)
    plain = score(tmp_path / "a", world)
    other = score(tmp_path / "b", world, library=changed_library((table, at, column, text)))
    found = [[rows(store, n) for n in ("mechanics", "failure")] for store in (plain, other)]
    assert found[0] != found[1]
