"""Sightings joined by place, id, host and fungus together, and what the doubtful ones may do."""

import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.ingest.matching import candidates
from pipeline.tables.store import RunStore
from tests.scoring.small_world import Rows, rows, score, street

STREET = {"zone_id": "s", "kind": "street", "geometry": street(0.0), "name": "Mill Street",
          "vehicles_per_day": 10_000.0, "speed_km_h": 50.0}  # fmt: skip
SULPHUR = {"taxon_id": "laetiporus_sulphureus", "name_text": "Laetiporus sulphureus",
           "position": "butt", "observer": "a"}  # fmt: skip
CUTS = {"remove", "habitat_pole", "prune_part", "reduce_crown"}


def trees(*placed: tuple[float, str]) -> Rows:
    """Stout trees of these genera along the street."""
    return [
        {"tree_id": f"t{n}", "x_m": x, "y_m": 3.0, "genus": genus, "species": genus,
         "dbh_cm": 90.0, "height_m": 25.0}
        for n, (x, genus) in enumerate(placed)
    ]  # fmt: skip


def run(tmp: Path, standing: Rows, sightings: Rows, **more: Rows) -> RunStore:
    """Sightings by place or id, joined as ingest joins them, then scored."""
    xy = np.array([[t["x_m"], t["y_m"]] for t in standing], np.float64).reshape(-1, 2)
    place = np.array([[s.get("x_m", np.nan), s.get("y_m", np.nan)] for s in sightings])
    accuracy = np.array([s.get("accuracy_m", np.nan) for s in sightings], np.float64)
    found = candidates(place.reshape(-1, 2), accuracy, xy, cap_m=60.0, inventory_error_m=3.0,
                       unlisted_per_listed=1.0)  # fmt: skip
    told = np.array([s.get("tree_key", -1) for s in sightings])
    matches = {
        (int(s), int(t)): {"weight": w, "distance_m": None if np.isnan(d) else d}
        for s, t, w, d in zip(
            found.sighting, found.tree, found.weight, found.distance_m, strict=True
        )
    }
    for at in np.flatnonzero(told >= 0):
        own = {"weight": 0.0 if found.reason[at] == 0 else 1.0}
        matches.setdefault((int(at), int(told[at])), own)
    joined = [
        {"tree_key": -1, "match": "by_id" if told[at] >= 0 else "unmatched" if found.reason[at]
         else "ambiguous", "sighting_id": f"s{at}", **sighting}
        for at, sighting in enumerate(sightings)
    ]  # fmt: skip
    listed = [{"sighting_key": s, "tree_key": t, **matches[s, t]} for s, t in sorted(matches)]
    return score(tmp, {"trees": standing, "zones": [STREET], "sightings": joined,
                       "sighting_matches": listed, **more})  # fmt: skip


def shares(store: RunStore, sighting: int = 0) -> dict[int, float]:
    """Probability of each candidate of a sighting."""
    found = rows(store, "sighting_trees")
    return {r["tree_key"]: r["probability"] for r in found if r["sighting_key"] == sighting}


def attached(store: RunStore) -> dict[int, int]:
    """The tree of each attached sighting."""
    return {
        r["sighting_key"]: r["tree_key"] for r in rows(store, "sighting_trees") if r["attached"]
    }


def reviews(store: RunStore, code: str) -> list[dict[str, Any]]:
    """Values of the reviews of one kind."""
    return [json.loads(r["detail"]) for r in rows(store, "reviews") if r["code"] == code]


def at(x: float, **more: object) -> dict[str, Any]:
    return {**SULPHUR, "x_m": x, "y_m": 3.0, "accuracy_m": 6.0, **more}


def test_the_host_decides_between_two_trees(tmp_path: Path) -> None:
    standing = trees((20.0, "Quercus"), (30.0, "Betula"))
    oak_only = at(25.0, taxon_id="inonotus_quercustris", name_text="Inonotus quercustris")
    found = shares(run(tmp_path / "a", standing, [oak_only]))
    assert found[0] > 10 * found[1]
    told = shares(run(tmp_path / "b", standing, [at(25.0, host_text="birch")]))
    plain = shares(run(tmp_path / "c", standing, [at(25.0)]))
    assert told[1] / told[0] > 5 * plain[1] / plain[0]


def test_a_host_that_is_certain_decides_more_than_one_that_is_not(tmp_path: Path) -> None:
    standing = trees((20.0, "Quercus"), (30.0, "Betula"))
    told = {
        certain: shares(
            run(tmp_path / str(certain), standing,
                [at(25.0, host_text="birch", host_certain=certain)])
        )
        for certain in (True, False, None)
    }  # fmt: skip
    odds = {certain: found[1] / found[0] for certain, found in told.items()}
    assert odds[True] > 2 * odds[False]
    # Nobody says so: a host told beside no tree is no certain one.
    assert odds[None] == odds[False]


def test_without_fungus_or_genus_the_distance_weights_stand(tmp_path: Path) -> None:
    unknown: Mapping[str, Any] = {"genus": None, "species": None, "wood": None}
    standing = [{**t, **unknown} for t in trees((20.0, ""), (31.0, ""))]
    nobody = at(24.0, taxon_id=None, name_text=None, name_how="missing")
    store = run(tmp_path, standing, [nobody])
    for row in rows(store, "sighting_trees"):
        assert row["probability"] == pytest.approx(row["distance_weight"], abs=1e-12)


def test_what_may_be_of_two_trees_speaks_of_both_and_cuts_neither(tmp_path: Path) -> None:
    standing = trees((20.0, "Quercus"), (24.0, "Quercus"))
    known = run(tmp_path / "known", standing, [{**SULPHUR, "tree_key": 0}])
    doubt = run(tmp_path / "doubt", standing, [at(22.0)])
    # The same fungus on a known tree presumes a removal: the guard below can fail.
    assert rows(known, "tree_ratings")[0]["best_action"] in CUTS
    assert attached(known) == {0: 0}
    assert attached(doubt) == {}
    rated = rows(doubt, "tree_ratings")
    assert all(r["assessed"] and r["rating"] >= 2 for r in rated)
    assert all(r["best_action"] not in CUTS and r["best_action"] != "none" for r in rated)
    assert all(r["last_looked_on"] is None for r in rated)
    assert not reviews(doubt, "presumed_removal")
    (which,) = reviews(doubt, "sighting_serious_ambiguous")
    assert [t["tree_id"] for t in which["trees"]] == ["t0", "t1"]
    assert sum(t["probability"] for t in which["trees"]) + which["unlisted"] == pytest.approx(
        1.0, abs=1e-3
    )
    told = [json.loads(r["values"]) for r in rows(doubt, "facts")
            if r["statement"] == "seen_sighting"]  # fmt: skip
    assert [v["match"] for v in told] == ["ambiguous"] * 2
    assert all(0.2 < v["share"] < 0.9 for v in told)


def test_a_candidate_too_unlikely_to_be_heard_is_not_called_low(tmp_path: Path) -> None:
    standing = trees((20.0, "Quercus"), (29.0, "Quercus"))
    store = run(tmp_path, standing, [at(20.5, accuracy_m=5.0)])
    assert 0.0 < shares(store)[1] < 0.2
    far = rows(store, "tree_ratings")[1]
    assert not far["assessed"]
    assert far["rating"] == 0


def test_a_name_that_place_and_host_contradict_asks_and_is_not_overruled(tmp_path: Path) -> None:
    standing = trees((20.0, "Betula"), (400.0, "Quercus"))
    sighting = at(400.0, accuracy_m=3.0, tree_key=0, host_text="oak",
                  match_note="id_and_place_disagree")  # fmt: skip
    store = run(tmp_path, standing, [sighting])
    found = shares(store)
    assert found[1] > found[0]
    assert attached(store) == {}
    assert len(reviews(store, "sighting_conflict")) == 1
    (which,) = reviews(store, "sighting_serious_ambiguous")
    assert {t["tree_id"]: t["named"] for t in which["trees"]}["t1"] is False
    agreed = run(tmp_path / "agreed", standing, [{**sighting, "x_m": 21.0, "host_text": "birch"}])
    assert attached(agreed) == {0: 0}


def test_a_host_that_is_another_than_the_trees_is_told(tmp_path: Path) -> None:
    standing = trees((20.0, "Quercus"))
    sure = at(20.0, accuracy_m=3.0, tree_key=0)
    wrong = run(tmp_path / "wrong", standing, [{**sure, "host_text": "Fraxinus"}])
    right = run(tmp_path / "right", standing, [{**sure, "host_text": "Quercus robur"}])
    assert attached(wrong) == {0: 0}
    assert [v["genus"] for v in reviews(wrong, "sighting_host_conflict")] == ["Quercus"]
    assert reviews(right, "sighting_host_conflict") == []


def test_three_reports_of_one_body_speak_once(tmp_path: Path) -> None:
    standing = trees((20.0, "Quercus"), (24.0, "Quercus"))
    reports = [at(22.0 + n, observer=f"o{n}", seen_on=date(2026, 10, 1 + n)) for n in range(3)]
    three = run(tmp_path / "three", standing, reports)
    one = run(tmp_path / "one", standing, reports[:1])
    assert len({r["body_key"] for r in rows(three, "identifications")}) == 1
    (which,) = reviews(three, "sighting_serious_ambiguous")
    assert which["reports"] == 3
    for column in ("rating", "failure", "action_code"):
        assert [r[column] for r in rows(three, "tree_ratings")] == [
            r[column] for r in rows(one, "tree_ratings")
        ]


def test_a_rough_report_follows_the_one_that_names_its_tree(tmp_path: Path) -> None:
    standing = trees((20.0, "Quercus"), (40.0, "Quercus"))
    rough = at(26.0, accuracy_m=12.0, observer="b")
    store = run(tmp_path, standing, [at(20.0, accuracy_m=4.0, tree_key=0), rough])
    assert attached(store) == {0: 0, 1: 0}
    assert len({r["body_key"] for r in rows(store, "identifications")}) == 1
    other = run(tmp_path / "other", standing, [
        at(20.0, accuracy_m=4.0, tree_key=0),
        {**rough, "taxon_id": "armillaria_mellea", "name_text": "Armillaria mellea"},
    ])  # fmt: skip
    assert attached(other) == {0: 0}


@pytest.mark.parametrize(
    ("told", "candidate"),
    [
        ({"accuracy_m": 0.0}, True),
        ({"accuracy_m": 50_000.0}, False),
        ({"accuracy_m": None}, False),
        ({"x_m": 90_000.0}, False),
    ],
    ids=["accuracy 0", "50 km", "none", "in the sea"],
)
def test_odd_places(tmp_path: Path, told: Mapping[str, Any], candidate: bool) -> None:
    sighting = {k: v for k, v in {**at(20.0), **told}.items() if v is not None}
    store = run(tmp_path, trees((20.0, "Quercus"), (28.0, "Quercus")), [sighting])
    assert bool(shares(store)) == candidate
    if candidate:
        assert attached(store) == {0: 0}
    else:
        assert len(reviews(store, "sighting_serious_unmatched")) == 1


def test_a_town_without_trees(tmp_path: Path) -> None:
    store = run(tmp_path, [], [at(20.0), {**SULPHUR}])
    assert rows(store, "sighting_trees") == []
    assert len(reviews(store, "sighting_serious_unmatched")) == 2


def test_ten_thousand_trees_on_one_point(tmp_path: Path) -> None:
    store = run(tmp_path, trees(*[(20.0, "Quercus")] * 10_000), [at(20.0), at(21.0, observer="b")])
    found = shares(store)
    assert len(found) == 10_001
    assert sum(found.values()) == pytest.approx(1.0)
    assert attached(store) == {}
    # None of them is likely enough to be heard: the review alone speaks.
    assert not any(r["evidence"] for r in rows(store, "tree_ratings"))
    (which,) = reviews(store, "sighting_serious_ambiguous")
    assert which["candidates"] == 10_000
    assert len(which["trees"]) == 1
