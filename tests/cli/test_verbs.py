"""The verbs as a person types them: what they print, where they write, how they exit."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import ROOT, LarkmereRun

CITY = "config/larkmere.toml"


def soundwood(*words: str, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "pipeline", *words],
        cwd=cwd,
        capture_output=True,
        text=True,
        check=False,
    )


def _tables(folder: Path, stage: str) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in (folder / "tables" / stage).glob("*.parquet")}


def test_a_plan_made_again_from_an_old_run_is_the_same_plan(
    larkmere: LarkmereRun, tmp_path: Path
) -> None:
    out = tmp_path / "again"
    done = soundwood("plan", CITY, "--run", str(larkmere.first), "--out", str(out))
    assert done.returncode == 0, done.stderr
    for stage in ("ingest", "scoring", "planning"):
        assert _tables(out, stage) == _tables(larkmere.first, stage)
    assert (out / "forester_map.html").read_bytes() == (
        larkmere.first / "forester_map.html"
    ).read_bytes()


def test_another_quarter_makes_another_plan(larkmere: LarkmereRun, tmp_path: Path) -> None:
    out = tmp_path / "later"
    done = soundwood(
        "plan", CITY, "--run", str(larkmere.first), "--out", str(out), "--quarter", "2027Q2"
    )
    assert done.returncode == 0, done.stderr
    assert _tables(out, "scoring") == _tables(larkmere.first, "scoring")
    assert _tables(out, "planning") != _tables(larkmere.first, "planning")


def test_scoring_made_again_from_an_old_run(larkmere: LarkmereRun, tmp_path: Path) -> None:
    out = tmp_path / "scored"
    done = soundwood("score", CITY, "--run", str(larkmere.first), "--out", str(out))
    assert done.returncode == 0, done.stderr
    assert _tables(out, "scoring") == _tables(larkmere.first, "scoring")


def test_ingest_alone_and_an_existing_folder_is_refused(tmp_path: Path) -> None:
    out = str(tmp_path / "read")
    done = soundwood("ingest", CITY, "--out", out)
    assert done.returncode == 0, done.stderr
    assert "rows in" in done.stdout
    again = soundwood("ingest", CITY, "--out", out)
    assert again.returncode == 1
    assert "runs never change" in again.stderr
    assert again.stderr.count("\n") == 1


def test_fail_on_review_exits_three(tmp_path: Path) -> None:
    done = soundwood("run", CITY, "--out", str(tmp_path / "r"), "--fail-on-review")
    assert done.returncode == 3
    assert "Needs a person now" in done.stdout


def test_check_judges_and_writes_nothing() -> None:
    before = sorted(p.name for p in (ROOT / "outputs").iterdir())
    done = soundwood("check", CITY)
    assert done.returncode == 0, done.stderr
    assert "set aside" in done.stdout
    assert "root plate" in done.stdout or "place_missing" in done.stdout
    assert "Nothing was written." in done.stdout
    assert sorted(p.name for p in (ROOT / "outputs").iterdir()) == before


def test_check_prints_the_canonical_columns() -> None:
    done = soundwood("check", "--columns")
    assert done.returncode == 0
    for name in ("tree_id", "accuracy_m", "shell_cm", "vehicles_per_day", "decided_on"):
        assert name in done.stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        pytest.param(("run", "absent.toml"), "no such file", id="no settings"),
        pytest.param(("run", "config/graz.toml"), "no data folder", id="no data"),
        pytest.param(("plan", CITY), "no run", id="plan without a run"),
        pytest.param(("check",), "no settings file", id="check of nothing"),
        pytest.param(("run", CITY, "--quarter", "spring"), "'spring'", id="no quarter"),
    ],
)
def test_what_is_refused_is_told_in_one_line(words: tuple[str, ...], told: str) -> None:
    done = soundwood(*words)
    assert done.returncode == 1
    assert told in done.stderr
    assert done.stderr.startswith("soundwood: ")
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("keys", "told"),
    [("cap_m = 0\n", "1 fault;"), ("cap_m = 0\nattach_at = 2\n", "2 faults;")],
)
def test_faults_are_counted_as_people_count(tmp_path: Path, keys: str, told: str) -> None:
    path = tmp_path / "town.toml"
    path.write_text(f'[city]\nname = "T"\n[inputs]\n[matching]\n{keys}', encoding="utf-8")
    done = soundwood("run", str(path))
    assert done.returncode == 1
    assert done.stderr.splitlines()[-1] == f"soundwood: {told} nothing was written"


def test_wrong_usage_exits_two() -> None:
    assert soundwood("run").returncode == 2
    assert soundwood("run", CITY, "--as-of", "soon").returncode == 2
