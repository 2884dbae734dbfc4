"""What an identification means, and the facts of the trade that it must hold.

The facts are those that arborists hand on: common practice, no source. They are told to the key in
an observer's words, as a file of sightings would.
"""

import numpy as np
import pyarrow as pa
import pytest

from pipeline.cli.reading import Sighted, read_table
from pipeline.published.table import Library
from pipeline.scoring.assembly.identified import Identified, attachments, identify
from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification import meaning
from pipeline.scoring.identification.meaning import ROTS, Attachments, Decay
from pipeline.scoring.parameters.identification import identification_parameters
from pipeline.tables.inputs import POSITIONS
from pipeline.terms import Part

LIBRARY = Library()
PARAMETERS = identification_parameters(LIBRARY)
KEY, TRAITS, LIMITS = PARAMETERS.key, PARAMETERS.traits, PARAMETERS.limits
GROUND = ("soil", "mulch", "turf")
ON_TREE = tuple(place for place in POSITIONS if place not in {*GROUND, "soil_over_root"})
SURE = 0.9


def read(*sightings: dict[str, str]) -> Sighted:
    """Sightings in an observer's words as evidence; every word is understood."""
    names = dict.fromkeys(name for sighting in sightings for name in sighting)
    columns = {n: pa.array([s.get(n) for s in sightings], pa.string()) for n in names}
    found = read_table(pa.table(columns), LIBRARY, PARAMETERS)
    assert set(found.unread) == {""}
    return found


def told(*sightings: dict[str, str]) -> Identified:
    """Sightings in an observer's words, identified."""
    found = read(*sightings)
    return identify(found.evidence, found.odd, PARAMETERS, sure=SURE)


def candidates(found: Identified, row: int) -> list[str]:
    """Ids of the first three taxa."""
    return [KEY.taxon_id[at] for at in found.taxon[row]]


def code(taxon: str) -> int:
    """Action code of a taxon."""
    return int(TRAITS.action_code[KEY.taxon_id.index(taxon)])


# Attachment stands before all.


@pytest.mark.parametrize("position", GROUND)
@pytest.mark.parametrize("form", ["gilled_cluster", "shelf", "rosette", "club", "ball", "hoof"])
def test_what_grows_loose_on_the_ground_says_nothing_of_the_wood(form: str, position: str) -> None:
    """Common practice, no source: whatever it looks like, and a wood-decayer's name too."""
    looks = {"form": form, "position": position, "attachment": "free", "host": "Quercus"}
    named = {**looks, "name": "Ganoderma applanatum", "name_by": "laboratory"}
    found = told(looks, named)
    assert found.decay.tolist() == [Decay.NO, Decay.NO]


def test_a_mushroom_in_mulch_is_no_evidence_though_nobody_looked_how_it_sits() -> None:
    """Common practice, no source."""
    found = told(
        {"form": "gilled_cluster", "position": "mulch"},
        {"form": "ball", "position": "turf", "attachment": "unknown"},
    )
    assert found.decay.tolist() == [Decay.NO, Decay.NO]


@pytest.mark.parametrize("position", [p for p in ON_TREE if p != "stump"])
def test_a_shelf_on_a_tree_is_a_wood_decay_fungus(position: str) -> None:
    """Common practice, no source: nearly always, so 95 % at least, on each part of the tree."""
    seen = {"form": "shelf", "position": position, "attachment": "attached"}
    assert told(seen).decay.tolist() == [Decay.YES]
    rot = meaning.rot_probability(keys.posterior(read(seen).evidence, KEY), TRAITS)
    assert rot[0, ROTS.index("none")] < 0.05


HARMLESS = {
    taxon
    for taxon, rot in zip(KEY.taxon_id, TRAITS.rot.tolist(), strict=True)
    if ROTS[rot] == "none"
}


def test_every_fungus_that_decays_standing_trees_attacks_a_part_of_them() -> None:
    """Common practice, no source: roots, butt, stem or branches; the harmless attack none."""
    for taxon, attacks in zip(KEY.taxon_id[:-1], TRAITS.attacks[:-1], strict=True):
        if taxon in HARMLESS:
            assert not attacks.any(), taxon
        elif code(taxon) > 1:
            assert attacks.any(), taxon


def test_free_and_attached_at_once_is_unsure_and_goes_to_an_expert() -> None:
    found = told({"form": "shelf", "position": "stem", "attachment": "free"},
                 {"form": "shelf", "attachment": "free|attached"})  # fmt: skip
    assert found.decay.tolist() == [Decay.UNSURE, Decay.UNSURE]
    assert found.expert.all()


def test_nothing_told_of_how_it_sits_is_unsure() -> None:
    found = told({"form": "gilled_cluster", "upper_colour": "tan"})
    assert found.decay.tolist() == [Decay.UNSURE]


def test_soil_over_a_root_counts() -> None:
    found = told({"form": "rosette", "attachment": "soil_over_root", "position": "turf"},
                 {"form": "rosette", "position": "soil_over_root"})  # fmt: skip
    assert found.decay.tolist() == [Decay.YES, Decay.YES]


def test_every_combination_of_how_it_sits_follows_the_gate() -> None:
    """All 128 combinations, for a fungus that surely rots wood, against the gate in words."""
    flag = (np.arange(128)[:, None] >> np.arange(7) & 1).astype(np.bool_)
    sits = Attachments(*flag.T)
    rotter = np.zeros((128, len(KEY.taxon_id)))
    rotter[:, KEY.taxon_id.index("kretzschmaria_deusta")] = 1.0
    found = meaning.decay_evidence(sits, rotter, TRAITS)
    for row, (attached, over_root, free, tree, soil_root, ground, shelf) in enumerate(flag):
        on_tree = attached or over_root or tree
        if free:
            expected = Decay.UNSURE if on_tree else Decay.NO
        elif on_tree or soil_root or shelf:
            expected = Decay.YES
        else:
            expected = Decay.NO if ground else Decay.UNSURE
        assert found[row] == expected, flag[row]


# The facts of the trade.


def test_finger_like_black_clubs_mean_root_decay() -> None:
    """Common practice, no source: white inside, three to five together, from spring on."""
    for month in ("4", "5", "6"):
        found = told({"form": "club", "upper_colour": "black", "arrangement": "few|cluster",
                      "position": "root_flare", "attachment": "attached",
                      "month": month})  # fmt: skip
        assert candidates(found, 0)[0] == "xylaria_polymorpha"
        assert found.decay.tolist() == [Decay.YES]
        assert found.attacks[0, Part.ROOTS] > 0.5


def test_fingers_are_black_and_white_when_young() -> None:
    """Common practice, no source: grey-white in spring does not lead away from them."""
    found = told({"form": "club", "upper_colour": "white|grey", "arrangement": "few", "month": "4",
                  "position": "root_flare"})  # fmt: skip
    assert "xylaria_polymorpha" in candidates(found, 0)


PERENNIAL = {"form": "shelf", "upper_colour": "brown", "under_colour": "white", "flesh": "woody",
             "under_surface": "pores", "position": "butt", "attachment": "attached"}  # fmt: skip


@pytest.mark.parametrize("region", KEY.regions)
def test_a_brown_shelf_white_below_is_perennial_and_aggressive(region: str) -> None:
    """Common practice, no source: look inside, so an action code that asks for more than a look."""
    found = told({**PERENNIAL, "region": region})
    assert "ganoderma_applanatum" in candidates(found, 0)
    first = int(found.taxon[0, 0])
    assert not TRAITS.annual[first]
    assert TRAITS.action_code[first] >= LIMITS.serious_from


def test_layers_of_a_perennial_tell_the_least_age() -> None:
    """Common practice, no source; a count of 0 or -3, or none, says one year at least."""
    shelf = np.full(5, KEY.taxon_id.index("ganoderma_applanatum"))
    layers = np.array([6.0, 1.0, 0.0, -3.0, np.nan])
    found = meaning.least_years(layers, shelf, np.ones(5, np.int64), TRAITS)
    assert found.tolist() == [6.0, 1.0, 1.0, 1.0, 1.0]
    assert meaning.least_years(layers[:1], shelf[:1], np.array([8]), TRAITS).tolist() == [8.0]


def test_an_annual_has_no_layers_but_years_running_establish_it() -> None:
    annual = np.full(2, KEY.taxon_id.index("laetiporus_sulphureus"))
    running = meaning.years_running(
        np.array([0, 0, 0, 0, 1, 1, 1]),
        np.array([2019, 2020, 2021, 2021, 2018, 2020, 2021]),
        bodies=2,
    )
    assert running.tolist() == [3, 2]
    found = meaning.least_years(np.array([9.0, np.nan]), annual, running, TRAITS)
    assert found.tolist() == [3.0, 2.0]
    assert meaning.established(annual, running, TRAITS, LIMITS).tolist() == [True, False]


LACQUERED = {"form": "shelf", "position": "butt", "attachment": "attached", "host": "Quercus",
             "under_colour": "white", "under_surface": "pores",
             "region": "north_america"}  # fmt: skip


@pytest.mark.parametrize(
    "age",
    [
        {"upper_colour": "white", "form": "knob|shelf", "upper_texture": "varnished"},
        {"upper_colour": "red|red_brown", "upper_texture": "varnished"},
        {"upper_colour": "red_brown|brown", "upper_texture": "smooth|cracked", "flesh": "corky"},
    ],
    ids=["starting", "later", "with age"],
)
def test_the_lacquered_shelf_is_known_at_every_age(age: dict[str, str]) -> None:
    """Common practice, no source: white when it starts, shiny red later, duller with age."""
    found = told({**LACQUERED, **age})
    assert "ganoderma_sessile" in candidates(found, 0)
    assert found.attacks[0, Part.BUTT] > 0.5


def test_the_lacquered_shelf_is_no_more_aggressive_and_grows_on_dead_wood_too() -> None:
    """Common practice, no source: somewhat less aggressive than the perennial shelf."""
    lacquered, perennial = (KEY.taxon_id.index(f"ganoderma_{x}") for x in ("sessile", "applanatum"))
    assert TRAITS.significance[lacquered] <= TRAITS.significance[perennial]
    assert code("ganoderma_sessile") <= code("ganoderma_applanatum")
    positions = LIBRARY.table("taxon_positions", key=("taxon_id", "position")).rows
    assert any(r["taxon_id"] == "ganoderma_sessile" and r["position"] == "stump" for r in positions)


def test_a_dull_shelf_at_the_butt_goes_to_somebody_who_knows() -> None:
    """Common practice, no source: when unsure, photographs."""
    found = told({"form": "shelf", "position": "butt", "upper_colour": "brown",
                  "under_colour": "white", "upper_texture": "smooth"})  # fmt: skip
    assert found.expert.all()


ROOTS = {"form": "rosette|shelf", "upper_colour": "salmon", "under_colour": "cream",
         "position": "soil_over_root", "host": "Quercus", "region": "north_america"}  # fmt: skip
STEM = {"form": "shelf", "upper_colour": "orange", "under_colour": "yellow", "position": "stem",
        "host": "Quercus", "arrangement": "overlapping", "month": "8"}  # fmt: skip


def test_sulphur_shelves_are_told_apart_by_colour_and_place() -> None:
    """Common practice, no source: cream and salmon at the roots, yellow and orange on the stem."""
    found = told(ROOTS, STEM)
    assert candidates(found, 0)[0] == "laetiporus_cincinnatus"
    assert candidates(found, 1)[0] == "laetiporus_sulphureus"
    assert [ROTS[at] for at in found.rot] == ["brown", "brown"]
    assert found.attacks[0, Part.ROOTS] > found.attacks[0, Part.STEM]
    assert found.attacks[1, Part.STEM] > found.attacks[1, Part.ROOTS]
    assert found.decay.tolist() == [Decay.YES, Decay.YES]


def test_one_lone_shelf_speaks_against_the_sulphur_shelf() -> None:
    """Common practice, no source: hardly ever one lone shelf, so in the table a tenth at most.

    The key takes it for less rare than the table, a fifth of the tiers (measured 0.19): the others
    may have been hidden or removed, which is the observer's error of this character.
    """
    told_of = LIBRARY.table("taxon_characters", key=("taxon_id", "character", "state"))
    weight = dict(
        zip(*(LIBRARY.table("how_usual").texts(c) for c in ("word", "weight")), strict=True)
    )
    usual = {
        row["state"]: float(weight[row["how_usual"]])
        for row in told_of.rows
        if (row["taxon_id"], row["character"]) == ("laetiporus_sulphureus", "arrangement")
    }
    assert usual["single"] <= 0.1 * usual["overlapping"]
    column = KEY.taxon_id.index("laetiporus_sulphureus")
    lone, tiers = (
        float(KEY.likelihood[KEY.vocabulary.column("arrangement", state), column])
        for state in ("single", "overlapping")
    )
    assert lone <= 0.2 * tiers


def test_nobody_climbs_a_tree_with_sulphur_shelves() -> None:
    """Common practice, no source: brittle wood, the tree is usually removed, nobody climbs it."""
    no_climb = {row["action_code"]: row["no_climb"] for row in LIBRARY.table("action_codes").rows}
    sulphur = [taxon for taxon in KEY.taxon_id if taxon.startswith("laetiporus_")]
    assert len(sulphur) >= 4
    for taxon in sulphur:
        assert ROTS[TRAITS.rot[KEY.taxon_id.index(taxon)]] == "brown"
        assert code(taxon) >= LIMITS.serious_from
        assert no_climb[f"R{code(taxon)}"] == "1"


# Sums over the taxa, and when an expert is asked.


def test_sums_over_the_taxa_are_those_of_a_plain_loop() -> None:
    posterior = np.random.default_rng(5).dirichlet(np.full(len(KEY.taxon_id), 0.1), 20)
    rot = meaning.rot_probability(posterior, TRAITS)
    attacks = meaning.attack_probability(posterior, TRAITS)
    significance = meaning.mean_significance(posterior, TRAITS)
    np.testing.assert_allclose(rot.sum(axis=1), 1.0, rtol=1e-12)
    for row, shares in enumerate(posterior):
        for at in range(len(ROTS)):
            assert rot[row, at] == pytest.approx(shares[TRAITS.rot == at].sum(), abs=1e-12)
        for part in Part:
            of = shares[TRAITS.attacks[:, part]].sum()
            assert attacks[row, part] == pytest.approx(of, abs=1e-12)
        listed = shares[:-1]
        mean = float((listed * TRAITS.significance[:-1]).sum() / listed.sum())
        assert significance[row] == pytest.approx(mean, abs=1e-12)


def test_an_expert_is_asked_where_it_matters() -> None:
    at = {taxon: place for place, taxon in enumerate(KEY.taxon_id)}
    cases: list[tuple[dict[str, float], bool, bool]] = [
        ({"kretzschmaria_deusta": 0.99, "xylaria_longipes": 0.01}, False, False),
        ({"kretzschmaria_deusta": 0.99, "xylaria_longipes": 0.01}, True, True),
        ({"kretzschmaria_deusta": 0.30, "xylaria_longipes": 0.70}, False, True),
        ({"kretzschmaria_deusta": 0.05, "xylaria_longipes": 0.95}, False, False),
        ({"unlisted": 0.9, "xylaria_longipes": 0.1}, False, True),
        ({"xylaria_longipes": 0.55, "xylaria_polymorpha": 0.45}, False, True),
    ]
    posterior = np.zeros((len(cases), len(KEY.taxon_id)))
    for row, (shares, _, _) in enumerate(cases):
        for taxon, share in shares.items():
            posterior[row, at[taxon]] = share
    odd = np.array([strange for _, strange, _ in cases])
    found = meaning.needs_expert(posterior, TRAITS, LIMITS, sure=SURE, odd=odd)
    assert found.tolist() == [asked for _, _, asked in cases]


def test_positions_are_told_as_on_the_tree_or_on_the_ground() -> None:
    """Every word for a place is on the tree, on soil over a root, or on the ground."""
    seen = np.zeros((len(POSITIONS), KEY.vocabulary.size), np.bool_)
    for row, position in enumerate(POSITIONS):
        seen[row, KEY.vocabulary.column("position", position)] = True
    sits = attachments(seen, KEY)
    kinds = np.column_stack([sits.on_tree, sits.on_soil_over_root, sits.on_ground])
    assert (kinds.sum(axis=1) == 1).all()
    assert {POSITIONS[at] for at in np.flatnonzero(sits.on_ground)} == set(GROUND)
