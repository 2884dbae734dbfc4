"""What is told of people's decisions: each that stands, and beside it what the program says."""

from collections.abc import Callable

import pyarrow as pa

from pipeline.scoring.assembly.columns import day_text, days, texts, whole
from pipeline.scoring.assembly.overtaken import WHAT
from pipeline.scoring.assembly.ratings import ACTION_NAMES, Row
from pipeline.scoring.explanation import Facts
from pipeline.terms import RatingWord, word
from pipeline.units import Ints


def tell_decisions(
    facts: Facts, row: Row, decisions: pa.Table, place: Callable[[Ints], Ints]
) -> None:
    """Every kind of decision that stands of a tree, what the program would do, what came since.

    Parameters
    ----------
    decisions : ingest.decisions.
    place : fact set of tree keys.
    """
    rows = row.decisions.told
    table = decisions.take(pa.array(rows))
    tree = whole(table, "tree_key")
    fields = {name: texts(table, name) for name in ("decision", "value", "role", "reason")}
    made, until = days(table, "decided_on"), days(table, "until")
    sets = place(tree)
    for number in range(len(rows)):
        facts.add(int(sets[number]), "decision_stands", {
            **{name: values[number] or None for name, values in fields.items()},
            "decided_on": day_text(int(made[number])),
            "until": day_text(int(until[number])),
        })  # fmt: skip
        last = number + 1 == len(rows) or tree[number + 1] != tree[number]
        if last and row.decisions.kind[tree[number]] >= 0:
            _beside(facts, row, int(tree[number]), int(sets[number]))


def _beside(facts: Facts, row: Row, tree: int, at: int) -> None:
    differs = row.program_best[tree] != row.best[tree]
    differs |= row.rated.program[tree] != row.rating[tree]
    facts.add(at, "action_program_would", {
        "action": ACTION_NAMES[row.program_best[tree]],
        "rating": word(RatingWord(row.rated.program[tree])),
        "differs": bool(differs),
    })  # fmt: skip
    if row.overtaken.any[tree]:
        facts.add(at, "decision_newer_evidence", {
            "decided_on": day_text(int(row.decisions.decided_on[tree])),
            "seen_on": day_text(int(row.overtaken.on[tree])),
            "what": WHAT[row.overtaken.what[tree]],
        })  # fmt: skip
