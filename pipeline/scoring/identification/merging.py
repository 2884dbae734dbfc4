"""Reports of one fruiting body by several people, found before anybody knows its tree.

On a tree that is known, `bodies` puts together what one fungus explains. Where the tree is not
known, three reports of one conk would speak three times for each tree around. Here a report joins
another where nothing speaks against their being of one body: place, tree, fungus, date, height,
part and observer are each asked, and one clear no is enough.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import cKDTree

from pipeline.scoring.identification.trees import UNLISTED_TREE, CandidateTrees
from pipeline.units import Flags, Floats, Ints

# Reports that look for their leader together: bounds memory, changes no result.
BLOCK = 1 << 10
_STEP = 8 * BLOCK


@dataclass(frozen=True)
class MergeLimits:
    """From which difference two reports are of two bodies, from config/published/which_tree.csv.

    Parameters
    ----------
    within : share of the distances of one place that are called one place.
    cap_m : places farther apart are two, and a place less accurate than this counts for none.
    same_tree : least overlap of the candidate trees [share].
    same_fungus : one taxon must explain both so many times better than two do.
    season_days, height_m, height_share : most difference of an annual's dates, and of heights.
    """

    within: float
    cap_m: float
    same_tree: float
    same_fungus: float
    season_days: float
    height_m: float
    height_share: float


@dataclass(frozen=True)
class Reports:
    """Reports, all with first axis (reports,).

    Parameters
    ----------
    xy : place [m], shape (reports, 2), NaN where it says nothing; a report joined to a tree by
        its id alone has the tree's.
    sigma_m : standard deviation of it per axis [m].
    trees : probability of each tree, one row a report, one column a tree and one for a tree that
        is not in the inventory; see `tree_shares`.
    posterior, expected : of the taxa after and before what was seen, shape (reports, taxa).
    day : day number, negative where it is not known.
    height_m : above the ground [m], NaN untold.
    parts : parts that the position told means, none where untold, shape (reports, parts).
    observer : number, -1 untold.
    """

    xy: Floats
    sigma_m: Floats
    trees: csr_array
    posterior: Floats
    expected: Floats
    day: Ints
    height_m: Floats
    parts: Flags
    observer: Ints


def tree_shares(
    candidates: CandidateTrees, probability: Floats, *, reports: int, trees: int
) -> csr_array:
    """Probabilities of the trees as a sparse matrix, shape (reports, trees + 1).

    A report without candidates stands on a tree that is not in the inventory.
    """
    none = np.flatnonzero(np.bincount(candidates.sighting, minlength=reports) == 0)
    column = np.where(candidates.tree == UNLISTED_TREE, trees, candidates.tree)
    return csr_array(
        (
            np.concatenate([probability, np.ones(len(none))]),
            (
                np.concatenate([candidates.sighting, none]),
                np.concatenate([column, np.full(len(none), trees)]),
            ),
        ),
        shape=(reports, trees + 1),
    )


def near_others(xy: Floats, of_interest: Flags, *, cap_m: float) -> Ints:
    """Rows that are of interest or within the cap of one that is, and have another near; sorted.

    Parameters
    ----------
    xy : places [m], shape (rows, 2), NaN where there is none.
    """
    placed = np.isfinite(xy).all(axis=1)
    wanted = np.flatnonzero(placed & of_interest)
    if not len(wanted):
        return wanted
    rest = np.flatnonzero(placed & ~of_interest)
    index = cKDTree(xy[wanted])
    if len(rest):
        apart, _ = index.query(xy[rest], distance_upper_bound=cap_m)
        rest = rest[np.isfinite(apart)]
    kept = np.sort(np.concatenate([wanted, rest]))
    about = cKDTree(xy[kept]).query_ball_point(xy[kept], cap_m, return_length=True)
    return np.asarray(kept[np.asarray(about) > 1], np.int64)


def one_body(one: Ints, other: Ints, reports: Reports, annual: Flags, limits: MergeLimits) -> Flags:
    """Pairs of reports that may be of one fruiting body, shape (pairs,).

    Parameters
    ----------
    annual : taxa that fruit anew each year, shape (taxa,).
    """
    found = _places_agree(one, other, reports, limits) & _told_agrees(one, other, reports, limits)
    rest = np.flatnonzero(found)
    for start in range(0, len(rest), _STEP):
        at = rest[start : start + _STEP]
        found[at] = _trees_overlap(one[at], other[at], reports) >= limits.same_tree
        found[at] &= _fungi_agree(one[at], other[at], reports, annual, limits)
    return found


def leaders(
    joinable: Flags, certain: Floats, reports: Reports, annual: Flags, limits: MergeLimits
) -> Ints:
    """The report that each joins, itself where it leads a body; shape (reports,).

    Those that are not joinable (their tree is known) lead and join none. Of the others the most
    certain of its tree comes first; each joins the first leader that may be of its body.

    Parameters
    ----------
    certain : probability of the best tree, shape (reports,).
    """
    leader = np.arange(len(joinable))
    usable = np.isfinite(reports.xy).all(axis=1) & np.isfinite(reports.sigma_m)
    fixed = np.flatnonzero(usable & ~joinable)
    free = np.flatnonzero(usable & joinable)
    free = free[np.lexsort((free, -certain[free]))]
    leads = fixed
    for start in range(0, len(free), BLOCK):
        block = free[start : start + BLOCK]
        rank, first = _pairs(block, leads, reports, limits)
        good = one_body(block[rank], leads[first], reports, annual, limits)
        block = _joined(block, rank[good], leads[first[good]], leader)
        mine, before = _pairs(block, block, reports, limits)
        earlier = before < mine
        mine, before = mine[earlier], before[earlier]
        good = one_body(block[mine], block[before], reports, annual, limits)
        own = _first_leaders(len(block), mine[good], before[good])
        leader[block] = block[own]
        leads = np.concatenate([leads, block[own == np.arange(len(block))]])
    return leader


def _joined(block: Ints, rank: Ints, lead: Ints, leader: Ints) -> Ints:
    """Enter the first leader of each of the block, and return those that found none."""
    order = np.lexsort((np.arange(len(rank)), rank))
    which, at = np.unique(rank[order], return_index=True)
    leader[block[which]] = lead[order][at]
    return np.delete(block, which)


def _first_leaders(count: int, later: Ints, earlier: Ints) -> Ints:
    """Place of the leader of each: the first before it that leads, or itself.

    One after the other this is a loop over all; here all whose turn has come are settled at once.
    """
    leader = np.full(count, -1, np.int64)
    order = np.lexsort((earlier, later))
    later, earlier = later[order], earlier[order]
    while (leader < 0).any():
        # A pair bears on its later one until the earlier one is known to follow another.
        bears = (leader[earlier] < 0) | (leader[earlier] == earlier)
        later, earlier = later[bears], earlier[bears]
        open_pairs = leader[later] < 0
        later, earlier = later[open_pairs], earlier[open_pairs]
        which, at = np.unique(later, return_index=True)
        waits = np.zeros(count, np.bool_)
        waits[which] = True
        alone = (leader < 0) & ~waits
        leader[alone] = np.flatnonzero(alone)
        settled = leader[earlier[at]] == earlier[at]
        leader[which[settled]] = earlier[at[settled]]
    return leader


def _pairs(some: Ints, others: Ints, reports: Reports, limits: MergeLimits) -> tuple[Ints, Ints]:
    """Places in both lists whose points are within the cap, ordered by both."""
    if not len(some) or not len(others):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    pairs = cKDTree(reports.xy[some]).sparse_distance_matrix(
        cKDTree(reports.xy[others]), limits.cap_m, output_type="ndarray"
    )
    order = np.lexsort((pairs["j"], pairs["i"]))
    return pairs["i"][order].astype(np.int64), pairs["j"][order].astype(np.int64)


def _places_agree(one: Ints, other: Ints, reports: Reports, limits: MergeLimits) -> Flags:
    apart = np.hypot(*(reports.xy[one] - reports.xy[other]).T)
    sigma = np.hypot(reports.sigma_m[one], reports.sigma_m[other])
    allowed = math.sqrt(-2.0 * math.log(1.0 - limits.within)) * sigma
    agree: Flags = apart <= np.minimum(allowed, limits.cap_m)
    return agree


def _told_agrees(one: Ints, other: Ints, reports: Reports, limits: MergeLimits) -> Flags:
    """Height, part and observer: what is untold contradicts nothing."""
    height = np.abs(reports.height_m[one] - reports.height_m[other])
    greater = np.maximum(reports.height_m[one], reports.height_m[other])
    apart = height > np.maximum(limits.height_m, limits.height_share * greater)
    parts = reports.parts[one], reports.parts[other]
    told = parts[0].any(axis=1) & parts[1].any(axis=1)
    elsewhere = told & ~(parts[0] & parts[1]).any(axis=1)
    # Who writes two rows on one day has seen two bodies.
    same = (reports.observer[one] >= 0) & (reports.observer[one] == reports.observer[other])
    twice = same & (reports.day[one] == reports.day[other]) & (reports.day[one] >= 0)
    agree: Flags = ~apart & ~elsewhere & ~twice
    return agree


def _trees_overlap(one: Ints, other: Ints, reports: Reports) -> Floats:
    root = reports.trees.sqrt()
    both: Floats = np.asarray(root[one].multiply(root[other]).sum(axis=1), np.float64).reshape(-1)
    return both


def _fungi_agree(
    one: Ints, other: Ints, reports: Reports, annual: Flags, limits: MergeLimits
) -> Flags:
    """One taxon explains both, and it may fruit as long as the dates are apart."""
    both = reports.posterior[one] * reports.posterior[other] / reports.expected[other]
    ratio = both.sum(axis=1)
    days = np.abs(reports.day[one] - reports.day[other])
    late = (reports.day[one] >= 0) & (reports.day[other] >= 0) & (days > limits.season_days)
    yearly = both @ annual.astype(np.float64)
    dies = yearly > ratio - yearly
    agree: Flags = (ratio >= limits.same_fungus) & ~(late & dies)
    return agree
