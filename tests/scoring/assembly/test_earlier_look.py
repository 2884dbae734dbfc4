"""A look that found nothing a year ago takes nothing from a fungus that fruits today."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.tables.store import RunStore
from tests.scoring.small_world import Rows, rows, score, street

STREET = {"zone_id": "s", "kind": "street", "geometry": street(0.0), "name": "Mill Street",
          "vehicles_per_day": 10_000.0, "speed_km_h": 50.0}  # fmt: skip
SHELVES = {
    "tree_key": 0, "name_how": "missing", "name_by": "unknown", "position": "butt",
    "form": "shelf", "upper_colour": "orange", "under_colour": "yellow",
    "under_surface": "pores", "flesh": "fleshy", "arrangement": "overlapping",
    "seen_on": date(2026, 9, 20),
}  # fmt: skip


def _town(**more: Rows) -> dict[str, Rows]:
    trees = [{"tree_id": "t0", "x_m": 20.0, "y_m": 3.0, "genus": "Quercus", "species": "Quercus"}]
    return {"trees": trees, "zones": [STREET], "sightings": [SHELVES], **more}


def test_an_earlier_look_without_a_finding_lowers_nothing(tmp_path: Path) -> None:
    # Common practice, no source: many fungi do not fruit every year.
    day = date(2025, 9, 20)
    looked = _town(
        inspections=[{"tree_key": 0, "inspected_on": day}],
        defects=[{"tree_key": 0, "defect": "none_seen", "seen_on": day}],
    )
    alone, after = score(tmp_path / "alone", _town()), score(tmp_path / "after", looked)

    def posterior(store: RunStore) -> list[tuple[str, float]]:
        return [(row["taxon_id"], row["probability"]) for row in rows(store, "taxon_posteriors")]

    assert posterior(after) == posterior(alone) != []
    by_fungus = [
        [(row["part"], row["failure"], row["points"]) for row in rows(store, "failure")
         if row["witness"] == "fungus"]
        for store in (alone, after)
    ]  # fmt: skip
    assert by_fungus[0] == by_fungus[1] != []
    rating, again = (rows(store, "tree_ratings")[0] for store in (alone, after))
    assert again["rating"] == rating["rating"] > 1
    assert again["harm_per_year"] == pytest.approx(rating["harm_per_year"])
