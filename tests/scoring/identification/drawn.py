"""Sightings drawn from the catalogue, for the tests that hold the key to its own statements."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from pipeline.published.table import Library
from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification.evidence import without_names
from pipeline.scoring.parameters.identification import identification_parameters
from pipeline.units import Flags, Floats, Ints

LIBRARY = Library()
PARAMETERS = identification_parameters(LIBRARY)
KEY, TRAITS = PARAMETERS.key, PARAMETERS.traits
# The host is looked at as a certain one, never as both.
CHARACTERS = tuple(name for name in KEY.vocabulary.characters if name != "host_uncertain")


@dataclass(frozen=True)
class Drawn:
    """Sightings and the taxa that they were drawn from.

    Parameters
    ----------
    taxon : shape (sightings,).
    region : shape (sightings,).
    seen : states that were marked, shape (sightings, states).
    """

    taxon: Ints
    region: Ints
    seen: Flags

    def posterior(self, *, without: tuple[str, ...] = ()) -> Floats:
        """What the key says of them, of some characters nothing."""
        seen = self.seen.copy()
        for name in without:
            seen[:, KEY.vocabulary.span(name)] = False
        return posterior(seen, self.region)


def posterior(seen: Flags, region: Ints) -> Floats:
    """What the key says of sightings without names."""
    return keys.posterior(without_names(seen, region, taxa=len(KEY.taxon_id)), KEY)


@cache
def _without_errors() -> Floats:
    """P(state | taxon) of an observer who never errs."""
    return identification_parameters(LIBRARY, error_factor=0.0).key.likelihood


@cache
def _errors() -> dict[str, float]:
    table = LIBRARY.table("observation_errors")
    return dict(zip(table.texts("character"), table.numbers("error_share").tolist(), strict=True))


def draw(
    count: int, *, seed: int, errors: float = 1.0, any_state: bool = True, looked: float = 0.6
) -> Drawn:
    """Sightings of taxa as often as they are found, host and month always told.

    Parameters
    ----------
    errors : factor on the stated share of errors of each character.
    any_state : who errs marks any state as likely as another; else the errors are as the key
        takes them, by how common the states are.
    looked : share of the other characters that was looked at.
    """
    random = np.random.default_rng(seed)
    region = random.integers(0, len(KEY.regions), count)
    taxon = _one_of(random, KEY.prior[region].T)
    seen = np.zeros((count, KEY.vocabulary.size), np.bool_)
    for name in CHARACTERS:
        span = KEY.vocabulary.span(name)
        table = _without_errors() if any_state else KEY.likelihood
        state = _one_of(random, table[span][:, taxon])
        if any_state:
            errs = random.random(count) < _errors()[name] * errors
            state = np.where(errs, random.integers(0, span.stop - span.start, count), state)
        told = np.flatnonzero((random.random(count) < looked) | (name in ("host", "month")))
        seen[told, span.start + state[told]] = True
    return Drawn(taxon=taxon, region=region, seen=seen)


def _one_of(random: np.random.Generator, weights: Floats) -> Ints:
    """One of the rows for each column, by its weight, shape (columns,)."""
    total = weights.cumsum(axis=0)
    found: Ints = (random.random(weights.shape[1]) * total[-1] >= total).sum(axis=0)
    return found
