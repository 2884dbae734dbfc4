"""Rule tables of actions, seasons, hours and cycles, as the objects of the maths."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from pipeline.errors import PublishedValueError
from pipeline.published.table import Library, PublishedTable
from pipeline.scoring.actions.candidates import INSPECT, PHASES, RESIDUALS, TEST, ActionRule
from pipeline.scoring.actions.clearance import Approach
from pipeline.scoring.actions.effort import NO_DEADLINE, Deadlines, WorkTimes
from pipeline.scoring.actions.holes import ELSEWHERE, hole
from pipeline.scoring.actions.inspection import Cycles, Prior, Sooner
from pipeline.scoring.actions.restrictions import NEVER, Restriction
from pipeline.scoring.actions.results import ResultLaw
from pipeline.scoring.actions.rules import Condition, NoClimbRule
from pipeline.scoring.parameters.read import bits, one_word, place, several
from pipeline.scoring.parameters.targets import SIZES
from pipeline.tables import inputs
from pipeline.terms import ActionCode, FailureWord, OccupancyWord, RatingWord, word
from pipeline.units import LENGTH_IN_CM

PRIOR_STATES = (*inputs.CONDITIONS, "unknown")
ROT_WORDS = ("unknown", "white", "brown", "soft")
# Of tests: where the result may change what is done, or wherever the rule speaks.
ASKED = ("", "always")
INSPECT_RULES = ("inspect_never", "inspect_overdue", "inspect_due")
_PARTS = inputs.PARTS
_LEAP_YEAR = 2028


@dataclass(frozen=True)
class WorkParameters:
    """What the choice of actions needs.

    Parameters
    ----------
    rules : rows of the action rules.
    inspect_rules : rows of INSPECT_RULES in `rules`.
    seasons : restrictions of the city's region.
    region_known : False means that the strictest windows of all regions are used.
    hours : by action.
    hard_factor : on removals over wires or without climbing.
    results : what tests may find, and from which chance of changing the action they are asked for.
    name_sure : certainty below which a fungus is put on the list that asks for photographs.
    """

    rules: tuple[ActionRule, ...]
    inspect_rules: tuple[int, int, int]
    no_climb: tuple[NoClimbRule, ...]
    seasons: tuple[Restriction, ...]
    region_known: bool
    hours: Mapping[str, WorkTimes]
    hard_factor: float
    deadlines: Deadlines
    cycles: Cycles
    sooner: Sooner
    approach: Approach
    prior: Prior
    results: ResultLaw
    name_sure: float


def work_parameters(library: Library, *, region: str) -> WorkParameters:
    """Everything from the library for a city's region.

    Raises
    ------
    PublishedValueError
        If a table does not hold what the maths needs.
    """
    rules = _rules(library.table("actions", folder="rules"))
    check_whole(rules)
    check_seen(rules, library.table("test_sees", folder="rules"))
    named = [rule.rule_id for rule in rules]
    missing = [name for name in INSPECT_RULES if name not in named]
    if missing:
        raise PublishedValueError(
            where="table actions",
            found=f"no rule {', '.join(missing)}",
            expected=f"the rules {', '.join(INSPECT_RULES)}",
            remedy="Mend the table or the override.",
        )
    factors = library.table("hour_factors", folder="rules")
    return WorkParameters(
        rules=rules,
        inspect_rules=(
            named.index(INSPECT_RULES[0]),
            named.index(INSPECT_RULES[1]),
            named.index(INSPECT_RULES[2]),
        ),
        no_climb=_no_climb(library.table("no_climb", folder="rules")),
        seasons=restrictions(library, region=region),
        region_known=bool(region),
        hours=_hours(library.table("hours", key=("action", "dbh_from_cm"), folder="rules")),
        hard_factor=factors.number("factor", case="wires_or_no_climb"),
        deadlines=_deadlines(library),
        cycles=_cycles(library),
        sooner=_sooner(library),
        approach=_approach(library),
        prior=_prior(library),
        results=_results(library),
        name_sure=library.table("review_limits").number("value", quantity="name_sure"),
    )


def _condition(t: PublishedTable, row: Mapping[str, str]) -> Condition:
    def bound(column: str, kind: type, empty: int) -> int:
        text = row.get(column, "")
        return one_word(t, column, text, kind) if text else empty

    code = row.get("action_code_from", "")
    return Condition(
        parts=several(t, "parts", row["parts"], _PARTS),
        failure_from=bound("failure_from", FailureWord, 0),
        failure_to=bound("failure_to", FailureWord, int(FailureWord.IMMINENT)),
        rating_from=bound("rating_from", RatingWord, 0),
        code_from=int(ActionCode[code]) if code else 0,
        certainty_from=float(row.get("certainty_from") or 0.0),
        rots=several(t, "rots", row["rots"], ROT_WORDS),
        defects=bits(t, "defects", row["defects"], inputs.DEFECTS),
        not_defects=bits(t, "not_defects", row.get("not_defects", ""), inputs.DEFECTS),
        unmeasured=place(t, "extent", row["extent"], ("", "unknown")) == 1,
        occupancy_from=bound("occupancy_from", OccupancyWord, 0),
        target_kinds=bits(t, "target_kinds", row.get("target_kinds", ""), inputs.ZONE_KINDS),
    )


def _rules(t: PublishedTable) -> tuple[ActionRule, ...]:
    made = []
    for row in t.rows:
        place(t, "action", row["action"], inputs.ACTIONS)
        place(t, "residual", row["residual"], RESIDUALS)
        made.append(
            ActionRule(
                rule_id=row["rule_id"],
                phase=place(t, "phase", row["phase"], PHASES),
                action=row["action"],
                condition=_condition(t, row),
                crew_type=row["crew_type"],
                machine=row["machine"],
                residual=row["residual"],
                residual_harm_share=t.number("residual_harm_share", rule_id=row["rule_id"]),
                always=place(t, "asked", row["asked"], ASKED) == 1,
                value_kept=t.number("value_kept", rule_id=row["rule_id"]),
                why=row["why"],
            )
        )
    # Phases order the candidates of a tree; within a phase the rows' order is that of gentleness.
    made.sort(key=lambda rule: rule.phase)
    if not any(rule.phase == INSPECT for rule in made):
        raise PublishedValueError(
            where="table actions",
            found="no rule of phase inspect",
            expected=f"the rules {', '.join(INSPECT_RULES)}",
            remedy="Mend the table or the override.",
        )
    return tuple(made)


def check_whole(rules: tuple[ActionRule, ...]) -> None:
    """Refuse action rules that leave a state without an answer, naming the state.

    Raises
    ------
    PublishedValueError
        If there is such a state.
    """
    found = hole(rules)
    if found is None:
        return
    demand, state = found
    raise PublishedValueError(
        where="table actions",
        found=f"no rule says how to {demand.of} in this state: {_state_words(state)}",
        expected="a rule for each state",
        remedy="Widen a row of config/rules/actions.csv, or its override, or add one.",
    )


_WORDS: Mapping[str, Callable[[float], str]] = {
    "part": lambda x: _PARTS[int(x)],
    "failure": lambda x: word(FailureWord(int(x))) if x else "not told",
    "rating": lambda x: word(RatingWord(int(x))),
    "action_code": lambda x: ActionCode(int(x)).name,
    "certainty": lambda x: f"{x:g}",
    "rot": lambda x: ROT_WORDS[int(x)],
    "measured": lambda x: ("no", "yes")[int(x)],
    "occupancy": lambda x: word(OccupancyWord(int(x))),
}


def _state_words(state: Mapping[str, float]) -> str:
    """A state as a city reads it; what is absent is left out."""
    told = [f"{name} {say(state[name])}" for name, say in _WORDS.items()]
    for name, value in state.items():
        kind, _, bit = name.partition(" ")
        if name in _WORDS or not value:
            continue
        named = inputs.DEFECTS if kind == "defect" else inputs.ZONE_KINDS
        where = " elsewhere on the tree" if value == ELSEWHERE else ""
        told.append(f"{kind} {named[int(bit)]}{where}")
    return ", ".join(told)


def check_seen(rules: tuple[ActionRule, ...], t: PublishedTable) -> None:
    """Refuse a test of a part that it cannot see.

    Raises
    ------
    PublishedValueError
        If a rule asks for one, or for a test of which the table does not know what it sees.
    """
    sees = {row["action"]: several(t, "parts", row["parts"], _PARTS) for row in t.rows}
    everywhere = tuple(range(len(_PARTS)))
    for rule in rules:
        if rule.phase != TEST:
            continue
        asked = rule.condition.parts or everywhere
        blind = [_PARTS[part] for part in asked if part not in sees.get(rule.action, ())]
        if blind:
            raise PublishedValueError(
                where=f"table actions, row {rule.rule_id}",
                found=f"{rule.action} of {', '.join(blind)}",
                expected="a test that can see the part (table test_sees)",
                remedy="Name in column parts only what the test can see.",
            )


def _no_climb(t: PublishedTable) -> tuple[NoClimbRule, ...]:
    return tuple(NoClimbRule(row["rule_id"], _condition(t, row), row["why"]) for row in t.rows)


def restrictions(library: Library, *, region: str) -> tuple[Restriction, ...]:
    """Restrictions for a region: of each concern the closest region; all of them without one.

    A region is a code such as 'us-mi'; 'us' is the region around it, and a row without region
    holds everywhere. A region that no row of a concern names takes all rows of that concern, the
    strictest reading.

    Raises
    ------
    PublishedValueError
        If a window is no month and day.
    """
    t = library.table("restrictions", folder="rules")
    kept = []
    for concern in dict.fromkeys(t.texts("concern")):
        rows = [row for row in t.rows if row["concern"] == concern]
        best = max((_closeness(row["region"], region) for row in rows), default=0)
        near = [row for row in rows if best and _closeness(row["region"], region) == best]
        kept += near or rows
    return tuple(_restriction(t, row) for row in kept)


def _closeness(regions: str, region: str) -> int:
    """Length of the longest region of a cell that holds the city's, 0 where none does."""
    if not regions:
        return 1
    around = [name for name in regions.split("|") if f"{region}-".startswith(f"{name}-")]
    return 1 + max((len(name) for name in around), default=-1)


def _restriction(t: PublishedTable, row: Mapping[str, str]) -> Restriction:
    lifted = row["lifted_from"]
    return Restriction(
        code=row["code"],
        genera=tuple(name for name in row["genera"].split("|") if name),
        closed_from=_month_day(t, row["closed_from"]),
        closed_to=_month_day(t, row["closed_to"]),
        actions=tuple(
            inputs.ACTIONS[n] for n in several(t, "actions", row["actions"], inputs.ACTIONS)
        ),
        lifted_from=(
            NEVER if lifted in {"", "never"} else one_word(t, "lifted_from", lifted, RatingWord)
        ),
        lifted_by=row["lifted_by"],
        note_words=tuple(name for name in row["note_words"].split("|") if name),
        defects=bits(t, "defects", row["defects"], inputs.DEFECTS),
    )


def _month_day(t: PublishedTable, text: str) -> tuple[int, int] | None:
    if not text:
        return None
    month, _, day = text.partition("-")
    try:
        date(_LEAP_YEAR, int(month), int(day))
    except ValueError:
        raise PublishedValueError(
            where=f"table {t.name}",
            found=repr(text),
            expected="month and day, as 04-15",
            remedy="Mend the table or the override.",
        ) from None
    return int(month), int(day)


def _hours(t: PublishedTable) -> Mapping[str, WorkTimes]:
    made = {}
    limits, work, setup = (t.numbers(c) for c in ("dbh_from_cm", "work_min", "setup_min"))
    names = np.array(t.texts("action"))
    for action in inputs.ACTIONS:
        rows = np.flatnonzero(names == action)
        if not len(rows):
            raise PublishedValueError(
                where="table hours",
                found=f"no hours for {action}",
                expected="at least one row for each action",
                remedy="Add a row with dbh_from_cm 0.",
            )
        rows = rows[np.argsort(limits[rows])]
        made[action] = WorkTimes(limits[rows], work[rows], setup[rows])
    return made


def _deadlines(library: Library) -> Deadlines:
    t, codes = library.table("deadlines"), library.table("action_codes")
    days = dict(zip(t.texts("case"), t.numbers("days"), strict=True))
    look = dict(zip(codes.texts("action_code"), codes.numbers("look_within_days"), strict=True))
    return Deadlines(
        by_rating=np.array([int(days.get(word(r), NO_DEADLINE)) for r in RatingWord], np.int64),
        make_safe=int(t.number("days", case="make_safe")),
        look_within=np.array(
            [int(np.nan_to_num(look[code.name], nan=NO_DEADLINE)) for code in ActionCode], np.int64
        ),
    )


def _cycles(library: Library) -> Cycles:
    t = library.table("inspection_cycles", key=("occupancy", "size"))
    return Cycles(
        np.array(
            [
                [t.number("cycle_years", occupancy=word(w), size=size) for size in SIZES]
                for w in OccupancyWord
            ]
        )
    )


def _sooner(library: Library) -> Sooner:
    t = library.table("inspection_rules", key=("quantity", "of"))
    years = {
        row["of"]: t.number("value", quantity="most_years", of=row["of"])
        for row in t.rows
        if row["quantity"] == "most_years"
    }
    return Sooner(
        by_rating=np.array([years.get(word(one), np.inf) for one in RatingWord]),
        by_code=np.array([years.get(one.name, np.inf) for one in ActionCode]),
        square_m=t.number("value", quantity="square", of="any"),
    )


def _approach(library: Library) -> Approach:
    t = library.table("approach")
    least, more = (t.number("value", quantity=name) for name in ("least", "more"))
    return Approach(
        to_kv=t.number("value", quantity="to_kv"),
        least_m=least * LENGTH_IN_CM["ft"] / LENGTH_IN_CM["m"],
        more_m=more * LENGTH_IN_CM["in"] / LENGTH_IN_CM["m"],
        step_kv=t.number("value", quantity="step"),
    )


def _results(library: Library) -> ResultLaw:
    t = library.table("test_results", key=("test", "quantity"))
    return ResultLaw(
        classes=int(t.number("value", test="any", quantity="classes")),
        azimuths=int(t.number("value", test="drill", quantity="azimuths")),
        dug_error=t.number("value", test="dig_root_collar", quantity="error"),
        pull_error=t.number("value", test="pull_test", quantity="error"),
        pull_classes=(
            t.number("value", test="pull_test", quantity="least_class"),
            t.number("value", test="pull_test", quantity="most_class"),
        ),
        least_chance=t.number("value", test="any", quantity="least_chance"),
    )


def _prior(library: Library) -> Prior:
    t = library.table("prior_failure")
    return Prior(
        *(
            np.array([t.number(column, condition=state) for state in PRIOR_STATES])
            for column in ("low", "per_year", "high")
        )
    )
