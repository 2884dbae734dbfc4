"""Saint-Germain-en-Laye from its file to ratings and pages, read beside the town's own classes.

The classes C1 (healthy) to C5 (to be felled) are those of the town's surveyors. They are no input
of the run, so that they can stand against its ratings.
"""

import csv
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import spearmanr

from pipeline.tables.store import RunStore
from tests.conftest import ROOT

FILE = "data/inventory/saint-germain-en-laye/sgl-arbres-urbains-wgs84-partA.csv"

Rows = list[dict[str, Any]]


@pytest.fixture(scope="module")
def run(shared_file: Callable[[str], Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    shared_file(FILE)
    out = tmp_path_factory.mktemp("saint_germain") / "run"
    answer = subprocess.run(
        [sys.executable, "-W", "error", "-m", "pipeline", "run", "config/saint_germain.toml",
         "--data", str(shared_file("data")), "--out", str(out)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert answer.returncode == 0, answer.stderr
    return out


@pytest.fixture(scope="module")
def rated(run: Path, shared_file: Callable[[str], Path]) -> Rows:
    """Ratings with the class that the town gave."""
    with shared_file(FILE).open(encoding="utf-8", newline="") as file:
        classes = {
            row["ID_ARBRE"]: row["classification_diagnostic"] for row in csv.DictReader(file)
        }
    found: Rows = RunStore(run).query(
        "select tree_id, r.* from scoring.tree_ratings r join ingest.trees using (tree_key)"
    ).to_pylist()  # fmt: skip
    return [{**row, "class": int(classes[row["tree_id"]][1])} for row in found]


def test_the_towns_classes_and_our_ratings_go_the_same_way(rated: Rows) -> None:
    """The town looked at lesions, we at what may fail: agreement in rank, not in words."""
    failure = np.array([row["failure"] or 0 for row in rated])
    rating = np.array([row["rating"] for row in rated])
    classes = np.array([row["class"] for row in rated])
    assert spearmanr(classes, failure).statistic > 0.5
    assert spearmanr(classes, rating).statistic > 0.5
    worst = {number: rating[classes == number].mean() for number in (1, 2, 3, 4)}
    assert worst[1] < worst[2] < worst[3] < worst[4]


def test_what_a_column_says_is_the_surveyors_word_and_no_hearsay(run: Path) -> None:
    """A crack and a hollow on one part are worse than either; the pocket guide acts at once."""
    found = RunStore(run).query(
        "select distinct tree_id from scoring.failure join ingest.trees using (tree_key) "
        "where rule_id = 'crack_other_defect' and failure >= 3"
    ).to_pylist()  # fmt: skip
    assert {row["tree_id"] for row in found} == {"78551-Arbres-445", "78551-Arbres-450"}


def test_the_words_of_the_column_are_shown(run: Path) -> None:
    told = RunStore(run).query(
        "select values from scoring.facts where statement = 'seen_column'"
    ).to_pylist()  # fmt: skip
    assert told
    said = [json.loads(row["values"]) for row in told]
    assert any(one["quoted"] == "fissure_tronc: TFO" for one in said)
    assert all(one["seen_on"].startswith("2020-") for one in said)


def test_every_tree_with_fungus_is_asked_about(rated: Rows, run: Path) -> None:
    trees = RunStore(run).query(
        "select distinct tree_id from ingest.sightings join ingest.trees using (tree_key)"
    ).to_pylist()  # fmt: skip
    fungal = {row["tree_id"] for row in trees}
    assert len(fungal) == 11
    known = {row["tree_id"]: row for row in rated}
    for tree in fungal:
        assert known[tree]["evidence"]
        assert known[tree]["rating"] >= 1
