"""The statements behind a rating: which there are, what values each carries, in which link.

A fact is a statement id with values and its source; the sentence is made where pages are made. The
links are the knots of the thread: seen, fungus, wood, failure, target, consequence, rating, action.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from functools import lru_cache
from itertools import repeat

import numpy as np
import numpy.typing as npt

from pipeline.terms import word
from pipeline.units import Flags, Ints

LINKS = ("seen", "fungus", "wood", "failure", "target", "consequence", "rating", "action")

_WHY = (
    "why_failure_imminent",
    "why_rating_extreme",
    "why_brown_rot_meanwhile",
    "why_brown_rot_presumed",
    "why_prune_reaches",
    "why_reduce_reaches",
    "why_move_reaches",
    "why_habitat_pole_reaches",
    "why_dead_tree",
    "why_nothing_gentler",
    "why_roots_unseen",
    "why_anchorage_unknown",
    "why_drill_under_reads",
    "why_extent_unknown",
    "why_look_closely",
    "why_name_uncertain",
    "why_retain",
    "why_never_inspected",
    "why_overdue",
    "why_due",
    "why_decision",
)
_NO_CLIMB = (
    "no_climb_code",
    "no_climb_rot",
    "no_climb_probable",
    "no_climb_dead",
    "no_climb_roots",
)

_HOLDS = ("part", "p1", "p1_low", "p1_high", "p3")

# Statement id -> (link, names of its values). A value that is not known is null.
STATEMENTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "seen_not_rated": ("seen", ("status",)),
    "seen_never": ("seen", ()),
    "seen_overdue": ("seen", ()),
    "seen_no_defect": ("seen", ()),
    "seen_inspected_only": ("seen", ()),
    "seen_sighting": (
        "seen",
        ("name", "seen_on", "position", "count", "match", "share", "attachment"),
    ),
    "seen_told": ("seen", ("name", "seen_on", "position", "origin", "quoted")),
    "seen_defect": ("seen", ("defect", "part", "seen_on", "extent_share", "signs")),
    "seen_note": ("seen", ("defect", "part", "quoted")),
    "seen_column": ("seen", ("defect", "part", "quoted", "seen_on")),
    "seen_dead_by_inventory": ("seen", ()),
    "seen_section": ("seen", ("part", "diameter_cm", "shell_cm", "opening_share", "seen_on")),
    "seen_height_filled": ("seen", ("height_m",)),
    "seen_height_assumed": ("seen", ("height_m",)),
    "seen_dbh_filled": ("seen", ("dbh_cm",)),
    "fungus_at_work": ("fungus", ("name", "probability", "rot", "code", "part")),
    "fungus_no_decay": ("fungus", ("name",)),
    "fungus_candidates": ("fungus", ("names", "probabilities", "unlisted", "sightings")),
    "fungus_decided_by": ("fungus", ("name", "beside", "decided_by", "against")),
    "fungus_next_look": ("fungus", ("character", "look")),
    "fungus_least_age": ("fungus", ("years", "running", "established")),
    "wood_measured": ("wood", ("part", "decayed_share", "shell_cm", "diameter_cm")),
    "wood_formula": ("wood", ("part", "formula", "value_share", "limit_share", "passed")),
    "wood_not_measured": ("wood", ("part",)),
    "wood_at_least": ("wood", ("part", "why_above")),
    "wood_left": (
        "wood",
        (
            "part",
            "median_share",
            "tenth_share",
            "ninetieth_share",
            "mean_share",
            "probability_beyond",
            "beyond_share",
        ),
    ),
    "failure_rule": ("failure", ("part", "failure", "rule", "witness", "seen_on")),
    "failure_act_at_once": ("failure", ("part",)),
    "failure_frequency": ("failure", ("failure", "low_share", "high_share", "years")),
    "failure_unknown": ("failure", ()),
    "holds_part": ("failure", (*_HOLDS, "failure", "critical_gust_m_per_s", "factor_either_way")),
    "holds_branch": ("failure", _HOLDS),
    "holds_filled": ("failure", ("height_m", "crown_m", "height_filled", "crown_filled")),
    "holds_climate": ("failure", ("region", "terrain", "gust_50_m_per_s", "wet", "told")),
    "holds_not_applicable": ("failure", ("reason",)),
    "holds_witnesses": ("failure", ("part", "seen", "computed")),
    "holds_witnesses_apart": ("failure", ("part", "seen", "computed")),
    "target_met": (
        "target",
        ("kind", "name", "distance_m", "occupancy", "occupied_share", "direction_share", "impact"),
    ),
    "target_more": ("target", ("count",)),
    "target_busiest": ("target", ("occupancy",)),
    "target_assumed": ("target", ("occupancy",)),
    "target_none_in_reach": ("target", ()),
    "consequence_of_part": ("consequence", ("part", "diameter_cm", "target", "consequence")),
    "consequence_size_filled": ("consequence", ("diameter_cm",)),
    "rating_of_pair": (
        "rating",
        ("failure", "impact", "likelihood", "consequence", "rating"),
    ),
    "rating_points": ("rating", ("points", "rating")),
    "rating_not_assessed": ("rating", ()),
    "rating_low_no_defect": ("rating", ()),
    "rating_none": ("rating", ()),
    "rating_harm": ("rating", ("harm", "harm_low", "harm_high")),
    "rating_range": (
        "rating",
        ("share_low", "share_moderate", "share_high", "share_extreme"),
    ),
    "rating_rank": ("rating", ("rank", "rank_low", "rank_high", "ranked")),
    "rating_unknown": (
        "rating",
        (
            "most",
            "variance_fungus",
            "variance_extent",
            "variance_wind",
            "variance_occupancy",
        ),
    ),
    "rating_apart": ("rating", ("over", "under", "link", "factor")),
    "rating_overridden": ("rating", ("rating", "program_rating", "decided_on")),
    "action_chosen": (
        "action",
        ("action", "part", "crew", "hours", "deadline_days", "residual_rating"),
    ),
    "action_beside": ("action", ("action", "deadline_days")),
    "action_inspect": ("action", ("state",)),
    "test_worth": (
        "action",
        (
            "action",
            "part",
            "changes_share",
            "spares_share",
            "takes_share",
            "together_share",
            "also",
            "always",
            "without",
            "likeliest",
        ),
    ),
    "test_none_pays": ("action", ()),
    "action_none": ("action", ()),
    "action_make_safe": ("action", ("days", "acknowledged_on")),
    "action_program_would": ("action", ("action", "rating", "differs")),
    "decision_stands": ("action", ("decision", "value", "decided_on", "role", "reason", "until")),
    "decision_newer_evidence": ("action", ("decided_on", "seen_on", "what")),
    "season_closed": ("action", ("code", "not_before")),
    "season_ahead": ("action", ("code", "closed_from", "closed_to")),
    "season_lifted": ("action", ("code", "lifted_by")),
    "season_region_unknown": ("action", ()),
    "wires_near": ("action", ("wires", "voltage_v", "distance_m")),
    "wires_unknown": ("action", ()),
    # The `why` of the action rules, with the action that it speaks of.
    **dict.fromkeys(_WHY, ("action", ("action",))),
    **dict.fromkeys(_NO_CLIMB, ("action", ())),
    "no_climb_probable": ("action", ("part", "failure")),
}

_WHICH_TREE = (
    "name", "sighting", "told_id", "reports", "candidates", "host", "trees", "unlisted",
)  # fmt: skip
_DISAGREE = (
    "tree_id", "serious", "serious_by", "code", "other", "other_by", "tell_apart", "photographs",
)  # fmt: skip
_EXPERT = ("name", "sighting", "names", "probabilities", "photographs", "next_look")

# Review code -> (urgency, names of its values).
REVIEWS: dict[str, tuple[int, tuple[str, ...]]] = {
    "quarantine_danger": (0, ("words", "about", "reason")),
    "make_safe": (0, ("tree_id", "rating", "failure")),
    "sighting_serious_unmatched": (0, ("name", "sighting", "told_id", "code", "why")),
    "sighting_serious_ambiguous": (0, _WHICH_TREE),
    "sighting_ambiguous": (1, _WHICH_TREE),
    "sighting_conflict": (1, ("name", "sighting")),
    "sighting_host_conflict": (2, ("name", "sighting", "host", "tree_id", "genus")),
    "name_serious_uncertain": (1, (*_EXPERT, "code")),
    "fungus_reports_disagree": (1, _DISAGREE),
    "name_does_not_fit": (1, _EXPERT),
    "decision_contradicted": (1, ("tree_id", "decision", "decided_on", "seen_on", "what")),
    "decision_ended": (1, ("tree_id", "decision", "until")),
    "presumed_removal": (1, ("tree_id", "name")),
    "note_danger": (0, ("tree_id", "told")),
    "decision_unread": (2, ("value",)),
    "sighting_unmatched": (2, ("name", "sighting", "told_id", "why")),
    "sighting_id_unknown": (2, ("name", "sighting", "told_id", "tree_id")),
    "tree_not_standing": (2, ("name", "sighting")),
    "season_region_unknown": (2, ()),
    "witnesses_apart": (2, ("tree_id", "part", "seen", "computed")),
    "wind_unknown": (2, ("region", "terrain")),
    "place_doubtful": (2, ("count",)),
    "name_uncertain": (3, _EXPERT),
    "sighting_not_decay": (3, ("name", "sighting", "why")),
    "note_read": (3, ("tree_id", "told")),
}


@dataclass(frozen=True)
class Many:
    """Facts of one statement, told in one call; a city with evidence has half a million of them.

    Parameters
    ----------
    fact_set, order : set of each, and its place among those told together; both (facts,).
    values : by name a column of shape (facts,), or one value that all share.
    source, assumed : of each, or one that all share.
    """

    statement: str
    fact_set: Ints
    order: Ints
    values: Mapping[str, object] = field(default_factory=dict)
    source: str | list[str | None] | None = None
    assumed: bool | Flags = False


@dataclass
class Facts:
    """A growing list of facts; `sequence` counts within a set."""

    fact_set: list[int] = field(default_factory=list)
    sequence: list[int] = field(default_factory=list)
    link: list[str] = field(default_factory=list)
    statement: list[str] = field(default_factory=list)
    values: list[str] = field(default_factory=list)
    source: list[str | None] = field(default_factory=list)
    assumed: list[bool] = field(default_factory=list)
    _next: dict[int, int] = field(default_factory=dict)

    def add(
        self,
        fact_set: int,
        statement: str,
        values: Mapping[str, object] | None = None,
        *,
        source: str | None = None,
        assumed: bool = False,
    ) -> None:
        """Add one fact at the end of its set.

        Raises
        ------
        KeyError
            If the statement is not declared, or its values are not those declared: a bug.
        """
        link, told = _link(statement, values or {}), values or {}
        place = self._next.get(fact_set, 0)
        self._next[fact_set] = place + 1
        self.fact_set.append(fact_set)
        self.sequence.append(place)
        self.link.append(link)
        self.statement.append(statement)
        self.values.append(_ENCODED[statement](told))
        self.source.append(source)
        self.assumed.append(assumed)

    def tell(self, *told: Many) -> None:
        """Add facts of several statements at the end of their sets, in the order that each says.

        Raises
        ------
        KeyError
            As `add` does.
        """
        sets = np.concatenate([many.fact_set for many in told])
        by = np.lexsort((np.concatenate([many.order for many in told]), sets))
        own, first, count = np.unique(sets[by], return_index=True, return_counts=True)
        start = [self._next.get(one, 0) for one in own.tolist()]
        self._next.update(zip(own.tolist(), (start + count).tolist(), strict=True))
        place = np.empty(len(sets), np.int64)
        place[by] = np.arange(len(sets)) + np.repeat(np.array(start, np.int64) - first, count)
        self.fact_set += sets.tolist()
        self.sequence += place.tolist()
        for many in told:
            size = len(many.fact_set)
            self.link += [_link(many.statement, many.values)] * size
            self.statement += [many.statement] * size
            self.values += _many_values(many.values, size)
            self.source += many.source if isinstance(many.source, list) else [many.source] * size
            self.assumed += np.broadcast_to(many.assumed, size).tolist()


def _link(statement: str, values: Mapping[str, object]) -> str:
    """The link of a statement.

    Raises
    ------
    KeyError
        If it is not declared, or carries other values than those declared: a bug.
    """
    link, names = STATEMENTS[statement]
    if values.keys() != _NAMES[statement]:
        message = f"{statement} carries {sorted(values)}, declared {sorted(names)}"
        raise KeyError(message)
    return link


def _many_values(values: Mapping[str, object], size: int) -> list[str]:
    """`as_json` of each row of some columns."""
    columns: list[Iterator[str]] = []
    told = []
    for name in sorted(values):
        value = values[name]
        column = value.tolist() if isinstance(value, np.ndarray) else value
        told.append(f"{_quoted(name)}: ".replace("%", "%%") + "%s")
        if isinstance(column, list):
            columns.append(map(_text, column))
        else:
            columns.append(repeat(_text(column), size))
    if not columns:
        return ["{}"] * size
    pattern = "{" + ", ".join(told) + "}"
    return [pattern % row for row in zip(*columns, strict=True)]


def words_at(places: npt.NDArray[np.integer], words: Sequence[str | None]) -> list[str | None]:
    """The word at each place, shape (facts,)."""
    found: list[str | None] = np.array(words, object)[places].tolist()
    return found


def words_of(kind: type[IntEnum], values: npt.NDArray[np.integer]) -> list[str | None]:
    """The word of each value as people write it, shape (facts,)."""
    words: list[str | None] = [None] * (max(kind) + 1)
    for one in kind:
        words[one] = word(one)
    return words_at(values, words)


def as_json(values: Mapping[str, object]) -> str:
    """Values with sorted keys; numbers to four significant digits, as nobody knows more."""
    return _encoder(tuple(values))(values)


def _encoder(names: Sequence[str]) -> Callable[[Mapping[str, object]], str]:
    """What writes values of these names: a run tells millions of them, and names are known."""
    ordered = sorted(names)
    keys = [f"{', ' if n else ''}{json.dumps(name, ensure_ascii=False)}: "
            for n, name in enumerate(ordered)]  # fmt: skip
    pairs = list(zip(keys, ordered, strict=True))

    def encode(values: Mapping[str, object]) -> str:
        return "{" + "".join([key + _text(values[name]) for key, name in pairs]) + "}"

    return encode


def _text(value: object) -> str:
    """JSON of one value; what comes most often first."""
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, str):
        return _quoted(value)
    if value is None:
        return "null"
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    return json.dumps(value, sort_keys=True, ensure_ascii=False)


def _number(value: float) -> str:
    """Four digits as JSON writes them; what is not a number is unknown."""
    if value != value:  # noqa: PLR0124 - NaN
        return "null"
    short = f"{value:.4g}"
    # Such digits are already what the shortest form of the number looks like.
    return short if "." in short and "+" not in short else repr(float(short))


@lru_cache(maxsize=2**14)
def _quoted(text: str) -> str:
    """Words come again and again: parts, defects, names of fungi."""
    return json.dumps(text, ensure_ascii=False)


_NAMES = {statement: frozenset(names) for statement, (_, names) in STATEMENTS.items()}
_ENCODED = {statement: _encoder(names) for statement, (_, names) in STATEMENTS.items()}
