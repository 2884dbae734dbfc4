"""Columns of the tables of trees with evidence: posteriors, decay, strength, impacts, ratings."""

import numpy as np

from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.columns import labels, optional, small
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.judged import Judged
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.targets import Pairs
from pipeline.scoring.impact.occupancy import BASES
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.failure import FailureParameters

OTHER = "other"
_ROUNDING = 1e-12


def posterior_columns(sightings: Sightings, parameters: FailureParameters) -> dict[str, object]:
    """Columns of scoring.taxon_posteriors: taxa that are probable enough, and the rest as one."""
    found, ids = sightings.fruiting.found, parameters.catalogue.taxon_id
    unlisted = len(ids) - 1
    unit, taxon, listed = found.listed_unit, found.listed_taxon, found.listed
    named = taxon != unlisted
    units = len(found.unlisted)
    rest = 1.0 - found.unlisted - np.bincount(unit[named], listed[named], minlength=units)
    every = np.arange(units)
    unit = np.concatenate([unit[named], every, every])
    taxon = np.concatenate([taxon[named], np.full(units, unlisted), np.full(units, unlisted + 1)])
    share = np.concatenate([listed[named], found.unlisted, np.clip(rest, 0.0, 1.0)])
    kept = np.flatnonzero((share > 0) & ((taxon <= unlisted) | (share > _ROUNDING)))
    kept = kept[np.lexsort((taxon[kept], unit[kept]))]
    length = np.bincount(unit[kept], minlength=units)
    start = np.cumsum(length) - length
    of = sightings.fruiting.of
    sighting = np.repeat(np.arange(len(of)), length[of])
    first = np.cumsum(length[of]) - length[of]
    row = kept[start[of][sighting] + np.arange(len(sighting)) - first[sighting]]
    return {
        "sighting_key": sighting,
        "taxon_id": labels(taxon[row], (*ids, OTHER)),
        "probability": share[row],
    }


def strength_columns(looks: Looks, parameters: FailureParameters) -> dict[str, object]:
    """Columns of scoring.strength: every formula that holds for each measured section."""
    section, formula = np.nonzero(looks.strength.applies)
    return {
        "tree_key": looks.section_tree[section],
        "part": looks.section_part[section],
        "formula": labels(formula, parameters.limits.formula),
        "loss_share": looks.strength.value[section, formula],
        "limit_share": parameters.limits.act[formula],
        "passed": looks.strength.passed[section, formula],
    }


def impact_columns(pairs: Pairs, evidence: Evidence) -> dict[str, object]:
    """Columns of scoring.impacts."""
    return {
        "tree_key": evidence.trees[pairs.tree],
        "part": pairs.part,
        "zone_key": pairs.zone.astype(np.int32),
        "reach_m": pairs.reach,
        "distance_m": pairs.distance,
        "occupied_share": pairs.occupied_share,
        "occupancy": pairs.occupancy,
        "direction_share": pairs.direction_share,
        "impact": pairs.impact,
        "assumed": pairs.assumed,
        "occupancy_from": labels(pairs.basis, BASES),
        "vehicles_run_in": pairs.run_in,
        "storm_share": pairs.storm,
        "fall_toward_deg": optional((90.0 - 360.0 * pairs.toward) % 360.0, pairs.resultant > 0),
        "fall_resultant": pairs.resultant,
        "counts_with_zone_key": optional(
            pairs.counts_with.astype(np.int32), pairs.counts_with >= 0
        ),
    }


def part_rating_columns(
    pairs: Pairs, judged: Judged, evidence: Evidence, parameters: Parameters
) -> dict[str, object]:
    """Columns of scoring.part_ratings."""
    by_points = np.full(len(pairs.tree), parameters.method == "points")
    return {
        "tree_key": evidence.trees[pairs.tree],
        "part": pairs.part,
        "zone_key": pairs.zone.astype(np.int32),
        "failure": small(judged.failure),
        "impact": small(pairs.impact),
        "likelihood": small(judged.likelihood),
        "consequence": small(pairs.consequence),
        "rating": small(judged.rating),
        "points": optional(small(judged.points), by_points),
        "harm_per_year": judged.harm,
    }
