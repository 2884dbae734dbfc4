"""What people decided, laid beside what the program would say and never written over by it."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.scoring.assembly.columns import NO_DAY, codes, days, latest, texts, whole
from pipeline.tables import inputs
from pipeline.terms import RatingWord, word
from pipeline.units import Flags, Ints, Words

_ACKNOWLEDGE = inputs.DECISIONS.index("acknowledge")
OVERRIDE = inputs.DECISIONS.index("override")
_RATINGS = {word(w): int(w) for w in RatingWord}


@dataclass(frozen=True)
class Decisions:
    """Standing decisions, each shape (trees,) but the last three.

    Parameters
    ----------
    kind : place in inputs.DECISIONS of the decision that is shown, -1 without one: an override
        that stands, else the latest of the others.
    decided_on : its day.
    action : place in inputs.ACTIONS that an override names, -1 if none.
    rating : rating word that an override names, -1 if none.
    acknowledged_on : day on which make-safe was acknowledged.
    told : rows of ingest.decisions that stand, of each tree the latest of each kind, by tree.
    ended : rows of ingest.decisions that stood until their last day and do so no longer.
    unread : rows of ingest.decisions whose override names neither action nor rating.
    """

    kind: Ints
    decided_on: Ints
    action: Ints
    rating: Ints
    acknowledged_on: Ints
    told: Ints
    ended: Ints
    unread: Ints


def read_decisions(table: pa.Table, *, count: int, today: int) -> Decisions:
    """The latest row of each tree stands, while it holds; of one day the later row.

    What is to be done and when are two questions: a pin or a deferral takes no override away. A
    rating and an action are two as well. Only a later override of the same, or an acceptance of
    what the program says, stands over an override; nothing but its own last day ends it.
    """
    tree, day = whole(table, "tree_key"), days(table, "decided_on")
    kind, until = codes(table, "decision", inputs.DECISIONS), days(table, "until")
    made = (tree >= 0) & (day <= today)
    holds = made & ((until == NO_DAY) | (until >= today))
    order = np.lexsort((np.arange(len(day)), day))
    action, rating = _meanings(table)
    is_override = kind == OVERRIDE
    accepts = kind == inputs.DECISIONS.index("accept")

    def last(wanted: Flags) -> Ints:
        return _last(tree, order[(wanted & holds)[order]], count)

    def named(values: Ints) -> Ints:
        """Value that the latest override naming one gives, unless it was accepted since."""
        row = last(accepts | (is_override & (values >= 0)))
        return _taken(np.where(is_override, values, -1), row)

    by_action, by_rating = named(action), named(rating)
    stands = (by_action >= 0) | (by_rating >= 0)
    shown = np.where(stands, last(is_override), last(kind != _ACKNOWLEDGE))
    acknowledges = (kind == _ACKNOWLEDGE) & holds
    return Decisions(
        kind=_taken(kind, shown),
        decided_on=_taken(day, shown),
        action=by_action,
        rating=by_rating,
        acknowledged_on=latest(np.where(acknowledges, tree, -1), day, count),
        told=_told(tree, kind, order[holds[order]]),
        ended=_ended(tree, kind, until, order[made[order]], today=today),
        unread=np.flatnonzero(is_override & (action < 0) & (rating < 0)),
    )


def _last(place: Ints, rows: Ints, count: int) -> Ints:
    """Last of some rows at each of `count` places, -1 where there is none."""
    found = np.full(count, -1, np.int64)
    found[place[rows]] = rows
    return found


def _taken(values: Ints, rows: Ints) -> Ints:
    """Values of rows, -1 where the row is -1; shape of the rows."""
    return np.append(values, -1)[rows]


def _told(tree: Ints, kind: Ints, rows: Ints) -> Ints:
    """Latest row of each tree and kind among rows in order of their days, sorted by tree."""
    kinds = len(inputs.DECISIONS)
    places = kinds * (int(tree.max(initial=-1)) + 1)
    newest = _last(tree * kinds + kind, rows, places)
    return newest[newest >= 0]


def _ended(tree: Ints, kind: Ints, until: Ints, rows: Ints, *, today: int) -> Ints:
    """Rows that ended and after which nobody decided in the same way of the same tree."""
    kinds = len(inputs.DECISIONS)
    places = kinds * (int(tree.max(initial=-1)) + 1)
    newest = _last(tree * kinds + kind, rows, places)
    newest = newest[newest >= 0]
    return np.sort(newest[(until[newest] != NO_DAY) & (until[newest] < today)])


def _meanings(table: pa.Table) -> tuple[Ints, Ints]:
    """Action and rating that the told values name, -1 where none."""
    told = [(value or "").strip().lower() for value in texts(table, "value")]
    actions = {name: number for number, name in enumerate(inputs.ACTIONS)}
    action = [actions.get(value.replace(" ", "_").replace("-", "_"), -1) for value in told]
    rating = [_RATINGS.get(value.replace("_", " "), -1) for value in told]
    return np.array(action, np.int64), np.array(rating, np.int64)


def overridden_words(rating: Words, decisions: Decisions) -> Words:
    """Rating words with people's overrides in their places; shape (trees,)."""
    return np.where(decisions.rating >= 0, decisions.rating, rating).astype(np.int8)
