"""The key is Bayes' rule: sums to one, whatever the order, and no observation kills a taxon."""

import math

import numpy as np

from pipeline.published.table import Library
from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification.evidence import without_names
from pipeline.scoring.parameters.identification import identification_parameters
from pipeline.units import Flags

PARAMETERS = identification_parameters(Library())
KEY = PARAMETERS.key


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
