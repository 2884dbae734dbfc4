"""Each number of plausibility.csv and plausibility_limits.csv moves what is told of a run."""

from dataclasses import astuple

import numpy as np
import pytest

from pipeline.published.table import Library
from pipeline.render.plausibility import FAR, INSIDE, OPEN, OUTSIDE, Check, checks
from pipeline.tables.store import RunStore
from tests.render import map_world
from tests.render.map_world import fill
from tests.scoring.changed import changed_library

TREES = 1000
KNOWN = 600  # trees whose decay is estimated: more than half of them
PEOPLE = 100_000


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> RunStore:
    """A made-up town in which every rate but those of the mechanics lies inside of its band."""
    run = RunStore(tmp_path_factory.mktemp("run"))
    run.epsg = map_world.EPSG
    keys = np.arange(TREES)
    fill(run, "ingest.trees", TREES, tree_key=keys, tree_id=[f"T{key}" for key in keys],
         dbh_cm=np.where(keys < 500, 31.0, 60.0))  # fmt: skip
    fill(run, "scoring.tree_ratings", TREES, tree_key=keys, rated=np.full(TREES, True),
         evidence=np.full(TREES, True), rating=np.ones(TREES, np.int8),
         action_code=np.where(keys % 3 == 0, 3, 0), harm_per_year=np.full(TREES, 1e-5))  # fmt: skip
    fill(run, "scoring.failure", 700, tree_key=keys[:700], part=np.full(700, 2),
         rule_id=["decay_seen"] * 700,
         failure=np.where((keys % 25 == 0) | (keys < 20), 3, 2)[:700])  # fmt: skip
    decay = np.select([keys < 40, keys < 80, keys < 100], [0.85, 0.72, 0.69], 0.2)[:KNOWN]
    fill(run, "scoring.decay", KNOWN, tree_key=keys[:KNOWN], part=[2] * KNOWN,
         decayed_share=decay)  # fmt: skip
    fill(run, "ingest.defects", 100, defect_key=np.arange(100), tree_key=keys[100:200],
         defect=["cavity"] * 100, latest=[True] * 100)  # fmt: skip
    fill(run, "scoring.sighting_trees", 0)
    return run


def _told(store: RunStore, library: Library) -> dict[str, Check]:
    return {one.quantity: one for one in checks(store, library, PEOPLE)}


def _row(table: str, quantity: str) -> int:
    return Library().table(table).texts("quantity").index(quantity)


# The limit as it stands in the table, another one, and the rate that has to move with it.
_LIMITS = [
    ("serious_decay_above", "0.8", "serious_decay"),
    ("advanced_decay_from", "0.8", "advanced_failures"),
    ("large_from", "45", "serious_decay"),
    ("fewest_trees", "2000", "failures"),
    ("fewest_signed", "200", "signed_high"),
    ("estimated_from", "0.7", "serious_decay"),
    ("serious_code", "3", "signed_high"),
]


def test_each_limit_is_tried() -> None:
    rows = Library().table("plausibility_limits").texts("quantity")
    assert {name for name, _, _ in _LIMITS} == set(rows)


@pytest.mark.parametrize(("limit", "other", "moves"), _LIMITS, ids=[one[0] for one in _LIMITS])
def test_each_limit_moves_its_rate(store: RunStore, limit: str, other: str, moves: str) -> None:
    change = ("plausibility_limits", _row("plausibility_limits", limit), "limit", other)
    before, after = _told(store, Library()), _told(store, changed_library(change))
    parts = (before[moves].found, before[moves].verdict), (after[moves].found, after[moves].verdict)
    assert parts[0] != parts[1]
    assert before[moves].verdict != OPEN, "it was compared as the table stands"
    same = [name for name in before if astuple(before[name]) == astuple(after[name])]
    assert "expected_deaths" in same or limit == "fewest_trees"


@pytest.mark.parametrize(
    "quantity",
    ["failures", "tree_failures", "advanced_failures", "serious_decay", "signed_high",
     "expected_deaths"],
)  # fmt: skip
@pytest.mark.parametrize(
    ("edge", "by", "verdict"),
    [("low", 1.01, OUTSIDE), ("high", 0.99, OUTSIDE), ("wide_low", 1.01, FAR),
     ("wide_high", 0.99, FAR)],
)  # fmt: skip
def test_each_edge_of_a_band_parts_what_is_believed(
    store: RunStore, quantity: str, edge: str, by: float, verdict: str
) -> None:
    found = _told(store, Library())[quantity]
    assert found.found is not None
    at = _row("plausibility", quantity)
    wide = [("plausibility", at, name, f"{found.found * factor!r}") for name, factor in
            (("low", 0.5), ("high", 2.0), ("wide_low", 0.1), ("wide_high", 10.0))]  # fmt: skip
    assert _told(store, changed_library(*wide))[quantity].verdict == INSIDE
    moved = ("plausibility", at, edge, f"{found.found * by!r}")
    # Of deaths no more is known than that they are so many at least: too few say nothing.
    verdict = OPEN if (quantity, edge) == ("expected_deaths", "low") else verdict
    assert _told(store, changed_library(*wide, moved))[quantity].verdict == verdict
