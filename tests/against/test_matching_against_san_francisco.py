"""Fifty-two real sightings of one conk and 195,297 real trees: none can be attached.

The distances come from the ellipsoid (pyproj.Geod), not from our grid. Sources: Street Tree List of
San Francisco (ODC PDDL); observations of Laetiporus gilbertsonii, each under its own open licence.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pc_csv
import pytest
from pyproj import Geod

from pipeline.geo.crs import transform
from pipeline.ingest.matching import Candidates, candidates
from pipeline.published.table import Library
from pipeline.scoring.identification.evidence import Evidence
from pipeline.scoring.identification.trees import CandidateTrees, HostTold, batches, best_trees
from pipeline.scoring.parameters.identification import OTHER_HOST, identification_parameters
from pipeline.scoring.parameters.which_tree import which_tree_parameters
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


@dataclass(frozen=True)
class Found:
    """Sightings, trees in degrees with the first word of their species, and the candidates."""

    accuracy: Floats
    lon: Floats
    lat: Floats
    tree_lon: Floats
    tree_lat: Floats
    genus: list[str]
    matched: Candidates


@pytest.fixture(scope="module")
def found(shared_file: Callable[[str], Path]) -> Found:
    """All candidates by place; read once."""
    files = [
        shared_file(f"data/inventory/san-francisco/Street_Tree_List_2026-05-21_part{part}.csv.gz")
        for part in range(1, 5)
    ]
    parts = [columns(file, "Longitude", "Latitude") for file in files]
    tree_lon, tree_lat = (np.concatenate(one) for one in zip(*parts, strict=True))
    genus = pc.list_element(
        pc.split_pattern(
            pc.fill_null(pa.chunked_array([species(file) for file in files]), ""), " "
        ),
        0,
    )
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
    matched = candidates(
        seen, accuracy, trees, cap_m=60, inventory_error_m=3, unlisted_per_listed=1
    )
    return Found(
        accuracy, lon, lat, tree_lon, tree_lat, genus.filter(pa.array(here)).to_pylist(), matched
    )


def species(path: Path) -> pa.Array:
    """The column of species of one part."""
    options = pc_csv.ConvertOptions(include_columns=["qSpecies"])
    parse = pc_csv.ParseOptions(newlines_in_values=True)
    table = pc_csv.read_csv(path, parse_options=parse, convert_options=options)
    return table["qSpecies"].combine_chunks()


def test_none_is_attached_and_the_two_honest_cases_are_candidates(found: Found) -> None:
    matched, tree_lon, tree_lat = found.matched, found.tree_lon, found.tree_lat
    assert matched.best_weight.max() < 0.9
    honest = np.flatnonzero((found.accuracy == 10) & (matched.best_tree >= 0))
    nearest = np.full(len(found.lon), np.inf)
    listed = matched.tree >= 0
    np.minimum.at(nearest, matched.sighting[listed], matched.distance_m[listed])
    # Measured on the ellipsoid: 15.1 m and 16.6 m from the nearest listed tree.
    assert sorted(nearest[honest])[:2] == pytest.approx([15.1, 16.6], abs=0.1)
    for one in honest:
        _, _, apart = GEOD.inv(
            np.full(len(tree_lon), found.lon[one]), np.full(len(tree_lat), found.lat[one]),
            tree_lon, tree_lat,
        )  # fmt: skip
        assert nearest[one] == pytest.approx(apart.min(), abs=0.05)


def test_with_the_fungus_and_its_hosts_still_none_is_attached(found: Found) -> None:
    """The conk lives on oak and eucalypt: its hosts move the weights, and attach none."""
    library = Library()
    ident = identification_parameters(library)
    which = which_tree_parameters(library, attach_at=0.9, cap_m=60, inventory_error_m=3)
    key, count = ident.key, len(found.lon)
    at = {name: place for place, name in enumerate(ident.genera)}
    of_tree = np.array(
        [at.get(g, at[OTHER_HOST]) if g[:1].isupper() and "(" not in g else -1 for g in found.genus]
    )
    matched = found.matched
    listed = matched.tree >= 0
    rows = CandidateTrees(
        sighting=matched.sighting,
        tree=matched.tree,
        weight=matched.weight,
        named=np.zeros(len(listed), np.bool_),
        host=np.where(listed, of_tree[matched.tree], -1),
        agrees=np.zeros(len(listed), np.bool_),
    )
    evidence = Evidence(
        seen=np.zeros((count, key.vocabulary.size), np.bool_),
        region=np.full(count, key.regions.index("north_america")),
        name=np.zeros(count, np.int64),
        meanings=np.eye(len(key.taxon_id))[[key.taxon_id.index("laetiporus_gilbertsonii")]],
        name_by=np.full(count, key.names.name_by.index("public")),
        certainty=np.full(count, np.nan),
    )
    untold = HostTold(np.full(count, -1), np.ones(count, np.bool_))
    ((_, _, _, probability),) = batches(
        evidence, untold, rows, key, which.errors, trees=len(found.tree_lon)
    )
    tree, best = best_trees(rows, probability, sightings=count)
    assert best.max() < which.attach_at
    sums = np.bincount(rows.sighting, weights=probability, minlength=count)
    np.testing.assert_allclose(sums[matched.best_tree >= 0], 1.0, atol=1e-12)
    honest = np.flatnonzero((found.accuracy == 10) & (matched.best_tree >= 0))
    assert (best[honest] > 0).all()
    # Where the hosts of the conk stand among other trees they gain, and the others lose.
    eucalypt = np.isin(np.array([found.genus[t] for t in tree]), ["Eucalyptus", "Quercus"])
    gains = best[eucalypt & (tree >= 0)] >= matched.best_weight[eucalypt & (tree >= 0)] - 1e-12
    assert gains.all()
    assert gains.size > 0
