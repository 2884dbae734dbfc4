"""Trees of which nothing is known but a remark: it may worry, it may not reassure.

A remark is no look. It ends no inspection that is due, and calls no tree low that nobody has seen.
"""

from dataclasses import replace

import numpy as np

from pipeline.scoring.actions.inspection import DUE, NOT_DUE
from pipeline.scoring.assembly.bodies import Sightings
from pipeline.scoring.assembly.evidence import Evidence
from pipeline.scoring.assembly.looked import Looked
from pipeline.scoring.assembly.looks import Looks
from pipeline.scoring.assembly.ratings import Rated
from pipeline.scoring.assembly.works import Works
from pipeline.tables import inputs
from pipeline.terms import RatingWord
from pipeline.units import Flags, Ints, Words

_MONITOR = inputs.ACTIONS.index("retain_monitor")


def heard_only(
    sightings: Sightings, looks: Looks, evidence: Evidence, *, none_seen: int, count: int
) -> Flags:
    """Trees whose evidence is remarks and nothing else, shape (count,).

    Parameters
    ----------
    none_seen : the defect that says that nothing was found.
    """
    found = np.zeros(count, np.bool_)
    found[evidence.trees] = True
    row = looks.seen.evidence
    told = ~looks.hearsay[row] & (looks.defects.defect[row] != none_seen)
    found[looks.seen.tree[told]] = False
    found[looks.strength_said.tree] = False
    found[sightings.tree[sightings.speaks & ~sightings.hearsay]] = False
    return found


def not_called_low(rated: Rated, heard: Flags, looked: Looked) -> Rated:
    """The ratings, without a 'low' that rests on a remark about a tree that nobody assessed."""
    low = heard & ~looked.assessed & (rated.program == RatingWord.LOW)
    program = np.where(low, np.int8(RatingWord.NOT_ASSESSED), rated.program)
    return replace(rated, program=program.astype(np.int8))


def still_inspected(works: Works, main: Ints, heard: Flags, looked: Looked) -> tuple[Works, Ints]:
    """Actions and main actions, without 'retain and monitor' in place of an inspection due.

    Parameters
    ----------
    main : row of `works` of each tree with evidence, -1 without one.
    """
    due = heard & (looked.standing != NOT_DUE)
    instead = due[works.tree] & (works.action == _MONITOR)
    kept = replace(works, chosen=works.chosen & ~instead)
    if not len(instead):
        return kept, main
    return kept, np.where((main >= 0) & instead[np.maximum(main, 0)], -1, main)


def not_only_watched(
    works: Works, main: Ints, rating: Words, looked: Looked, keys: Ints, *, accepted: int
) -> tuple[Works, Ints, Words]:
    """Trees above the accepted rating that nothing but watching was found for are looked at.

    Parameters
    ----------
    main : row of `works` of each tree with evidence, -1 without one; keys : of these trees.
    rating : rating that stands, (trees,).

    Returns
    -------
    Actions, main actions, and the standing of each tree, with these trees due.
    """
    if not len(works.action):
        return works, main, looked.standing
    watched = (main >= 0) & (works.action[np.maximum(main, 0)] == _MONITOR)
    open_still = watched & (rating[keys] > accepted)
    chosen = works.chosen.copy()
    chosen[main[open_still]] = False
    standing = looked.standing.copy()
    due = keys[open_still]
    standing[due] = np.where(standing[due] == NOT_DUE, DUE, standing[due])
    return replace(works, chosen=chosen), np.where(open_still, -1, main), standing
