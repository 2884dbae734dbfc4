"""A headless Chromium with the network switched off, and pages of one small run to open in it."""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from pipeline.render.context import RenderContext
from pipeline.render.pages import council_map, forester_map
from tests.render import map_world

DESKTOP, PHONE = (1280, 800), (390, 844)


@dataclass
class Opened:
    """A page that was opened, and everything it asked for or complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def browser(request: pytest.FixtureRequest) -> Iterator[Browser]:
    """Chromium of the system; tests are skipped, saying so, where there is none."""
    found = (
        shutil.which("chromium")
        or shutil.which("chromium-browser")
        or shutil.which("google-chrome")
    )
    if found is None:
        reason = "no Chromium found: pages were not opened"
        if request.config.getoption("--require-browser"):
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as driver:
        started = driver.chromium.launch(
            executable_path=found, args=["--no-sandbox", "--disable-gpu"]
        )
        yield started
        started.close()


@pytest.fixture(scope="session")
def pages_run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A small finished run with its two map pages written."""
    context = map_world.context(tmp_path_factory.mktemp("pages_run"), 240)
    forester_map.write(context)
    council_map.write(context)
    return context


class Opener:
    """Opens pages offline and closes them after the test."""

    def __init__(self, browser: Browser) -> None:
        """Use a browser that runs."""
        self._browser = browser
        self._open: list[Page] = []

    def __call__(
        self, path: Path, *, size: tuple[int, int] = DESKTOP, scripts: bool = True, after: str = ""
    ) -> Opened:
        """Open a file with the network off; waits until the page says that it is ready."""
        context = self._browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            offline=True,
            java_script_enabled=scripts,
            reduced_motion="reduce",
        )
        opened = Opened(context.new_page())
        self._open.append(opened.page)
        opened.page.on("request", lambda asked: opened.requests.append(asked.url))
        opened.page.on(
            "console",
            lambda said: (
                opened.complaints.append(said.text) if said.type in {"error", "warning"} else None
            ),
        )
        opened.page.on("pageerror", lambda fault: opened.complaints.append(str(fault)))
        opened.page.goto(path.as_uri() + after)
        if scripts:
            opened.page.wait_for_selector("html[data-ready=yes]", state="attached")
        return opened

    def close(self) -> None:
        """Close everything that was opened."""
        for page in self._open:
            page.context.close()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Opener]:
    """Opens a file of a run as a person would, with the network off."""
    opener = Opener(browser)
    yield opener
    opener.close()
