"""What scoring weighed again stands over the join of ingest; the rest stays."""

from pathlib import Path

from pipeline.render.context import RenderContext
from pipeline.render.joined import joined
from pipeline.tables.catalogue import TABLES
from tests.render import map_world, sheet_world


def test_scoring_stands_over_ingest(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 240)
    before = joined(run)
    assert before.match[:4] == ("by_id", "by_place", "ambiguous", "ambiguous")
    which = run.table("scoring.sighting_trees")
    attached = which["attached"].to_pylist()
    attached[0], attached[2] = False, True
    sheet_world.change(run.store, "scoring.sighting_trees", attached=attached)
    fresh = RenderContext(run.settings, run.store, run.library, run.out, run.sentence)
    after = joined(fresh)
    assert after.match[:4] == ("ambiguous", "by_place", "by_place", "ambiguous")
    assert after.tree[0] == -1
    assert after.tree[2] == which["tree_key"][2].as_py()
    assert after.match[4:] == before.match[4:]


def test_without_the_table_of_scoring_ingest_stands(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 60)
    keys = run.table("ingest.sightings")["tree_key"].to_pylist()
    none = run.table("scoring.sighting_trees").slice(0, 0)
    run.store.write(TABLES["scoring.sighting_trees"], none)
    fresh = RenderContext(run.settings, run.store, run.library, run.out, run.sentence)
    assert joined(fresh).tree.tolist() == keys
