"""A tree kept above the accepted rating is never told to have an accepted one."""

import json
from dataclasses import replace
from pathlib import Path

import pyarrow as pa
import pytest

from pipeline.render import said
from pipeline.render.context import RenderContext
from pipeline.render.pages import council_map
from pipeline.render.wording import sentence
from pipeline.tables.catalogue import TABLES
from tests.render import map_world


@pytest.fixture
def run(tmp_path: Path) -> RenderContext:
    """Trees 3 and 32 are high and kept, the first by a person; tree 13 is moderate and kept."""
    made = map_world.context(tmp_path, 60)
    _set(made, "ingest.trees", "owner", ["public"] * 60)
    _set(made, "ingest.trees", "status", ["standing"] * 60)
    kept = [3, 13, 32]
    actions = made.table("scoring.tree_ratings")["best_action"].to_pylist()
    actions = ["retain_monitor" if k in kept else action for k, action in enumerate(actions)]
    _set(made, "scoring.tree_ratings", "rated", [True] * 60)
    _set(made, "scoring.tree_ratings", "best_action", actions)
    _set(
        made,
        "scoring.tree_ratings",
        "decision",
        ["override" if k == 3 else None for k in range(60)],
    )
    map_world.fill(
        made.store, "scoring.facts", 3, fact_set=[k + 10 for k in kept], seq=[0] * 3,
        link=["action"] * 3, statement=["why_retain"] * 3,
        values=['{"action": "retain_monitor"}'] * 3,
    )  # fmt: skip
    return replace(made, sentence=sentence, _tables={})


def _set(run: RenderContext, table: str, name: str, values: list[object]) -> None:
    schema = TABLES[table]
    rows = run.store.read(schema)
    at = rows.column_names.index(name)
    column = pa.array(values).cast(rows.schema.field(name).type)
    run.store.write(schema, rows.set_column(at, name, column))


def test_who_keeps_a_tree_and_at_what_rating_is_told(run: RenderContext) -> None:
    rows = said.facts(run)
    told = {
        fact_set: sentence(statement, json.loads(values))
        for fact_set, statement, values in zip(
            rows["fact_set"].to_pylist(),
            rows["statement"].to_pylist(),
            rows["values"].to_pylist(),
            strict=True,
        )
    }
    assert told[13] == "A person decided to keep it; the rating stays high."
    assert told[23] == "The rating is accepted: keep the tree and look again."
    assert told[42].startswith("The rating stays high, above what the city accepts")


def test_the_council_page_says_that_a_person_decided(run: RenderContext) -> None:
    text = council_map.html(run)
    assert text.count("A person decided to keep it; the rating stays high.") == 1
