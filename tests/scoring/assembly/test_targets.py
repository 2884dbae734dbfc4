"""Pairs of part and target against a plain loop."""

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from tests.scoring.small_world import box, rows, score, street


def test_every_zone_within_reach_is_a_pair_and_no_other(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    trees: list[dict[str, Any]] = [
        {"tree_id": str(n), "x_m": float(x), "y_m": float(y), "height_m": float(h)}
        for n, (x, y, h) in enumerate(
            zip(rng.uniform(0, 120, 12), rng.uniform(0, 120, 12), rng.uniform(5, 30, 12),
                strict=True)
        )
    ]  # fmt: skip
    zones = [
        {"zone_id": str(n), "geometry": box(float(x), float(y), 15.0)}
        for n, (x, y) in enumerate(rng.uniform(0, 120, (8, 2)))
    ] + [{"zone_id": "street", "kind": "street", "geometry": street(40.0)}]
    defects = [{"tree_key": n, "defect": "crack", "inspection_key": n} for n in range(12)]
    store = score(
        tmp_path,
        {"trees": trees, "zones": zones, "defects": defects,
         "inspections": [{"tree_key": n} for n in range(12)]},
    )  # fmt: skip
    shapes = shapely.from_wkb(np.array([zone["geometry"] for zone in zones], dtype=object))
    expected = {
        (n, z)
        for n, tree in enumerate(trees)
        for z, shape in enumerate(shapes)
        if shapely.distance(shape, shapely.points(tree["x_m"], tree["y_m"])) <= tree["height_m"]
    }
    found = rows(store, "impacts")
    assert {(row["tree_key"], row["zone_key"]) for row in found if row["zone_key"] >= 0} == expected
    alone = {row["tree_key"] for row in found if row["zone_key"] < 0}
    assert alone == set(range(12)) - {n for n, _ in expected}


def test_a_branch_reaches_less_than_the_tree(tmp_path: Path) -> None:
    near = {"zone_id": "n", "geometry": box(2.0, 0.0, 2.0)}
    far = {"zone_id": "f", "geometry": box(9.0, 0.0, 2.0)}
    both = [{"tree_key": 0, "defect": "crack", "part": part} for part in ("stem", "branch")]
    store = score(
        tmp_path,
        {"trees": [{"tree_id": "a", "x_m": 0.0, "y_m": 1.0}], "zones": [near, far],
         "inspections": [{"tree_key": 0}], "defects": both},
    )  # fmt: skip
    met = {(row["part"], row["zone_key"]) for row in rows(store, "impacts")}
    # The crown is 8 m wide and the tree 14 m high.
    assert met == {(2, 0), (2, 1), (3, 0)}


def test_counted_people_make_a_car_park_a_place_of_people(tmp_path: Path) -> None:
    def consequence(folder: str, **more: float) -> int:
        zone = {"zone_id": "c", "kind": "car_park", "geometry": box(0.0, 0.0, 20.0), **more}
        store = score(
            tmp_path / folder,
            {"trees": [{"tree_id": "a", "x_m": 5.0, "y_m": 5.0}], "zones": [zone],
             "inspections": [{"tree_key": 0}], "defects": [{"tree_key": 0, "defect": "crack"}]},
        )  # fmt: skip
        return int(rows(store, "part_ratings")[0]["consequence"])

    # The best-management practice, 2nd edition (2017), p. 40: an empty parked car is significant.
    assert consequence("empty") == 3
    assert consequence("peopled", persons_per_h=50.0) == 4


def test_the_busiest_target_rules_the_cycle(tmp_path: Path) -> None:
    zones = [
        {"zone_id": "q", "occupancy": "rare", "geometry": box(0.0, 0.0, 5.0)},
        {"zone_id": "b", "occupancy": "constant", "geometry": box(5.0, 0.0, 5.0)},
    ]
    tree = {"tree_id": "a", "x_m": 2.0, "y_m": 1.0, "last_inspected_on": date(2025, 1, 1)}
    store = score(tmp_path, {"trees": [tree], "zones": zones})
    # Medium stem over a constant target: every two years (elicited).
    assert rows(store, "tree_ratings")[0]["inspection_due_on"] == date(2027, 1, 1)


def test_the_order_of_zones_does_not_matter(tmp_path: Path) -> None:
    zones = [
        {"zone_id": "q", "occupancy": "rare", "geometry": box(0.0, 0.0, 5.0)},
        {"zone_id": "b", "occupancy": "constant", "geometry": box(5.0, 0.0, 5.0)},
    ]

    def worst(order: list[int]) -> tuple[int, float, int]:
        store = score(
            tmp_path / str(order[0]),
            {"trees": [{"tree_id": "a", "x_m": 2.0, "y_m": 1.0}],
             "zones": [zones[n] for n in order],
             "inspections": [{"tree_key": 0}], "defects": [{"tree_key": 0, "defect": "split"}]},
        )  # fmt: skip
        row = rows(store, "tree_ratings")[0]
        return row["rating"], row["harm_per_year"], order[row["worst_zone"]]

    first, second = worst([0, 1]), worst([1, 0])
    assert (first[0], first[2]) == (second[0], second[2])
    assert first[1] == pytest.approx(second[1])
    assert first[2] == 1
