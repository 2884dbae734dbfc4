"""The key is Bayes' rule: sums to one, whatever the order, and no observation kills a taxon."""

import math

import numpy as np
import pytest

from pipeline.published.table import Library
from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification.evidence import Evidence, without_names
from pipeline.scoring.parameters.identification import identification_parameters
from pipeline.units import Flags, Floats

LIBRARY = Library()
PARAMETERS = identification_parameters(LIBRARY)
KEY = PARAMETERS.key
TAXA = len(KEY.taxon_id)
GENUS = KEY.names.genus
ROWS = np.flatnonzero(np.arange(TAXA) == GENUS)
SPECIES = np.setdiff1d(np.arange(TAXA - 1), ROWS)
LOOKED_AT = tuple(name for name in KEY.vocabulary.characters if name != "host_uncertain")


def at(taxon_id: str) -> int:
    return KEY.taxon_id.index(taxon_id)


def described_in_full() -> Flags:
    """Of each taxon its most usual state of every character, (taxa, states)."""
    seen = np.zeros((TAXA, KEY.vocabulary.size), np.bool_)
    for name in LOOKED_AT:
        span = KEY.vocabulary.span(name)
        seen[np.arange(TAXA), span.start + KEY.likelihood[span].argmax(axis=0)] = True
    return seen


def said_of(seen: Flags, region: int) -> Floats:
    regions = np.full(len(seen), region)
    return keys.posterior(without_names(seen, regions, taxa=TAXA), KEY)


def named(taxa: tuple[int, ...], by: str, region: int = -1, seen: Flags | None = None) -> Floats:
    """What the key says of one sighting with a name, shape (taxa,)."""
    nothing = np.zeros((1, KEY.vocabulary.size), np.bool_)
    evidence = Evidence(
        seen=nothing if seen is None else seen,
        region=np.array([region]),
        name=np.array([0]),
        meanings=keys.meaning_of(taxa, KEY)[None],
        name_by=np.array([KEY.names.name_by.index(by)]),
        certainty=np.array([np.nan]),
    )
    return np.asarray(keys.posterior(evidence, KEY)[0], np.float64)


def random_seen(count: int, seed: int) -> Flags:
    return np.random.default_rng(seed).random((count, KEY.vocabulary.size)) < 0.01


def test_each_character_of_each_taxon_sums_to_one_and_nothing_is_impossible() -> None:
    for name in KEY.vocabulary.characters:
        block = KEY.likelihood[KEY.vocabulary.span(name)]
        np.testing.assert_allclose(block.sum(axis=0), 1.0, rtol=1e-12)
    assert KEY.likelihood.min() > 0


def test_rows_sum_to_one_and_their_order_does_not_matter() -> None:
    seen = random_seen(40, 4)
    region = np.arange(40) % 3 - 1
    found = keys.posterior(without_names(seen, region, taxa=len(KEY.taxon_id)), KEY)
    np.testing.assert_allclose(found.sum(axis=1), 1.0, rtol=1e-12)
    back = keys.posterior(without_names(seen[::-1], region[::-1], taxa=len(KEY.taxon_id)), KEY)
    np.testing.assert_allclose(found, back[::-1], rtol=1e-12)


def test_equals_enumeration_in_plain_python() -> None:
    seen = random_seen(8, 5)
    found = keys.posterior(without_names(seen, np.zeros(8, np.int64), taxa=len(KEY.taxon_id)), KEY)
    for row in range(8):
        weights = []
        for taxon in range(len(KEY.taxon_id)):
            weight = float(KEY.prior[0, taxon])
            for name in KEY.vocabulary.characters:
                span = KEY.vocabulary.span(name)
                marked = [c for c in range(span.start, span.stop) if seen[row, c]]
                for column in marked:
                    weight *= float(KEY.likelihood[column, taxon]) ** (1 / len(marked))
            weights.append(weight)
        total = math.fsum(weights)
        np.testing.assert_allclose(found[row], [w / total for w in weights], rtol=1e-9)


def test_every_genus_has_a_row_and_holds_its_species() -> None:
    assert len(ROWS) >= 100
    for taxon in SPECIES:
        assert GENUS[taxon] >= 0
        genus = KEY.taxon_id[GENUS[taxon]].removesuffix("_spp")
        assert KEY.taxon_id[taxon].startswith(f"{genus}_")


def test_a_genus_looks_like_its_listed_species_but_less_surely() -> None:
    """Of a genus with one listed species: the species' own states, each nearer to any fungus's."""
    row, species = at("kretzschmaria"), at("kretzschmaria_deusta")
    any_fungus = KEY.likelihood[:, KEY.unlisted]
    far = np.abs(KEY.likelihood[:, species] - any_fungus)
    near = np.abs(KEY.likelihood[:, row] - any_fungus)
    moved = far > 1e-12
    assert (near[moved] < far[moved]).all()
    assert (np.sign(KEY.likelihood[moved, row] - any_fungus[moved])
            == np.sign(KEY.likelihood[moved, species] - any_fungus[moved])).all()  # fmt: skip


def test_a_genus_without_a_listed_species_keeps_its_own_row() -> None:
    likelihood = np.array([[0.9, 0.2, 0.5], [0.1, 0.8, 0.5]])
    prior = np.array([[0.2, 0.3, 0.5]])
    genus = np.array([0, -1, -1])
    np.testing.assert_array_equal(keys.with_genera(likelihood, genus, prior[-1], 0.3), likelihood)
    np.testing.assert_allclose(keys.with_genera_prior(prior, genus, 0.08), prior)


def test_a_genus_is_rarer_than_its_listed_species_together() -> None:
    for row in ROWS:
        listed = (row == GENUS) & (np.arange(TAXA) != row)
        assert (KEY.prior[:, row] <= 0.2 * KEY.prior[:, listed].sum(axis=1)).all()


@pytest.mark.parametrize("region", [-1, 0, 1])
def test_neither_a_genus_nor_unlisted_takes_the_place_of_a_species(region: int) -> None:
    """A species described in full, or by half of its characters, is led by some species.

    Where a region has none of the genus, its row and 'unlisted' are still behind.
    """
    seen = described_in_full()[SPECIES]
    found = said_of(seen, region)
    assert not np.isin(found.argmax(axis=1), [*ROWS, KEY.unlisted]).any()
    assert found[:, KEY.unlisted].max() < 0.01
    assert found[:, ROWS].max() < 0.15
    half = seen.copy()
    for name in LOOKED_AT[::2]:
        half[:, KEY.vocabulary.span(name)] = False
    assert np.isin(said_of(half, region).argmax(axis=1), SPECIES).all()


def test_the_name_of_a_genus_stands_for_its_species() -> None:
    """They share it by how common they are; host and characters decide between them."""
    meant = keys.meaning_of((at("ganoderma"),), KEY)
    members = at("ganoderma") == GENUS
    assert meant.sum() == pytest.approx(1, abs=1e-12)
    assert meant[~members].sum() == 0
    np.testing.assert_allclose(meant[members] / meant[members].sum(),
                               KEY.prior[-1, members] / KEY.prior[-1, members].sum())  # fmt: skip
    found = named((at("ganoderma"),), "trained_inspector", region=1)
    assert found[members].sum() > 0.75
    assert KEY.taxon_id[found.argmax()] in {"ganoderma_applanatum", "ganoderma_adspersum"}
    seen = described_in_full()[[at("ganoderma_tsugae")]]
    told = named((at("ganoderma"),), "public", region=0, seen=seen)
    assert KEY.taxon_id[told.argmax()] == "ganoderma_tsugae"


def test_the_name_of_one_genus_says_little_of_another() -> None:
    found = named((at("armillaria"),), "public")
    assert found[at("armillaria") == GENUS].sum() > found[at("ganoderma") == GENUS].sum() * 10


@pytest.mark.parametrize("by", KEY.names.name_by)
def test_a_name_in_no_list_is_no_proof_against_what_was_seen(by: str) -> None:
    """Alone it leaves 'unlisted' in front; beside a full description it takes no first place."""
    alone = named((KEY.unlisted,), by)
    assert alone.argmax() == KEY.unlisted
    assert alone[KEY.unlisted] < 0.6
    seen = described_in_full()
    for taxon in SPECIES:
        found = named((KEY.unlisted,), by, seen=seen[[taxon]])
        assert found.argmax() in SPECIES, KEY.taxon_id[taxon]


def test_layers_speak_for_a_perennial_and_do_not_kill_an_annual() -> None:
    """Its layers tell the least age of a perennial shelf (common practice, no source)."""
    annual = PARAMETERS.traits.annual[SPECIES]
    several = KEY.likelihood[KEY.vocabulary.column("layers", "several"), SPECIES]
    assert several[~annual].min() > 0.5
    assert several[annual].max() < 0.2
