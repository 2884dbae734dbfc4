"""Sightings identified: the columns that `soundwood identify` writes."""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.identification import key as keys
from pipeline.scoring.identification import meaning
from pipeline.scoring.identification.bodies import OF_THE_PLACE
from pipeline.scoring.identification.evidence import Evidence, looked_at
from pipeline.scoring.identification.key import Key
from pipeline.scoring.identification.names import misfit, unchecked
from pipeline.scoring.identification.questions import next_look
from pipeline.scoring.parameters.identification import CHARACTERS, IdentificationParameters
from pipeline.units import Flags, Floats, Ints

SHOWN = 3


@dataclass(frozen=True)
class Identified:
    """What each sighting is found to be, first axis sightings.

    Parameters
    ----------
    taxon, probability : the most probable taxa, shape (sightings, 3).
    unlisted : probability of a fungus that the catalogue does not hold.
    rot, rot_probability : most probable rot, place in meaning.ROTS, and how probable.
    code : action code of the first taxon.
    serious : probability of a serious fungus.
    attacks : probability that roots, butt, stem, branch are rotted, shape (sightings, 4).
    misfit, unchecked : see `name_doubts`.
    look : place of the look to take next, -1 for none.
    """

    taxon: Ints
    probability: Floats
    unlisted: Floats
    rot: Ints
    rot_probability: Floats
    significance: Floats
    code: Ints
    serious: Floats
    attacks: Floats
    decay: Ints
    expert: Flags
    misfit: Flags
    unchecked: Flags
    look: Ints

    def rows(self, which: Ints) -> "Identified":
        """Some of the sightings, in that order."""
        return Identified(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


def identify(
    evidence: Evidence, odd: Flags, parameters: IdentificationParameters, *, sure: float
) -> Identified:
    """Identify sightings, a batch at a time.

    Parameters
    ----------
    odd : sightings whose record is odd: they go to an expert, shape (sightings,).
    sure : probability from which the first taxon counts as known [share].
    """
    key = parameters.key
    parts = [
        _part(evidence.rows(which), posterior, odd[which], parameters, sure)
        for which, posterior in keys.batches(evidence, key)
    ]
    if not parts:
        parts = [_part(evidence, np.zeros((0, len(key.taxon_id))), odd, parameters, sure)]
    return Identified(
        *(
            np.concatenate([getattr(part, name) for part in parts])
            for name in Identified.__dataclass_fields__
        )
    )


def _part(
    evidence: Evidence,
    posterior: Floats,
    odd: Flags,
    parameters: IdentificationParameters,
    sure: float,
) -> Identified:
    key, traits = parameters.key, parameters.traits
    taxon, probability = keys.first(posterior, SHOWN)
    rot = meaning.rot_probability(posterior, traits)
    sits = attachments(evidence.seen, key)
    decay = meaning.decay_evidence(sits, posterior, traits)
    contradiction = sits.free & (sits.on_tree | sits.attached | sits.soil_over_root)
    serious = meaning.probability_of_serious(posterior, traits, parameters.limits)
    misfits, alone = name_doubts(posterior, evidence, evidence.seen, odd, parameters)
    return Identified(
        taxon=taxon,
        probability=probability,
        unlisted=posterior[:, key.unlisted],
        rot=rot.argmax(axis=1),
        rot_probability=rot.max(axis=1),
        significance=meaning.mean_significance(posterior, traits),
        code=traits.action_code[taxon[:, 0]],
        serious=serious,
        attacks=meaning.attack_probability(posterior, traits),
        decay=decay,
        expert=meaning.needs_expert(
            posterior,
            traits,
            parameters.limits,
            sure=sure,
            odd=odd | contradiction | misfits | alone,
        ),
        misfit=misfits,
        unchecked=alone,
        look=next_look(
            posterior, looked_at(evidence.seen, key.vocabulary), key, traits, parameters.looks
        ),
    )


def name_doubts(
    posterior: Floats,
    named: Evidence,
    seen: Flags,
    strange: Flags,
    parameters: IdentificationParameters,
) -> tuple[Flags, Flags]:
    """Trusted names that do not fit what was seen, and unchecked names of the worst fungi.

    Parameters
    ----------
    named : rows with the name of each.
    seen : states that were marked, shape (sightings, states).
    strange : named by a name that no list holds, shape (sightings,).
    """
    key, doubts = parameters.key, parameters.doubts
    found = described(seen, key)
    alone = unchecked(named, found, parameters.traits.action_code, key, doubts)
    return misfit(posterior, named, key, doubts) & ~strange, alone & ~strange


def described(seen: Flags, key: Key) -> Flags:
    """Whether any character of the fungus itself was told, shape (sightings,)."""
    found = np.zeros(len(seen), np.bool_)
    for name in CHARACTERS:
        if name not in OF_THE_PLACE:
            found |= seen[:, key.vocabulary.span(name)].any(axis=1)
    return found


def attachments(seen: Flags, key: Key) -> meaning.Attachments:
    """How each body sits, from the marked states."""
    said = key.vocabulary

    def marked(character: str, *states: str) -> Flags:
        columns = [said.column(character, state) for state in states]
        return np.asarray(seen[:, columns].any(axis=1), np.bool_)

    ground = ("soil", "mulch", "turf")
    all_positions = said.states[said.characters.index("position")]
    tree = tuple(x for x in all_positions if x not in {*ground, "soil_over_root"})
    return meaning.Attachments(
        attached=marked("attachment", "attached"),
        soil_over_root=marked("attachment", "soil_over_root"),
        free=marked("attachment", "free"),
        on_tree=marked("position", *tree),
        on_soil_over_root=marked("position", "soil_over_root"),
        on_ground=marked("position", *ground),
        shelf=marked("form", "shelf", "hoof"),
    )
