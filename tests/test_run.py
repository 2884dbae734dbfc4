"""A run folder appears whole or not at all, never changes, and belongs to one run at a time."""

import json
import os
import signal
import subprocess
import sys
import textwrap
import time
from datetime import date
from pathlib import Path

import pyarrow as pa
import pytest
from filelock import FileLock

from pipeline import run as runs
from pipeline.errors import RunError
from pipeline.progress import Teller
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.settings.model import RunSettings
from pipeline.tables.catalogue import TABLES
from pipeline.tables.schema import Kind, TableSchema
from pipeline.tables.store import RunStore, empty

CITY = """
data = "."
[city]
name = "Larkmere"
[[inputs.trees]]
files = ["trees.csv"]
"""


@pytest.fixture
def settings(tmp_path: Path) -> RunSettings:
    """Settings of a town whose stages are replaced by the tests."""
    path = tmp_path / "city.toml"
    path.write_text(CITY, encoding="utf-8")
    (tmp_path / "trees.csv").write_text("tree_id\n1\n", encoding="utf-8")
    return load(path, as_of=date(2026, 11, 15))


def one_row(table: TableSchema) -> pa.Table:
    """A row that the declaration allows: nothing where it may, else the least or first value."""
    values: dict[str, object] = {}
    for column in table.columns:
        if column.nullable:
            values[column.name] = None
        elif column.kind in (Kind.LABEL, Kind.TEXT):
            values[column.name] = column.allowed[0] if column.allowed else ""
        elif column.kind is Kind.BOOL:
            values[column.name] = False
        else:
            values[column.name] = column.low or 0
    return pa.Table.from_pylist([values], schema=table.arrow_schema)


@pytest.fixture
def small_stages(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Stages that write empty tables, but for one tree, and note that they ran."""
    ran: list[str] = []

    def stage(name: str) -> runs.Stage:
        def go(settings: RunSettings, store: RunStore, library: Library, teller: Teller) -> None:
            del settings, library
            teller.step(name)
            ran.append(name)
            if name == "ingest":
                store.epsg = 32618
            for table in TABLES.values():
                if table.stage == name:
                    known = table.full_name in ("ingest.trees", "ingest.sources")
                    store.write(table, one_row(table) if known else empty(table))

        return go

    monkeypatch.setattr(runs, "ORDER", {name: stage(name) for name in runs.ORDER})
    return ran


def test_a_run_appears_whole(
    settings: RunSettings, small_stages: list[str], tmp_path: Path
) -> None:
    done = runs.execute(settings, out=tmp_path / "run")
    assert small_stages == ["ingest", "scoring", "planning", "render"]
    manifest = json.loads((done.folder / "manifest.json").read_text(encoding="utf-8"))
    assert manifest["as_of"] == "2026-11-15"
    assert manifest["first_quarter"] == "2027Q1"
    assert (done.folder / "inputs" / "trees" / "trees.csv").read_bytes() == b"tree_id\n1\n"
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".")) == []


def test_a_folder_that_exists_is_never_touched(
    settings: RunSettings, small_stages: list[str], tmp_path: Path
) -> None:
    out = tmp_path / "run"
    out.mkdir()
    (out / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(RunError, match="something there already"):
        runs.execute(settings, out=out)
    assert small_stages == []
    assert [p.name for p in out.iterdir()] == ["mine.txt"]


def test_two_runs_into_one_folder(
    settings: RunSettings, small_stages: list[str], tmp_path: Path
) -> None:
    with FileLock(tmp_path / ".run.lock"), pytest.raises(RunError, match="another run"):
        runs.execute(settings, out=tmp_path / "run")
    assert small_stages == []


def test_a_stage_that_fails_leaves_nothing(
    settings: RunSettings, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(*_: object) -> None:
        raise RunError(where="here", found="a fault", expected="none", remedy="Mend it.")

    monkeypatch.setattr(runs, "ORDER", {"ingest": broken})
    with pytest.raises(RunError, match="a fault"):
        runs.execute(settings, out=tmp_path / "run", stages=("ingest",))
    assert not (tmp_path / "run").exists()
    assert not (tmp_path / ".run.partial").exists()


@pytest.mark.parametrize("place", ["a file", "/proc"])
def test_a_place_that_cannot_be_written(
    settings: RunSettings, small_stages: list[str], tmp_path: Path, place: str
) -> None:
    """Holds for the superuser too: a file is no folder, and /proc takes none."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    parent = tmp_path / "file" if place == "a file" else Path("/proc")
    with pytest.raises(RunError, match="cannot be written"):
        runs.execute(settings, out=parent / "run")
    assert small_stages == []


def test_a_verb_on_an_old_run_shares_what_it_does_not_make(
    settings: RunSettings, small_stages: list[str], tmp_path: Path
) -> None:
    old = runs.execute(settings, out=tmp_path / "old").folder
    small_stages.clear()
    before = {p: p.stat().st_mtime_ns for p in old.rglob("*") if p.is_file()}
    new = runs.execute(settings, stages=("planning",), out=tmp_path / "new", base=old).folder
    assert small_stages == ["planning"]
    trees = TABLES["ingest.trees"]
    assert RunStore(new).path(trees).read_bytes() == RunStore(old).path(trees).read_bytes()
    assert {p: p.stat().st_mtime_ns for p in old.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize("base", [None, "nothing"])
def test_a_verb_without_a_usable_old_run(
    settings: RunSettings, small_stages: list[str], tmp_path: Path, base: str | None
) -> None:
    with pytest.raises(RunError, match=r"no run|no finished run"):
        runs.execute(
            settings,
            stages=("planning",),
            out=tmp_path / "new",
            base=tmp_path / base if base else None,
        )
    assert small_stages == []


def test_the_next_free_name_is_taken(
    settings: RunSettings,
    small_stages: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    first = runs.execute(settings, stages=("ingest",)).folder
    second = runs.execute(settings, stages=("ingest",)).folder
    assert [str(first), str(second)] == [
        "outputs/larkmere-2026-11-15",
        "outputs/larkmere-2026-11-15-2",
    ]
    assert small_stages == ["ingest", "ingest"]


@pytest.mark.skipif(sys.platform == "win32", reason="kills by a POSIX signal")
def test_a_killed_process_leaves_no_run_and_does_not_block_the_next(
    settings: RunSettings, small_stages: list[str], tmp_path: Path
) -> None:
    code = textwrap.dedent(
        f"""
        import time
        from datetime import date
        from pathlib import Path
        from pipeline import run as runs
        from pipeline.settings.load import load
        def slow(settings, store, library, teller):
            Path({str(tmp_path / "started")!r}).touch()
            time.sleep(60)
        runs.ORDER = {{"ingest": slow}}
        runs.execute(load(Path({str(settings.settings_path)!r}), as_of=date(2026, 11, 15)),
                     stages=("ingest",), out=Path({str(tmp_path / "run")!r}))
        """
    )
    root = Path(__file__).resolve().parent.parent
    process = subprocess.Popen([sys.executable, "-c", code], cwd=root)
    deadline = time.monotonic() + 30
    while not (tmp_path / "started").exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    assert (tmp_path / ".run.partial").is_dir()
    assert not (tmp_path / "run").exists()
    done = runs.execute(settings, out=tmp_path / "run")
    assert (done.folder / "manifest.json").is_file()
    assert not (tmp_path / ".run.partial").exists()
    assert small_stages == ["ingest", "scoring", "planning", "render"]


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"program": "other"}', "\xff"])
def test_a_manifest_that_is_none_of_ours_is_refused(
    settings: RunSettings, small_stages: list[str], tmp_path: Path, text: str
) -> None:
    old = runs.execute(settings, out=tmp_path / "old").folder
    small_stages.clear()
    (old / "manifest.json").write_bytes(text.encode("latin-1"))
    with pytest.raises(RunError, match="no manifest of this program"):
        runs.execute(settings, stages=("planning",), out=tmp_path / "new", base=old)
    assert small_stages == []
    assert not (tmp_path / "new").exists()
