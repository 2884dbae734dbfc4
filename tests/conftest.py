"""What all tests share: the small worlds, and the data that a newcomer's clone has not."""

from collections.abc import Callable
from pathlib import Path

import pytest

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
