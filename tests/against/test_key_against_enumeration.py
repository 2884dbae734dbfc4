"""Bayes' rule by enumeration in plain Python, on 50 small catalogues drawn at random.

The enumeration starts from the catalogue's weights, not from the key's likelihoods, so that the
blending of observers' errors, several states in one cell and the names given are checked too.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification.evidence import Evidence, Vocabulary

SEEDS = range(50)
SIGHTINGS = 12
OBSERVERS = ("laboratory", "public")


@dataclass(frozen=True)
class Catalogue:
    """A small catalogue: weights of the states of each character, errors, and how names err."""

    usual: list[list[list[float]]]
    error: list[float]
    prior: list[list[float]]
    cap: list[float]
    most: float
    not_listed: float
    family: list[int]
    share: float
    widening: float
    among: list[list[float]]
    alike: list[list[float]]
    genus: list[list[float]]


def to_one(weights: list[float]) -> list[float]:
    total = math.fsum(weights)
    return [w / total for w in weights] if total else weights


def drawn(random: np.random.Generator) -> Catalogue:
    """Between 3 and 8 taxa, the last without any state as 'unlisted' is, and 2 to 5 characters."""
    taxa, characters = int(random.integers(3, 9)), int(random.integers(2, 6))
    usual = []
    for _ in range(characters):
        states = int(random.integers(2, 7))
        rows = random.choice([0.0, 0.05, 0.25, 0.7, 0.97], (taxa, states))
        rows[-1] = 0.0
        usual.append(rows.tolist())
    parts = random.dirichlet([2.0, 1.0, 1.0], len(OBSERVERS))
    pairs = random.choice([0.0, 0.0, 0.25, 0.7], (2, taxa, taxa))
    return Catalogue(
        usual=usual,
        error=random.uniform(0.01, 0.4, characters).tolist(),
        prior=[to_one(row) for row in random.uniform(0.01, 1, (3, taxa)).tolist()],
        cap=random.uniform(0.2, 1.0, len(OBSERVERS)).tolist(),
        most=0.999,
        not_listed=0.5,
        # Taxon 0 is a genus; some of the others are its species, 'unlisted' is of none.
        family=[0, *(random.integers(-1, 1, taxa - 2).tolist()), -1],
        share=0.08,
        widening=0.3,
        among=parts.tolist(),
        alike=[to_one(row) for row in pairs[0].tolist()],
        genus=[to_one(row) for row in pairs[1].tolist()],
    )


def as_key(catalogue: Catalogue) -> keys.Key:
    """The catalogue as the program takes it."""
    blocks = [np.array(rows) for rows in catalogue.usual]
    parts = [
        keys.blend(rows, keys.overall(rows), error).T
        for rows, error in zip(blocks, catalogue.error, strict=True)
    ]
    family = np.array(catalogue.family)
    prior = keys.with_genera_prior(np.array(catalogue.prior), family, catalogue.share)
    likelihood = keys.with_genera(np.vstack(parts), family, prior[-1], catalogue.widening)
    names = keys.NameSpread(
        name_by=OBSERVERS,
        cap=np.array(catalogue.cap),
        most=catalogue.most,
        not_listed=catalogue.not_listed,
        genus=np.array(catalogue.family),
        among=np.array(catalogue.among),
        look_alike=np.array(catalogue.alike),
        same_genus=np.array(catalogue.genus),
    )
    return keys.Key(
        taxon_id=tuple(f"taxon_{n}" for n in range(len(blocks[0]))),
        vocabulary=Vocabulary(
            tuple(f"character_{n}" for n in range(len(blocks))),
            tuple(tuple(f"state_{n}" for n in range(rows.shape[1])) for rows in blocks),
        ),
        likelihood=likelihood,
        regions=("one", "other"),
        prior=prior,
        names=names,
    )


def sightings(random: np.random.Generator, key: keys.Key) -> Evidence:
    """Sightings with none, one or several states in a cell, some of them with a name."""
    taxa = len(key.taxon_id)
    certainty = random.uniform(0, 1, SIGHTINGS)
    certainty[random.random(SIGHTINGS) < 0.3] = np.nan
    meanings = random.uniform(0, 1, (2, taxa)) * (random.random((2, taxa)) < 0.5)
    meanings[:, 0] += 0.1
    return Evidence(
        seen=random.random((SIGHTINGS, key.vocabulary.size)) < 0.3,
        region=random.integers(-1, 2, SIGHTINGS),
        name=random.integers(-1, 2, SIGHTINGS),
        meanings=meanings / meanings.sum(axis=1, keepdims=True),
        name_by=random.integers(0, len(OBSERVERS), SIGHTINGS),
        certainty=certainty,
    )


def listed_species(catalogue: Catalogue) -> list[int]:
    """Species of the one genus, which is taxon 0."""
    return [taxon for taxon, genus in enumerate(catalogue.family) if genus == 0 and taxon > 0]


def how_common(catalogue: Catalogue, region: int) -> list[float]:
    """How often each taxon is found; the genus as a share of its listed species together."""
    found = list(catalogue.prior[region])
    species = listed_species(catalogue)
    if species:
        found[0] = catalogue.share * math.fsum(found[s] for s in species)
    return to_one(found)


def chance(catalogue: Catalogue, character: int, taxon: int, state: int) -> float:
    """P(state | taxon): a genus as the mean of its listed species, widened by 'unlisted'."""
    species = listed_species(catalogue)
    if taxon > 0 or not species:
        return own_chance(catalogue, character, taxon, state)
    weights = to_one([how_common(catalogue, 2)[s] for s in species])
    mean = math.fsum(
        weight * own_chance(catalogue, character, s, state)
        for weight, s in zip(weights, species, strict=True)
    )
    any_fungus = own_chance(catalogue, character, len(catalogue.family) - 1, state)
    return (1 - catalogue.widening) * mean + catalogue.widening * any_fungus


def own_chance(catalogue: Catalogue, character: int, taxon: int, state: int) -> float:
    """P(state | taxon) from the weights."""
    rows = catalogue.usual[character]
    told = [to_one(row) for row in rows if sum(row) > 0]
    states = len(rows[0])
    background = 1 / states
    if told:
        background = (math.fsum(row[state] for row in told) / len(told) + 1 / states) / 2
    own = to_one(rows[taxon])[state] if sum(rows[taxon]) > 0 else background
    error = catalogue.error[character]
    return (1 - error) * own + error * background


def before(catalogue: Catalogue, evidence: Evidence, row: int) -> list[float]:
    """What the region, or the name and the region, say of each taxon."""
    region = int(evidence.region[row])
    prior = how_common(catalogue, region if region >= 0 else 2)
    name = int(evidence.name[row])
    if name < 0:
        return prior
    means = [float(m) for m in evidence.meanings[name]]
    anywhere = how_common(catalogue, 2)

    def of_region(weights: list[float], often: list[float]) -> list[float]:
        found = [w * often[taxon] for taxon, w in enumerate(weights)]
        total = math.fsum(found)
        return [math.fsum(weights) * f / total if total else 0.0 for f in found]

    here = of_region(means, [p / a for p, a in zip(prior, anywhere, strict=True)])
    by = int(evidence.name_by[row])
    cap = min(catalogue.cap[by], catalogue.most)
    stated = float(evidence.certainty[row])
    right = cap if math.isnan(stated) else min(stated, cap)
    taxa = range(len(prior))
    spreads = [
        of_region([math.fsum(means[n] * table[n][taxon] for n in taxa) for taxon in taxa], prior)
        for table in (catalogue.alike, catalogue.genus)
    ]
    among = catalogue.among[by]
    instead = [among[0] * a + among[1] * g for a, g in zip(*spreads, strict=True)]
    left = 1 - math.fsum(instead)
    return [right * here[t] + (1 - right) * (instead[t] + left * prior[t]) for t in taxa]


def enumerated(catalogue: Catalogue, evidence: Evidence, row: int) -> list[float]:
    """The posterior of one sighting, taxon by taxon."""
    weights = list(before(catalogue, evidence, row))
    column = 0
    for character, rows in enumerate(catalogue.usual):
        marked = [s for s in range(len(rows[0])) if evidence.seen[row, column + s]]
        column += len(rows[0])
        for taxon in range(len(rows)):
            several = [chance(catalogue, character, taxon, state) for state in marked]
            weights[taxon] *= math.prod(several) ** (1 / len(several)) if several else 1.0
    return to_one(weights)


@pytest.mark.parametrize("seed", SEEDS)
def test_posterior_equals_enumeration(seed: int) -> None:
    random = np.random.default_rng(seed)
    catalogue = drawn(random)
    key = as_key(catalogue)
    evidence = sightings(random, key)
    found = keys.posterior(evidence, key)
    expected = [enumerated(catalogue, evidence, row) for row in range(SIGHTINGS)]
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-12)
    np.testing.assert_allclose(found.sum(axis=1), 1.0, rtol=0, atol=1e-12)
    together = np.vstack([part for _, part in keys.batches(evidence, key)])
    np.testing.assert_allclose(together, found, rtol=0, atol=1e-12)


def reordered(key: keys.Key, order: list[int]) -> tuple[keys.Key, list[int]]:
    """The key with its characters in another order, and where each column came from."""
    words = key.vocabulary
    columns = [
        column
        for at in order
        for column in range(
            words.span(words.characters[at]).start, words.span(words.characters[at]).stop
        )
    ]
    vocabulary = Vocabulary(
        tuple(words.characters[at] for at in order), tuple(words.states[at] for at in order)
    )
    return (
        keys.Key(
            key.taxon_id, vocabulary, key.likelihood[columns], key.regions, key.prior, key.names
        ),
        columns,
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_order_of_rows_and_of_observations_does_not_matter(seed: int) -> None:
    random = np.random.default_rng(1000 + seed)
    key = as_key(drawn(random))
    evidence = sightings(random, key)
    found = keys.posterior(evidence, key)
    rows = random.permutation(SIGHTINGS)
    np.testing.assert_allclose(keys.posterior(evidence.rows(rows), key), found[rows], rtol=1e-12)
    order = random.permutation(len(key.vocabulary.characters)).tolist()
    other, columns = reordered(key, order)
    moved = Evidence(
        evidence.seen[:, columns], evidence.region, evidence.name, evidence.meanings,
        evidence.name_by, evidence.certainty,
    )  # fmt: skip
    np.testing.assert_allclose(keys.posterior(moved, other), found, rtol=0, atol=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_several_sightings_of_one_body_add_up_in_any_order(seed: int) -> None:
    random = np.random.default_rng(2000 + seed)
    catalogue = drawn(random)
    key = as_key(catalogue)
    evidence = sightings(random, key)
    body = random.integers(0, 3, SIGHTINGS)
    prior = np.log(key.prior[[0, 1, 2]])
    log = keys.log_likelihood(evidence, key)
    found = keys.add_up(log, prior, body, bodies=3)
    mixed = random.permutation(SIGHTINGS)
    again = keys.add_up(log[mixed], prior, body[mixed], bodies=3)
    np.testing.assert_allclose(again, found, rtol=0, atol=1e-12)
    alone = np.exp(log)
    for at in range(3):
        weights = [
            how_common(catalogue, at)[taxon] * math.prod(alone[body == at, taxon].tolist())
            for taxon in range(len(key.taxon_id))
        ]
        np.testing.assert_allclose(found[at], to_one(weights), rtol=0, atol=1e-12)
