"""What was seen decides what a sighting is, and so what it says of the tree."""

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.published.table import Library
from pipeline.render.wording import review_sentence
from pipeline.tables.store import RunStore
from tests.scoring.small_world import Rows, rows, score, street

STREET = {"zone_id": "s", "kind": "street", "geometry": street(0.0), "name": "Mill Street",
          "vehicles_per_day": 10_000.0, "speed_km_h": 50.0}  # fmt: skip
# Shelves of the sulphur kind, described and not named.
SULPHUR = {
    "tree_key": 0, "name_how": "missing", "name_by": "unknown", "position": "stem",
    "form": "shelf", "upper_colour": "orange", "under_colour": "yellow",
    "under_surface": "pores", "flesh": "fleshy", "arrangement": "overlapping",
}  # fmt: skip
NAMED = {"tree_key": 0, "taxon_id": "laetiporus_sulphureus", "name_text": "Laetiporus sulphureus",
         "position": "stem"}  # fmt: skip
BARE = {"tree_key": 0, "name_how": "missing", "name_by": "unknown", "position": "stem"}


def town(sightings: Rows, *, genera: Sequence[str] = ("Quercus",), **more: Rows) -> dict[str, Rows]:
    """Trees of these genera beside a busy street, with sightings."""
    trees = [
        {"tree_id": f"t{n}", "x_m": 20.0 + 40 * n, "y_m": 3.0, "genus": genus, "species": genus}
        for n, genus in enumerate(genera)
    ]
    return {"trees": trees, "zones": [STREET], "sightings": sightings, **more}


def found(store: RunStore) -> list[dict[str, Any]]:
    """The rows of scoring.identifications."""
    return rows(store, "identifications")


def shares(store: RunStore, sighting: int = 0) -> dict[str, float]:
    """Posterior of a sighting by taxon."""
    return {
        row["taxon_id"]: row["probability"]
        for row in rows(store, "taxon_posteriors")
        if row["sighting_key"] == sighting
    }


def genus_share(store: RunStore, genus: str, sighting: int = 0) -> float:
    """Probability of all taxa of a genus."""
    told = shares(store, sighting)
    return sum(p for taxon, p in told.items() if taxon.split("_")[0] == genus)


def tree(store: RunStore) -> dict[str, Any]:
    """The rating of the first tree."""
    return rows(store, "tree_ratings")[0]


def test_a_description_without_a_name_rates_as_the_name_does(tmp_path: Path) -> None:
    seen, told = (
        score(tmp_path / name, town([sighting]))
        for name, sighting in (("seen", SULPHUR), ("told", NAMED))
    )
    assert found(seen)[0]["taxon_1"] == "laetiporus_sulphureus"
    assert found(seen)[0]["rot_type"] == "brown"
    for column in ("rating", "failure", "best_action", "action_code", "no_climb"):
        assert tree(seen)[column] == tree(told)[column], column


def test_what_nobody_named_or_described_stays_an_unnamed_body(tmp_path: Path) -> None:
    store = score(tmp_path, town([BARE]))
    # Possible, as any fruit body on the wood (usfs_r6_decay), and no more for want of a name.
    assert tree(store)["failure"] == 2
    assert tree(store)["action_code"] is None
    assert found(store)[0]["decay_evidence"] == "yes"


def test_host_and_month_change_the_posterior(tmp_path: Path) -> None:
    # A shelf of any kind: on oak and in June the tongue of the sulphur kind is met, on spruce and
    # in February other shelves are.
    shelf = {**BARE, "form": "shelf", "upper_colour": "orange"}
    june, winter = {**shelf, "seen_on": date(2026, 6, 15)}, {**shelf, "seen_on": date(2026, 2, 15)}
    oak, spruce = (
        score(tmp_path / genus, town([june, winter], genera=(genus,)))
        for genus in ("Quercus", "Picea")
    )
    apart = score(tmp_path / "apart", town([june, {**winter, "tree_key": 1}],
                                           genera=("Quercus", "Quercus")))  # fmt: skip
    assert genus_share(oak, "inonotus") > genus_share(spruce, "inonotus")
    assert genus_share(apart, "laetiporus", 0) > genus_share(apart, "laetiporus", 1)
    # Nothing that is not fixed beforehand: the sums remain.
    for store in (oak, spruce, apart):
        assert sum(shares(store).values()) == pytest.approx(1.0, abs=1e-9)


def test_the_region_of_the_settings_decides_which_fungi_are_expected(tmp_path: Path) -> None:
    conk = {**BARE, "form": "shelf", "under_surface": "pores", "flesh": "woody", "position": "butt"}
    america, europe = (
        score(tmp_path / region, town([conk]), region=region) for region in ("us-mi", "de-by")
    )
    # Ganoderma adspersum is a fungus of Europe (taxa.csv, regions).
    assert shares(europe).get("ganoderma_adspersum", 0) > shares(america).get(
        "ganoderma_adspersum", 0
    )


def test_who_errs_in_america_has_not_seen_a_fungus_of_europe(tmp_path: Path) -> None:
    # Told of a lacquered shelf whose form does not fit: its look-alike of Europe is no answer.
    odd = {**NAMED, "taxon_id": "ganoderma_sessile", "name_by": "trained_inspector",
           "name_certainty": 0.9, "position": "butt", "form": "hoof", "upper_colour": "red_brown",
           "under_colour": "white", "arrangement": "overlapping"}  # fmt: skip
    america, europe = (
        shares(score(tmp_path / region, town([odd]), region=region)).get("ganoderma_pfeifferi", 0.0)
        for region in ("us-mi", "de-by")
    )
    assert america < 0.05 < europe


def test_a_genus_name_spreads_over_its_species(tmp_path: Path) -> None:
    genus = {**NAMED, "taxon_id": "ganoderma", "name_text": "Ganoderma", "position": "butt"}
    store = score(tmp_path, town([genus]))
    species = {t for t, p in shares(store).items() if t.startswith("ganoderma_") and p > 0.02}
    assert len(species) >= 2
    assert genus_share(store, "ganoderma") > 0.9
    # Together they speak as one serious fungus, though none of them is certain.
    assert found(store)[0]["probability_1"] < 0.9
    assert tree(store)["action_code"] >= 4


def test_brown_rot_of_several_species_is_presumed_as_of_one(tmp_path: Path) -> None:
    # Common practice, no source: brown rot of butt or stem over a used place presumes removal,
    # whichever of the sulphur shelves it is.
    genus = {**NAMED, "taxon_id": "laetiporus", "name_text": "Laetiporus"}
    store = score(tmp_path, town([genus], genera=("Picea",)))
    assert found(store)[0]["probability_1"] < 0.75
    assert found(store)[0]["rot_type"] == "brown"
    removal = [r for r in rows(store, "candidate_actions") if r["action"] == "remove"]
    assert [row["rule_id"] for row in removal] == ["presume_removal"]


def test_dates_that_are_apart_add_up_and_near_ones_do_not(tmp_path: Path) -> None:
    # Zoned leathery shelves: told from its likes by more than one look.
    look = {**BARE, "form": "shelf", "upper_texture": "zoned", "flesh": "leathery"}
    years = [{**look, "seen_on": date(year, 10, 1)} for year in (2024, 2025, 2026)]
    near = [{**look, "seen_on": date(2026, 10, day)} for day in (1, 4, 9)]
    once, often, same = (
        score(tmp_path / name, town(told))
        for name, told in (("once", years[:1]), ("often", years), ("same", near))
    )

    def first(store: RunStore) -> tuple[str, float]:
        return found(store)[0]["taxon_1"], found(store)[0]["probability_1"]

    assert first(same)[0] == first(once)[0]
    assert first(same)[1] == pytest.approx(first(once)[1])
    assert first(often)[0] == first(once)[0]
    assert first(often)[1] > first(once)[1]
    assert {row["body_key"] for row in found(often)} == {0}
    assert {row["probability_1"] for row in found(often)} == {first(often)[1]}


def test_an_annual_seen_three_years_running_is_established(tmp_path: Path) -> None:
    # Common practice, no source.
    told = [{**NAMED, "seen_on": date(year, 7, 1)} for year in (2024, 2025, 2026)]
    store = score(tmp_path, town(told))
    assert found(store)[0]["years_running"] == 3
    assert found(store)[0]["least_years"] == 3
    fact_set = tree(store)["fact_set"]
    ages = [
        json.loads(row["values"]) for row in rows(store, "facts")
        if row["statement"] == "fungus_least_age" and row["fact_set"] == fact_set
    ]  # fmt: skip
    assert ages == [{"established": True, "running": 3, "years": 3.0}]


def test_the_layers_of_a_perennial_tell_the_least_age(tmp_path: Path) -> None:
    # Common practice, no source: its layers tell the least age of the infection.
    conk = {**NAMED, "taxon_id": "ganoderma_applanatum", "position": "butt", "layers": 7}
    store = score(tmp_path, town([conk, {**conk, "layers": 0}, {**conk, "layers": None}]))
    assert {row["least_years"] for row in found(store)} == {7.0}


def test_a_look_that_found_nothing_last_year_takes_nothing_away(tmp_path: Path) -> None:
    # Common practice, no source: many fungi do not fruit every year.
    alone = score(tmp_path / "alone", town([SULPHUR]))
    before = score(
        tmp_path / "before",
        town([SULPHUR],
             inspections=[{"tree_key": 0, "inspected_on": date(2025, 9, 1)}],
             defects=[{"tree_key": 0, "defect": "none_seen", "seen_on": date(2025, 9, 1)}]),
    )  # fmt: skip
    assert found(before) == found(alone)
    assert tree(before)["failure"] == tree(alone)["failure"]


def test_two_fungi_of_one_tree_stay_two(tmp_path: Path) -> None:
    crust = {**NAMED, "taxon_id": "kretzschmaria_deusta", "position": "butt|stem"}
    store = score(tmp_path, town([NAMED, crust]))
    assert [row["body_key"] for row in found(store)] == [0, 1]
    assert [row["taxon_1"] for row in found(store)] == [
        "laetiporus_sulphureus", "kretzschmaria_deusta",
    ]  # fmt: skip


def test_one_id_of_the_file_is_one_fungus(tmp_path: Path) -> None:
    other = {**NAMED, "taxon_id": "kretzschmaria_deusta", "name_by": "public"}
    alone = score(tmp_path / "a", town([NAMED, other]))
    joined = score(
        tmp_path / "b", town([{**NAMED, "sighting_id": "x"}, {**other, "sighting_id": "x"}])
    )
    assert len({row["body_key"] for row in found(alone)}) == 2
    assert {row["body_key"] for row in found(joined)} == {0}
    # The name of the specialist counts, and once.
    assert found(joined)[0]["taxon_1"] == "laetiporus_sulphureus"


def test_one_id_makes_no_one_fungus_of_two_names_that_are_trusted_alike(tmp_path: Path) -> None:
    other = {**NAMED, "taxon_id": "kretzschmaria_deusta"}
    store = score(tmp_path, town([{**NAMED, "sighting_id": "x"}, {**other, "sighting_id": "x"}]))
    assert [row["body_key"] for row in found(store)] == [0, 1]


CRUST = {"tree_key": 0, "taxon_id": "kretzschmaria_deusta", "name_by": "public",
         "name_text": "Kretzschmaria deusta", "position": "butt"}  # fmt: skip
FINGERS = {**CRUST, "taxon_id": "xylaria_polymorpha", "name_text": "Xylaria polymorpha",
           "name_by": "trained_inspector"}  # fmt: skip


def test_a_harmless_name_does_not_erase_a_serious_one(tmp_path: Path) -> None:
    """Common practice, no source: a second opinion that plays down is checked, not believed."""
    alone, both = (
        score(tmp_path / name, town(told, genera=("Acer",)))
        for name, told in (("alone", [CRUST]), ("both", [CRUST, FINGERS]))
    )
    assert [row["body_key"] for row in found(both)] == [0, 1]
    assert found(both)[0]["taxon_1"] == "kretzschmaria_deusta"
    assert found(both)[0]["probability_1"] == pytest.approx(found(alone)[0]["probability_1"])
    for column in ("rating", "failure", "action_code", "no_climb"):
        assert tree(both)[column] == tree(alone)[column], column
    (review,) = [r for r in rows(both, "reviews") if r["code"] == "fungus_reports_disagree"]
    assert review["urgency"] == 1
    told = json.loads(review["detail"])
    assert (told["serious"], told["serious_by"]) == ("Kretzschmaria deusta", ["public"])
    assert (told["other"], told["other_by"]) == ("Xylaria polymorpha", ["trained_inspector"])
    assert told["code"] == "R5"
    assert told["photographs"]
    sentence = review_sentence(review["code"], told)
    assert "Kretzschmaria deusta, R5 (named by: public)" in sentence
    assert "fungus_reports_disagree" not in {r["code"] for r in rows(alone, "reviews")}


def test_other_fungi_of_one_tree_disagree_in_nothing(tmp_path: Path) -> None:
    beefsteak = {**NAMED, "taxon_id": "fistulina_hepatica", "name_text": "Fistulina hepatica"}
    store = score(tmp_path, town([beefsteak, {**CRUST, "position": "stem"}]))
    assert [row["body_key"] for row in found(store)] == [0, 1]
    assert "fungus_reports_disagree" not in {r["code"] for r in rows(store, "reviews")}


def test_shelves_that_nobody_named_are_no_part_of_a_named_body(tmp_path: Path) -> None:
    beefsteak = {**NAMED, "taxon_id": "fistulina_hepatica", "position": "butt"}
    shelf = {**BARE, "form": "shelf", "position": "butt"}
    store = score(tmp_path, town([beefsteak, shelf]))
    assert [row["body_key"] for row in found(store)] == [0, 1]


def test_a_laboratory_that_is_contradicted_is_told_and_not_overruled(tmp_path: Path) -> None:
    inkcaps = {
        **NAMED, "form": "gilled_cluster", "under_surface": "gills", "under_colour": "black",
        "upper_colour": "grey", "flesh": "fleshy", "arrangement": "cluster",
    }  # fmt: skip
    laboratory, fits = (
        score(tmp_path / name, town([{**told, "name_by": "laboratory", "sighting_id": "lab 1"}]))
        for name, told in (("apart", inkcaps), ("fits", NAMED))
    )
    assert found(laboratory)[0]["taxon_1"] == "laetiporus_sulphureus"
    assert found(laboratory)[0]["needs_expert"]
    (review,) = [r for r in rows(laboratory, "reviews") if r["code"] == "name_does_not_fit"]
    assert review["urgency"] == 1
    sentence = review_sentence(review["code"], json.loads(review["detail"]))
    assert "Laetiporus sulphureus (sighting lab 1)" in sentence
    assert "may be mixed up" in sentence
    assert not found(fits)[0]["needs_expert"]
    assert "name_does_not_fit" not in {r["code"] for r in rows(fits, "reviews")}


def test_the_worst_fungus_named_alone_by_the_public_goes_to_an_expert(tmp_path: Path) -> None:
    crust = {**CRUST, "form": "crust", "upper_colour": "black", "flesh": "brittle"}
    alone, described, trusted = (
        score(tmp_path / name, town([told], genera=("Fagus",)))
        for name, told in (
            ("alone", CRUST), ("described", crust),
            ("trusted", {**CRUST, "name_by": "specialist"}),
        )
    )  # fmt: skip
    assert found(alone)[0]["needs_expert"]
    assert "name_serious_uncertain" in {r["code"] for r in rows(alone, "reviews")}
    assert not found(described)[0]["needs_expert"]
    assert not found(trusted)[0]["needs_expert"]


def test_no_number_of_reports_takes_the_last_doubt(tmp_path: Path) -> None:
    least = Library().table("key_limits").number("value", quantity="least_doubt")
    told = [
        {**SULPHUR, **NAMED, "name_by": "laboratory", "seen_on": date(year, 8, 1)}
        for year in range(2000, 2026)
        for _ in range(20)
    ]
    store = score(tmp_path, town(told))
    assert max(row["probability_1"] for row in found(store)) <= 1.0 - least + 1e-12


@pytest.mark.parametrize("position", ["mulch", "soil", "turf"])
def test_a_mushroom_of_the_ground_says_nothing(tmp_path: Path, position: str) -> None:
    # Common practice, no source: what grows loose on the ground says nothing of a tree's wood.
    free = {**BARE, "position": position, "attachment": "unknown", "form": "stalked",
            "under_surface": "gills"}  # fmt: skip
    store = score(tmp_path, town([free]))
    assert found(store)[0]["decay_evidence"] == "no"
    assert not tree(store)["evidence"]
    assert "sighting_not_decay" in {row["code"] for row in rows(store, "reviews")}


def test_who_says_free_and_names_the_stem_is_asked(tmp_path: Path) -> None:
    odd = {**SULPHUR, "attachment": "free"}
    store = score(tmp_path, town([odd]))
    assert found(store)[0]["decay_evidence"] == "unsure"
    assert found(store)[0]["needs_expert"]
    assert "name_serious_uncertain" in {row["code"] for row in rows(store, "reviews")}


def test_a_name_that_no_list_holds_goes_to_an_expert(tmp_path: Path) -> None:
    odd = {**NAMED, "taxon_id": None, "name_text": "Wurzelschreck", "name_how": "unknown"}
    store = score(tmp_path, town([odd]))
    assert found(store)[0]["needs_expert"]
    assert tree(store)["action_code"] is None
    detail = next(
        json.loads(row["detail"])
        for row in rows(store, "reviews")
        if row["code"] == "name_uncertain"
    )
    assert detail["name"] == "Wurzelschreck"
    assert "the pore side" in detail["photographs"]


def test_the_thread_tells_candidates_what_decided_and_the_next_look(tmp_path: Path) -> None:
    shelf = {**BARE, "form": "shelf", "upper_colour": "orange"}
    store = score(tmp_path, town([shelf]))
    told = {row["statement"]: json.loads(row["values"]) for row in rows(store, "facts")}
    one = found(store)[0]
    assert told["fungus_candidates"]["probabilities"][0] == pytest.approx(
        one["probability_1"], rel=1e-3
    )
    assert told["fungus_decided_by"]["decided_by"] == one["decided_by"]
    assert told["fungus_next_look"]["character"] == one["next_look"]


def test_the_order_of_the_rows_changes_nothing(tmp_path: Path) -> None:
    told = [
        {**SULPHUR, "sighting_id": "a"}, {**NAMED, "sighting_id": "b", "name_by": "public"},
        {**NAMED, "sighting_id": "c", "taxon_id": "kretzschmaria_deusta", "position": "butt"},
        {**BARE, "sighting_id": "d", "tree_key": 1, "form": "hoof"},
        {**SULPHUR, "sighting_id": "e", "seen_on": date(2025, 8, 1)},
        {**BARE, "sighting_id": "f", "tree_key": -1, "match": "unmatched", "host_text": "oak"},
    ]  # fmt: skip
    genera = ("Quercus", "Betula")
    one = score(tmp_path / "one", town(told, genera=genera))
    back = score(tmp_path / "back", town(told[::-1], genera=genera))
    count = len(told)
    for row in found(one):
        other = found(back)[count - 1 - row["sighting_key"]]
        assert {k: v for k, v in other.items() if not k.endswith("_key")} == {
            k: v for k, v in row.items() if not k.endswith("_key")
        }
    assert rows(one, "tree_ratings") == rows(back, "tree_ratings")
    bodies = [{r["sighting_key"] for r in found(one) if r["body_key"] == key} for key in range(6)]
    turned = [
        {count - 1 - r["sighting_key"] for r in found(back) if r["body_key"] == key}
        for key in range(6)
    ]
    assert sorted(map(sorted, bodies)) == sorted(map(sorted, turned))


def test_the_posterior_of_every_sighting_sums_to_one(tmp_path: Path) -> None:
    told = [BARE, SULPHUR, NAMED, {**BARE, "tree_key": -1, "match": "unmatched"},
            {**BARE, "form": "hoof", "under_surface": "pores"}]  # fmt: skip
    store = score(tmp_path, town(told))
    for sighting in range(len(told)):
        told_of = shares(store, sighting)
        assert sum(told_of.values()) == pytest.approx(1.0, abs=1e-9)
        listed = [p for taxon, p in told_of.items() if taxon not in {"unlisted", "other"}]
        assert min(listed) >= 0.01
