"""The sketch of a day: everything in the frame, numbers readable, small and repeatable."""

import re

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from pipeline.render.context import RenderContext
from pipeline.render.sketch import (
    LEAST_HEIGHT,
    MOST_HEIGHT,
    WIDTH,
    Streets,
    frame_around,
    numbered,
    path_of,
    sketch,
)
from tests.render import sheet_world

_PLACES = st.lists(
    st.tuples(st.floats(0, 30_000), st.floats(0, 30_000)), min_size=1, max_size=30
)  # fmt: skip


@given(_PLACES)
def test_every_place_lies_in_the_frame(places: list[tuple[float, float]]) -> None:
    at = np.array(places)
    frame = frame_around(at)
    drawn = frame.to_drawing(at)
    assert LEAST_HEIGHT <= frame.height <= MOST_HEIGHT
    assert (drawn >= 0).all()
    assert (drawn[:, 0] <= WIDTH).all()
    assert (drawn[:, 1] <= frame.height).all()


@given(_PLACES)
def test_every_stop_is_numbered_once(places: list[tuple[float, float]]) -> None:
    at = np.array(places)
    told: list[int] = []
    for text, _, _ in numbered(frame_around(at).to_drawing(at)):
        for piece in text.split(","):
            first, _, last = piece.partition("\N{EN DASH}")
            told += range(int(first), int(last or first) + 1)
    assert sorted(told) == list(range(1, len(places) + 1))


def test_north_is_up_and_east_is_right() -> None:
    at = np.array([[0.0, 0.0], [1_000.0, 0.0], [0.0, 1_000.0]])
    south_west, east, north = frame_around(at).to_drawing(at)
    assert east[0] > south_west[0]
    assert north[1] < south_west[1]


def test_a_path_holds_the_corners_of_its_lines() -> None:
    frame = frame_around(np.array([[0.0, 0.0], [1_000.0, 500.0]]))
    line = shapely.LineString([(0, 0), (500, 0), (500, 500)])
    start, *steps = re.findall(r"([Ml])(-?\d+) (-?\d+)", path_of(np.array([line]), frame))
    assert start[0] == "M"
    walked = np.cumsum([[int(x), int(y)] for _, x, y in (start, *steps)], axis=0)
    corners = frame.to_drawing(shapely.get_coordinates(line))
    assert np.abs(walked - corners).max() <= 1


def test_no_lines_no_path() -> None:
    frame = frame_around(np.array([[0.0, 0.0]]))
    assert path_of(np.array([], dtype=object), frame) == ""


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RenderContext:
    """A run with streets."""
    return sheet_world.context(tmp_path_factory.mktemp("run"))


def test_the_drawing_is_small_repeatable_and_escaped(run: RenderContext) -> None:
    route = np.array([shapely.LineString([(585_000, 4_720_000), (585_330, 4_720_220)])])
    stops = np.array([[585_000.0, 4_720_000.0], [585_330.0, 4_720_220.0]])
    drawn = [str(sketch(Streets(run), route, stops, None, ["Alder Street"])) for _ in range(2)]
    assert drawn[0] == drawn[1]
    assert len(drawn[0]) < 6_000
    assert "<script" not in drawn[0]
    assert "Alder Street" in drawn[0]
    assert 'class="dp"' not in drawn[0]  # no depot was given


def test_of_too_many_streets_those_by_the_route_are_kept(
    run: RenderContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = run.table("ingest.streets")
    shapes = shapely.from_wkb(np.asarray(table["geometry"].to_pylist(), dtype=object))
    # A route along one minor street.
    minor = table["street_class"].cast("string").to_numpy(zero_copy_only=False) == "residential"
    chosen = int(np.flatnonzero(minor)[0])
    route = shapes[chosen : chosen + 1]
    stops = shapely.get_coordinates(route)
    frame = frame_around(shapely.get_coordinates(shapes))
    whole = str(Streets(run).drawn(frame, route, []))
    monkeypatch.setattr("pipeline.render.sketch._MOST_STREETS", int((~minor).sum()) + 1)
    cut = str(Streets(run).drawn(frame, route, []))
    assert len(cut) < len(whole)
    minor_path = re.findall(r'class="st" d="([^"]*)"', cut)[0]
    assert minor_path == path_of(
        shapely.simplify(route, 1 / frame.per_metre, preserve_topology=False), frame
    )
    assert stops.shape[0] > 1


def test_a_town_without_streets_still_has_its_stops(run: RenderContext) -> None:
    bare = RenderContext(
        run.settings, type(run.store)(run.out / "bare"), run.library, run.out, run.sentence
    )
    route = np.array([shapely.LineString([(0, 0), (400, 400)])])
    drawn = str(sketch(Streets(bare), route, np.array([[0.0, 0.0], [400.0, 400.0]]),
                       np.array([[200.0, 0.0]]), []))  # fmt: skip
    assert drawn.count('class="no"') == 2
    assert 'class="dp"' in drawn
