"""The forester's map holds every tree once, its reasons, and what needs a person."""

import json
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from pipeline.render import map_trees, packing
from pipeline.render.context import RenderContext
from pipeline.render.pages import forester_map
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import empty
from tests.render import map_world
from tests.render.test_packing import unpack


@pytest.fixture(scope="module")
def packed(small_run: RenderContext) -> map_trees.PackedTrees:
    return map_trees.pack(small_run)


@pytest.fixture(scope="module")
def blocks(small_run: RenderContext, packed: map_trees.PackedTrees) -> dict[str, packing.Block]:
    return forester_map.blocks(small_run, packed)


def read(block: packing.Block) -> Any:  # noqa: ANN401 - JSON is anything
    return json.loads(zlib.decompress(block.data, -15))


def test_ratings_drawn_are_those_of_the_table(
    small_run: RenderContext, packed: map_trees.PackedTrees
) -> None:
    drawn = np.bincount(unpack(packed.block)["rating"], minlength=6)
    told = small_run.store.query(
        "select case when rated then rating else 5 end r, count(*) n "
        "from scoring.tree_ratings group by 1 order by 1"
    )
    assert {int(r): int(n) for r, n in enumerate(drawn) if n} == dict(
        zip(told["r"].to_pylist(), told["n"].to_pylist(), strict=True)
    )


def test_each_tree_keeps_its_own_words(
    small_run: RenderContext, packed: map_trees.PackedTrees
) -> None:
    columns = unpack(packed.block)
    trees = small_run.table("ingest.trees").take(pa.array(packed.order))
    words = packed.words
    assert [words["street"][c] for c in columns["street"]] == trees["street"].to_pylist()
    assert [words["species"][c] for c in columns["species"]] == trees["species"].to_pylist()
    assert columns["dbh"].tolist() == trees["dbh_cm"].to_pylist()
    numbers = np.cumsum((columns["id"] >> 1).astype(np.int64) ^ -(columns["id"] & 1).astype(int))
    assert [f"LM-{n:05d}" for n in numbers] == trees["tree_id"].to_pylist()


def test_a_tree_shows_the_quarter_of_its_first_job(
    small_run: RenderContext, packed: map_trees.PackedTrees
) -> None:
    columns = unpack(packed.block)
    told = small_run.store.query(
        "select j.tree_key, coalesce(q.quarter, 'not scheduled') q from planning.jobs j "
        "left join planning.queue q using (job_key)"
    )
    for tree, quarter in zip(told["tree_key"].to_pylist(), told["q"].to_pylist(), strict=True):
        row = packed.place_of[tree]
        assert packed.words["quarter"][columns["quarter"][row]] == quarter


def test_shared_fact_sets_are_stored_once(
    small_run: RenderContext, blocks: dict[str, packing.Block]
) -> None:
    facts = unpack(blocks["facts"])
    assert int(facts["count"].sum()) == small_run.table("scoring.facts").num_rows
    sets = small_run.table("scoring.tree_ratings")["fact_set"]
    assert facts["count"].size == len(set(sets.to_pylist())) < len(sets)


def test_the_thread_of_a_tree_is_its_facts_in_order(
    small_run: RenderContext, packed: map_trees.PackedTrees, blocks: dict[str, packing.Block]
) -> None:
    tree = int(np.flatnonzero(map_world.ratings_of(240) == 4)[0])
    facts, said = unpack(blocks["facts"]), read(blocks["said"])
    code = int(unpack(packed.block)["facts"][packed.place_of[tree]])
    start = int(facts["count"][:code].sum())
    rows = range(start, start + int(facts["count"][code]))
    links = [read(blocks["extras"])["links"][facts["link"][row]] for row in rows]
    assert links == ["seen", "fungus", "wood", "failure", "target", "consequence", "rating",
                     "action"]  # fmt: skip
    told = small_run.store.query(
        f'select "values" v from scoring.facts where fact_set = {tree + 10} order by seq'
    )
    sentences = [said["sentences"][facts["said"][row]] for row in rows]
    assert sentences == [json.loads(v)["say"] for v in told["v"].to_pylist()]
    assert any(said["sources"][facts["source"][row]].startswith("UMass") for row in rows), (
        "a source is told as a citation"
    )


def test_reviews_come_most_urgent_first_and_the_danger_set_aside_heads_them(
    small_run: RenderContext, blocks: dict[str, packing.Block]
) -> None:
    reviews = read(blocks["extras"])["reviews"]
    urgencies = [row[0] for row in reviews["rows"]]
    assert urgencies == sorted(urgencies)
    assert reviews["all"] == small_run.table("scoring.reviews").num_rows
    first = reviews["rows"][0]
    assert "root plate" in first[3]
    assert "Add coordinates" in first[4]


def test_sightings_keep_accuracy_and_candidates(
    small_run: RenderContext, packed: map_trees.PackedTrees, blocks: dict[str, packing.Block]
) -> None:
    told = read(blocks["extras"])["sightings"]
    assert len(told["key"]) == small_run.table("ingest.sightings").num_rows
    assert set(told["accuracy"]) == {8.0}
    sighting, tree, share, apart, named = told["candidates"][0]
    which = small_run.table("scoring.sighting_trees").slice(0, 1).to_pylist()[0]
    assert (sighting, share) == (which["sighting_key"], which["probability"])
    assert (apart, bool(named)) == (which["distance_m"], which["named"])
    assert packed.order[tree] == which["tree_key"]
    assert "ambiguous" in told["match"]
    assert "private remark" not in json.dumps(told)


def test_the_page_has_the_same_bytes_twice(small_run: RenderContext) -> None:
    fresh = RenderContext(
        small_run.settings, small_run.store, small_run.library, small_run.out, small_run.sentence
    )
    assert forester_map.html(small_run) == forester_map.html(fresh)


def test_the_page_carries_its_cautions_and_never_says_the_word(small_run: RenderContext) -> None:
    text = forester_map.html(small_run)
    assert "screening and planning aid" in text
    assert "Not inspected is not low" in text
    own = text.split('<script type="text/plain"', 1)[0].lower().replace("make_safe", "")
    assert " safe " not in own


def test_the_fixed_part_of_the_page_fits_its_room(
    small_run: RenderContext, blocks: dict[str, packing.Block]
) -> None:
    # the goal of the first version: 0.3 MB before trees and texts
    fixed = len(forester_map.html(small_run).encode()) - sum(b.size for b in blocks.values())
    assert fixed <= 300_000


def test_a_run_without_trees_says_so(small_run: RenderContext, tmp_path: Path) -> None:
    bare = map_world.context(tmp_path, 30)
    for name in ("ingest.trees", "scoring.tree_ratings", "scoring.facts", "scoring.decay",
                 "ingest.sightings", "scoring.sighting_trees", "scoring.reviews",
                 "scoring.candidate_actions", "planning.jobs", "planning.queue",
                 "planning.unscheduled"):  # fmt: skip
        bare.store.write(TABLES[name], empty(TABLES[name]))
    text = forester_map.html(bare)
    assert "no tree with a place" in text
    assert "<script" not in text
    assert small_run.city in text


def test_measured_shells_and_the_lean_keep_their_side(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 60)
    tree = int(np.flatnonzero(map_world.ratings_of(60) >= 2)[0])
    map_world.fill(
        run.store, "ingest.readings", 3, reading_key=range(3), tree_key=[tree] * 3,
        part=["butt"] * 3, reading=["drill"] * 3, azimuth_deg=[0.0, 120.0, None],
        shell_cm=[6.0, 45.0, 9.0], section_diameter_cm=[60.0] * 3,
    )  # fmt: skip
    map_world.fill(
        run.store, "ingest.defects", 2, defect_key=range(2), tree_key=[tree, tree],
        defect=["lean", "crack"], side_deg=[75.0, 10.0], latest=[True, True],
    )  # fmt: skip
    packed = map_trees.pack(run)
    found = unpack(forester_map.blocks(run, packed)["evidence"])
    assert found["shell_side"].tolist() == [0, 120]
    assert found["shell_share"].tolist() == [50, 250]  # of 250: 6 cm of 30, and never over 1
    assert found["shell_tree"].tolist() == [packed.place_of[tree]] * 2
    assert found["lean_side"].tolist() == [75]
