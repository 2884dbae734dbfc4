"""Which tree and which fungus, by enumeration in plain Python on 1,000 layouts drawn at random.

The enumeration starts from places in metres and from P(fungus | genus), not from the product that
the program forms, so that the distance weights of ingest and the division by the share of a genus
are checked with the rest. Genera of trees that nobody knows are summed over one by one.
"""

import math
from dataclasses import dataclass
from typing import cast

import numpy as np
import pytest

from pipeline.ingest.matching import candidates as by_place
from pipeline.scoring.identification.evidence import Vocabulary, without_names
from pipeline.scoring.identification.key import Key, NameSpread
from pipeline.scoring.identification.trees import (
    CandidateTrees,
    HostTold,
    TreeErrors,
    batches,
    best_trees,
    mixed_taxa,
)
from pipeline.units import Floats

GENERA, FORMS, REGIONS = 4, 3, 2
CAP, NEAREST = 60.0, 0.01
PER_SIGMA = math.sqrt(-2 * math.log(1 - math.erf(1 / math.sqrt(2))))


@dataclass(frozen=True)
class Town:
    """Trees with places and genera (-1 unknown), and one sighting."""

    trees: list[list[float]]
    genus: list[int]
    place: list[float]
    accuracy: float
    inventory_error: float
    per_listed: float
    named: int
    host: int
    certain: bool
    form: int
    region: int


@dataclass(frozen=True)
class Fungi:
    """How often each fungus is found by region, and its hosts and forms as shares."""

    prior: list[list[float]]
    hosts: list[list[float]]
    forms: list[list[float]]
    errors: TreeErrors


def shares(random: np.random.Generator, states: int, taxa: int) -> list[list[float]]:
    """Uneven shares of some states for each fungus, none of them zero."""
    raw = random.dirichlet(np.full(states, 0.5), taxa).clip(1e-4)
    return list((raw / raw.sum(axis=1, keepdims=True)).tolist())


def drawn(random: np.random.Generator) -> tuple[Town, Fungi]:
    taxa, count = int(random.integers(2, 7)), int(random.integers(1, 13))
    width = float(random.choice([8.0, 60.0, 200.0]))
    prior = random.dirichlet(np.ones(taxa), REGIONS)
    town = Town(
        trees=random.uniform(0, width, (count, 2)).tolist(),
        genus=random.integers(-1, GENERA, count).tolist(),
        place=random.uniform(0, width, 2).tolist(),
        accuracy=float(random.choice([0.0, 1.0, 5.0, 20.0, 55.0, 61.0, math.nan])),
        inventory_error=float(random.choice([0.0, 1.0, 3.0])),
        per_listed=float(random.choice([0.0, 1.0, 2.5])),
        named=int(random.integers(0, count)) if random.random() < 0.4 else -1,
        host=int(random.integers(0, GENERA)) if random.random() < 0.5 else -1,
        certain=bool(random.random() < 0.7),
        form=int(random.integers(-1, FORMS)),
        region=int(random.integers(-1, REGIONS)),
    )
    fungi = Fungi(
        prior=[*prior.tolist(), prior.mean(axis=0).tolist()],
        hosts=shares(random, GENERA, taxa),
        forms=shares(random, FORMS, taxa),
        errors=TreeErrors(
            *random.uniform([0.002, 0.2, 0.01, 0.02, 0.1], [0.1, 0.8, 0.1, 0.1, 0.4])
        ),
    )
    return town, fungi


def distance_weights(town: Town) -> dict[int, float]:
    """Each tree within three accuracies and the cap, and -1; empty where the place says nothing."""
    if not 0 <= town.accuracy <= CAP:
        return {}
    both = math.sqrt(town.accuracy**2 + town.inventory_error**2)
    sigma = max(both / PER_SIGMA, NEAREST)
    apart = [math.dist(town.place, tree) for tree in town.trees]
    near = {c: d for c, d in enumerate(apart) if d <= min(CAP, 3 * PER_SIGMA * sigma)}
    if not near:
        return {}
    weight = {
        c: math.exp(-(d**2) / (2 * sigma**2)) / (2 * math.pi * sigma**2) for c, d in near.items()
    }
    unlisted = max(1.0, town.per_listed * sum(d <= CAP for d in apart))
    inside = -math.expm1(-(CAP**2) / (2 * sigma**2))
    weight[-1] = unlisted / (math.pi * CAP**2) * inside
    total = math.fsum(weight.values())
    return {c: w / total for c, w in weight.items()}


def enumerated(town: Town, fungi: Fungi) -> tuple[dict[int, float], list[float], list[float]]:
    """P(tree), and P(fungus) after and before it was seen: sums over tree, genus and fungus."""
    errors, taxa = fungi.errors, range(len(fungi.hosts))
    prior = fungi.prior[town.region]
    share = [math.fsum(prior[t] * fungi.hosts[t][g] for t in taxa) for g in range(GENERA)]
    usual = [math.fsum(fungi.prior[-1][t] * fungi.hosts[t][g] for t in taxa) for g in range(GENERA)]
    wrong = errors.host if town.certain else errors.host_uncertain

    def told_given(genus: int) -> float:
        if town.host < 0:
            return 1.0
        return (1 - wrong) * (genus == town.host) + wrong * usual[town.host]

    weight = distance_weights(town)
    count, candidates = len(town.trees), dict(weight)
    if town.named >= 0:
        candidates.setdefault(town.named, 0.0)
        candidates.setdefault(-1, 0.0)
        others = sum(c >= 0 for c in weight)
        for c, by_distance in candidates.items():
            place = (1 - errors.place) * by_distance
            place += errors.place * (1 / count if c >= 0 else 1.0)
            slip = (1 - errors.near) / count
            slip += errors.near / others if town.named in weight else 0.0
            named = 1 - errors.tree_id if c == town.named else errors.tree_id * slip
            candidates[c] = place * named
    joint: dict[tuple[int, int], float] = {}
    given: dict[int, list[float]] = {}
    for c, w in (candidates or {-1: 1.0}).items():
        genus = town.genus[c] if c >= 0 else -1
        each = [genus] if genus >= 0 else list(range(GENERA))
        alone = []
        for t in taxa:
            chance = 0.0
            for g in each:
                of_population = 1.0 if genus >= 0 else share[g]
                fungus_given_genus = prior[t] * fungi.hosts[t][g] / share[g]
                chance += of_population * fungus_given_genus * told_given(g)
            alone.append(chance)
            seen = 1.0 if town.form < 0 else fungi.forms[t][town.form]
            joint[c, t] = w * chance * seen
        given[c] = [a / math.fsum(alone) for a in alone]
    total = math.fsum(joint.values())
    tree = {c: math.fsum(joint[c, t] for t in taxa) / total for c in given}
    after = [math.fsum(joint[c, t] for c in given) / total for t in taxa]
    before = [math.fsum(p * given[c][t] for c, p in tree.items()) for t in taxa]
    return (tree if candidates else {}), after, before


def computed(town: Town, fungi: Fungi) -> tuple[CandidateTrees, Floats, Floats, Floats]:
    """The same by the program: ingest's candidates, then the joint posterior."""
    found = by_place(
        np.array([town.place]), np.array([town.accuracy]), np.array(town.trees), cap_m=CAP,
        inventory_error_m=town.inventory_error, unlisted_per_listed=town.per_listed,
    )  # fmt: skip
    tree, weight = found.tree.tolist(), found.weight.tolist()
    if town.named >= 0:
        for c in (-1, town.named):
            if c not in tree:
                tree.append(c)
                weight.append(0.0)
    host = np.array([town.genus[c] if c >= 0 else -1 for c in tree], np.int64)
    rows = CandidateTrees(
        sighting=np.zeros(len(tree), np.int64),
        tree=np.array(tree, np.int64),
        weight=np.array(weight),
        named=np.array([c == town.named and c >= 0 for c in tree], np.bool_),
        host=host,
        agrees=(host >= 0) & (host == town.host),
    )
    hosts = np.array(fungi.hosts).T
    taxa = hosts.shape[1]
    key = Key(
        taxon_id=tuple(f"taxon_{n}" for n in range(taxa)),
        vocabulary=Vocabulary(
            ("host", "form", "host_uncertain"),
            (("a", "b", "c", "d"), ("x", "y", "z"), ("a", "b", "c", "d")),
        ),
        likelihood=np.vstack([hosts, np.array(fungi.forms).T, hosts]),
        regions=("east", "west"),
        prior=np.array(fungi.prior),
        names=cast("NameSpread", None),  # nobody names anything here
    )
    seen = np.zeros((1, key.vocabulary.size), np.bool_)
    if town.form >= 0:
        seen[0, GENERA + town.form] = True
    if town.host >= 0:
        seen[0, town.host] = True
    evidence = without_names(seen, np.array([town.region]), taxa=taxa)
    told = HostTold(np.array([town.host]), np.array([town.certain]))
    ((_, _, alone, probability),) = batches(
        evidence, told, rows, key, fungi.errors, trees=len(town.trees)
    )
    taxa_after, taxa_before = (
        mixed_taxa(some, told, rows, probability, key, fungi.errors)[0]
        for some in (alone, key.prior[[town.region]])
    )
    return rows, probability, taxa_after, taxa_before


@pytest.mark.parametrize("block", range(10))
def test_one_thousand_random_layouts(block: int) -> None:
    random = np.random.default_rng(1871 + block)
    with_trees = 0
    for _ in range(100):
        town, fungi = drawn(random)
        tree, taxa, before = enumerated(town, fungi)
        rows, probability, taxa_after, taxa_before = computed(town, fungi)
        assert set(rows.tree.tolist()) == set(tree)
        expected = [tree[c] for c in rows.tree.tolist()]
        np.testing.assert_allclose(probability, expected, rtol=1e-10, atol=1e-12)
        np.testing.assert_allclose(taxa_after, taxa, rtol=1e-10, atol=1e-12)
        np.testing.assert_allclose(taxa_before, before, rtol=1e-10, atol=1e-12)
        listed = {c: p for c, p in tree.items() if c >= 0}
        _, best = best_trees(rows, probability, sightings=1)
        assert best[0] == pytest.approx(max(listed.values(), default=0.0), abs=1e-12)
        with_trees += bool(listed)
    assert with_trees > 50
