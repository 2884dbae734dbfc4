"""A name given to a fungus is evidence, and who gave it says how much.

The name is right with the stated certainty, but with no more than such observers reach; the rest of
the probability belongs to 'unlisted': any other fungus.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.identification.catalogue import Catalogue
from pipeline.units import Flags, Floats, Ints, Words


@dataclass(frozen=True)
class NameCertainty:
    """How far names are trusted, from config/published/name_certainty.csv.

    Parameters
    ----------
    name_by : who names, in the order of the table.
    cap : certainty_cap_share, shape (observers,).
    heard_from : heard_from_share: a taxon less probable than this does not speak, (observers,).
    """

    name_by: tuple[str, ...]
    cap: Floats
    heard_from: Floats


@dataclass(frozen=True)
class TaxonPosterior:
    """Probability of taxa, one row a sighting and taxon, in the order of both; sums to 1 each.

    Parameters
    ----------
    sighting : row of the sighting, shape (rows,).
    taxon : index into the catalogue, shape (rows,).
    probability : shape (rows,), above 0.
    heard : probable enough to be acted on, shape (rows,).
    """

    sighting: Ints
    taxon: Ints
    probability: Floats
    heard: Flags


def name_posterior(
    taxon: Ints,
    name_by: Ints,
    certainty: Floats,
    *,
    catalogue: Catalogue,
    trust: NameCertainty,
) -> TaxonPosterior:
    """Posterior over taxa of each sighting from the name it was given.

    Parameters
    ----------
    taxon : index into the catalogue, -1 without a known name, shape (sightings,).
    name_by : index into `trust.name_by`, shape (sightings,).
    certainty : as the observer states it [share], NaN if not stated, shape (sightings,).
    """
    taxon = np.asarray(taxon, dtype=np.int64)
    certainty = np.asarray(certainty, dtype=np.float64)
    cap = trust.cap[name_by]
    stated = np.where(np.isnan(certainty), cap, np.clip(certainty, 0.0, 1.0))
    named = (taxon >= 0) & (taxon != catalogue.unlisted)
    right = np.where(named, np.minimum(stated, cap), 0.0)
    # Two rows a sighting, the named taxon before 'unlisted', which has the highest index.
    probability = np.stack([right, 1.0 - right], axis=1).ravel()
    both = np.stack([taxon, np.full_like(taxon, catalogue.unlisted)], axis=1).ravel()
    sighting = np.repeat(np.arange(taxon.size, dtype=np.int64), 2)
    heard = probability >= np.repeat(trust.heard_from[name_by], 2)
    kept = probability > 0
    return TaxonPosterior(sighting[kept], both[kept], probability[kept], heard[kept])


def expected_action_code(
    posterior: TaxonPosterior, catalogue: Catalogue, *, sightings: int
) -> Floats:
    """Mean action code of each sighting over its posterior, 0-5, shape (sightings,)."""
    weight = posterior.probability * catalogue.action_code[posterior.taxon]
    mean = np.bincount(posterior.sighting, weights=weight, minlength=sightings)
    return np.asarray(mean, dtype=np.float64)


def highest_action_code(
    posterior: TaxonPosterior, catalogue: Catalogue, *, sightings: int
) -> Words:
    """Highest action code among the taxa that are heard, 0 where none is, shape (sightings,)."""
    code = np.zeros(sightings, dtype=np.int8)
    heard = posterior.heard
    np.maximum.at(
        code,
        posterior.sighting[heard],
        catalogue.action_code[posterior.taxon[heard]].astype(np.int8),
    )
    return code


def probability_of_attack(
    posterior: TaxonPosterior, catalogue: Catalogue, *, sightings: int
) -> Floats:
    """Probability that the fungus rots roots, butt, stem, branch, shape (sightings, 4).

    'Unlisted' is counted as attacking nothing, so this is a lower bound.
    """
    share = np.zeros((sightings, catalogue.attacks.shape[1]))
    weight = posterior.probability[:, None] * catalogue.attacks[posterior.taxon]
    np.add.at(share, posterior.sighting, weight)
    return share


def most_probable(posterior: TaxonPosterior, *, sightings: int) -> Ints:
    """Index of the most probable taxon of each sighting, the named one on a tie, (sightings,)."""
    order = np.lexsort((-posterior.taxon, posterior.probability, posterior.sighting))
    best = np.full(sightings, -1, dtype=np.int64)
    best[posterior.sighting[order]] = posterior.taxon[order]
    return best


def trusted(name_by: Ints, certainty: Floats, trust: NameCertainty) -> Floats:
    """How far a name is trusted: as stated, but no further than such observers reach.

    Parameters
    ----------
    name_by : index into `trust.name_by`, any shape.
    certainty : as the observer states it [share], NaN if not stated, same shape.
    """
    cap = trust.cap[name_by]
    stated = np.where(np.isnan(certainty), cap, np.clip(certainty, 0.0, 1.0))
    return np.asarray(np.minimum(stated, cap), np.float64)
