"""Saint-Germain-en-Laye, late 2020: every count of its file, and what 11 trees with fungus become.

Open data of the commune, 468 trees in 21 sites. The counts were taken from the file by its
publisher's legend, apart from this program; where they can be, they are taken again here with the
standard library's reader.
"""

import csv
import math
from collections import Counter
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.ingest import stage
from pipeline.progress import Silent
from pipeline.published.table import Library
from pipeline.settings.load import load
from pipeline.tables.catalogue import TABLES
from pipeline.tables.store import RunStore
from tests.conftest import ROOT

FILE = "data/inventory/saint-germain-en-laye/sgl-arbres-urbains-wgs84-partA.csv"
FUNGUS = {"champignon_collet": "butt", "champignon_tronc": "stem", "champignon_houppier": "branch"}
# What the publisher's legend says of each code that is a defect: part, defect, column, codes.
DEFECTS = [
    ("butt", "girth_wound", "plaie_collet", ["RCPLNS"]),
    ("butt", "cavity", "plaie_collet", ["RCPLNC", "RCPLCF"]),
    ("stem", "cavity", "plaie_tronc", ["TPLNC", "TPLCF"]),
    ("branch", "cavity", "plaie_houppier", ["HPLNC"]),
    ("stem", "crack", "fissure_tronc", ["TFO", "TFF"]),
    ("branch", "crack", "fissure_houppier", ["HFO", "HFF"]),
    ("branch", "dead_branch", "bois_mort_houppier", ["HBMI", "HBMU"]),
    ("branch", "crown_dieback", "bois_mort_houppier", ["HBMU"]),
    ("branch", "weak_union", "ecorce_incluse_houppier", ["Oui"]),
]

Rows = list[dict[str, Any]]


@pytest.fixture(scope="module")
def raw(shared_file: Callable[[str], Path]) -> list[dict[str, str]]:
    with shared_file(FILE).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def store(shared_file: Callable[[str], Path], tmp_path_factory: pytest.TempPathFactory) -> RunStore:
    shared_file(FILE)
    settings = load(ROOT / "config" / "saint_germain.toml", data_dir=shared_file("data"))
    made = RunStore(tmp_path_factory.mktemp("saint_germain"))
    stage.run(settings, made, Library(), Silent())
    return made


def rows(store: RunStore, table: str) -> Rows:
    """Rows of an ingest table."""
    found: Rows = store.read(TABLES[f"ingest.{table}"]).to_pylist()
    return found


def of_columns(store: RunStore, table: str) -> Rows:
    """Evidence from columns, with the tree's id."""
    ids = {row["tree_key"]: row["tree_id"] for row in rows(store, "trees")}
    return [
        {**row, "tree": ids[row["tree_key"]]}
        for row in rows(store, table) if row["origin"] == "column"
    ]  # fmt: skip


def test_every_row_is_a_tree(store: RunStore, raw: list[dict[str, str]]) -> None:
    (source,) = rows(store, "sources")
    assert (source["rows_in"], source["rows_accepted"], source["rows_set_aside"]) == (468, 468, 0)
    assert [row["tree_id"] for row in rows(store, "trees")] == [row["ID_ARBRE"] for row in raw]
    assert len({row["street"] for row in rows(store, "trees")}) == 21
    classes = Counter(row["classification_diagnostic"] for row in raw)
    assert (classes["C3"], classes["C4"], classes["C5"]) == (36, 9, 3)


def test_the_diameters_are_twice_too_large_and_caught_by_the_girths(
    store: RunStore, raw: list[dict[str, str]]
) -> None:
    girth = [float(row["circonference (en cm)"]) for row in raw]
    told = [float(row["diametre"]) for row in raw]
    twice = [
        math.isclose(d, 2 * g / math.pi, rel_tol=1e-9) for d, g in zip(told, girth, strict=True)
    ]
    assert twice.count(True) == 468
    trees = rows(store, "trees")
    assert [row["dbh_cm"] for row in trees] == pytest.approx([g / math.pi for g in girth])
    assert {row["dbh_how"] for row in trees} == {"girth"}
    note = rows(store, "sources")[0]["note"]
    assert "'diametre' is twice the diameter in 468 of 468 rows" in note


def test_heights_are_centimetres_and_fit_their_classes(
    store: RunStore, raw: list[dict[str, str]]
) -> None:
    """The file's own height classes of 5 m, and its girth classes of half a metre, agree."""
    trees = rows(store, "trees")
    odd = [
        row["tree_id"] for row, told in zip(trees, raw, strict=True)
        if not _within(row["height_m"], int(told["classe_hauteur"][1:]), 5.0)
    ]  # fmt: skip
    assert odd == []
    odd = [
        row["tree_id"] for row, told in zip(trees, raw, strict=True)
        if not _within(row["dbh_cm"] * math.pi, int(told["classe_circonference"][1:]), 50.0)
    ]  # fmt: skip
    assert odd == []


def _within(value: float, number: int, width: float) -> bool:
    return (number - 1) * width - 1e-6 <= value <= number * width + 1e-6


def test_458_trees_share_a_point_and_65_points_are_different(
    store: RunStore, raw: list[dict[str, str]]
) -> None:
    points = Counter((row["Long"], row["Lat"]) for row in raw)
    assert len(points) == 65
    assert sum(count for count in points.values() if count > 1) == 458
    trees = rows(store, "trees")
    assert sum(row["shares_place"] > 1 for row in trees) == 458
    assert len({(row["x_m"], row["y_m"]) for row in trees}) == 65
    assert all(row["place_doubtful"] for row in trees)
    note = rows(store, "sources")[0]["note"]
    assert "458 of 468 trees share a point with another, 65 different points" in note


def test_eleven_trees_have_fungus_on_17_parts(store: RunStore, raw: list[dict[str, str]]) -> None:
    told = {
        (row["ID_ARBRE"], part)
        for row in raw for column, part in FUNGUS.items() if row[column] == "Oui"
    }  # fmt: skip
    assert len({tree for tree, _ in told}) == 11
    found = of_columns(store, "sightings")
    assert {(row["tree"], row["position"]) for row in found} == told
    assert len(found) == len(told) == 17
    # Phellinus pomaceus is the phellin of fruit trees; a ganoderme is a Ganoderma
    by_name = Counter(row["taxon_id"] for row in found)
    assert by_name == {"phellinus_pomaceus": 11, "ganoderma": 2, None: 4}
    assert all("Oui" in row["quoted"] for row in found)
    assert {row["seen_on"].year for row in found} == {2020}


@pytest.mark.parametrize(("part", "defect", "column", "codes"), DEFECTS)
def test_each_code_that_means_a_defect_is_one(
    store: RunStore, raw: list[dict[str, str]], part: str, defect: str, column: str,
    codes: list[str],
) -> None:  # fmt: skip
    told = {row["ID_ARBRE"] for row in raw if row[column].strip() in codes}
    found = [
        row["tree"] for row in of_columns(store, "defects")
        if (row["part"], row["defect"]) == (part, defect)
    ]  # fmt: skip
    assert told
    assert sorted(found) == sorted(told)


def test_codes_in_no_legend_are_told_and_not_read(store: RunStore) -> None:
    strange = [
        (row["column"], row["value"]) for row in rows(store, "findings")
        if row["code"] == "evidence_word_unknown"
    ]  # fmt: skip
    assert sorted(strange) == [("plaie_collet", "AU"), ("plaie_tronc", "ZZ")]


def test_the_citys_classes_and_orders_are_not_read(store: RunStore) -> None:
    """They are an oracle for our ratings and must not be their input."""
    text = (ROOT / "config" / "columns" / "saint_germain_trees.toml").read_text(encoding="utf-8")
    read = "\n".join(line for line in text.splitlines() if not line.startswith("#"))
    for column in ("classification", "prescription", "esperance", "delai", "observation_travaux"):
        assert column not in read
    assert not rows(store, "decisions")


def test_the_survey_is_the_last_inspection(store: RunStore, raw: list[dict[str, str]]) -> None:
    told = [date(*map(int, row["date_diagnostic"].split("/"))) for row in raw]
    assert [row["last_inspected_on"] for row in rows(store, "trees")] == told
    assert {day.year for day in told} == {2020}


def test_remarks_by_part_are_read_in_a_run_and_count_beside_the_codes_once(store: RunStore) -> None:
    # Read by hand, tests/check_values/notes: kind and part of what the three remarks of a tree say.
    labels = ROOT / "tests" / "check_values" / "notes" / "saint_germain.csv"
    with labels.open(encoding="utf-8", newline="") as file:
        told = {
            (row["source_row"], {"wound": "girth_wound"}.get(row["kind"], row["kind"]), row["part"])
            for row in csv.DictReader(file)
            if row["source_column"] in {f"observation_{p}" for p in ("collet", "tronc", "houppier")}
            and row["sure"] == "yes" and row["kind"] not in {"other", "none", "failed", "sighting"}
        }  # fmt: skip
    ids = {row["tree_key"]: row["tree_id"] for row in rows(store, "trees")}
    read = {
        (ids[row["tree_key"]], row["word"], row["part"])
        for row in rows(store, "notes")
        if row["used"] == "defect"
    }
    assert len(told) > 50
    assert told <= read
    # A fungus, a hollow or a crack that a code of the same part told is not told again.
    assert {row["origin"] for row in rows(store, "sightings")} == {"column"}
    keys = Counter((row["tree_key"], row["part"], row["defect"]) for row in rows(store, "defects"))
    assert max(keys.values()) == 1
