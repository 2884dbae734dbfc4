"""States that no action rule speaks of: found exactly, by taking the rules off all states.

A state gives each column of the conditions one of its values. Rules and demands are boxes of such
values; what is left of a demand when all its rules are taken off is a hole.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pipeline.scoring.actions.candidates import DUE, MAKE_SAFE, PRESUME, TEST, WATCH, WORK
from pipeline.scoring.actions.candidates import ActionRule as Rule
from pipeline.scoring.actions.rules import Condition
from pipeline.terms import ActionCode, FailureWord, OccupancyWord, Part, RatingWord

Box = Mapping[str, frozenset[float]]

ROT_COUNT = 4
NO, HERE, ELSEWHERE = 0.0, 1.0, 2.0
_EXTREME = int(RatingWord.EXTREME)
_HIGHEST = int(FailureWord.IMMINENT)


@dataclass(frozen=True, slots=True)
class Demand:
    """States for which the rules of some phases must have an answer."""

    of: str
    condition: Condition
    phases: tuple[int, ...]
    actions: tuple[str, ...] = ()


# What is improbable to fail, low and without a fungus of note is left to the cycle of inspections.
DEMANDS = (
    Demand("make it safe", Condition(failure_from=_HIGHEST), (MAKE_SAFE,)),
    Demand("make it safe", Condition(rating_from=_EXTREME), (MAKE_SAFE,)),
    Demand(
        "remove it where nothing gentler suffices",
        Condition(failure_from=int(FailureWord.POSSIBLE), rating_from=int(RatingWord.MODERATE)),
        (PRESUME, DUE, WORK),
        ("remove",),
    ),
    *(
        Demand("do, test or watch it", condition, (PRESUME, DUE, WORK, TEST, WATCH))
        for condition in (
            Condition(failure_from=int(FailureWord.POSSIBLE)),
            Condition(code_from=int(ActionCode.R1)),
            Condition(rating_from=int(RatingWord.MODERATE)),
        )
    ),
)


def hole(rules: Sequence[Rule]) -> tuple[Demand, dict[str, float]] | None:
    """A demand that the rules leave open, with a state that none answers; None without one."""
    axes = _axes(rules)
    for demand in DEMANDS:
        answering = [
            box
            for rule in rules
            if rule.phase in demand.phases and (not demand.actions or rule.action in demand.actions)
            for box in _boxes(rule.condition, axes)
        ]
        # The widest first: most states are answered by few rules.
        answering.sort(key=len)
        for box in _boxes(demand.condition, axes):
            left = _left({**axes, **box}, answering)
            if left is not None:
                return demand, left
    return None


def _axes(rules: Sequence[Rule]) -> dict[str, frozenset[float]]:
    """All values of each column of the conditions; certainties at their limits and below."""
    conditions = [rule.condition for rule in rules]
    axes = {
        "part": _numbers(range(len(Part))),
        "failure": _numbers(range(_HIGHEST + 1)),
        "rating": _numbers(range(1, _EXTREME + 1)),
        "action_code": _numbers(range(len(ActionCode))),
        "certainty": frozenset({0.0, *(c.certainty_from for c in conditions)}),
        "rot": _numbers(range(ROT_COUNT)),
        "measured": _numbers(range(2)),
        "occupancy": _numbers(range(1, int(OccupancyWord.CONSTANT) + 1)),
    }
    for bit in _bits(_any(conditions, lambda c: c.defects | c.not_defects)):
        axes[f"defect {bit}"] = frozenset({NO, HERE, ELSEWHERE})
    for bit in _bits(_any(conditions, lambda c: c.target_kinds)):
        axes[f"target {bit}"] = frozenset({NO, HERE})
    return axes


def _boxes(condition: Condition, axes: Box) -> list[Box]:
    """The boxes that a condition is the union of: one for each of the defects, then targets."""
    bounds = {
        "failure": (condition.failure_from, condition.failure_to),
        "rating": (condition.rating_from, _EXTREME),
        "action_code": (condition.code_from, max(ActionCode)),
        "certainty": (condition.certainty_from, max(axes["certainty"])),
        "occupancy": (condition.occupancy_from, int(OccupancyWord.CONSTANT)),
    }
    box = {
        name: frozenset(x for x in axes[name] if low <= x <= high)
        for name, (low, high) in bounds.items()
    }
    if condition.parts:
        box["part"] = _numbers(condition.parts)
    if condition.rots:
        box["rot"] = _numbers(condition.rots)
    if condition.unmeasured:
        box["measured"] = _numbers([0])
    for bit in _bits(condition.not_defects):
        box[f"defect {bit}"] = frozenset({NO})
    boxes = [{name: kept for name, kept in box.items() if kept != axes[name]}]
    for kind, bits in (("defect", condition.defects), ("target", condition.target_kinds)):
        if bits:
            boxes = [
                {**one, f"{kind} {bit}": frozenset({HERE})}
                for one in boxes
                for bit in _bits(bits)
                if HERE in one.get(f"{kind} {bit}", {HERE})
            ]
    return list(boxes)


def _left(box: dict[str, frozenset[float]], taken: Sequence[Box]) -> dict[str, float] | None:
    """A state of a box that none of the boxes taken off holds, None without one."""
    for number, one in enumerate(taken):
        if any(not box[axis] & kept for axis, kept in one.items()):
            continue
        rest = taken[number + 1 :]
        inside = dict(box)
        for axis, kept in one.items():
            outside = inside[axis] - kept
            if outside:
                found = _left({**inside, axis: outside}, rest)
                if found is not None:
                    return found
            inside[axis] = inside[axis] & kept
        return None
    return {axis: min(values) for axis, values in box.items()}


def _numbers(values: Sequence[int]) -> frozenset[float]:
    return frozenset(float(value) for value in values)


def _any(conditions: Sequence[Condition], bits: Callable[[Condition], int]) -> int:
    found = 0
    for condition in conditions:
        found |= bits(condition)
    return found


def _bits(value: int) -> list[int]:
    return [bit for bit in range(value.bit_length()) if value >> bit & 1]
