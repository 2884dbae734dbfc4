"""Many sightings cost what the different ones among them cost."""

import numpy as np
import pyarrow as pa
import pytest

from pipeline.published.table import Library
from pipeline.scoring.assembly.fruiting import Fruiting, read_fruiting
from pipeline.scoring.assembly.told import read_told
from pipeline.scoring.assembly.trees import read_trees
from pipeline.scoring.parameters import Parameters, build
from pipeline.tables.catalogue import TABLES
from tests.scoring.small_world import settings, table

HALF_A_MILLION = 500_000
SEEN = {"tree_key": 0, "name_how": "missing", "name_by": "unknown", "position": "stem",
        "form": "shelf", "upper_colour": "orange"}  # fmt: skip


@pytest.fixture(scope="module")
def parameters(tmp_path_factory: pytest.TempPathFactory) -> Parameters:
    """Parameters of the small town."""
    folder = tmp_path_factory.mktemp("fruiting")
    return build(settings(folder), Library())


def fruiting(sightings: pa.Table, tree: np.ndarray, day: np.ndarray, p: Parameters) -> Fruiting:
    """Fruiting fungi on one oak."""
    trees = read_trees(table(TABLES["ingest.trees"], [{"genus": "Quercus"}]), p)
    told = read_told(sightings, tree, trees, float("nan"), p.sighted)
    parts = np.tile(np.array([False, False, True, False]), (len(tree), 1))
    return read_fruiting(
        told, tree, day, np.arange(len(tree)), parts, p.failure.catalogue, p.sighted
    )


def many(count: int) -> pa.Table:
    """The same sighting again and again."""
    one = table(TABLES["ingest.sightings"], [SEEN])
    return one.take(pa.array(np.zeros(count, np.int64)))


def test_half_a_million_sightings_of_one_conk_are_one(parameters: Parameters) -> None:
    tree, day = np.zeros(HALF_A_MILLION, np.int64), np.full(HALF_A_MILLION, 20_000)
    found = fruiting(many(HALF_A_MILLION), tree, day, parameters)
    once = fruiting(many(1), tree[:1], day[:1], parameters)
    # One body and one thing to find out, whatever the number of reports; and no more certain.
    assert found.body.max() == 0
    assert len(found.unit) == len(found.found.unlisted) == 1
    np.testing.assert_array_equal(found.found.probability, once.found.probability)


def test_reports_without_a_tree_share_what_is_found_out(parameters: Parameters) -> None:
    tree, day = np.full(1000, -1), np.full(1000, 20_000)
    found = fruiting(many(1000), tree, day, parameters)
    assert len(set(found.body.tolist())) == 1000
    assert len(found.found.unlisted) == 1


def test_without_sightings_there_is_nothing(parameters: Parameters) -> None:
    nothing = np.zeros(0, np.int64)
    found = fruiting(many(0), nothing, nothing, parameters)
    assert len(found.unit) == len(found.found.unlisted) == 0


def test_batches_change_nothing(parameters: Parameters, monkeypatch: pytest.MonkeyPatch) -> None:
    colours = ["white", "orange", "brown", "red", "grey", "black", "tan"]
    told = [{**SEEN, "upper_colour": colour} for colour in colours]
    sightings = table(TABLES["ingest.sightings"], told)
    tree, day = np.full(len(told), -1), np.full(len(told), 20_000)
    whole = fruiting(sightings, tree, day, parameters)
    monkeypatch.setattr("pipeline.scoring.assembly.fruiting.BATCH", 2)
    parts = fruiting(sightings, tree, day, parameters)
    np.testing.assert_allclose(whole.found.probability, parts.found.probability, rtol=1e-12)
    np.testing.assert_array_equal(whole.found.listed_unit, parts.found.listed_unit)
    np.testing.assert_array_equal(whole.found.heard.code, parts.found.heard.code)
