"""Decisions that were overtaken: by worse evidence since, and by nothing else.

A second look that finds the same or less speaks for the decision, not against it. What is worse is
a fruiting body of which nobody knew on that day, more of them than were counted, or a word of the
eye or of a measured wall that is worse than all that was said of the part until then.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.columns import NO_DAY, numbers
from pipeline.scoring.assembly.evidence import FUNGUS, MECHANICS, Evidence
from pipeline.scoring.assembly.wood_evidence import PARTS
from pipeline.terms import FailureWord
from pipeline.units import Flags, Ints

WHAT = ("fungus", "finding")


@dataclass(frozen=True)
class Overtaken:
    """What is worse since a day, each shape (trees,).

    Parameters
    ----------
    on : day of the latest worse evidence, NO_DAY without any.
    what : place in WHAT of it.
    """

    on: Ints
    what: Ints

    @property
    def any(self) -> Flags:
        """Trees with worse evidence."""
        return np.asarray(self.on != NO_DAY)


def worse_since(day: Ints, evidence: Evidence, sightings: Sightings) -> Overtaken:
    """Worse evidence of trees after a day of each; nothing for those without a day.

    Parameters
    ----------
    day : shape (trees,), NO_DAY without one.
    """
    fungus = _new_bodies(day, sightings)
    finding = _worse_words(day, evidence)
    on = np.maximum(fungus, finding)
    return Overtaken(on, np.where(finding > fungus, WHAT.index("finding"), WHAT.index("fungus")))


def _new_bodies(day: Ints, sightings: Sightings) -> Ints:
    """Latest day on which a new body, or more of one, was seen after that of its tree, (trees,)."""
    found = np.full(len(day), NO_DAY)
    at = np.flatnonzero(sightings.speaks & ~sightings.hearsay & (sightings.seen_on != NO_DAY))
    if not at.size:
        return found
    seen, tree = sightings.seen_on[at], sightings.tree[at]
    _, body = np.unique(sightings.fruiting.body[at], return_inverse=True)
    body = body.reshape(-1)
    since = (day[tree] != NO_DAY) & (seen > day[tree])
    counted = np.nan_to_num(numbers(sightings.table, "count")[at], nan=0.0)
    size = int(body.max()) + 1
    known, most = np.zeros(size, np.bool_), np.zeros(size)
    known[body[~since]] = True
    np.maximum.at(most, body[~since], counted[~since])
    # Bodies that nobody counted before are not more than they were.
    more = (most[body] > 0) & (counted > most[body])
    worse = since & (~known[body] | more)
    np.maximum.at(found, tree[worse], seen[worse])
    return found


def _worse_words(day: Ints, evidence: Evidence) -> Ints:
    """Latest day after that of the tree on which a part was called worse than before, (trees,)."""
    found = np.full(len(day), NO_DAY)
    spoken = evidence.spoken
    at = np.flatnonzero(~np.isin(spoken.witness, (FUNGUS, MECHANICS)))
    tree, word, seen = spoken.tree[at], spoken.word[at], spoken.seen_on[at]
    since = (day[tree] != NO_DAY) & (seen > day[tree])
    place = tree * PARTS + spoken.part[at]
    keys, which = np.unique(place, return_inverse=True)
    which = which.reshape(-1)
    before = np.full(len(keys), int(FailureWord.IMPROBABLE))
    np.maximum.at(before, which[~since], word[~since])
    worse = since & (word > before[which])
    np.maximum.at(found, tree[worse], seen[worse])
    return found
