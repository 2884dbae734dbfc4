"""Candidate actions of all trees: work and tests where there is evidence, else looks."""

from dataclasses import dataclass, fields

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.errors import PublishedValueError
from pipeline.scoring.actions import restrictions
from pipeline.scoring.actions.candidates import MAKE_SAFE, TEST, ActionRule, Candidates, Choice
from pipeline.scoring.actions.effort import NO_DEADLINE, deadline_days, hours
from pipeline.scoring.actions.inspection import DUE, NEVER, NOT_DUE, OVERDUE
from pipeline.scoring.assembly.columns import dates, day_text, labels, optional, small
from pipeline.scoring.assembly.trees import Trees
from pipeline.scoring.explanation import STATEMENTS
from pipeline.scoring.parameters import Parameters
from pipeline.scoring.parameters.work import WorkParameters
from pipeline.tables import inputs
from pipeline.terms import Part, RatingWord
from pipeline.units import Flags, Floats, Ints, Words

CREWS = ("climb", "lift", "ground", "inspect", "instrument")
_DECISION_RULE = "decision"
_DECISION_WHY = "why_decision"
_CUTS = ("remove", "habitat_pole", "prune_part", "reduce_crown")
_HARD = ("remove", "habitat_pole")
_WIRED = tuple(inputs.WIRES.index(w) for w in ("communication", "low_voltage", "high_voltage"))


def check_reasons(rules: tuple[ActionRule, ...]) -> None:
    """Refuse action rules whose reason has no sentence.

    Raises
    ------
    PublishedValueError
        If a `why` is none of the statements.
    """
    unknown = sorted({rule.why for rule in rules} - set(STATEMENTS))
    if unknown:
        raise PublishedValueError(
            where="table actions, column why",
            found=", ".join(unknown),
            expected=f"one of {', '.join(s for s in STATEMENTS if s.startswith('why_'))}",
            remedy="Mend the table or the override.",
        )


@dataclass(frozen=True)
class Works:
    """Candidate actions, each shape (candidates,); tree is a key of ingest.trees.

    Parameters
    ----------
    rule : row of the action rules, -1 where a person's decision put it there.
    action : place in inputs.ACTIONS.
    """

    tree: Ints
    action: Ints
    part: Words
    rule: Ints
    chosen: Flags
    residual_rating: Words
    residual_harm: Floats

    def plus(self, other: "Works") -> "Works":
        """Both, sorted by tree and action."""
        joined = Works(
            *(np.concatenate([getattr(self, f.name), getattr(other, f.name)]) for f in fields(self))
        )
        return joined.take(np.lexsort((joined.action, joined.tree)))

    def take(self, rows: Ints | Flags) -> "Works":
        """Some of the candidates."""
        return Works(*(getattr(self, f.name)[rows] for f in fields(self)))


def from_evidence(
    made: Candidates, choice: Choice, keys: Ints, parameters: WorkParameters
) -> Works:
    """Candidates of trees with evidence."""
    actions = np.array([inputs.ACTIONS.index(rule.action) for rule in parameters.rules], np.int64)
    return Works(
        tree=keys[made.tree],
        action=actions[made.rule],
        part=made.part,
        rule=made.rule,
        chosen=choice.chosen,
        residual_rating=made.residual_rating,
        residual_harm=made.residual_harm,
    )


def inspections(
    standing: Words, rating: Words, harm: Floats, *, busy: Flags, parameters: WorkParameters
) -> Works:
    """A look at every tree that nobody has looked at, or that is due before the plan's end.

    Parameters
    ----------
    standing : of actions.inspection.standing, shape (trees,).
    busy : trees for which other work or a test is chosen already; the look is listed, not chosen.
    """
    tree = np.flatnonzero(standing != NOT_DUE)
    rows = np.zeros(DUE + 1, np.int64)
    rows[[NEVER, OVERDUE, DUE]] = parameters.inspect_rules
    rule = rows[standing[tree]]
    share = np.array([r.residual_harm_share for r in parameters.rules])
    return Works(
        tree=tree,
        action=np.full(len(tree), inputs.ACTIONS.index("inspect")),
        part=np.full(len(tree), np.int8(Part.STEM)),
        rule=rule,
        chosen=~busy[tree],
        residual_rating=rating[tree],
        residual_harm=harm[tree] * share[rule],
    )


def overridden(works: Works, action: Ints, rating: Words, harm: Floats) -> Works:
    """Candidates with the actions that people put in place of the chosen ones.

    Parameters
    ----------
    action : action that a standing override names, -1 if none, shape (trees,).
    rating, harm : of each tree; what a decision leaves is not known, so nothing is taken off.
    """
    told = np.flatnonzero(action >= 0)
    if not len(told):
        return works
    make_safe = inputs.ACTIONS.index("make_safe")
    named = action[works.tree]
    is_named = (named >= 0) & (works.action == named)
    kept = (named < 0) | (works.action == make_safe)
    chosen = np.where(kept, works.chosen | is_named, is_named)
    had = works.tree[is_named]
    new = told[~np.isin(told, had)]
    works = Works(
        works.tree, works.action, works.part, works.rule, chosen,
        works.residual_rating, works.residual_harm,
    )  # fmt: skip
    return works.plus(
        Works(
            tree=new,
            action=action[new],
            part=np.full(len(new), np.int8(Part.STEM)),
            rule=np.full(len(new), -1),
            chosen=np.ones(len(new), np.bool_),
            residual_rating=rating[new],
            residual_harm=harm[new],
        )
    )


@dataclass(frozen=True)
class Facing:
    """What bears on how work is done, each shape (trees,).

    Parameters
    ----------
    imminent : a part fails now.
    defects : bits of the defects of the latest inspection.
    """

    rating: Words
    code: Words
    no_climb: Flags
    due: Ints
    imminent: Flags
    defects: Ints


@dataclass(frozen=True)
class Terms:
    """Under which terms each candidate is done, each shape (candidates,).

    Parameters
    ----------
    crew, machine : places in CREWS and in `machines`.
    days : until the deadline, NO_DEADLINE for the next cycle.
    """

    crew: Ints
    machine: Ints
    machines: tuple[str, ...]
    days: Ints
    hours: Floats
    season: restrictions.Season


def terms(works: Works, facing: Facing, trees: Trees, parameters: Parameters) -> Terms:
    """Crew, machine, hours, deadline and season of each candidate."""
    work = parameters.work
    machines = tuple(sorted({"none", "lift", *(rule.machine for rule in work.rules)}))
    first_rule = [_first_rule(work, action) for action in inputs.ACTIONS]
    rule = np.where(works.rule >= 0, works.rule, np.array(first_rule)[works.action])
    crew = np.array([CREWS.index(r.crew_type) for r in work.rules], np.int64)[rule]
    machine = np.array([machines.index(r.machine) for r in work.rules], np.int64)[rule]
    no_climb = facing.no_climb[works.tree]
    grounded = no_climb & (crew == CREWS.index("climb"))
    phase = np.array([r.phase for r in work.rules], np.int64)[rule]
    days = deadline_days(
        facing.rating[works.tree],
        facing.code[works.tree],
        phase == TEST,
        phase == MAKE_SAFE,
        table=work.deadlines,
    )
    return Terms(
        crew=np.where(grounded, CREWS.index("lift"), crew),
        machine=np.where(grounded, machines.index("lift"), machine),
        machines=machines,
        days=_inspection_days(works, facing, days, parameters),
        hours=_hours(works, trees, no_climb, work),
        season=_season(works, facing, trees, parameters),
    )


def _first_rule(work: WorkParameters, action: str) -> int:
    """A rule that knows how the action is done; an inspection where the table has none."""
    rows = [number for number, rule in enumerate(work.rules) if rule.action == action]
    return rows[0] if rows else work.inspect_rules[0]


def _inspection_days(works: Works, facing: Facing, days: Ints, parameters: Parameters) -> Ints:
    """A look that fell or falls due has its own date; one never made is ranked by its harm."""
    today = restrictions_day(parameters)
    due = facing.due[works.tree]
    inspects = works.action == inputs.ACTIONS.index("inspect")
    by_cycle = np.where(due >= 0, np.maximum(due - today, 0), NO_DEADLINE)
    # Above what is accepted a look does not wait for the cycle.
    over = (facing.rating[works.tree] > parameters.accepted) & (days != NO_DEADLINE)
    sooner = np.where(by_cycle == NO_DEADLINE, days, np.minimum(by_cycle, days))
    by_cycle = np.where(over, sooner, by_cycle)
    return np.where(inspects & (works.rule >= 0), by_cycle, days)


def restrictions_day(parameters: Parameters) -> int:
    """The day of the run as a number."""
    return parameters.as_of.toordinal() - restrictions.EPOCH


def _hours(works: Works, trees: Trees, no_climb: Flags, work: WorkParameters) -> Floats:
    needed = np.zeros(len(works.tree))
    dbh = trees.dbh_used[works.tree]
    for number in np.unique(works.action):
        rows = works.action == number
        needed[rows] = hours(dbh[rows], work.hours[inputs.ACTIONS[number]])
    hard = np.isin(works.action, [inputs.ACTIONS.index(name) for name in _HARD])
    hard &= no_climb | np.isin(trees.wires[works.tree], _WIRED)
    return np.where(hard, needed * work.hard_factor, needed)


def cuts(works: Works) -> Flags:
    """Candidates that take wood away; shape (candidates,)."""
    return np.isin(works.action, [inputs.ACTIONS.index(name) for name in _CUTS])


def _season(
    works: Works, facing: Facing, trees: Trees, parameters: Parameters
) -> restrictions.Season:
    rules, count = parameters.work.seasons, len(works.tree)
    rows = np.flatnonzero(cuts(works))
    applies = np.zeros((len(rows), len(rules)), np.bool_)
    tree = works.tree[rows]
    genus = trees.genus[tree]
    notes = trees.table["notes"].take(pa.array(tree)) if len(tree) else None
    for number, rule in enumerate(rules):
        on = np.isin(works.action[rows], [inputs.ACTIONS.index(a) for a in rule.actions])
        if rule.genera:
            on &= np.isin(genus, [n for n, g in enumerate(trees.genera) if g in rule.genera])
        if rule.note_words and notes is not None:
            on &= _says(notes, rule.note_words)
        if rule.defects:
            on &= (facing.defects[tree] & rule.defects) != 0
        applies[:, number] = on
    found = restrictions.seasons(
        rules,
        applies,
        # What fails now is an emergency, whatever the matrix says of who is under it.
        np.where(facing.imminent, np.int8(RatingWord.EXTREME), facing.rating)[tree],
        first_day=parameters.as_of,
        last_day=parameters.plan_end,
    )
    season, not_before = np.full(count, -1, np.int64), np.full(count, restrictions.NO_DAY, np.int64)
    lifted, spans = np.zeros(count, np.bool_), np.full(count, -1, np.int64)
    season[rows], not_before[rows], lifted[rows] = found.rule, found.not_before, found.lifted
    spans[rows] = found.spans
    return restrictions.Season(season, not_before, lifted, spans, found.closed)


def _says(notes: pa.ChunkedArray, words: tuple[str, ...]) -> Flags:
    said = np.zeros(len(notes), np.bool_)
    for phrase in words:
        hit = pc.match_substring(notes.cast(pa.string()), phrase, ignore_case=True)
        said |= np.asarray(pc.fill_null(hit, False).to_numpy(), np.bool_)
    return said


def _value_kept(works: Works, work: WorkParameters) -> Floats:
    """Share of the tree's value that each candidate keeps, by its rule or one of its action."""
    kept = np.array([rule.value_kept for rule in work.rules])
    by_action = np.array([_first_rule(work, action) for action in inputs.ACTIONS])
    return kept[np.where(works.rule >= 0, works.rule, by_action[works.action])]


def _closed_days(season: restrictions.Season) -> pa.Array:
    """Closed days of each candidate in words, empty where none are closed."""
    said = [" ".join(f"{day_text(a)}/{day_text(b)}" for a, b in runs) for runs in season.closed]
    texts = sorted({text for text in said if text})
    of = np.array([texts.index(text) if text else -1 for text in said] or [-1], np.int64)
    return labels(np.where(season.spans < 0, -1, of[np.maximum(season.spans, 0)]), texts)


def candidate_table(works: Works, on: Terms, parameters: Parameters) -> dict[str, object]:
    """Columns of scoring.candidate_actions."""
    rules, seasons = parameters.work.rules, parameters.work.seasons
    ids = [*(rule.rule_id for rule in rules), _DECISION_RULE]
    whys = [*(rule.why for rule in rules), _DECISION_WHY]
    place = np.where(works.rule < 0, len(rules), works.rule)
    lifts = sorted({rule.lifted_by for rule in seasons if rule.lifted_by})
    lift_of = np.array([lifts.index(r.lifted_by) if r.lifted_by else -1 for r in seasons] or [-1])
    lifted_by = np.where(on.season.lifted, lift_of[np.maximum(on.season.rule, 0)], -1)
    return {
        "tree_key": works.tree,
        "action": labels(works.action, inputs.ACTIONS),
        "part": small(works.part),
        "rule_id": labels(place, ids),
        "chosen": works.chosen,
        "residual_rating": small(works.residual_rating),
        "residual_harm_per_year": works.residual_harm,
        "value_kept_share": _value_kept(works, parameters.work),
        "deadline_days": optional(on.days.astype(np.int32), on.days != NO_DEADLINE),
        "crew_type": labels(on.crew, CREWS),
        "machine": labels(on.machine, on.machines),
        "hours": on.hours,
        "season_code": labels(on.season.rule, [rule.code for rule in seasons]),
        "not_before": dates(on.season.not_before),
        "closed_days": _closed_days(on.season),
        "overridden_by": labels(lifted_by, lifts),
        "why": labels(place, whys),
    }
