"""The verb explain as a person types it: what it prints, and what it says when it cannot."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import typer
from typer.testing import CliRunner

from pipeline.cli import explain, explained
from pipeline.errors import InputError, PipelineError, RunError, SettingsError
from pipeline.published.sentences import english
from tests.cli.test_verbs import soundwood
from tests.conftest import ROOT, LarkmereRun


def said(*words: str) -> str:
    """What the verb prints in this process, as a pipe reads it.

    Raises
    ------
    PipelineError
        If the verb refuses.
    """
    app = typer.Typer()
    explain.register(app)
    done = CliRunner().invoke(app, list(words))
    if isinstance(done.exception, PipelineError):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.output


def _urgent(larkmere: LarkmereRun) -> str:
    rows = larkmere.sql(
        """
        select tree_id from ingest.trees join scoring.tree_ratings using (tree_key)
        where make_safe and no_climb order by tree_key limit 1
        """
    )
    return str(rows[0]["tree_id"])


def _ids(folder: Path, ids: dict[int, str]) -> None:
    """Give some trees of a copied run other ids."""
    path = folder / "tables" / "ingest" / "trees.parquet"
    table = pq.read_table(path)
    told = table["tree_id"].to_pylist()
    for key, name in ids.items():
        told[key] = name
    at = table.column_names.index("tree_id")
    pq.write_table(table.set_column(at, "tree_id", pa.array(told, table["tree_id"].type)), path)


@pytest.fixture
def copied(larkmere: LarkmereRun, tmp_path: Path) -> Path:
    """A run that a test may harm."""
    folder = tmp_path / "run"
    folder.mkdir()
    for name in ("tables", "inputs"):
        shutil.copytree(larkmere.first / name, folder / name)
    shutil.copyfile(larkmere.first / "manifest.json", folder / "manifest.json")
    return folder


def test_a_tree_from_seen_to_what_to_do_with_cautions_last(larkmere: LarkmereRun) -> None:
    tree = _urgent(larkmere)
    done = soundwood("explain", tree, "--run", str(larkmere.first))
    assert done.returncode == 0, done.stderr
    assert done.stderr == "", "nothing but silence off a terminal"
    assert "\x1b" not in done.stdout, "no colour off a terminal"
    lines = done.stdout.splitlines()
    assert lines[0].startswith(f"Tree {tree}: ")
    heads = [
        "Seen", "Which fungus", "Wood left", "Holds or fails", "Whom it meets",
        "What it would do", "Rating", "What to do, by when", "Sources", "Cautions",
    ]  # fmt: skip
    assert [line for line in lines if line in heads] == heads
    assert "Make safe first: keep people out" in done.stdout
    assert "Do not climb." in done.stdout
    assert "may still fail" in lines[-2]


def test_the_same_for_programs(larkmere: LarkmereRun) -> None:
    tree = _urgent(larkmere)
    told = json.loads(said(tree, "--run", str(larkmere.first), "--json"))
    assert told["trees"][0]["tree_id"] == tree
    assert told["run"]["program"]
    plain = said(tree, "--run", str(larkmere.first))
    for knot in told["trees"][0]["knots"]:
        for one in knot["statements"]:
            assert one["sentence"] in plain
            if one["source"]:
                assert one["source"]["citation"] in plain


def test_an_unknown_tree_is_refused_with_ids_that_are_near(larkmere: LarkmereRun) -> None:
    with pytest.raises(InputError) as fault:
        said("lk-1751", "--run", str(larkmere.first))
    assert "no tree 'lk-1751'" in fault.value.found
    assert "LK-01751" in fault.value.expected
    with pytest.raises(InputError) as fault:
        said("\u2603\u2603\u2603", "--run", str(larkmere.first))
    assert "near it" not in fault.value.expected


def test_a_tree_whose_row_was_set_aside_is_told(larkmere: LarkmereRun) -> None:
    (row,) = larkmere.sql(
        "select about, reason from ingest.quarantine where about like 'tree %, %' "
        "order by quarantine_key limit 1"
    )
    tree = str(row["about"]).removeprefix("tree ").split(",")[0]
    with pytest.raises(InputError) as fault:
        said(tree, "--run", str(larkmere.first))
    assert str(row["reason"]).rstrip(".") in fault.value.remedy


def test_several_trees_of_one_id_are_all_told(copied: Path) -> None:
    # A city that repeats an id has its trees numbered on reading: <id>, <id>~2, ...
    _ids(copied, {0: "A1", 1: "A1~2", 2: "A1~x", 3: "A1~12"})
    out = said("A1", "--run", str(copied))
    assert out.startswith("3 trees carry the id A1 in the inventory: A1, A1~2, A1~12.")
    assert out.count("\nTree A1") == 3
    assert len(json.loads(said("A1~2", "--run", str(copied), "--json"))["trees"]) == 1


@pytest.mark.parametrize(
    "name",
    ["7 b/Ä", "x'); drop table trees", "*.?[a]", "100%", "\u6a39-1", "a\\d", '"q"', "{id}", "~2"],
)
def test_an_id_with_odd_marks_is_found_as_it_is(copied: Path, name: str) -> None:
    _ids(copied, {5: name})
    assert said(name, "--run", str(copied)).startswith(f"Tree {name}: ")


def test_marks_that_a_terminal_obeys_are_shown_not_sent(copied: Path) -> None:
    _ids(copied, {5: "red\x1b[31m\u202e1"})
    out = said("red\x1b[31m\u202e1", "--run", str(copied))
    assert out.startswith("Tree red\\u001b[31m\\u202e1: ")
    assert "\x1b" not in out


def test_bytes_that_are_no_text_name_no_tree(larkmere: LarkmereRun) -> None:
    with pytest.raises(InputError, match="no tree"):
        said("LK-01751\udcff", "--run", str(larkmere.first))


def test_what_a_narrow_coding_cannot_hold_is_written_out(copied: Path) -> None:
    _ids(copied, {5: "Val-\u00c9"})
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "pipeline", "explain", "Val-\u00c9", "--run", copied],
        cwd=ROOT, capture_output=True, check=False,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(b"Tree Val-\\xc9: ")


def test_an_id_that_begins_with_a_dash_goes_behind_two(copied: Path) -> None:
    _ids(copied, {5: "-9"})
    assert said("--run", str(copied), "--", "-9").startswith("Tree -9: ")


def test_runs_that_are_not_there_or_damaged_are_refused(
    copied: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(RunError, match="no such folder"):
        said("LK-00002", "--run", str(tmp_path / "none"))
    with pytest.raises(RunError, match="no manifest"):
        said("LK-00002", "--run", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    with pytest.raises(RunError, match="no run"):
        said("LK-00002")
    (tmp_path / "outputs" / "town").mkdir(parents=True)
    shutil.copyfile(copied / "manifest.json", tmp_path / "outputs" / "town" / "manifest.json")
    with pytest.raises(RunError) as fault:
        said("LK-00002")
    assert "town" in fault.value.found
    facts = copied / "tables" / "scoring" / "facts.parquet"
    whole = facts.read_bytes()
    facts.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(PipelineError, match="damaged"):
        said("LK-00002", "--run", str(copied))
    facts.unlink()
    with pytest.raises(RunError, match=r"no table scoring\.facts"):
        said("LK-00002", "--run", str(copied))
    facts.write_bytes(whole)
    (copied / "inputs" / "settings.toml").unlink()
    with pytest.raises(RunError, match="settings that the run kept"):
        said("LK-00002", "--run", str(copied))
    (copied / "inputs" / "settings.toml").write_text("[city", encoding="utf-8")
    with pytest.raises(SettingsError):
        said("LK-00002", "--run", str(copied))
    (copied / "manifest.json").write_text("[]", encoding="utf-8")
    with pytest.raises(RunError, match="no manifest of this program"):
        said("LK-00002", "--run", str(copied))


def test_a_stump_is_not_asked_to_be_sounded(larkmere: LarkmereRun) -> None:
    (row,) = larkmere.sql("select tree_id from ingest.trees where status = 'stump' limit 1")
    out = said(str(row["tree_id"]), "--run", str(larkmere.first))
    assert "not rated" in out
    assert "Sounding" not in out


def test_lines_are_broken_to_the_terminal(
    larkmere: LarkmereRun, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = json.loads(said(_urgent(larkmere), "--run", str(larkmere.first), "--json"))
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    lines = list(explained.lines(told, english(), asked="x", of=1))
    shown = [line.replace("\x1b[1m", "").replace("\x1b[0m", "") for line in lines]
    assert max(map(len, shown)) <= 60
    assert lines[0].startswith("\x1b[1m")


def test_the_page_of_any_tree_comes_on_request(copied: Path, tmp_path: Path) -> None:
    _ids(copied, {0: "B 1/x", 1: "B2", 2: "B2~2"})
    file = tmp_path / "new" / "one.html"
    assert said("B 1/x", "--run", str(copied), "--page", str(file)).strip() == str(file)
    text = file.read_text(encoding="utf-8")
    assert "Tree B 1/x" in text
    assert "forester_map.html" not in text, "the file may lie anywhere"
    with pytest.raises(InputError, match="2 trees of this id"):
        said("B2", "--run", str(copied), "--page", str(tmp_path / "two.html"))
    assert not (tmp_path / "two.html").exists()


def test_a_run_is_explained_in_the_language_that_it_kept(copied: Path) -> None:
    settings = copied / "inputs" / "settings.toml"
    text = settings.read_text(encoding="utf-8")
    told = text.replace("[output]\n", '[output]\nsentences = "words/eo.toml"\n')
    assert told != text
    settings.write_text(told, encoding="utf-8")
    own = '[says]\nseen_sighting.by_id = "la trovo nomas tiun arbon"\n'
    (copied / "inputs" / "sentences.toml").write_text(own, encoding="utf-8")
    facts = pq.read_table(copied / "tables" / "scoring" / "facts.parquet").to_pylist()
    wanted = next(row["fact_set"] for row in facts if '"match": "by_id"' in row["values"])
    ratings = pq.read_table(copied / "tables" / "scoring" / "tree_ratings.parquet")
    key = ratings["fact_set"].to_pylist().index(wanted)
    trees = pq.read_table(copied / "tables" / "ingest" / "trees.parquet")
    out = said(str(trees["tree_id"][key]), "--run", str(copied))
    assert "la trovo nomas tiun arbon" in out
    assert "the sighting names this tree" not in out
    (copied / "inputs" / "sentences.toml").write_text('[says]\nx = "y"\n', encoding="utf-8")
    with pytest.raises(SettingsError, match="no such sentence"):
        said(str(trees["tree_id"][key]), "--run", str(copied))
