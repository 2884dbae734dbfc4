"""The layers written by a second process: the same bytes, the same refusals, nothing left over."""

from pathlib import Path

import pytest

from pipeline.errors import RenderError
from pipeline.render.exports import beside, geopackage
from pipeline.tables.catalogue_ingest import TREES
from tests.render import sheet_world


def test_a_second_process_writes_the_same_bytes(tmp_path: Path) -> None:
    here, there = (sheet_world.context(tmp_path / name) for name in ("here", "there"))
    with beside.layers_begun(here) as end:  # a small town: no process
        assert not (here.out / geopackage.NAME).exists()
        end()
    with beside.layers_begun(there, least_trees=1) as end:
        end()
    made = (there.out / geopackage.NAME).read_bytes()
    assert made == (here.out / geopackage.NAME).read_bytes()
    assert [p.name for p in there.out.iterdir() if p.name.startswith(".")] == []


def test_what_the_second_process_refuses_is_refused_here(tmp_path: Path) -> None:
    made = sheet_world.context(tmp_path)
    target = made.out / geopackage.NAME
    target.mkdir()
    with beside.layers_begun(made, least_trees=1) as end, pytest.raises(RenderError) as caught:
        end()
    assert caught.value.where == str(target.resolve())
    assert "cannot be written" in caught.value.found


def test_a_table_that_is_spoiled_is_refused_by_name(tmp_path: Path) -> None:
    made = sheet_world.context(tmp_path)
    made.table("ingest.trees", columns=("tree_key",))  # read here before the file is spoiled
    made.store.path(TREES).write_bytes(b"no table")
    with beside.layers_begun(made, least_trees=1) as end, pytest.raises(RenderError) as caught:
        end()
    assert caught.value.where.startswith("trees.parquet")
    assert "Parquet" in caught.value.found


def test_a_process_that_dies_is_told_with_its_last_word(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = sheet_world.context(tmp_path)
    broken = tmp_path / "sitecustomize.py"
    broken.write_text("import sys\nsys.exit('no second process here')\n", encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with beside.layers_begun(made, least_trees=1) as end, pytest.raises(RenderError) as caught:
        end()
    assert "no second process here" in caught.value.found


def test_no_process_outlives_a_fault_of_another_output(tmp_path: Path) -> None:
    made = sheet_world.context(tmp_path)
    with (
        pytest.raises(ZeroDivisionError),
        beside.layers_begun(made, least_trees=1),
    ):
        raise ZeroDivisionError
    assert not (made.out / geopackage.NAME).exists()
