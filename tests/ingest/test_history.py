"""Inspections, decisions and work done: what is kept, what is set aside, what it changes."""

from datetime import date

import numpy as np
import pyarrow as pa
import pytest

from pipeline.ingest import history, inspections
from pipeline.ingest.columns import Mapped
from pipeline.ingest.quarantine import Done, Finding
from pipeline.tables import catalogue_ingest as catalogue
from pipeline.tables.store import conform
from tests.ingest.geo_files import Columns, file_of

TREES = pa.array(["A", "B", "C"])
SPRING, AUTUMN = date(2026, 4, 1), date(2026, 10, 1)


def visits(columns: Columns, told: Columns | None = None) -> Mapped:
    """A file of inspections; cells that were told but not understood get core's finding."""
    mapped = file_of("inspections", None, columns, told=told)
    none = np.array([], dtype=np.int64)
    unread = tuple(
        Finding(f"{name}_word_unknown", np.flatnonzero(mapped.text(name).is_null()), None, (),
                "", "", Done.FLAGGED) if told and name in told
        else Finding(name, none, None, (), "", "", Done.FLAGGED)
        for name in ("defect", "reading")
    )  # fmt: skip
    return mapped.with_changes({}, unread)


def checked(made: inspections.Inspections) -> inspections.Inspections:
    """The same, held to the declarations."""
    return inspections.Inspections(
        conform(catalogue.INSPECTIONS, made.inspections), conform(catalogue.DEFECTS, made.defects),
        conform(catalogue.READINGS, made.readings), made.findings,
    )  # fmt: skip


def codes(findings: tuple[Finding, ...]) -> dict[str, tuple[list[int], Done]]:
    return {f.code: (f.rows.tolist(), f.done) for f in findings}


def test_rows_of_one_visit_become_one_inspection_with_defects_and_readings() -> None:
    mapped = visits(
        {
            "inspection_id": ["I1", "I1", "I1", "I2", None, None],
            "tree_id": ["B", "B", "B", "B", "A", "A"],
            "inspected_on": pa.array([AUTUMN, AUTUMN, AUTUMN, SPRING, SPRING, SPRING]),
            "part": ["stem", "butt", "stem", "stem", None, None],
            "defect": ["crack", None, "decay", "canker", "none_seen", None],
            "reading": [None, "drill", None, None, None, "pull_test"],
            "shell_cm": [np.nan, 7.5, np.nan, np.nan, np.nan, np.nan],
            "extent_share": [0.2, np.nan, 0.4, 0.1, np.nan, np.nan],
            "with_decay": pa.array([True, None, None, None, None, None]),
            "topped": pa.array([None, True, None, None, None, False]),
            "time_frame_years": [3.0, np.nan, np.nan, np.nan, np.nan, 1.0],
            "notes": ["opens", None, "soft", None, None, None],
        }
    )
    made = checked(inspections.build([mapped], TREES))
    assert made.inspections.select(
        ["inspection_id", "tree_key", "inspected_on", "findings", "topped", "notes"]
    ).to_pylist() == [
        {"inspection_id": "I1", "tree_key": 1, "inspected_on": AUTUMN, "findings": 2,
         "topped": True, "notes": "opens; soft"},
        {"inspection_id": "I2", "tree_key": 1, "inspected_on": SPRING, "findings": 1,
         "topped": None, "notes": None},
        {"inspection_id": "A 2026-04-01", "tree_key": 0, "inspected_on": SPRING, "findings": 0,
         "topped": False, "notes": None},
    ]  # fmt: skip
    defects = made.defects.to_pylist()
    assert [(d["defect"], d["part"], d["latest"], d["inspection_key"]) for d in defects] == [
        ("crack", "stem", True, 0), ("decay", "stem", True, 0), ("canker", "stem", False, 1),
        ("none_seen", "stem", True, 2),
    ]  # fmt: skip
    assert [d["with_decay"] for d in defects] == [True, False, False, False]
    assert [(r["reading"], r["part"], r["shell_cm"]) for r in made.readings.to_pylist()] == [
        ("drill", "butt", 7.5), ("pull_test", "roots", None),
    ]  # fmt: skip
    assert codes(made.findings[0]) == {"part_missing": ([5], Done.FLAGGED)}


def test_rows_that_cannot_be_used_are_set_aside_with_their_reason() -> None:
    mapped = visits(
        {
            "tree_id": ["A", None, "Z", "A", "B", "C", "C", "C"],
            "inspected_on": pa.array([None, AUTUMN, *[AUTUMN] * 6]),
            "part": ["butt"] * 8,
            "defect": ["decay", "decay", "decay", None, "lean", None, "lean", "lean"],
            "reading": pa.array([None] * 8, pa.string()),
            "shell_cm": [np.nan] * 5 + [3.0, 4.0, np.nan],
        },
        told={
            "defect": ["decay", "decay", "decay", "woodworm", "lean", None, "lean", "lean"],
            "reading": [None] * 7 + ["by ear"],
        },
    )
    made = checked(inspections.build([mapped], TREES))
    assert codes(made.findings[0]) == {
        "inspected_on_missing": ([0], Done.SET_ASIDE),
        "tree_id_missing": ([1], Done.SET_ASIDE),
        "tree_unknown": ([2], Done.SET_ASIDE),
        "defect_unknown": ([3], Done.SET_ASIDE),
        "reading_unknown": ([7], Done.SET_ASIDE),
        "reading_kind_missing": ([5, 6], Done.FLAGGED),
    }
    unknown = next(f for f in made.findings[0] if f.code == "defect_unknown")
    assert unknown.values == ("woodworm",)
    assert made.defects["tree_key"].to_pylist() == [1, 2]
    # Numbers without a kind are kept: a thin shell must not be lost to a missing word.
    assert made.readings.select(["reading", "shell_cm"]).to_pylist() == [
        {"reading": "probe", "shell_cm": 3.0},
        {"reading": "probe", "shell_cm": 4.0},
    ]


def test_the_usual_part_of_a_defect_is_taken_and_said() -> None:
    words = ["lean", "dead_branch", "crack"]
    mapped = visits({"tree_id": ["A"] * 3, "inspected_on": pa.array([SPRING] * 3), "defect": words})
    made = checked(inspections.build([mapped], TREES))
    assert made.defects["part"].to_pylist() == ["roots", "branch", "stem"]
    assert codes(made.findings[0])["part_missing"] == ([0, 1, 2], Done.FLAGGED)


def test_files_are_put_under_each_other_and_none_is_no_error() -> None:
    one = visits({"inspection_id": ["1"], "tree_id": ["A"], "inspected_on": pa.array([SPRING])})
    two = visits({"inspection_id": ["1"], "tree_id": ["B"], "inspected_on": pa.array([SPRING])})
    made = checked(inspections.build([one, two], TREES))
    assert made.inspections["tree_key"].to_pylist() == [0, 1]
    assert made.findings == ((), ())
    assert checked(inspections.build([], TREES)).defects.num_rows == 0


def test_decisions_are_kept_in_order_and_those_that_say_nothing_are_set_aside() -> None:
    mapped = file_of(
        "decisions", None,
        {
            "tree_id": ["A", "Z", None, None, "B", "B", "B", "C", "C", "B", "B", "Z"],
            "job_id": [None, None, "J1", *[None] * 8, "J2"],
            "decision": ["accept", "defer", "pin", "accept", "override", "override", "pin", None,
                         "override", "accept", "override", "accept"],
            "value": [None, None, "2027Q1", None, "tomography", "burn", "spring", None, "high",
                      None, "high", None],
            "decided_on": pa.array([*[AUTUMN] * 8, None, *[AUTUMN] * 3]),
            "role": [*["forester"] * 9, None, "forester", "forester"],
            "reason": [None, *["seen on site"] * 11],
            "until": pa.array([*[None] * 10, SPRING, None], pa.date32()),
        },
    )  # fmt: skip
    made = history.decisions([mapped], TREES)
    table = conform(catalogue.DECISIONS, made.table)
    assert list(zip(table["decision"].to_pylist(), table["tree_key"].to_pylist(), strict=True)) == [
        ("accept", 0), ("pin", -1), ("override", 1), ("accept", -1),
    ]  # fmt: skip
    found = made.findings[0]
    assert codes(found) == {
        "tree_and_job_missing": ([3], Done.SET_ASIDE),
        "decision_missing": ([7], Done.SET_ASIDE),
        "decided_on_missing": ([8], Done.SET_ASIDE),
        "role_missing": ([9], Done.SET_ASIDE),
        "decision_value_unknown": ([5, 6], Done.SET_ASIDE),
        "tree_unknown": ([1], Done.SET_ASIDE),
        "until_before_decision": ([10], Done.SET_ASIDE),
        "reason_missing": ([0], Done.FLAGGED),
        "defer_without_end": ([1], Done.FLAGGED),
    }
    assert all(f.remedy for f in found)
    # Rows in = accepted + set aside.
    aside = {row for f in found if f.done is Done.SET_ASIDE for row in f.rows.tolist()}
    assert len(aside) + table.num_rows == len(mapped)


def work(rows: list[tuple[str | None, str | None, date | None]]) -> history.History:
    tree, action, day = zip(*rows, strict=True)
    return history.work_done(
        [
            file_of(
                "work_done", None,
                {"tree_id": pa.array(tree, pa.string()), "action": list(action),
                 "done_on": pa.array(day), "hours": [1.5] * len(rows)},
            )
        ],
        TREES,
    )  # fmt: skip


def test_work_done_without_action_date_or_tree_is_set_aside() -> None:
    made = work([("A", "remove", SPRING), ("A", None, SPRING), (None, "drill", SPRING),
                 ("B", "drill", None), ("Z", "drill", SPRING)])  # fmt: skip
    table = conform(catalogue.WORK_DONE, made.table)
    assert table["tree_key"].to_pylist() == [0, -1]
    assert codes(made.findings[0]) == {
        "tree_and_job_missing": ([2], Done.SET_ASIDE),
        "action_missing": ([1], Done.SET_ASIDE),
        "done_on_missing": ([3], Done.SET_ASIDE),
        "tree_unknown": ([4], Done.FLAGGED),
    }


@pytest.mark.parametrize(
    ("as_of", "status", "inspected", "pruned"),
    [
        (date(2026, 12, 1), ["removed", None, None], [None, AUTUMN, SPRING], [None, SPRING, None]),
        (
            date(2026, 5, 1),
            ["habitat_pole", None, None],
            [None, SPRING, SPRING],
            [None, SPRING, None],
        ),
        (date(2026, 1, 1), [None] * 3, [None] * 3, [None] * 3),
    ],
)
def test_history_changes_the_trees_only_up_to_the_day_of_the_run(
    as_of: date,
    status: list[str | None],
    inspected: list[date | None],
    pruned: list[date | None],
) -> None:
    done = work([("A", "remove", AUTUMN), ("A", "habitat_pole", SPRING), ("B", "inspect", AUTUMN),
                 ("B", "prune_part", SPRING), ("Z", "remove", SPRING)])  # fmt: skip
    seen = inspections.build(
        [visits({"tree_id": ["B", "C"], "inspected_on": pa.array([SPRING, SPRING])})], TREES
    )
    made = history.changes(seen.inspections, done.table, trees=3, as_of=as_of)
    assert made.status.to_pylist() == status
    assert made.last_inspected_on.to_pylist() == inspected
    assert made.last_pruned_on.to_pylist() == pruned


def test_no_history_changes_nothing() -> None:
    made = history.changes(
        inspections.build([], TREES).inspections, history.work_done([], TREES).table,
        trees=2, as_of=AUTUMN,
    )  # fmt: skip
    assert made.status.to_pylist() == [None, None]
    assert made.last_inspected_on.to_pylist() == [None, None]
