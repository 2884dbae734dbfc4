"""The 52 real sightings of one conk read from a Darwin Core table: none may be attached.

The same records as in test_matching_against_san_francisco, under the terms of the standard and
through the readers, so that nothing but the reading differs. Sources: Street Tree List of San
Francisco (ODC PDDL); observations of Laetiporus gilbertsonii, each under its own open licence.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from pipeline.geo.crs import transform
from pipeline.ingest.darwin_core import read
from pipeline.ingest.darwin_core_terms import Standard
from pipeline.ingest.matching import candidates
from pipeline.ingest.readers import read_input
from pipeline.published.table import Library
from pipeline.settings.model import InputFile
from tests.against.test_matching_against_san_francisco import EAST, NORTH, SOUTH, WEST, columns


def test_none_is_attached_and_the_two_honest_cases_are_candidates(
    shared_file: Callable[[str], Path],
) -> None:
    name = "data/inventory/san-francisco/Street_Tree_List_2026-05-21_part{}.csv.gz"
    parts = [
        columns(shared_file(name.format(part)), "Longitude", "Latitude") for part in range(1, 5)
    ]
    tree_lon, tree_lat = (np.concatenate(one) for one in zip(*parts, strict=True))
    here = np.isfinite(tree_lon) & np.isfinite(tree_lat)
    path = shared_file("data/fungi/laetiporus-darwin-core/occurrence.txt")
    spec = InputFile(files=(path.name,))
    raw = read_input(spec, kind="sightings", data_dir=path.parent, source_key_start=0)[0]
    mapped = read(raw, Standard.of(Library()))
    lon, lat = mapped.number("longitude"), mapped.number("latitude")
    inside = (lon > WEST) & (lon < EAST) & (lat > SOUTH) & (lat < NORTH)
    inside &= np.array(mapped.text("name").to_pylist()) == "Laetiporus gilbertsonii"
    accuracy = mapped.number("accuracy_m")[inside]
    assert inside.sum() == 52
    seen = np.column_stack(transform(lon[inside], lat[inside], source=4326, target=32610))
    trees = np.column_stack(transform(tree_lon[here], tree_lat[here], source=4326, target=32610))
    found = candidates(seen, accuracy, trees, cap_m=60, inventory_error_m=3, unlisted_per_listed=1)
    assert found.best_weight.max() < 0.9
    nearest = np.full(len(accuracy), np.inf)
    listed = found.tree >= 0
    np.minimum.at(nearest, found.sighting[listed], found.distance_m[listed])
    honest = np.flatnonzero((accuracy == 10) & (found.best_tree >= 0))
    # Measured on the ellipsoid: 15.1 m and 16.6 m from the nearest listed tree.
    assert sorted(nearest[honest])[:2] == pytest.approx([15.1, 16.6], abs=0.1)
    obscured = mapped.marks["place_obscured"][inside]
    assert (found.best_tree[obscured] < 0).all()
