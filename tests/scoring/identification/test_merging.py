"""Reports of one body: against pairs labelled by hand, and laws that any answer must keep."""

import csv
import math
from collections.abc import Mapping
from datetime import date
from functools import cache

import numpy as np
import pytest

from pipeline.ingest.matching import candidates as by_place
from pipeline.ingest.matching import sigma_m
from pipeline.published.table import Library
from pipeline.scoring.identification.evidence import Evidence
from pipeline.scoring.identification.merging import Reports, leaders, one_body, tree_shares
from pipeline.scoring.identification.trees import CandidateTrees, HostTold, batches, mixed_taxa
from pipeline.scoring.parameters.identification import (
    IdentificationParameters,
    identification_parameters,
)
from pipeline.scoring.parameters.which_tree import WhichTreeParameters, which_tree_parameters
from pipeline.tables import inputs
from pipeline.units import Flags
from tests.helpers import CHECK_VALUES

CAP_M, INVENTORY_M = 60.0, 3.0
STREET = np.column_stack([np.arange(9) * 12.0, np.zeros(9)])
PLACE = ("xy", "sigma_m")


def pairs() -> list[dict[str, str]]:
    with (CHECK_VALUES / "merging.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@cache
def parameters() -> tuple[IdentificationParameters, WhichTreeParameters, dict[str, list[bool]]]:
    library = Library()
    parts = {
        row["position"]: [row[part] == "1" for part in inputs.PARTS]
        for row in library.table("position_parts").rows
    }
    which = which_tree_parameters(
        library, attach_at=0.9, cap_m=CAP_M, inventory_error_m=INVENTORY_M
    )
    return identification_parameters(library), which, parts


def number(text: str) -> float:
    return float(text) if text else math.nan


def reports_of(rows: list[Mapping[str, str]]) -> tuple[Reports, Flags, CandidateTrees]:
    """Reports about the street of oaks, as the program takes them; and which name their tree."""
    ident, which, parts = parameters()
    key, count = ident.key, len(rows)
    oak = ident.genera.index("Quercus")
    xy = np.array([[number(r["x_m"]), number(r["y_m"])] for r in rows])
    accuracy = np.array([number(r["accuracy_m"]) for r in rows])
    found = by_place(xy, accuracy, STREET, cap_m=CAP_M, inventory_error_m=INVENTORY_M,
                     unlisted_per_listed=1.0)  # fmt: skip
    told = np.array([int(r["tree"][1:]) if r["tree"] else -1 for r in rows])
    rows_of = {(int(s), int(t)): float(w) for s, t, w in
               zip(found.sighting, found.tree, found.weight, strict=True)}  # fmt: skip
    for own in np.flatnonzero(told >= 0):
        rows_of.setdefault((int(own), -1), 0.0)
        rows_of.setdefault((int(own), int(told[own])), 0.0)
    flat = sorted(rows_of)
    sighting = np.array([s for s, _ in flat], np.int64).reshape(-1)
    tree = np.array([t for _, t in flat], np.int64).reshape(-1)
    candidates = CandidateTrees(
        sighting=sighting,
        tree=tree,
        weight=np.array([rows_of[pair] for pair in flat]),
        named=(told[sighting] == tree) & (tree >= 0),
        host=np.where(tree >= 0, oak, -1),
        agrees=np.zeros(len(tree), np.bool_),
    )
    seen = np.zeros((count, key.vocabulary.size), np.bool_)
    for at, r in enumerate(rows):
        if r["position"]:
            seen[at, key.vocabulary.column("position", r["position"])] = True
        if r["seen_on"]:
            month = key.vocabulary.span("month").start + date.fromisoformat(r["seen_on"]).month - 1
            seen[at, month] = True
    taxon = np.array([key.taxon_id.index(r["taxon"]) if r["taxon"] else -1 for r in rows])
    evidence = Evidence(
        seen=seen,
        region=np.full(count, key.regions.index("europe")),
        name=taxon,
        meanings=np.eye(len(key.taxon_id)),
        name_by=np.array([key.names.name_by.index(r["by"]) for r in rows]),
        certainty=np.full(count, np.nan),
    )
    untold = HostTold(np.full(count, -1), np.ones(count, np.bool_))
    ((_, _, taxa, probability),) = batches(
        evidence, untold, candidates, key, which.errors, trees=len(STREET)
    )
    after, before = (
        mixed_taxa(some, untold, candidates, probability, key, which.errors)
        for some in (taxa, key.prior[evidence.region])
    )
    named = told >= 0
    lost = named & ~np.isfinite(xy).all(axis=1)
    xy[lost] = STREET[told[lost]]
    accuracy = np.where(lost, 0.0, np.where(accuracy <= CAP_M, accuracy, np.nan))
    observers = sorted({r["observer"] for r in rows} - {""})
    made = Reports(
        xy=xy,
        sigma_m=sigma_m(accuracy, inventory_error_m=INVENTORY_M),
        trees=tree_shares(candidates, probability, reports=count, trees=len(STREET)),
        posterior=after,
        expected=before,
        day=np.array(
            [date.fromisoformat(r["seen_on"]).toordinal() if r["seen_on"] else -1 for r in rows]
        ),
        height_m=np.array([number(r["height_m"]) for r in rows]),
        parts=np.array([parts.get(r["position"], [False] * 4) for r in rows], np.bool_),
        observer=np.array([observers.index(r["observer"]) if r["observer"] else -1 for r in rows]),
    )
    return made, named, candidates


def sides(row: Mapping[str, str]) -> list[Mapping[str, str]]:
    return [{k[2:]: v for k, v in row.items() if k.startswith(f"{side}_")} for side in "ab"]


@pytest.mark.parametrize("row", pairs(), ids=lambda row: f"{row['pair']} {row['reason'][:40]}")
def test_pairs_labelled_by_hand(row: dict[str, str]) -> None:
    """Common practice, no source; the labels are older than the code."""
    ident, which, _ = parameters()
    made, _, _ = reports_of(sides(row))
    for one, other in ((0, 1), (1, 0)):
        found = one_body(
            np.array([one]), np.array([other]), made, ident.traits.annual, which.merging
        )
        assert bool(found[0]) == (row["same"] == "yes")


def crowd(count: int, seed: int) -> list[Mapping[str, str]]:
    """Reports drawn at random along the street, many of them near one another."""
    random = np.random.default_rng(seed)
    taxa = ("laetiporus_sulphureus", "meripilus_giganteus", "ganoderma_applanatum", "")
    return [
        {
            "tree": f"T{random.integers(9)}" if random.random() < 0.2 else "",
            "x_m": f"{random.uniform(0, 96):.2f}" if random.random() < 0.95 else "",
            "y_m": f"{random.uniform(-4, 4):.2f}",
            "accuracy_m": str(random.choice(["3", "8", "20", "", "400"])),
            "taxon": str(random.choice(taxa)),
            "by": str(random.choice(["public", "specialist"])),
            "seen_on": f"2026-{random.integers(3, 12):02d}-10",
            "height_m": str(random.choice(["", "0.3", "4"])),
            "position": str(random.choice(["", "butt", "stem"])),
            "observer": str(random.choice(["", "a", "b", "c"])),
        }
        for _ in range(count)
    ]


def one_after_the_other(joinable: Flags, certain: list[float], made: Reports) -> list[int]:
    """The rule as a plain loop: each report joins the first leader that may be of its body."""
    ident, which, _ = parameters()
    leader = list(range(len(joinable)))
    here = [at for at in leader if np.isfinite([*made.xy[at], made.sigma_m[at]]).all()]
    leads = [at for at in here if not joinable[at]]
    for at in sorted((at for at in here if joinable[at]), key=lambda at: (-certain[at], at)):
        may = one_body(
            np.full(len(leads), at), np.array(leads, np.int64), made, ident.traits.annual,
            which.merging,
        )  # fmt: skip
        if may.any():
            leader[at] = leads[int(may.argmax())]
        else:
            leads.append(at)
    return leader


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("block", [7, 1024])
def test_leaders_are_those_of_a_plain_loop(
    seed: int, block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.scoring.identification.merging.BLOCK", block)
    ident, which, _ = parameters()
    made, named, _ = reports_of(crowd(120, seed))
    certain = np.round(np.random.default_rng(seed).random(120), 1)
    found = leaders(~named, certain, made, ident.traits.annual, which.merging)
    assert found.tolist() == one_after_the_other(~named, certain.tolist(), made)
    joined = found != np.arange(120)
    assert joined.sum() > 20
    assert not (joined & named).any()
    assert not joined[found[joined]].any()


def test_no_report_is_no_body() -> None:
    ident, which, _ = parameters()
    made, _, _ = reports_of(crowd(3, 0))
    empty = np.zeros(0, np.int64)
    assert len(one_body(empty, empty, made, ident.traits.annual, which.merging)) == 0
    nothing = np.zeros(3, np.bool_)
    found = leaders(nothing, np.ones(3), made, ident.traits.annual, which.merging)
    assert found.tolist() == [0, 1, 2]
