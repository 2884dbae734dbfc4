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
    """Standing decisions, each shape (trees,) but the last.

    Parameters
    ----------
    kind : place in inputs.DECISIONS, -1 without one.
    decided_on : its day.
    action : place in inputs.ACTIONS that an override names, -1 if none.
    rating : rating word that an override names, -1 if none.
    acknowledged_on : day on which make-safe was acknowledged.
    unread : rows of ingest.decisions whose override names neither action nor rating.
    """

    kind: Ints
    decided_on: Ints
    action: Ints
    rating: Ints
    acknowledged_on: Ints
    unread: Ints


def read_decisions(table: pa.Table, *, count: int, today: int) -> Decisions:
    """The last row of each tree stands, while it holds; later rows stand over earlier ones."""
    tree, day = whole(table, "tree_key"), days(table, "decided_on")
    kind, until = codes(table, "decision", inputs.DECISIONS), days(table, "until")
    holds = (tree >= 0) & (day <= today) & ((until == NO_DAY) | (until >= today))
    acknowledges = (kind == _ACKNOWLEDGE) & (tree >= 0) & (day <= today)
    rows = np.flatnonzero(holds & (kind != _ACKNOWLEDGE))
    last = np.full(count, -1, np.int64)
    np.maximum.at(last, tree[rows], rows)
    known = last >= 0
    action, rating = _meanings(table)
    unread = np.flatnonzero((kind == OVERRIDE) & (action < 0) & (rating < 0))

    def standing(values: Ints) -> Ints:
        taken = values[np.maximum(last, 0)] if len(values) else np.full(count, -1, np.int64)
        return np.where(known, taken, -1)

    is_override = standing(kind) == OVERRIDE
    return Decisions(
        kind=standing(kind),
        decided_on=standing(day),
        action=np.where(is_override, standing(action), -1),
        rating=np.where(is_override, standing(rating), -1),
        acknowledged_on=latest(np.where(acknowledges, tree, -1), day, count),
        unread=unread,
    )


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


def contradicted(decisions: Decisions, evidence_on: Ints) -> Flags:
    """Trees on which something was seen after the standing decision; shape (trees,)."""
    newer: Flags = (decisions.kind >= 0) & (evidence_on > decisions.decided_on)
    return newer
