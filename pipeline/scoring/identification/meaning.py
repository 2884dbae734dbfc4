"""What an identification means: rot, parts, significance, action code, and who must look again.

Attachment stands before all: what grows loose on the ground says nothing of a tree's wood.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from pipeline.units import Flags, Floats, Ints

ROTS = ("none", "white", "brown", "soft", "unknown")
PHOTOGRAPHS = (
    "the upper side",
    "the pore side",
    "where it is attached",
    "a cut through it",
    "the whole tree",
)


class Decay(IntEnum):
    """Whether a sighting is evidence of decay in this tree."""

    NO = 0
    YES = 1
    UNSURE = 2


@dataclass(frozen=True)
class Traits:
    """What the taxa do, 'unlisted' last.

    Parameters
    ----------
    rot : place in ROTS, shape (taxa,).
    attacks : roots, butt, stem, branch, shape (taxa, 4).
    significance : for the stability of a tree, 0-5, NaN for 'unlisted', shape (taxa,).
    action_code : R0-R5 as 0-5, shape (taxa,).
    annual : fruits anew each year, shape (taxa,).
    """

    rot: Ints
    attacks: Flags
    significance: Floats
    action_code: Ints
    annual: Flags


@dataclass(frozen=True)
class Limits:
    """Limits of the rules, from config/published/key_limits.csv.

    Parameters
    ----------
    margin : lead of the first taxon below which an expert is asked where it matters [share].
    serious_from : action code from which a fungus is serious.
    serious_share : a serious fungus at least so probable matters [share].
    annual_years : an annual seen in so many years running is established.
    """

    margin: float
    serious_from: int
    serious_share: float
    annual_years: int


def rot_probability(posterior: Floats, traits: Traits) -> Floats:
    """Probability of each of ROTS, shape (sightings, 5)."""
    found: Floats = posterior @ np.eye(len(ROTS))[traits.rot]
    return found


def attack_probability(posterior: Floats, traits: Traits) -> Floats:
    """Probability that roots, butt, stem, branch are rotted, a lower bound, (sightings, 4)."""
    found: Floats = posterior @ traits.attacks.astype(np.float64)
    return found


def mean_significance(posterior: Floats, traits: Traits) -> Floats:
    """Mean significance over the listed taxa, 0-5, shape (sightings,)."""
    listed = posterior[:, :-1]
    total = listed.sum(axis=1)
    mean = listed @ traits.significance[:-1]
    found: Floats = np.where(total > 0, mean / np.where(total > 0, total, 1.0), 0.0)
    return found


def probability_of_serious(posterior: Floats, traits: Traits, limits: Limits) -> Floats:
    """Probability of a fungus whose action code is serious, shape (sightings,)."""
    found: Floats = posterior @ (traits.action_code >= limits.serious_from).astype(np.float64)
    return found


@dataclass(frozen=True)
class Attachments:
    """How a body sits, each shape (sightings,).

    Parameters
    ----------
    told : attached, soil over a root, free: what the observer says, each a flag.
    on_tree : the position told is on the tree.
    on_soil_over_root : the position told is the soil over a root.
    on_ground : the position told is soil, mulch or turf.
    shelf : its form is that of a shelf or hoof.
    """

    attached: Flags
    soil_over_root: Flags
    free: Flags
    on_tree: Flags
    on_soil_over_root: Flags
    on_ground: Flags
    shelf: Flags


def decay_evidence(sits: Attachments, posterior: Floats, traits: Traits) -> Ints:
    """Whether each sighting is evidence of decay in its tree: see Decay, shape (sightings,).

    Who says 'free' and names a place on the tree contradicts himself: unsure. A shelf on a tree is
    nearly always a fungus that decays wood; other bodies on a tree count unless they are most
    probably no wood-decay fungus.
    """
    contradicts = sits.free & (sits.on_tree | sits.attached | sits.soil_over_root)
    on_root = sits.soil_over_root | sits.on_soil_over_root
    fast = sits.attached | sits.on_tree
    harmless = rot_probability(posterior, traits)[:, ROTS.index("none")] > 0.5  # noqa: PLR2004 - more likely than not
    found = np.full(len(posterior), Decay.UNSURE, np.int64)
    found[sits.on_ground & ~on_root & ~fast] = Decay.NO
    found[on_root | fast | sits.shelf] = Decay.YES
    found[harmless & ~sits.shelf & (found == Decay.YES)] = Decay.UNSURE
    found[sits.free & ~contradicts] = Decay.NO
    found[contradicts] = Decay.UNSURE
    return found


def needs_expert(
    posterior: Floats, traits: Traits, limits: Limits, *, sure: float, odd: Flags
) -> Flags:
    """Sightings whose photographs belong before an expert, shape (sightings,).

    Where it matters (a serious fungus is probable enough, or two candidates ask for different
    action) and the first is not sure; where 'unlisted' leads; and where the record is odd.

    Parameters
    ----------
    sure : probability from which the first taxon counts as known [share].
    odd : contradictions, and names that no list holds, shape (sightings,).
    """
    top = np.argsort(posterior, axis=1)[:, -2:]
    lead = np.take_along_axis(posterior, top, axis=1)
    codes = traits.action_code[top]
    close = (lead[:, 1] - lead[:, 0] < limits.margin) & (codes[:, 0] != codes[:, 1])
    serious = probability_of_serious(posterior, traits, limits) >= limits.serious_share
    unlisted = top[:, 1] == posterior.shape[1] - 1
    found: Flags = odd | close | (serious & (lead[:, 1] < sure)) | unlisted
    return found


def least_years(layers: Floats, fruiting: Ints, running: Ints, traits: Traits) -> Floats:
    """Least age of the infection [years], shape (bodies,).

    Parameters
    ----------
    layers : most pore layers counted, NaN where nobody did; below 1 is no count, (bodies,).
    fruiting : most probable taxon, shape (bodies,).
    running : years running in which it was seen, shape (bodies,).
    """
    counted = np.where(np.nan_to_num(layers) >= 1, np.nan_to_num(layers), 0.0)
    counted = np.where(traits.annual[fruiting], 0.0, counted)
    return np.maximum(np.maximum(counted, running.astype(np.float64)), 1.0)


def established(fruiting: Ints, running: Ints, traits: Traits, limits: Limits) -> Flags:
    """Annuals seen in enough years running, shape (bodies,)."""
    found: Flags = traits.annual[fruiting] & (running >= limits.annual_years)
    return found


def years_running(body: Ints, year: Ints, *, bodies: int) -> Ints:
    """Longest run of years in which each body was seen, shape (bodies,)."""
    pairs = np.unique(np.column_stack([body, year]), axis=0)
    longest = np.zeros(bodies, np.int64)
    if not len(pairs):
        return longest
    breaks = np.ones(len(pairs), np.bool_)
    breaks[1:] = (np.diff(pairs[:, 0]) != 0) | (np.diff(pairs[:, 1]) != 1)
    start = np.flatnonzero(breaks)
    length = np.diff(np.append(start, len(pairs)))
    np.maximum.at(longest, pairs[start, 0], length)
    return longest
