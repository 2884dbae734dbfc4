"""What all tests share: the small worlds, and the data that a newcomer's clone has not."""

import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from filelock import FileLock
from hypothesis import settings as hypothesis_settings

from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore

# The same cases on every run, so that main is green or red by its own doing; look for new ones with
# --hypothesis-profile=explore and keep what it finds as an @example.
hypothesis_settings.register_profile("repeatable", derandomize=True, deadline=None)
hypothesis_settings.register_profile("explore", max_examples=1000, deadline=None)
hypothesis_settings.load_profile("repeatable")

ROOT = Path(__file__).resolve().parent.parent
SHARED = ROOT.parent / "shared"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let a run that must see everything refuse to skip."""
    parser.addoption(
        "--require-shared",
        action="store_true",
        help="fail, instead of skipping, where the open data beside the project is absent",
    )
    parser.addoption(
        "--require-browser",
        action="store_true",
        help="fail, instead of skipping, where no Chromium is found",
    )


@pytest.fixture(scope="session")
def shared_file(request: pytest.FixtureRequest) -> Callable[[str], Path]:
    """A file of the open data beside the project; the test is skipped where it is absent."""

    def find(relative: str) -> Path:
        path = SHARED / relative
        if not path.exists():
            reason = f"open data not here: {relative}"
            if request.config.getoption("--require-shared"):
                pytest.fail(reason)
            pytest.skip(reason)
        return path

    return find


@dataclass(frozen=True)
class LarkmereRun:
    """The sample town, run twice with the same settings."""

    first: Path
    second: Path
    said: str

    def table(self, name: str) -> list[dict[str, Any]]:
        """Rows of a table of the first run."""
        rows: list[dict[str, Any]] = RunStore(self.first).read(TABLES[name]).to_pylist()
        return rows

    def sql(self, query: str) -> list[dict[str, Any]]:
        """Answer of a query over the tables of the first run."""
        rows: list[dict[str, Any]] = RunStore(self.first).query(query).to_pylist()
        return rows


@pytest.fixture(scope="session")
def larkmere(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> LarkmereRun:
    """Both runs are made once, whichever worker of the tests asks first."""
    base = tmp_path_factory.getbasetemp()
    folder = (base if worker_id == "master" else base.parent) / "larkmere"
    with FileLock(f"{folder}.lock"):
        if not (folder / "said.txt").is_file():
            said = ""
            for name in ("first", "second"):
                done = subprocess.run(
                    [sys.executable, "-W", "error", "-m", "pipeline", "run", "config/larkmere.toml",
                     "--out", str(folder / name)],
                    cwd=ROOT, capture_output=True, text=True, check=False,
                )  # fmt: skip
                assert done.returncode == 0, done.stderr
                assert done.stderr == "", "nothing but silence off a terminal"
                said = done.stdout
            (folder / "said.txt").write_text(said, encoding="utf-8")
    said = (folder / "said.txt").read_text(encoding="utf-8")
    return LarkmereRun(folder / "first", folder / "second", said)
