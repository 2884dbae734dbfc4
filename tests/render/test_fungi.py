"""Fruiting fungi for pages and lists: nothing lost, nothing surer than the table says."""

import json
import re
import zlib
from base64 import b64decode
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from pipeline.published.table import Library
from pipeline.render import fungi, fungi_account, map_trees, wording_fungi
from pipeline.render.context import RenderContext
from pipeline.scoring.assembly.fruiting import NAME
from pipeline.scoring.identification.meaning import PHOTOGRAPHS, ROTS
from pipeline.scoring.parameters.identification import CHARACTERS
from tests.render import map_world, sheet_world
from tests.render.map_world import SEEN_AGAIN, sighted_trees


@pytest.fixture(scope="module")
def packed(small_run: RenderContext) -> tuple[dict[str, Any], dict[str, Any]]:
    """Columns as a page reads them, by name, and the texts."""
    block, texts = fungi.pack(small_run, map_trees.pack(small_run))
    raw = zlib.decompress(b64decode(block.text.split("\n", 1)[1]), -15)
    columns, at = {}, 0
    for name, _, width, size in block.head["columns"]:
        planes = np.frombuffer(raw, np.uint8, width * size, at).reshape(width, size)
        columns[name] = (planes.astype(np.int64) << (8 * np.arange(width))[:, None]).sum(axis=0)
        at += width * size
    return columns, texts


def test_each_sighting_stands_once_under_its_fungus(
    small_run: RenderContext, packed: tuple[dict[str, Any], dict[str, Any]]
) -> None:
    columns, _ = packed
    table = small_run.table("scoring.identifications")
    assert sorted(columns["sighting"].tolist()) == table["sighting_key"].to_pylist()
    assert columns["seen"].sum() == table.num_rows
    assert len(columns["seen"]) == table.num_rows - 1
    assert columns["seen"][0] == 2
    assert set(columns["sighting"][:2].tolist()) == {0, SEEN_AGAIN}


def test_candidates_keep_their_names_and_probabilities(
    small_run: RenderContext, packed: tuple[dict[str, Any], dict[str, Any]]
) -> None:
    columns, texts = packed
    table = small_run.table("scoring.identifications").to_pylist()
    rows = [row for row in table if row["sighting_key"] == row["body_key"]]
    accepted = {r["taxon_id"]: r for r in small_run.library.table("taxa", key=("taxon_id",)).rows}
    for at, row in enumerate(rows):
        for place in (1, 2, 3):
            latin, beside = texts["taxa"][columns[f"taxon{place}"][at]]
            known = accepted[row[f"taxon_{place}"]]
            assert latin == known["accepted_name"]
            assert bool(beside) == (known["rank"] == "genus")
            share = columns[f"p{place}"][at] / texts["steps"]
            assert share == pytest.approx(row[f"probability_{place}"], abs=1e-4)
        assert texts["evidences"][columns["evidence"][at]] == row["decay_evidence"]
        assert texts["rots"][columns["rot"][at]] == wording_fungi.ROTS[row["rot_type"]]
        assert bool(columns["expert"][at]) == row["needs_expert"]
        look = texts["looks"][columns["look"][at]]
        assert look["character"] == (row["next_look"] or "")
    assert texts["apart"][columns["apart"][0]].startswith("thin crust")
    assert texts["said"][columns["for"][0]] == "the pores, gills or teeth below and the month speak"
    assert texts["said"][columns["against"][0]] == "the host tree speaks"


def test_a_fungus_lies_on_its_tree_or_on_none(
    small_run: RenderContext, packed: tuple[dict[str, Any], dict[str, Any]]
) -> None:
    columns, _ = packed
    trees = map_trees.pack(small_run)
    told = np.delete(sighted_trees(240), SEEN_AGAIN)
    on = columns["tree"] < trees.order.size
    assert (on == (told >= 0)).all()
    assert trees.order[columns["tree"][on]].tolist() == told[on].tolist()


def test_lists_tell_no_certainty_and_nothing_of_what_is_not_known(small_run: RenderContext) -> None:
    told = fungi.told_of(small_run, pa.array([1, None, 0]))
    assert tuple(told.column_names) == fungi.TOLD
    assert told["fungus"].to_pylist() == ["Kretzschmaria deusta", None, "Ganoderma applanatum"]
    assert told["needs_expert"].to_pylist() == [True, None, False]


def test_rounding_makes_nobody_certain(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 60)
    count = run.table("scoring.identifications").num_rows
    sheet_world.change(run.store, "scoring.identifications", probability_1=[0.99999] * count)
    fresh = RenderContext(run.settings, run.store, run.library, run.out, run.sentence)
    told = fungi.told_of(fresh, pa.array([0]))["probability_1"].to_pylist()
    assert told == [0.9999]


def test_of_several_fungi_the_serious_one_is_told(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 240)
    count = run.table("scoring.identifications").num_rows
    keys = list(range(count))
    serious = [0.9 if key == SEEN_AGAIN else 0.3 for key in keys]
    sheet_world.change(
        run.store, "scoring.identifications", body_key=keys, probability_serious=serious
    )
    fresh = RenderContext(run.settings, run.store, run.library, run.out, run.sentence)
    tree = int(sighted_trees(240)[0])
    assert fungi.weightiest(fresh, pa.array([tree, 239, None])).to_pylist() == [
        SEEN_AGAIN, None, None,
    ]  # fmt: skip


def test_a_run_without_sightings_has_none(tmp_path: Path) -> None:
    run = map_world.context(tmp_path, 30)
    path = tmp_path / "tables" / "scoring" / "identifications.parquet"
    path.unlink()
    fresh = RenderContext(run.settings, run.store, Library(), run.out, run.sentence)
    assert fungi.bodies(fresh).num_rows == 0
    assert fungi.told_of(fresh, pa.array([0]))["fungus"].to_pylist() == [None]
    assert fungi_account.sureness(fresh).sightings == 0
    block, texts = fungi.pack(fresh, map_trees.pack(fresh))
    assert json.dumps(texts)
    assert block.size < 2_000


def test_the_report_counts_every_sighting_once(small_run: RenderContext) -> None:
    found = fungi_account.sureness(small_run)
    assert sum(band.names for band in found.bands) == found.sightings
    assert sum(band.rots for band in found.bands) == found.sightings
    table = small_run.table("scoring.identifications").to_pylist()
    assert found.bands[0].names == sum(row["probability_1"] >= 0.9 for row in table)
    assert found.bands[2].names == sum(row["probability_1"] < 0.5 for row in table)
    assert found.experts == sum(row["needs_expert"] for row in table)
    assert (found.unsure, found.none) == (1, 1)


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (1.0, "more than 99 in 100"),
        (0.9949, "about 99 in 100"),
        (0.967, "about 97 in 100"),
        (0.94, "about 9 in 10"),
        (0.68, "about 7 in 10"),
        (0.45, "about 5 in 10"),
        (0.0972, "about 1 in 10"),
        (0.034, "about 3 in 100"),
        (0.0049, "less than 1 in 100"),
        (0.0, "less than 1 in 100"),
    ],
)
def test_probabilities_are_said_as_frequencies_and_never_as_certainty(
    share: float, words: str
) -> None:
    assert wording_fungi.how_often(share) == words


def test_the_words_are_those_of_the_key() -> None:
    # What scoring writes and what pages say must not drift apart.
    assert wording_fungi.PHOTOGRAPHS == PHOTOGRAPHS
    assert tuple(wording_fungi.ROTS) == ROTS
    for name in (*CHARACTERS, "position", "host", "month", "region", NAME):
        assert not re.search(r"_", wording_fungi.speak(name)), name
        assert wording_fungi.speak(name) != f"{name} speaks", name
