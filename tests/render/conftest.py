"""One small finished run for all tests of pages."""

import pytest

from pipeline.render.context import RenderContext
from tests.render import map_world


@pytest.fixture(scope="session")
def small_run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """About 240 trees of the invented town, with everything that a page must show."""
    return map_world.context(tmp_path_factory.mktemp("small_run"), 240)
