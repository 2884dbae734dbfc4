"""Whom a failing part meets, on whole trees: published findings on it, and laws that must hold."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.settings.model import Rating
from tests.scoring.small_world import Rows, box, rows, score, street

TREE: dict[str, Any] = {"tree_id": "a", "x_m": 0.0, "y_m": 0.0}
INSPECTED: Rows = [{"tree_key": 0}]
CRACK: Rows = [{"tree_key": 0, "defect": "crack"}]


def _scored(
    folder: Path, *zones: dict[str, Any], tree: dict[str, Any] = TREE, defects: Rows = CRACK
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The rating of one tree, and its impacts."""
    named = [{"zone_id": str(n), **zone} for n, zone in enumerate(zones)]
    store = score(
        folder,
        {"trees": [tree], "zones": named, "inspections": INSPECTED, "defects": defects},
    )
    return rows(store, "tree_ratings")[0], rows(store, "impacts")


def _path(**more: object) -> dict[str, Any]:
    return {"kind": "path", "geometry": street(5.0, to_m=60.0), **more}


def test_ten_times_the_occupancy_is_ten_times_the_harm(tmp_path: Path) -> None:
    # Koeser and Smiley 2017: 296 arborists differed most in who is there. What they differ by goes
    # into harm one to one: open a tenth of the time, a tenth of the harm.
    always, _ = _scored(tmp_path / "a", _path(persons_per_h=40.0, open_share=0.5))
    seldom, _ = _scored(tmp_path / "s", _path(persons_per_h=40.0, open_share=0.05))
    assert always["harm_per_year"] == pytest.approx(10 * seldom["harm_per_year"], rel=1e-12)
    # And so do few walkers, up to the chance that two are there at once.
    many, _ = _scored(tmp_path / "m", _path(persons_per_h=1.0))
    few, _ = _scored(tmp_path / "f", _path(persons_per_h=0.1))
    assert many["harm_per_year"] == pytest.approx(10 * few["harm_per_year"], rel=0.01)


def test_a_count_stands_over_a_word_and_says_so(tmp_path: Path) -> None:
    # Klein and others 2016: 115 arborists judged occupancy better when they were given counts.
    def met(folder: str, **told: object) -> tuple[int, str, float]:
        _, (impact,) = _scored(tmp_path / folder, _path(**told))
        return impact["occupancy"], impact["occupancy_from"], impact["occupied_share"]

    word, basis, _ = met("word", occupancy="rare")
    assert (word, basis) == (1, "word")
    word, basis, share = met("busy", occupancy="rare", persons_per_h=600.0, numbers_from="city")
    assert (word, basis) == (4, "count")
    assert share > 0.5
    word, basis, share = met("quiet", occupancy="constant", persons_per_h=0.1, numbers_from="city")
    assert (word, basis) == (1, "count")
    assert share < 0.001


def test_every_rating_tells_how_likely_its_neighbours_are(tmp_path: Path) -> None:
    # Forests 14:1043 (2023): of 30 trees at least 83 % got two likelihoods or more from 18
    # assessors; so no word of a tree with evidence is told as if it were the only one.
    found, _ = _scored(tmp_path, _path(occupancy="constant"))
    shares = [found[f"share_{word}"] for word in ("low", "moderate", "high", "extreme")]
    assert sum(shares) == pytest.approx(1)
    assert sum(share > 0.01 for share in shares) >= 2


@pytest.mark.parametrize("how", ["dead", "brittle", "sound"])
def test_a_dead_or_brittle_tree_throws_half_as_far_again(tmp_path: Path, how: str) -> None:
    # The failure zone of the US Forest Service's guide to danger trees on flat ground: 1.5 x height
    # (from memory). The tree is 14 m high and dead wood breaks and flies.
    tree = {**TREE, **({"status": "dead"} if how == "dead" else {})}
    defects: Rows = [
        *CRACK,
        *([{"tree_key": 0, "defect": "dead_tree"}] if how == "brittle" else []),
    ]
    at_20_m = {"kind": "playground", "geometry": box(20.0, -5.0, 10.0)}
    at_22_m = {"kind": "playground", "geometry": box(22.0, -5.0, 10.0)}
    _, impacts = _scored(tmp_path, at_20_m, at_22_m, tree=tree, defects=defects)
    met = {row["zone_key"] for row in impacts if row["part"] == 2 and row["zone_key"] >= 0}
    assert met == (set() if how == "sound" else {0})
    if how != "sound":
        assert {row["reach_m"] for row in impacts if row["part"] == 2} == {21.0}


def test_a_tree_that_leans_toward_a_path_meets_it_more(tmp_path: Path) -> None:
    def share(folder: str, side_deg: float | None) -> float:
        lean = {"tree_key": 0, "defect": "lean", "lean_deg": 25.0, "side_deg": side_deg}
        _, impacts = _scored(tmp_path / folder, _path(), defects=[*CRACK, lean])
        return float(next(row["direction_share"] for row in impacts if row["part"] == 2))

    # The path lies to the north-east; azimuths run clockwise from north.
    untold, toward, away = share("u", None), share("t", 45.0), share("w", 225.0)
    assert toward > untold > away > 0


def test_a_place_told_twice_harms_once(tmp_path: Path) -> None:
    park = {"kind": "park", "persons_per_h": 5.0, "geometry": box(-30.0, -30.0, 60.0)}
    once, _ = _scored(tmp_path / "o", park)
    twice, impacts = _scored(tmp_path / "t", park, park)
    assert twice["harm_per_year"] == pytest.approx(once["harm_per_year"], rel=1e-12)
    assert [row["counts_with_zone_key"] for row in impacts if row["part"] == 2] == [None, 0]


@settings(max_examples=12, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
@given(
    height=st.floats(8, 25), taller=st.floats(0, 10), persons=st.floats(0, 200),
    busier=st.floats(0, 400), off=st.floats(1, 12),
)  # fmt: skip
def test_a_longer_reach_or_a_busier_target_never_lowers_impact(
    tmp_path: Path, height: float, taller: float, persons: float, busier: float, off: float
) -> None:
    def of(name: str, height_m: float, persons_per_h: float) -> dict[str, Any]:
        zone = {"kind": "path", "geometry": box(-20.0, off, 40.0), "persons_per_h": persons_per_h}
        _, impacts = _scored(tmp_path / name, zone, tree={**TREE, "height_m": height_m})
        return next(row for row in impacts if row["part"] == 2)

    before = of("b", height, persons)
    for after in (of("t", height + taller, persons), of("p", height, persons + busier)):
        if before["zone_key"] >= 0:
            for link in ("direction_share", "occupied_share", "occupancy", "impact"):
                assert after[link] >= before[link] - 1e-12, link


def test_a_target_that_no_part_reaches_changes_nothing(tmp_path: Path) -> None:
    near = _path(persons_per_h=3.0)
    far = {"kind": "school", "occupancy": "constant", "geometry": box(500.0, 500.0, 40.0)}
    alone, impacts = _scored(tmp_path / "a", near)
    beside, others = _scored(tmp_path / "b", near, far)
    assert beside == alone
    assert others == impacts


def test_nobody_at_school_out_of_term_is_nobody_under_the_tree(tmp_path: Path) -> None:
    def harm(folder: str, share: float | None) -> float:
        school = {
            "kind": "school", "persons_per_h": 60.0, "open_share": share,
            "geometry": box(-30.0, -30.0, 60.0),
        }  # fmt: skip
        found, _ = _scored(tmp_path / folder, school)
        return float(found["harm_per_year"])

    # 8 h a day, 5 days a week, 184 days of term: an eighth of the year.
    assert harm("told", 8 / 24 * 5 / 7 * 184 / 365.25) == pytest.approx(0.11995 * harm("un", None),
                                                                        rel=1e-3)  # fmt: skip


def test_a_house_shelters_only_where_the_city_says_so(tmp_path: Path) -> None:
    zones: Rows = [
        {"zone_id": "p", "kind": "path", "geometry": box(10.0, -2.0, 4.0)},
        {"zone_id": "h", "kind": "building", "static": True, "geometry": box(4.0, -2.5, 5.0)},
    ]
    tables: dict[str, Rows] = {
        "trees": [TREE],
        "zones": zones,
        "inspections": INSPECTED,
        "defects": CRACK,
    }

    def share(folder: str, rating: Rating) -> float:
        store = score(tmp_path / folder, tables, rating=rating)
        return float(next(r["direction_share"] for r in rows(store, "impacts")
                          if r["part"] == 2 and r["zone_key"] == 0))  # fmt: skip

    # A judged 0.7 of the falls that the house meets first do not get past it.
    open_to_all = share("off", Rating())
    assert share("on", Rating(shelter=True)) == pytest.approx(0.3 * open_to_all, rel=1e-6)
