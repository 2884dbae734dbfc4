"""Twelve whole trees, from sighting to action, each link held against something else than itself.

    fungus        descriptions in handbooks of wood decay (named at each row)
    wood, wind    the chain worked a second time by `separately`, from what the fungus link found
    target        the arithmetic of the zone as it is told, and the share of the circle by geometry
    words         the two matrices as printed in ANSI A300 (Part 9)
    action        common practice of the trade, no source

The trees are invented.
"""

import csv
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import scipy.stats
import shapely

from pipeline import run as runs
from pipeline.settings.load import load
from pipeline.tables.store import RunStore
from pipeline.units import Floats
from tests.whole import separately as apart

TOWN = Path(__file__).parent / "twelve" / "city.toml"
ROOTS, BUTT, STEM, BRANCH = range(4)
IMPROBABLE, POSSIBLE, PROBABLE, IMMINENT = 1, 2, 3, 4
LOW, MODERATE, HIGH, EXTREME = 1, 2, 3, 4
# Ten and five midpoints stand for the years in the program, Gauss-Hermite nodes here: that alone
# makes 1 % in a mean and 8 % in a chance that lives in the tail.
OF_MEAN, OF_CHANCE = 0.04, 0.15


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> RunStore:
    """The town, run once."""
    out = tmp_path_factory.mktemp("twelve") / "run"
    runs.execute(load(TOWN), out=out)
    return RunStore(out)


def _rows(store: RunStore, query: str) -> list[dict[str, Any]]:
    return list(store.query(query).to_pylist())


def _part(store: RunStore, table: str, tree: str, part: int) -> dict[str, Any]:
    """The row of a part of a tree."""
    (row,) = _rows(
        store,
        f"select x.* from scoring.{table} x join ingest.trees t using (tree_key) "
        f"where t.tree_id = '{tree}' and x.part = {part}",
    )
    return row


# --- link 1: which fungus -------------------------------------------------------------------------


@dataclass(frozen=True)
class Fungus:
    """What the sighting is: any of these taxa together, the rot, and what must hold besides."""

    tree: str
    taxa: tuple[str, ...]
    rot: str
    at_least: float
    source: str


FUNGI = (
    # A varnished red-brown shelf with a white pore face on a hardwood base.
    Fungus("W01", ("ganoderma_sessile", "ganoderma_curtisii", "ganoderma_tsugae"), "white", 0.9,
           "umass_ganoderma_sessile"),
    # Overlapping orange shelves with a sulphur-yellow pore face on an oak: brown cubical rot.
    Fungus("W02", ("laetiporus_sulphureus", "laetiporus_gilbertsonii", "laetiporus_cincinnatus"),
           "brown", 0.9, "schwarze_2000"),
    # A black, brittle crust, pimpled, at the base of a beech: soft rot.
    Fungus("W03", ("kretzschmaria_deusta",), "soft", 0.9, "schwarze_2000"),
    # A woody shelf whose white pore face bruises brown, nine tube layers, named by a specialist.
    Fungus("W04", ("ganoderma_applanatum",), "white", 0.9, "umass_oak_root_rots"),
    Fungus("W05", ("ganoderma_applanatum",), "white", 0.9, "umass_oak_root_rots"),
    # Hoofs with a grey zoned crust on a birch.
    Fungus("W10", ("fomes_fomentarius", "phellinus_igniarius"), "white", 0.8, "schwarze_2000"),
    # A rosette of 70 cm at the foot of a beech that bruises black.
    Fungus("W11", ("meripilus_sumstinei", "meripilus_giganteus", "meripilus"), "white", 0.9,
           "schwarze_2000"),
)  # fmt: skip


def _posterior(store: RunStore, tree: str) -> dict[str, float]:
    rows = _rows(
        store,
        "select p.taxon_id, p.probability from scoring.taxon_posteriors p "
        "join scoring.sighting_trees s using (sighting_key) join ingest.trees t using (tree_key) "
        f"where t.tree_id = '{tree}'",
    )
    return {row["taxon_id"]: row["probability"] for row in rows}


@pytest.mark.parametrize("case", FUNGI, ids=lambda case: case.tree)
def test_what_the_handbooks_say_it_is(store: RunStore, case: Fungus) -> None:
    told = _posterior(store, case.tree)
    assert sum(told.get(taxon, 0.0) for taxon in case.taxa) >= case.at_least
    (row,) = _rows(
        store,
        "select i.rot_type, i.decay_evidence from scoring.identifications i "
        "join scoring.sighting_trees s using (sighting_key) join ingest.trees t using (tree_key) "
        f"where t.tree_id = '{case.tree}'",
    )
    assert row["rot_type"] == case.rot


def test_an_unnamed_shelf_stays_many_things_and_asks_for_a_name(store: RunStore) -> None:
    told = _posterior(store, "W06")
    assert max(told.values()) < 0.5
    (row,) = _rows(
        store,
        "select i.needs_expert, i.next_look from scoring.identifications i "
        "join scoring.sighting_trees s using (sighting_key) join ingest.trees t using (tree_key) "
        "where t.tree_id = 'W06'",
    )
    assert row["needs_expert"]
    assert row["next_look"]


def test_a_mushroom_in_mulch_speaks_of_no_tree(store: RunStore) -> None:
    # Common practice, no source: what feeds on mulch is no sign of decay in the tree beside it.
    assert not _rows(
        store,
        "select * from scoring.failure join ingest.trees t using (tree_key) "
        "where t.tree_id = 'W07'",
    )
    assert not _rows(
        store,
        "select * from scoring.decay join ingest.trees t using (tree_key) where t.tree_id = 'W07'",
    )


# --- link 2: how much wood is left; link 3: does it hold ------------------------------------------

# Diameters, heights and crowns as in trees.csv; rupture of green wood [MPa] as the Wood Handbook
# (2010), table 5-3, has it in psi, from memory; European beech as Lavers (1983), from memory.
W01 = apart.Tree(55, 15, 12, 52.7)  # Acer, mean of the maples
W02 = apart.Tree(90, 22, 18, 57.2)  # Quercus rubra, 8,300 psi
W03 = apart.Tree(70, 20, 16, 65.0)  # Fagus sylvatica
W04 = apart.Tree(60, 18, 12, 34.5)  # Tilia, as American basswood, 5,000 psi
W07 = apart.usual(45, 52.7)
W08 = apart.Tree(50, 17, 10, 65.5, dead_years=563 / 365.25, stood=0.0)  # dead on 1 May 2025
W10 = apart.Tree(40, 16, 8, 44.1)  # Betula papyrifera, 6,400 psi
W11 = apart.Tree(80, 22, 18, 59.3, wet=True)  # Fagus grandifolia, 8,600 psi

# Classes of spread by what the fungus is: rate at 50 cm [cm/year], its spread, years of fruiting.
RATES = {"A": (1.45, 0.5, 4.0), "B": (0.85, 0.6, 3.0), "C": (0.90, 0.6, 3.0), "M": (0.50, 0.6, 3.0),
         "U": (0.26, 0.9, 4.0)}  # fmt: skip
CLASS = {
    "ganoderma_sessile": "B", "ganoderma_curtisii": "M", "ganoderma_tsugae": "M",
    "laetiporus_sulphureus": "C", "laetiporus_gilbertsonii": "C", "inonotus_quercustris": "B",
    "kretzschmaria_deusta": "C", "ganoderma_applanatum": "A", "fomes_fomentarius": "A",
    "phellinus_igniarius": "A", "phellinus_everhartii": "A", "phellinus": "A",
    "fomitopsis_pinicola": "M",
}  # fmt: skip
# Share of the root plate by the weight of the fungus among fungi of roots.
ROOT_SHARE = {"meripilus_sumstinei": 0.45, "meripilus_giganteus": 0.60, "meripilus": 0.60}


def _under(
    told: dict[str, float], d: float, *, host: float = 1.0, layers: float = 0.0
) -> apart.Law:
    """The laws of all taxa by their probability; what is left over counts as unnamed."""
    shares: dict[str, float] = {}
    for taxon, share in told.items():
        kind = CLASS.get(taxon, "U")
        shares[kind] = shares.get(kind, 0.0) + share
    laws = []
    for kind, share in shares.items():
        median, spread, years = RATES[kind]
        law = apart.under_a_body(
            d, median, spread, years=layers or years, counted=bool(layers), host=host
        )
        laws.append((share / sum(shares.values()), law))
    return apart.mixed(*laws)


def _drilled(law: apart.Law, d: float, shells: tuple[float, ...]) -> apart.Law:
    """After drilling at three azimuths or more: the mean wall, Student's t, 2.6 cm a reading."""
    scale, mean = 2.6 / np.sqrt(len(shells)), float(np.mean(shells))
    return apart.measured(
        law, lambda x: scipy.stats.t.pdf((mean - d / 2.0 * (1.0 - x)) / scale, 2.4)
    )


@cache
def _stem(tree: apart.Tree, rot: str, opening_deg: float = 0.0) -> Callable[[float], float]:
    return apart.stem_chance(tree, rot, opening_deg)


@dataclass(frozen=True)
class Wood:
    """Of a part: rot, host's factor on the rate, layers, shells drilled, opening."""

    tree: str
    part: int
    built: apart.Tree
    rot: str
    host: float = 1.0
    layers: float = 0.0
    shells: tuple[float, ...] = ()
    opening_deg: float = 0.0


UNDER_BODIES = (
    Wood("W01", BUTT, W01, apart.WHITE),
    Wood("W02", STEM, W02, apart.BROWN),
    Wood("W03", BUTT, W03, apart.SOFT, host=1.5),
    Wood("W04", BUTT, W04, apart.WHITE, layers=9.0, shells=(20.0, 21.0, 20.0, 22.0)),
    Wood("W05", BUTT, W04, apart.WHITE, layers=9.0, shells=(20.0, 20.0, 20.0), opening_deg=120.0),
    Wood("W10", STEM, W10, apart.WHITE, host=1.5, layers=5.0),
)


@pytest.mark.parametrize("case", UNDER_BODIES, ids=lambda case: case.tree)
def test_wood_left_and_what_the_wind_does_with_it(store: RunStore, case: Wood) -> None:
    d = 62.0 if case.shells else case.built.D  # the lindens were drilled where they measure 62 cm
    law = _under(_posterior(store, case.tree), d, host=case.host, layers=case.layers)
    if case.shells:
        law = _drilled(law, d, case.shells)
    left = _part(store, "decay", case.tree, case.part)
    assert left["mean_share"] == pytest.approx(apart.mean_of(law), rel=OF_MEAN)
    held = _part(store, "mechanics", case.tree, case.part)
    chance = apart.expected(law, _stem(case.built, case.rot, case.opening_deg))
    assert held["p1"] == pytest.approx(chance, rel=OF_CHANCE)


def test_roots_under_a_giant_rosette(store: RunStore) -> None:
    told = _posterior(store, "W11")
    law = apart.mixed(
        *(
            (told[taxon], apart.of_roots(mean))
            for taxon, mean in ROOT_SHARE.items()
            if taxon in told
        )
    )
    law = (law[0], law[1] / law[1].sum())
    assert _part(store, "decay", "W11", ROOTS)["mean_share"] == pytest.approx(
        apart.mean_of(law), rel=OF_MEAN
    )
    held = _part(store, "mechanics", "W11", ROOTS)
    assert held["p1"] == pytest.approx(apart.expected(law, apart.root_chance(W11)), rel=OF_CHANCE)


def test_what_nobody_has_seen_anything_of_holds_as_any_such_tree(store: RunStore) -> None:
    for part, share in ((BUTT, 0.55), (STEM, 0.45)):
        law = apart.without_a_sign(45, share, condition=0.7)
        chance = apart.expected(law, _stem(W07, apart.WHITE))
        assert _part(store, "mechanics", "W07", part)["p1"] == pytest.approx(chance, rel=OF_CHANCE)
    law = apart.without_a_sign(45, 0.60, condition=0.7)
    chance = apart.expected(law, apart.root_chance(W07))
    assert _part(store, "mechanics", "W07", ROOTS)["p1"] == pytest.approx(chance, rel=OF_CHANCE)


def test_a_dead_ash_weakens_by_the_year(store: RunStore) -> None:
    law = apart.without_a_sign(50, 0.45, condition=4.0)
    chance = apart.expected(law, _stem(W08, apart.WHITE))
    assert _part(store, "mechanics", "W08", STEM)["p1"] == pytest.approx(chance, rel=OF_CHANCE)


# --- link 4: whom it would hit --------------------------------------------------------------------

OPEN_WEEKDAYS = 5 * 8.5 / 168.0  # Monday to Friday, 7:30 to 16:00
SEPTEMBER_TO_JUNE = 303 / 365
WALK = 1.2 * 3600.0  # metres in an hour, ordinary pace


def _chord(reach: float, distance: float) -> float:
    """Length of a long straight path within reach."""
    return 2.0 * float(np.sqrt(reach**2 - distance**2))


@dataclass(frozen=True)
class Target:
    """Of a part: the zone, how far and how long a reach [m], share of the year, the trade's words.

    `occupied` is worked by hand from what the zone tells; a word alone stands for the share that
    the table of occupancy words gives it, which is no finding of this test.
    """

    tree: str
    part: int
    zone: str
    distance: float
    reach: float
    occupied: float | None
    occupancy: int
    impact: int


RARE, OCCASIONAL, FREQUENT, CONSTANT = 1, 2, 3, 4
VERY_LOW, LOW_IMPACT, MEDIUM, HIGH_IMPACT = 1, 2, 3, 4
TARGETS = (
    # 60 an hour who stay for hours: while the school is open somebody is always in the yard. That
    # is a large part of the week and not nearly all of it, so frequent; one side of the tree.
    Target("W01", BUTT, "Z01", 4.0, 15.0, OPEN_WEEKDAYS * SEPTEMBER_TO_JUNE, FREQUENT, MEDIUM),
    # 12 an hour who wait 8 minutes are 1.6 persons, so somebody is there 1 - e^-1.6 of 16 hours.
    Target("W03", BUTT, "Z03", 3.0, 20.0, 16 / 24 * (1 - np.exp(-12 * 8 / 60)), CONSTANT,
           HIGH_IMPACT),
    Target("W04", BUTT, "Z04", 5.0, 18.0, None, FREQUENT, MEDIUM),
    Target("W05", BUTT, "Z04", 5.0, 18.0, None, FREQUENT, MEDIUM),
    Target("W06", BUTT, "Z06", 2.0, 15.0, None, FREQUENT, MEDIUM),
    # A dead tree shatters and throws to 1.5 times its height (rules for fellers keep two tree
    # lengths, from memory); five walkers an hour, one hour a week.
    Target("W08", STEM, "Z08", 4.0, 25.5, 1 / 168 * (1 - np.exp(-5 * _chord(25.5, 4.0) / WALK)),
           RARE, VERY_LOW),
    Target("W09", ROOTS, "Z09", 8.0, 24.0, None, RARE, VERY_LOW),
    Target("W10", STEM, "Z10", 3.0, 16.0, None, OCCASIONAL, LOW_IMPACT),
    Target("W11", ROOTS, "Z11", 5.0, 22.0, None, FREQUENT, MEDIUM),
)  # fmt: skip


@cache
def _zones() -> dict[str, Any]:
    """Shapes of the zones in metres, by id."""
    to_metres = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32618", always_xy=True)

    def moved(degrees: Floats) -> Floats:
        return np.column_stack(to_metres.transform(degrees[:, 0], degrees[:, 1]))

    told = json.loads((TOWN.parent / "zones.geojson").read_text(encoding="utf-8"))
    return {
        one["properties"]["zone_id"]: shapely.transform(
            shapely.geometry.shape(one["geometry"]), moved
        )
        for one in told["features"]
    }


def _place(tree: str) -> tuple[float, float]:
    with (TOWN.parent / "trees.csv").open(encoding="utf-8", newline="") as file:
        (row,) = (row for row in csv.DictReader(file) if row["tree_id"] == tree)
    return float(row["x"]), float(row["y"])


def _share_of_rays(tree: str, zone: str, reach: float, rays: int = 7_200) -> float:
    """Share of directions in which a tree of that reach falls on the zone, by casting rays."""
    x, y = _place(tree)
    turn = (np.arange(rays) + 0.5) * 2.0 * np.pi / rays
    ends = np.column_stack([x + reach * np.cos(turn), y + reach * np.sin(turn)])
    starts = np.broadcast_to(np.array([x, y]), ends.shape)
    lines = shapely.linestrings(np.stack([starts, ends], axis=1))
    return float(shapely.intersects(lines, _zones()[zone]).mean())


@pytest.mark.parametrize("case", TARGETS, ids=lambda case: case.tree)
def test_whom_it_would_hit_and_how_often_somebody_is_there(store: RunStore, case: Target) -> None:
    rows = _rows(
        store,
        "select i.*, z.zone_id from scoring.impacts i join ingest.trees t using (tree_key) "
        "join ingest.zones z using (zone_key) "
        f"where t.tree_id = '{case.tree}' and i.part = {case.part}",
    )
    (row,) = (row for row in rows if row["zone_id"] == case.zone)
    assert row["distance_m"] == pytest.approx(case.distance, abs=0.02)
    assert row["reach_m"] == pytest.approx(case.reach, abs=0.05)
    if case.occupied is not None:
        assert row["occupied_share"] == pytest.approx(case.occupied, rel=0.01)
    assert (row["occupancy"], row["impact"]) == (case.occupancy, case.impact)
    if row["fall_resultant"] == 0.0:
        share = _share_of_rays(case.tree, case.zone, case.reach)
        assert row["direction_share"] == pytest.approx(share, abs=0.002)


def test_nobody_known_below_is_not_nobody(store: RunStore) -> None:
    rows = _rows(
        store,
        "select i.occupied_share, i.impact, i.zone_key from scoring.impacts i "
        "join ingest.trees t using (tree_key) where t.tree_id = 'W02'",
    )
    assert rows
    assert {(row["zone_key"], row["impact"]) for row in rows} == {(-1, VERY_LOW)}
    assert all(row["occupied_share"] > 0 for row in rows)


# --- links 5 to 7: failure, consequence, rating ---------------------------------------------------

# Failure by impact -> likelihood (1 unlikely to 4 very likely), likelihood by consequence ->
# rating, as the standard prints them; columns very low to high, and negligible to severe.
LIKELIHOOD = {
    IMMINENT: (1, 2, 3, 4), PROBABLE: (1, 1, 2, 3), POSSIBLE: (1, 1, 1, 2), IMPROBABLE: (1, 1, 1, 1)
}  # fmt: skip
RATING = {4: (1, 2, 3, 4), 3: (1, 2, 3, 3), 2: (1, 1, 2, 2), 1: (1, 1, 1, 1)}
SEVERE = 4

RATED = {
    # tree: failure, rating. Why the failure: W01 to W03, W10, W11 a serious fungus sits on the
    # part; W04 a wall of 20 cm of 31 keeps it from more than possible; W05 an opening of a third
    # of the girth over decay; W08 dead; W09 the plate moves.
    "W01": (PROBABLE, MODERATE), "W02": (PROBABLE, LOW), "W03": (PROBABLE, HIGH),
    "W05": (PROBABLE, MODERATE), "W06": (PROBABLE, MODERATE), "W08": (PROBABLE, LOW),
    "W09": (IMMINENT, LOW), "W10": (PROBABLE, LOW), "W11": (PROBABLE, MODERATE),
}  # fmt: skip


def test_every_pair_goes_through_the_printed_matrices(store: RunStore) -> None:
    rows = _rows(store, "select * from scoring.part_ratings where failure is not null")
    assert len(rows) >= len(TARGETS)
    for row in rows:
        likelihood = LIKELIHOOD[row["failure"]][row["impact"] - 1]
        assert row["likelihood"] == likelihood
        assert row["rating"] == RATING[likelihood][row["consequence"] - 1]


@pytest.mark.parametrize("tree", RATED)
def test_the_tree_takes_its_worst_pair(store: RunStore, tree: str) -> None:
    (row,) = _rows(
        store,
        "select r.* from scoring.tree_ratings r join ingest.trees t using (tree_key) "
        f"where t.tree_id = '{tree}'",
    )
    assert (row["failure"], row["program_rating"]) == RATED[tree]
    # A whole tree or a stem of 29.2 cm and more upon a person is severe (Klein et al. 2021).
    assert row["consequence"] == SEVERE
    assert row["share_low"] + row["share_moderate"] + row["share_high"] + row[
        "share_extreme"
    ] == pytest.approx(1.0)
    assert row["harm_low"] <= row["harm_per_year"] <= row["harm_high"]


def test_harm_takes_the_edge_of_the_word_where_the_wind_says_less(store: RunStore) -> None:
    # harm = chance x share of directions x share of time x what it does; the last is one number
    # for a whole tree on a person, so two trees stand in the ratio of the rest. Roots that move are
    # imminent, 0.30 a year at least (elicited), whatever the wind model thinks of the tree.
    def rest(tree: str) -> float:
        rows = _rows(
            store,
            "select p.harm_per_year, i.direction_share, i.occupied_share, i.storm_share "
            "from scoring.part_ratings p join scoring.impacts i using (tree_key, part, zone_key) "
            f"join ingest.trees t using (tree_key) where t.tree_id = '{tree}' and part = {ROOTS}",
        )
        (row,) = rows
        of_target = row["direction_share"] * row["occupied_share"] * row["storm_share"]
        return float(row["harm_per_year"] / of_target)

    by_wind = _part(store, "mechanics", "W11", ROOTS)["p1"]
    assert rest("W09") / rest("W11") == pytest.approx(0.30 / by_wind, rel=0.01)


def test_a_tree_nobody_looked_at_is_not_assessed(store: RunStore) -> None:
    (row,) = _rows(
        store,
        "select r.* from scoring.tree_ratings r join ingest.trees t using (tree_key) "
        "where t.tree_id = 'W12'",
    )
    assert (row["assessed"], row["rating"]) == (False, 0)
    assert row["harm_per_year"] > 0


# --- link 8: what is to be done (common practice of the trade, no source) -------------------------

TESTS = {"sound", "drill", "tomography", "pull_test", "dig_root_collar", "expert_identification"}


def _chosen(store: RunStore, tree: str) -> dict[str, dict[str, Any]]:
    rows = _rows(
        store,
        "select c.* from scoring.candidate_actions c join ingest.trees t using (tree_key) "
        f"where t.tree_id = '{tree}'",
    )
    return {row["action"]: row for row in rows if row["chosen"]}


@dataclass(frozen=True)
class Deed:
    """What an arborist would sign: one of these, within so many days, and none of those."""

    tree: str
    one_of: frozenset[str]
    within_days: int | None
    never: frozenset[str]


def _deed(tree: str, one_of: set[str], days: int | None, never: set[str] | None = None) -> Deed:
    return Deed(tree, frozenset(one_of), days, frozenset(never or ()))


DEEDS = (
    # A serious fungus, its extent unknown, over a school yard: find out before anything is cut.
    _deed("W01", {"drill", "tomography", "dig_root_collar"}, 14, {"remove", "prune_part"}),
    # Nobody is known below: whatever a test found, the oak would be kept and watched.
    _deed("W02", {"retain_monitor"}, None, TESTS | {"remove", "habitat_pole"}),
    # Soft rot at a bus stop: a drill under-reads it, so sound or roots; at once.
    _deed("W03", {"tomography", "pull_test", "dig_root_collar"}, 7, {"drill", "sound"}),
    # Read at four azimuths and thick: it is not drilled again.
    _deed("W04", {"retain_monitor", "dig_root_collar", "pull_test"}, 180, {"drill", "remove"}),
    _deed("W05", {"dig_root_collar", "pull_test", "reduce_crown", "habitat_pole"}, 180, {"drill"}),
    # Nobody knows what it is: a name, or a look inside.
    _deed("W06", {"expert_identification", "sound", "drill", "dig_root_collar"}, 30, {"remove"}),
    # An hour a week: nothing forces the saw.
    _deed("W08", {"retain_monitor", "habitat_pole"}, None, {"remove"}),
    # The plate moves: fenced off today whatever the matrix says, and felled as the forester wrote.
    _deed("W09", {"make_safe"}, 1),
    _deed("W10", {"retain_monitor"}, None, {"remove", "drill"}),
    # What it does, it does below ground.
    _deed("W11", {"dig_root_collar", "pull_test"}, 14, {"remove", "drill"}),
    _deed("W12", {"inspect"}, None, {"remove"}),
)


@pytest.mark.parametrize("case", DEEDS, ids=lambda case: case.tree)
def test_what_an_arborist_would_sign(store: RunStore, case: Deed) -> None:
    chosen = _chosen(store, case.tree)
    done = chosen.keys() & case.one_of
    assert done, chosen.keys()
    assert not chosen.keys() & case.never
    if case.within_days is not None:
        days = [chosen[action]["deadline_days"] for action in done]
        assert min(day for day in days if day is not None) <= case.within_days


def test_a_mushroom_in_mulch_makes_no_work(store: RunStore) -> None:
    assert not _chosen(store, "W07")


def test_a_foresters_word_carries_a_tree_that_the_matrix_calls_low(store: RunStore) -> None:
    (row,) = _rows(
        store,
        "select r.* from scoring.tree_ratings r join ingest.trees t using (tree_key) "
        "where t.tree_id = 'W09'",
    )
    assert (row["rating"], row["make_safe"], row["no_climb"]) == (LOW, True, True)
    assert row["best_action"] == "remove" != row["program_action"]
    assert row["decision"] == "override"
    assert _chosen(store, "W09").keys() >= {"make_safe", "remove"}
    (job,) = _rows(
        store,
        "select q.* from planning.queue q join planning.jobs j using (job_key) "
        "join ingest.trees t using (tree_key) where t.tree_id = 'W09' and j.action = 'remove'",
    )
    assert job["quarter"] == "2027Q1"


def test_none_of_them_is_climbed_before_it_was_judged(store: RunStore) -> None:
    rows = _rows(
        store,
        "select t.tree_id, r.no_climb from scoring.tree_ratings r join ingest.trees t "
        "using (tree_key) where r.failure >= 3",
    )
    assert {row["tree_id"] for row in rows} >= {"W01", "W02", "W03", "W05", "W08", "W09", "W11"}
    assert all(row["no_climb"] for row in rows)
