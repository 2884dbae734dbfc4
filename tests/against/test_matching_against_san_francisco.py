"""Fifty-two real sightings of one conk and 195,297 real trees: none can be attached.

The distances come from the ellipsoid (pyproj.Geod), not from our grid. Sources: Street Tree List of
San Francisco (ODC PDDL); observations of Laetiporus gilbertsonii, each under its own open licence.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pc_csv
import pytest
from pyproj import Geod

from pipeline.geo.crs import transform
from pipeline.ingest.matching import candidates
from pipeline.units import Floats

WEST, SOUTH, EAST, NORTH = -122.52, 37.70, -122.35, 37.84
GEOD = Geod(ellps="WGS84")


def columns(path: Path, *names: str) -> tuple[Floats, ...]:
    """Number columns of a CSV file, NaN where empty."""
    options = pc_csv.ConvertOptions(
        include_columns=list(names), column_types=dict.fromkeys(names, pa.float64())
    )
    parse = pc_csv.ParseOptions(newlines_in_values=True)
    table = pc_csv.read_csv(path, parse_options=parse, convert_options=options)
    return tuple(pc.fill_null(table[name], np.nan).to_numpy() for name in names)


def test_none_is_attached_and_the_two_honest_cases_are_candidates(
    shared_file: Callable[[str], Path],
) -> None:
    parts = [
        columns(
            shared_file(
                f"data/inventory/san-francisco/Street_Tree_List_2026-05-21_part{part}.csv.gz"
            ),
            "Longitude", "Latitude",
        )
        for part in range(1, 5)
    ]  # fmt: skip
    tree_lon, tree_lat = (np.concatenate(one) for one in zip(*parts, strict=True))
    here = np.isfinite(tree_lon) & np.isfinite(tree_lat)
    tree_lon, tree_lat = tree_lon[here], tree_lat[here]
    folder = "data/fungi/laetiporus-observations"
    lon, lat, accuracy = columns(
        shared_file(f"{folder}/L_gilbertsonii_observations.csv"),
        "longitude", "latitude", "positional_accuracy",
    )  # fmt: skip
    inside = (lon > WEST) & (lon < EAST) & (lat > SOUTH) & (lat < NORTH)
    lon, lat, accuracy = lon[inside], lat[inside], accuracy[inside]
    assert len(lon) == 52
    assert np.isnan(accuracy).sum() == 6
    seen = np.column_stack(transform(lon, lat, source=4326, target=32610))
    trees = np.column_stack(transform(tree_lon, tree_lat, source=4326, target=32610))
    found = candidates(seen, accuracy, trees, cap_m=60, inventory_error_m=3, unlisted_per_listed=1)
    assert found.best_weight.max() < 0.9
    honest = np.flatnonzero((accuracy == 10) & (found.best_tree >= 0))
    nearest = np.full(len(lon), np.inf)
    listed = found.tree >= 0
    np.minimum.at(nearest, found.sighting[listed], found.distance_m[listed])
    # Measured on the ellipsoid: 15.1 m and 16.6 m from the nearest listed tree.
    assert sorted(nearest[honest])[:2] == pytest.approx([15.1, 16.6], abs=0.1)
    for one in honest:
        _, _, apart = GEOD.inv(
            np.full(len(tree_lon), lon[one]), np.full(len(tree_lat), lat[one]), tree_lon, tree_lat
        )
        assert nearest[one] == pytest.approx(apart.min(), abs=0.05)
