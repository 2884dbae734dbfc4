"""What each sighting is found to be: the columns of scoring.identifications, and statements."""

from collections.abc import Callable

import numpy as np

from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.columns import labels, numbers
from pipeline.scoring.assembly.fruiting import speakers
from pipeline.scoring.assembly.identified import SHOWN
from pipeline.scoring.explanation import Facts
from pipeline.scoring.identification import meaning
from pipeline.scoring.identification.meaning import ROTS, Decay
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.identification import IdentificationParameters
from pipeline.tables import inputs
from pipeline.units import Floats, Ints

_DECAYS = tuple(decay.name.lower() for decay in Decay)


def body_keys(sightings: Sightings) -> Ints:
    """Lowest sighting of the fruiting fungus of each sighting, shape (sightings,)."""
    body = sightings.fruiting.body
    _, first, back = np.unique(body, return_index=True, return_inverse=True)
    return first[back.reshape(-1)]


def running_years(sightings: Sightings) -> Ints:
    """Longest run of years in which each body was seen, 0 where no date is known, (bodies,)."""
    bodies = len(sightings.fruiting.unit)
    dated = sightings.seen_on >= 0
    day = sightings.seen_on[dated].astype("datetime64[D]")
    year = day.astype("datetime64[Y]").astype(np.int64)
    span = int(year.max(initial=0)) + 1
    once = np.unique(sightings.fruiting.body[dated] * span + year)
    return meaning.years_running(once // span, once % span, bodies=bodies)


def least_ages(sightings: Sightings, running: Ints, parameters: Parameters) -> Floats:
    """Least age of the infection of each body [years], shape (bodies,)."""
    layers = np.full(len(sightings.fruiting.unit), -1.0)
    told = np.nan_to_num(numbers(sightings.table, "layers"), nan=-1.0)
    np.maximum.at(layers, sightings.fruiting.body, told)
    fruiting = sightings.fruiting.found.taxon[sightings.fruiting.unit, 0]
    return meaning.least_years(
        np.where(layers >= 1, layers, np.nan),
        fruiting,
        running,
        parameters.sighted.identification.traits,
    )


def identification_columns(sightings: Sightings, parameters: Parameters) -> dict[str, object]:
    """Columns of scoring.identifications."""
    fruiting, of = sightings.fruiting, sightings.fruiting.of
    found, ident = fruiting.found, parameters.sighted.identification
    running = running_years(sightings)
    columns: dict[str, object] = {
        "sighting_key": np.arange(len(of)),
        "body_key": body_keys(sightings),
        "decay_evidence": labels(found.decay[of], _DECAYS),
    }
    for place in range(SHOWN):
        columns[f"taxon_{place + 1}"] = labels(found.taxon[of, place], ident.key.taxon_id)
        columns[f"probability_{place + 1}"] = found.probability[of, place]
    columns["probability_unlisted"] = found.unlisted[of]
    columns["rot_type"] = labels(found.rot[of], ROTS)
    columns["probability_rot"] = _share(found.rot_probability[of])
    for place, part in enumerate(inputs.PARTS):
        columns[f"probability_{part}"] = _share(found.attacks[of, place])
    return columns | {
        "significance": found.significance[of],
        "probability_serious": _share(found.serious[of]),
        "needs_expert": found.expert[of],
        "next_look": labels(found.look[of], ident.looks.character),
        "least_years": least_ages(sightings, running, parameters)[fruiting.body],
        "years_running": running[fruiting.body].astype(np.int32),
        "decided_by": _joined(found.decides, of, speakers(ident.key)),
        "against": _joined(found.against, of, speakers(ident.key)),
    }


def _share(values: Floats) -> Floats:
    """Sums of shares, which rounding may carry over one."""
    return np.clip(values, 0.0, 1.0)


def _joined(places: Ints, of: Ints, names: tuple[str, ...]) -> object:
    """Names joined with |, empty where there is none; one label for each different set."""
    sets, at = np.unique(places, axis=0, return_inverse=True)
    told = [named(row.tolist(), names) for row in sets]
    words = sorted({text for text in told if text})
    number = np.array([words.index(text) if text else -1 for text in told], np.int64)
    return labels(number[at.reshape(-1)][of] if len(of) else of, words)


def named(places: list[int], names: tuple[str, ...]) -> str:
    """Names of some places joined with |; -1 names none."""
    return "|".join(dict.fromkeys(names[at] for at in places if at >= 0))


def tell_bodies(
    facts: Facts, sightings: Sightings, place: Callable[[Ints], Ints], parameters: Parameters
) -> None:
    """What each fruiting fungus of a tree may be, what decided, its age and the next look.

    Parameters
    ----------
    place : fact set of trees, -1 for those without their own.
    """
    fruiting, ident = sightings.fruiting, parameters.sighted.identification
    running = running_years(sightings)
    years = least_ages(sightings, running, parameters)
    known = np.flatnonzero(sightings.speaks)
    bodies, first, count = np.unique(fruiting.body[known], return_index=True, return_counts=True)
    sets = place(sightings.tree[known[first]])
    settled = meaning.established(
        fruiting.found.taxon[fruiting.unit, 0], running, ident.traits, ident.limits
    )
    for body, at, sightings_of in zip(bodies, sets, count, strict=True):
        if at < 0:
            continue
        _tell_body(facts, int(at), int(fruiting.unit[body]), int(sightings_of), sightings, ident)
        if years[body] > 1:
            facts.add(int(at), "fungus_least_age", {
                "years": float(years[body]),
                "running": int(running[body]),
                "established": bool(settled[body]),
            })  # fmt: skip


def _tell_body(
    facts: Facts,
    at: int,
    unit: int,
    count: int,
    sightings: Sightings,
    ident: IdentificationParameters,
) -> None:
    found, names = sightings.fruiting.found, ident.names
    said = speakers(ident.key)
    first, second = (names[found.taxon[unit, place]] for place in (0, 1))
    facts.add(at, "fungus_candidates", {
        "names": [names[taxon] for taxon in found.taxon[unit]],
        "probabilities": [float(f"{share:.4g}") for share in found.probability[unit]],
        "unlisted": float(found.unlisted[unit]),
        "sightings": count,
    })  # fmt: skip
    facts.add(at, "fungus_decided_by", {
        "name": first,
        "beside": second,
        "decided_by": named(found.decides[unit].tolist(), said) or None,
        "against": named(found.against[unit].tolist(), said) or None,
    })  # fmt: skip
    look = int(found.look[unit])
    if look >= 0:
        facts.add(at, "fungus_next_look", {
            "character": ident.looks.character[look], "look": ident.looks.look[look],
        })  # fmt: skip
    if found.heard.harmless[unit] >= 0:
        facts.add(at, "fungus_no_decay", {"name": names[found.heard.harmless[unit]]})
