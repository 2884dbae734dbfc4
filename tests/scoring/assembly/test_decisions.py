"""What stands of the decisions file, and for how long."""

from datetime import date, timedelta

import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from pipeline.scoring.assembly.decisions import Decisions, read_decisions
from pipeline.tables import inputs
from pipeline.terms import RatingWord

EPOCH = date(1970, 1, 1)
TODAY = date(2026, 11, 15)
Row = tuple[int, str, str | None, date, date | None]


def _number(day: date) -> int:
    return (day - EPOCH).days


def _read(rows: list[Row], *, count: int = 2, today: date = TODAY) -> Decisions:
    table = pa.table(
        {
            "tree_key": pa.array([row[0] for row in rows], pa.int64()),
            "decision": pa.array([row[1] for row in rows], pa.string()),
            "value": pa.array([row[2] for row in rows], pa.string()),
            "decided_on": pa.array([row[3] for row in rows], pa.date32()),
            "until": pa.array([row[4] for row in rows], pa.date32()),
        }
    )
    return read_decisions(table, count=count, today=_number(today))


def _on(days_ago: int) -> date:
    return TODAY - timedelta(days=days_ago)


REDUCE = inputs.ACTIONS.index("reduce_crown")
DRILL = inputs.ACTIONS.index("drill")


def test_without_decisions_nothing_stands() -> None:
    found = _read([])
    assert found.kind.tolist() == [-1, -1]
    assert found.acknowledged_on.tolist() == [-1, -1]
    assert not len(found.ended)


def test_a_pin_takes_no_override_away() -> None:
    found = _read(
        [(0, "override", "reduce_crown", _on(9), None), (0, "pin", "2027Q1", _on(3), None)]
    )
    assert found.action[0] == REDUCE
    assert inputs.DECISIONS[found.kind[0]] == "override"
    assert found.decided_on[0] == _number(_on(9))


def test_a_rating_and_an_action_both_stand() -> None:
    found = _read([(0, "override", "high", _on(9), None), (0, "override", "drill", _on(3), None)])
    assert (found.rating[0], found.action[0]) == (RatingWord.HIGH, DRILL)


def test_an_acceptance_ends_an_override_and_an_earlier_one_does_not() -> None:
    told: Row = (0, "override", "drill", _on(5), None)
    assert _read([told, (0, "accept", None, _on(4), None)]).action[0] == -1
    # The date counts, not the place in the file.
    assert _read([told, (0, "accept", None, _on(6), None)]).action[0] == DRILL


def test_the_last_day_is_inside_and_its_passing_is_told() -> None:
    told: Row = (0, "override", "drill", _on(30), TODAY)
    held = _read([told])
    assert held.action[0] == DRILL
    assert not len(held.ended)
    gone = _read([told], today=TODAY + timedelta(days=1))
    assert gone.action[0] == -1
    assert gone.ended.tolist() == [0]


def test_an_end_that_somebody_renewed_is_not_told() -> None:
    found = _read(
        [(0, "override", "drill", _on(30), _on(2)), (0, "override", "drill", _on(1), None)]
    )
    assert found.action[0] == DRILL
    assert not len(found.ended)


def test_an_acknowledgement_ends_on_its_day() -> None:
    told: Row = (1, "acknowledge", None, _on(30), _on(1))
    assert _read([told]).acknowledged_on[1] == -1
    assert _read([told]).ended.tolist() == [0]
    assert _read([(1, "acknowledge", None, _on(30), TODAY)]).acknowledged_on[1] >= 0


def test_of_each_kind_the_latest_that_stands_is_told() -> None:
    found = _read(
        [
            (1, "defer", None, _on(9), None),
            (0, "override", "low", _on(9), None),
            (0, "pin", "2027Q1", _on(8), None),
            (0, "override", "high", _on(7), _on(3)),
            (0, "acknowledge", None, _on(2), None),
        ]
    )
    assert found.told.tolist() == [1, 2, 4, 0]


ROWS = st.lists(
    st.tuples(
        st.just(0),
        st.sampled_from(["pin", "defer", "acknowledge", "override"]),
        st.sampled_from(["2027Q1", "high", None]),
        st.integers(0, 400).map(_on),
        st.none() | st.integers(-20, 20).map(_on),
    ),
    max_size=6,
)


@given(ROWS, st.integers(0, 400))
def test_an_override_never_disappears_by_itself(rows: list[Row], day: int) -> None:
    """Whatever else is decided later, but an acceptance or another action, it stands."""
    found = _read([*rows, (0, "override", "drill", _on(day), None)])
    assert found.action[0] == DRILL
    assert inputs.DECISIONS[found.kind[0]] == "override"


@given(ROWS)
def test_decisions_of_one_tree_say_nothing_of_another(rows: list[Row]) -> None:
    found = _read(rows)
    assert found.kind[1] == found.action[1] == found.rating[1] == -1
